"""The records every layer speaks in: hip, rim, labrum, anchors, options, plan."""

from rimwright.anatomy.anchor import (
    Anchor,
    AnchorKind,
    OldAnchor,
)
from rimwright.anatomy.arrays import (
    Floats,
    Ints,
    Mask,
    Points,
    Vector,
    frozen_floats,
    frozen_ints,
    unit_vector,
)
from rimwright.anatomy.bone_field import (
    BoneField,
    FieldSample,
)
from rimwright.anatomy.bony_work import (
    CamPlan,
    CoverageLimit,
    PublishedEffect,
    RimTrim,
    TrimEffect,
    TrimStep,
)
from rimwright.anatomy.clinic import (
    ClinicRecord,
    Effect,
    Examination,
    ImagingFinding,
    Injection,
    NonOperativeCare,
    Onset,
    OperationKind,
    Person,
    PreviousOperation,
    RangeOfMotion,
    Score,
    SeenOn,
    Symptoms,
)
from rimwright.anatomy.clock import (
    DEGREES_PER_HOUR,
    HOURS_ON_DIAL,
    ClockReference,
    angle_of_hour,
    hour_gap,
    hour_of_angle,
    hours_after,
    spoken_hour,
    wrap_hour,
    wrap_hours,
)
from rimwright.anatomy.corridor import (
    Corridor,
)
from rimwright.anatomy.frames import (
    Frame,
    PelvicFrame,
    PelvicReference,
    RigidTransform,
    pelvic_frame_of_image,
)
from rimwright.anatomy.graft import (
    Allowance,
    GraftKind,
    GraftStock,
)
from rimwright.anatomy.hip import (
    MEASUREMENT_KEYS,
    ByHour,
    FemoralAxes,
    HipGeometry,
    SocketFaces,
)
from rimwright.anatomy.labrum import (
    Attachment,
    Fibres,
    LabrumMap,
    LabrumSector,
    SeenBy,
    Tear,
    Tissue,
)
from rimwright.anatomy.measurement import (
    Measurement,
    Status,
)
from rimwright.anatomy.mesh import (
    TriangleMesh,
)
from rimwright.anatomy.option import (
    Action,
    Option,
    OptionName,
    PlannedOption,
    Reason,
    SectorAction,
    Stance,
    Statement,
)
from rimwright.anatomy.plan import (
    EquipmentItem,
    OrderOfWork,
    Plan,
    WorsePlan,
)
from rimwright.anatomy.portal import (
    Portal,
)
from rimwright.anatomy.progress import (
    Cancelled,
    Progress,
    no_progress,
)
from rimwright.anatomy.revision import (
    RevisionFinding,
    RevisionKind,
)
from rimwright.anatomy.rim import (
    N_RIM_HOURS,
    RIM_STEP_HOURS,
    RimCurve,
    hours_of_rim,
)
from rimwright.anatomy.scan_source import (
    ScanSource,
)
from rimwright.anatomy.sector import (
    Sector,
)
from rimwright.anatomy.side import (
    Side,
)
from rimwright.anatomy.sphere import (
    SphereFit,
)
from rimwright.anatomy.volume import (
    LabelMap,
    Modality,
    Volume,
)

__all__ = [
    "Action",
    "Allowance",
    "Anchor",
    "AnchorKind",
    "Attachment",
    "BoneField",
    "ByHour",
    "CamPlan",
    "Cancelled",
    "ClinicRecord",
    "ClockReference",
    "Corridor",
    "CoverageLimit",
    "DEGREES_PER_HOUR",
    "Effect",
    "EquipmentItem",
    "Examination",
    "FemoralAxes",
    "Fibres",
    "FieldSample",
    "Floats",
    "Frame",
    "GraftKind",
    "GraftStock",
    "HOURS_ON_DIAL",
    "HipGeometry",
    "ImagingFinding",
    "Injection",
    "Ints",
    "LabelMap",
    "LabrumMap",
    "LabrumSector",
    "MEASUREMENT_KEYS",
    "Mask",
    "Measurement",
    "Modality",
    "N_RIM_HOURS",
    "NonOperativeCare",
    "OldAnchor",
    "Onset",
    "OperationKind",
    "Option",
    "OptionName",
    "OrderOfWork",
    "PelvicFrame",
    "PelvicReference",
    "Person",
    "Plan",
    "PlannedOption",
    "Points",
    "Portal",
    "PreviousOperation",
    "Progress",
    "PublishedEffect",
    "RIM_STEP_HOURS",
    "RangeOfMotion",
    "Reason",
    "RevisionFinding",
    "RevisionKind",
    "RigidTransform",
    "RimCurve",
    "RimTrim",
    "ScanSource",
    "Score",
    "Sector",
    "SectorAction",
    "SeenBy",
    "SeenOn",
    "Side",
    "SocketFaces",
    "SphereFit",
    "Stance",
    "Statement",
    "Status",
    "Symptoms",
    "Tear",
    "Tissue",
    "TriangleMesh",
    "TrimEffect",
    "TrimStep",
    "Vector",
    "Volume",
    "WorsePlan",
    "angle_of_hour",
    "frozen_floats",
    "frozen_ints",
    "hour_gap",
    "hour_of_angle",
    "hours_after",
    "hours_of_rim",
    "no_progress",
    "pelvic_frame_of_image",
    "spoken_hour",
    "unit_vector",
    "wrap_hour",
    "wrap_hours",
]
