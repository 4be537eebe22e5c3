"""The door of the case file: its shape as pydantic models, strict, unknown keys refused."""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import Field, create_model

from rimwright.anatomy import (
    MEASUREMENT_KEYS,
    Attachment,
    ClockReference,
    Fibres,
    OptionName,
    RevisionKind,
    SeenBy,
    SeenOn,
    Side,
    Tear,
    Tissue,
)
from rimwright.casework.case import ReadOn, Sex
from rimwright.casework.case_clinic_model import ClinicModel
from rimwright.casework.case_fields import (
    HOUR_BOUND,
    HOUR_NEED,
    MAX_LIST_LENGTH,
    PATH,
    TEXT,
    WORD,
    PointModel,
    Strict,
    bounded,
    length_above_zero,
)
from rimwright.evidence import load_evidence
from rimwright.units import LengthUnit

CASE_SCHEMA = "rimwright.case/1"

Quantity = StrEnum("Quantity", {k.upper(): k for k in MEASUREMENT_KEYS})  # type: ignore[misc]
Quantity.__doc__ = "The measurement keys as words a case may use."


class PatientModel(Strict):
    """The `[patient]` table."""

    age: Annotated[float | None, *bounded("age", 0, 120, remedy="Give the age in years")] = Field(
        default=None, description="years"
    )
    sex: Annotated[Sex | None, WORD] = None
    bmi: Annotated[
        float | None, *bounded("bmi", 8, 100, remedy="Give the body mass index in kg/m²")
    ] = Field(default=None, description="kg/m²")


class HistoryModel(Strict):
    """The `[history]` table."""

    previous_hip_arthroscopy: Annotated[
        int | None,
        *bounded("count", 0, 20, remedy="Count the earlier arthroscopies of this hip"),
    ] = None


class SourcesModel(Strict):
    """The `[sources]` table; relative paths are relative to the case file."""

    pelvis: Annotated[str | None, PATH] = None
    femur: Annotated[str | None, PATH] = None
    units: Annotated[LengthUnit | None, WORD] = None
    axes: Annotated[str | None, TEXT] = None
    part: Annotated[
        int | None, *bounded("part", 1, 1000, remedy="Bodies of a file are counted from 1")
    ] = None
    image: Annotated[
        str | None, PATH, Field(description="a CT: folder, archive or file; in place of bones")
    ] = None
    labels: Annotated[
        str | None, PATH, Field(description="a label map of the image that tells the bones apart")
    ] = None
    series: Annotated[
        str | None,
        TEXT,
        Field(description="number from 1 or key of the series, where the image holds several"),
    ] = None
    readings: Annotated[
        str | None, PATH, Field(description="a file of caliper readings of the labrum by hour")
    ] = None


class GradesModel(Strict):
    """The `[grades]` table."""

    tonnis_grade: Annotated[
        int | None, *bounded("grade", 0, 3, remedy="The Tönnis grade runs from 0 to 3")
    ] = None
    joint_space_mm: Annotated[
        float | None, *bounded("joint_space_mm", 0, 20, remedy="Lengths are in mm")
    ] = None
    joint_space_seen_by: Annotated[ReadOn | None, WORD] = None
    joint_space_lateral_mm: Annotated[
        float | None, *bounded("joint_space_lateral_mm", 0, 20, remedy="Lengths are in mm")
    ] = None
    joint_space_apex_mm: Annotated[
        float | None, *bounded("joint_space_apex_mm", 0, 20, remedy="Lengths are in mm")
    ] = None
    joint_space_medial_mm: Annotated[
        float | None, *bounded("joint_space_medial_mm", 0, 20, remedy="Lengths are in mm")
    ] = None
    ligamentum_teres_grade: Annotated[
        int | None,
        *bounded("grade", 0, 3, remedy="0 whole, 3 torn through"),
    ] = None
    femoral_cartilage_grade: Annotated[
        int | None,
        *bounded("grade", 0, 5, remedy="Name the scale under femoral_cartilage_scale"),
    ] = None
    femoral_cartilage_scale: Annotated[str | None, TEXT] = None


class ReadingModel(Strict):
    """One `[[reading]]`: a number read on an image by a person, in deg, mm or %."""

    quantity: Annotated[Quantity, WORD]
    value: Annotated[
        float, *bounded("value", -180, 400, remedy="Angles are in degrees, lengths in mm")
    ]
    seen_by: Annotated[ReadOn, WORD]
    method: Annotated[str | None, TEXT] = None


class LabrumSectorModel(Strict):
    """One `[[labrum]]`; what is left out is unknown, never healthy."""

    from_hour: Annotated[float, HOUR_BOUND, HOUR_NEED]
    to_hour: Annotated[float, HOUR_BOUND, HOUR_NEED]
    width_mm: Annotated[
        float | None, *bounded("width_mm", 0, 30, remedy="Lengths are in mm; absent tissue is 0")
    ] = None
    thickness_mm: Annotated[
        float | None, *bounded("thickness_mm", 0, 30, remedy="Lengths are in mm")
    ] = None
    tissue: Annotated[Tissue | None, WORD] = None
    attachment: Annotated[Attachment | None, WORD] = None
    fibres: Annotated[Fibres | None, WORD] = None
    seals: bool | None = None
    tear: Annotated[Tear | None, WORD] = None
    tear_type: Annotated[str | None, TEXT] = None
    calcified: bool | None = None
    prior_suture: bool | None = None
    cartilage_grade: Annotated[
        int | None, *bounded("grade", 0, 5, remedy="Name the scale under cartilage_scale")
    ] = None
    cartilage_scale: Annotated[str | None, TEXT] = None
    seen_by: Annotated[SeenBy | None, WORD] = None
    reference: Annotated[ClockReference | None, WORD] = None


class OldAnchorModel(Strict):
    """One `[[old_anchor]]`: by `hour`, or by `entry_mm` and `direction`."""

    drill_mm: Annotated[float, *length_above_zero("drill_mm", 15.0)]
    depth_mm: Annotated[float, *length_above_zero("depth_mm", 80.0)]
    hour: Annotated[float | None, HOUR_BOUND, HOUR_NEED] = None
    entry_mm: PointModel | None = None
    direction: PointModel | None = None


class RevisionModel(Strict):
    """One `[[revision]]`: what earlier surgery left, by `hour` or from hour to hour."""

    kind: Annotated[RevisionKind, WORD]
    hour: Annotated[float | None, HOUR_BOUND, HOUR_NEED] = None
    from_hour: Annotated[float | None, HOUR_BOUND, HOUR_NEED] = None
    to_hour: Annotated[float | None, HOUR_BOUND, HOUR_NEED] = None
    size_mm: Annotated[float | None, *bounded("size_mm", 0, 60, remedy="Lengths are in mm")] = None
    depth_mm: Annotated[float | None, *bounded("depth_mm", 0, 80, remedy="Lengths are in mm")] = (
        None
    )
    seen_by: Annotated[SeenOn | None, WORD] = None
    note: Annotated[str | None, TEXT] = None


class RimTrimModel(Strict):
    """One `[[rim_trim]]`: bone to take from the rim, from hour to hour."""

    from_hour: Annotated[float, HOUR_BOUND, HOUR_NEED]
    to_hour: Annotated[float, HOUR_BOUND, HOUR_NEED]
    depth_mm: Annotated[float, *bounded("depth_mm", 0, 15, remedy="Lengths are in mm")]


class CamModel(Strict):
    """The `[cam]` table: what alpha angle is aimed at, or that the neck is left alone."""

    target_alpha_deg: Annotated[
        float | None, *bounded("target_alpha_deg", 30, 90, remedy="Angles are in degrees")
    ] = None
    skip: bool | None = None


class AnchorKindModel(Strict):
    """One size of anchor to hand."""

    drill_mm: Annotated[float, *length_above_zero("drill_mm", 10.0)]
    depth_mm: Annotated[float, *length_above_zero("depth_mm", 60.0)]


class GraftKindModel(Strict):
    """One graft to hand."""

    kind: Annotated[str, TEXT]
    diameter_mm: Annotated[float, *length_above_zero("diameter_mm", 20.0)]


class EquipmentModel(Strict):
    """The `[equipment]` table; an empty list means none to hand."""

    anchors: Annotated[list[AnchorKindModel] | None, Field(max_length=MAX_LIST_LENGTH)] = None
    grafts: Annotated[list[GraftKindModel] | None, Field(max_length=MAX_LIST_LENGTH)] = None


class SettingsModel(Strict):
    """The `[settings]` table; what is left out takes the default of the evidence tables."""

    option: Annotated[OptionName | None, WORD] = None
    margin_joint_mm: Annotated[
        float | None, *bounded("margin_joint_mm", 0, 20, remedy="Lengths are in mm")
    ] = None
    margin_cortex_mm: Annotated[
        float | None, *bounded("margin_cortex_mm", 0, 20, remedy="Lengths are in mm")
    ] = None
    spacing_mm: Annotated[float | None, *length_above_zero("spacing_mm", 40.0)] = None
    technique: Annotated[str | None, PATH] = None
    evidence: Annotated[str | None, PATH] = None
    rules: Annotated[str | None, PATH] = None
    authorisation_letter: Annotated[str | None, PATH] = None
    referral_letter: Annotated[str | None, PATH] = None


def _portals_model() -> type[Strict]:
    """The `[portals]` table: every portal setting of the evidence tables, in its own range."""
    fields: dict[str, Any] = {}
    for setting in load_evidence().settings.values():
        subject, _, key = setting.name.partition(".")
        if subject == "portal":
            bounds = bounded(key, setting.low, setting.high, remedy=f"It is in {setting.unit}")
            kind = Annotated[float | None, *bounds]
            fields[key] = (kind, Field(default=None, description=setting.note))
    return create_model("PortalsModel", __base__=Strict, __doc__="The `[portals]` table.", **fields)


if TYPE_CHECKING:

    class PortalsModel(Strict):
        """The `[portals]` table; its fields are known when the evidence tables are read."""

else:
    PortalsModel = _portals_model()


class LandmarksModel(Strict):
    """The `[landmarks]` table: points picked by a person, image frame (LPS, mm)."""

    asis: PointModel | None = None
    asis_other: PointModel | None = None
    pubic_tubercle: PointModel | None = None
    pubic_tubercle_other: PointModel | None = None
    notch_anterior: PointModel | None = None
    notch_posterior: PointModel | None = None
    notch_from: Annotated[PointModel | None, Field(description="older name of notch_anterior")] = (
        None
    )
    notch_to: Annotated[PointModel | None, Field(description="older name of notch_posterior")] = (
        None
    )
    neck_centre: PointModel | None = None
    condyle_medial: PointModel | None = None
    condyle_lateral: PointModel | None = None
    greater_trochanter: PointModel | None = None


class CaseModel(Strict):
    """A case file; only `schema`, `id` and `side` are required."""

    schema_: Annotated[Literal["rimwright.case/1"], Field(alias="schema")]
    id: Annotated[str, TEXT]
    side: Annotated[Side, WORD]
    person: Annotated[
        str | None, TEXT, Field(description="one word for both hips of one person")
    ] = None
    patient: PatientModel | None = None
    history: HistoryModel | None = None
    sources: SourcesModel | None = None
    grades: GradesModel | None = None
    reading: Annotated[list[ReadingModel] | None, Field(max_length=MAX_LIST_LENGTH)] = None
    labrum: Annotated[list[LabrumSectorModel] | None, Field(max_length=MAX_LIST_LENGTH)] = None
    old_anchor: Annotated[list[OldAnchorModel] | None, Field(max_length=MAX_LIST_LENGTH)] = None
    revision: Annotated[list[RevisionModel] | None, Field(max_length=MAX_LIST_LENGTH)] = None
    clinic: ClinicModel | None = None
    rim_trim: Annotated[list[RimTrimModel] | None, Field(max_length=MAX_LIST_LENGTH)] = None
    cam: CamModel | None = None
    equipment: EquipmentModel | None = None
    settings: SettingsModel | None = None
    portals: PortalsModel | None = None
    landmarks: LandmarksModel | None = None
