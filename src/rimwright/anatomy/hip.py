"""HipGeometry: everything measured on one hip; each part may be missing, with a reason."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from rimwright.anatomy.arrays import Floats, Ints, Vector, frozen_floats, frozen_ints
from rimwright.anatomy.frames import PelvicFrame
from rimwright.anatomy.measurement import Measurement
from rimwright.anatomy.mesh import TriangleMesh
from rimwright.anatomy.rim import RimCurve
from rimwright.anatomy.side import Side
from rimwright.anatomy.sphere import SphereFit

MEASUREMENT_KEYS = (
    "lateral_centre_edge_angle",
    "lateral_centre_edge_angle_sourcil",
    "anterior_centre_edge_angle",
    "tonnis_angle",
    "sharp_angle",
    "extrusion_index",
    "acetabular_version_cranial",
    "acetabular_version_central",
    "anterior_sector_angle",
    "posterior_sector_angle",
    "horizontal_sector_angle",
    "subtended_angle",
    "alpha_angle_max",
    "head_neck_offset",
    "neck_shaft_angle",
    "femoral_version",
    "joint_space_min",
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FemoralAxes:
    """
    Head, neck and shaft of one femur, image frame.

    Parameters
    ----------
    neck_centre_mm
        Centre of the neck at its narrowest, (3,) mm.
    neck_axis
        Unit, from the head centre to the neck centre.
    neck_radius_mm
        Mean radius of the neck at its narrowest, mm.
    shaft_axis
        Unit, distal to proximal; None where too little shaft is seen.
    shaft_point_mm
        A point on the shaft axis, (3,) mm; None as above.
    condyle_medial_mm, condyle_lateral_mm
        Most posterior points of the condyles, (3,) mm; None where not seen.
    femoral_twelve, femoral_three
        Unit directions of 12 (cranial) and 3 (anterior) on the femoral clock, normal to the neck
        axis.
    greater_trochanter_mm
        Tip of the greater trochanter, (3,) mm; None where not seen.
    """

    neck_centre_mm: Vector
    neck_axis: Vector
    neck_radius_mm: float
    femoral_twelve: Vector
    femoral_three: Vector
    shaft_axis: Vector | None = None
    shaft_point_mm: Vector | None = None
    condyle_medial_mm: Vector | None = None
    condyle_lateral_mm: Vector | None = None
    greater_trochanter_mm: Vector | None = None

    def __post_init__(self) -> None:
        for name in (
            "neck_centre_mm",
            "neck_axis",
            "femoral_twelve",
            "femoral_three",
            "shaft_axis",
            "shaft_point_mm",
            "condyle_medial_mm",
            "condyle_lateral_mm",
            "greater_trochanter_mm",
        ):
            value = getattr(self, name)
            if value is not None:
                object.__setattr__(self, name, frozen_floats(value, shape=(3,), name=name))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ByHour:
    """
    Curves by hour; NaN where a value is missing.

    Parameters
    ----------
    hours, coverage_deg, joint_space_mm
        (120,) acetabular hours; coverage is the angle at the head centre from the medial
        direction of the opening axis' pole to the rim edge in the plane of that hour, deg.
    femoral_hours, alpha_deg
        (n,) femoral hours and the alpha angle in the radial plane of each, deg.
    """

    hours: Floats
    coverage_deg: Floats
    joint_space_mm: Floats
    femoral_hours: Floats
    alpha_deg: Floats

    def __post_init__(self) -> None:
        for name in ("hours", "coverage_deg", "joint_space_mm", "femoral_hours", "alpha_deg"):
            array = frozen_floats(getattr(self, name), shape=(None,), name=name, allow_nan=True)
            object.__setattr__(self, name, array)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SocketFaces:
    """
    Which triangles of the hip bone face the joint.

    Parameters
    ----------
    joint
        (k,) triangle indices inside the rim: lunate surface and fossa; a drill may touch none.
    lunate
        (j,) triangle indices of the lunate (articular) surface alone.
    """

    joint: Ints
    lunate: Ints

    def __post_init__(self) -> None:
        object.__setattr__(self, "joint", frozen_ints(self.joint, shape=(None,), name="joint"))
        object.__setattr__(self, "lunate", frozen_ints(self.lunate, shape=(None,), name="lunate"))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HipGeometry:
    """
    One measured hip; what is missing is None and explained under `unavailable`.

    Parameters
    ----------
    side, frame
        Side, and the pelvic frame used.
    axes_assumed
        Whether the image axes were taken as LPS because the file did not say.
    head, socket
        Spheres of the femoral head and of the lunate surface.
    opening_axis
        Unit, out of the socket, image frame.
    rim, faces, femur
        Rim curve, joint-side triangles of `pelvis_bone`, femoral axes.
    landmarks_mm
        Name to (3,) mm: 'asis', 'asis_other', 'pubic_tubercle', 'pubic_tubercle_other', …
        (own side without suffix).
    measurements
        One for each of MEASUREMENT_KEYS.
    by_hour
        Curves by hour.
    pelvis_bone, femur_bone
        The hip bone and femur measured.
    unavailable, warnings
        Missing part to reason; doubts of the whole.
    """

    side: Side
    frame: PelvicFrame
    axes_assumed: bool
    head: SphereFit | None
    socket: SphereFit | None
    opening_axis: Vector | None
    rim: RimCurve | None
    faces: SocketFaces | None
    femur: FemoralAxes | None
    landmarks_mm: Mapping[str, Vector]
    measurements: Mapping[str, Measurement]
    by_hour: ByHour | None
    pelvis_bone: TriangleMesh | None
    femur_bone: TriangleMesh | None
    unavailable: Mapping[str, str] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        missing = [key for key in MEASUREMENT_KEYS if key not in self.measurements]
        if missing:
            raise ValueError(f"measurements: {', '.join(missing)} missing")

    @property
    def head_or_socket(self) -> SphereFit | None:
        """The head sphere, else the socket sphere: the centre angles are taken about."""
        return self.head if self.head is not None else self.socket
