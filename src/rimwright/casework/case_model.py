"""The door of the case file: its shape as pydantic models, strict, unknown keys refused.

The bounds here are slips-of-the-pen bounds (a width in metres, an age in months); they carry no
clinical meaning, which is the business of the evidence tables.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, create_model

from rimwright.anatomy import (
    MEASUREMENT_KEYS,
    Attachment,
    ClockReference,
    Fibres,
    OptionName,
    SeenBy,
    Side,
    Tear,
    Tissue,
)
from rimwright.casework.case import ReadOn, Sex
from rimwright.evidence import load_evidence
from rimwright.units import LengthUnit

CASE_SCHEMA = "rimwright.case/1"

MAX_TEXT_LENGTH = 200
MAX_PATH_LENGTH = 1024
MAX_LIST_LENGTH = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class Need:
    """
    What a field needs, in the words its refusal uses.

    Parameters
    ----------
    wrong, need, remedy
        The three parts of the sentence.
    """

    wrong: str
    need: str
    remedy: str


def _number(name: str, low: float, high: float, *, remedy: str, above: bool = False) -> Any:
    """Constraint and words of a number between two bounds."""
    sign = "<" if above else "<="
    need = Need(wrong="outside its range", need=f"{low:g} {sign} {name} <= {high:g}", remedy=remedy)
    bound = Field(gt=low, le=high) if above else Field(ge=low, le=high)
    return bound, need


def _length(name: str, high: float) -> Any:
    """A length in mm above zero."""
    return _number(name, 0.0, high, above=True, remedy="Lengths are in mm")


_HOUR_BOUND = Field(ge=0.0, le=12.0)
_HOUR_NEED = Need(
    wrong="not an hour of the clock",
    need="0 <= hour < 12",
    remedy="Write 1.5 for half past one",
)
_WORD = Field(strict=False)
_TEXT = Field(min_length=1, max_length=MAX_TEXT_LENGTH)
_PATH = Field(min_length=1, max_length=MAX_PATH_LENGTH)

Coordinate = Annotated[
    float,
    *_number("coordinate", -5000.0, 5000.0, remedy="Give image coordinates in LPS, mm"),
]
PointModel = Annotated[list[Coordinate], Field(min_length=3, max_length=3)]


Quantity = StrEnum("Quantity", {k.upper(): k for k in MEASUREMENT_KEYS})  # type: ignore[misc]
Quantity.__doc__ = "The measurement keys as words a case may use."


class Strict(BaseModel):
    """No unknown keys, no silent conversion, no NaN."""

    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False, frozen=True)


class PatientModel(Strict):
    """The `[patient]` table."""

    age: Annotated[float | None, *_number("age", 0, 120, remedy="Give the age in years")] = Field(
        default=None, description="years"
    )
    sex: Annotated[Sex | None, _WORD] = None
    bmi: Annotated[
        float | None, *_number("bmi", 8, 100, remedy="Give the body mass index in kg/m²")
    ] = Field(default=None, description="kg/m²")


class HistoryModel(Strict):
    """The `[history]` table."""

    previous_hip_arthroscopy: Annotated[
        int | None,
        *_number("count", 0, 20, remedy="Count the earlier arthroscopies of this hip"),
    ] = None


class SourcesModel(Strict):
    """The `[sources]` table; relative paths are relative to the case file."""

    pelvis: Annotated[str | None, _PATH] = None
    femur: Annotated[str | None, _PATH] = None
    units: Annotated[LengthUnit | None, _WORD] = None
    axes: Annotated[str | None, _TEXT] = None
    part: Annotated[
        int | None, *_number("part", 1, 1000, remedy="Bodies of a file are counted from 1")
    ] = None
    image: Annotated[str | None, _PATH] = None
    labels: Annotated[str | None, _PATH] = None


class GradesModel(Strict):
    """The `[grades]` table."""

    tonnis_grade: Annotated[
        int | None, *_number("grade", 0, 3, remedy="The Tönnis grade runs from 0 to 3")
    ] = None
    joint_space_mm: Annotated[
        float | None, *_number("joint_space_mm", 0, 20, remedy="Lengths are in mm")
    ] = None
    joint_space_seen_by: Annotated[ReadOn | None, _WORD] = None
    femoral_cartilage_grade: Annotated[
        int | None,
        *_number("grade", 0, 5, remedy="Name the scale under femoral_cartilage_scale"),
    ] = None
    femoral_cartilage_scale: Annotated[str | None, _TEXT] = None


class ReadingModel(Strict):
    """One `[[reading]]`: a number read on an image by a person, in deg, mm or %."""

    quantity: Annotated[Quantity, _WORD]
    value: Annotated[
        float, *_number("value", -180, 400, remedy="Angles are in degrees, lengths in mm")
    ]
    seen_by: Annotated[ReadOn, _WORD]


class LabrumSectorModel(Strict):
    """One `[[labrum]]`; what is left out is unknown, never healthy."""

    from_hour: Annotated[float, _HOUR_BOUND, _HOUR_NEED]
    to_hour: Annotated[float, _HOUR_BOUND, _HOUR_NEED]
    width_mm: Annotated[
        float | None, *_number("width_mm", 0, 30, remedy="Lengths are in mm; absent tissue is 0")
    ] = None
    thickness_mm: Annotated[
        float | None, *_number("thickness_mm", 0, 30, remedy="Lengths are in mm")
    ] = None
    tissue: Annotated[Tissue | None, _WORD] = None
    attachment: Annotated[Attachment | None, _WORD] = None
    fibres: Annotated[Fibres | None, _WORD] = None
    seals: bool | None = None
    tear: Annotated[Tear | None, _WORD] = None
    tear_type: Annotated[str | None, _TEXT] = None
    calcified: bool | None = None
    prior_suture: bool | None = None
    cartilage_grade: Annotated[
        int | None, *_number("grade", 0, 5, remedy="Name the scale under cartilage_scale")
    ] = None
    cartilage_scale: Annotated[str | None, _TEXT] = None
    seen_by: Annotated[SeenBy | None, _WORD] = None
    reference: Annotated[ClockReference | None, _WORD] = None


class OldAnchorModel(Strict):
    """One `[[old_anchor]]`: by `hour`, or by `entry_mm` and `direction`."""

    drill_mm: Annotated[float, *_length("drill_mm", 15.0)]
    depth_mm: Annotated[float, *_length("depth_mm", 80.0)]
    hour: Annotated[float | None, _HOUR_BOUND, _HOUR_NEED] = None
    entry_mm: PointModel | None = None
    direction: PointModel | None = None


class AnchorKindModel(Strict):
    """One size of anchor to hand."""

    drill_mm: Annotated[float, *_length("drill_mm", 10.0)]
    depth_mm: Annotated[float, *_length("depth_mm", 60.0)]


class GraftKindModel(Strict):
    """One graft to hand."""

    kind: Annotated[str, _TEXT]
    diameter_mm: Annotated[float, *_length("diameter_mm", 20.0)]


class EquipmentModel(Strict):
    """The `[equipment]` table; an empty list means none to hand."""

    anchors: Annotated[list[AnchorKindModel] | None, Field(max_length=MAX_LIST_LENGTH)] = None
    grafts: Annotated[list[GraftKindModel] | None, Field(max_length=MAX_LIST_LENGTH)] = None


class SettingsModel(Strict):
    """The `[settings]` table; what is left out takes the default of the evidence tables."""

    option: Annotated[OptionName | None, _WORD] = None
    margin_joint_mm: Annotated[
        float | None, *_number("margin_joint_mm", 0, 20, remedy="Lengths are in mm")
    ] = None
    margin_cortex_mm: Annotated[
        float | None, *_number("margin_cortex_mm", 0, 20, remedy="Lengths are in mm")
    ] = None
    spacing_mm: Annotated[float | None, *_length("spacing_mm", 40.0)] = None
    technique: Annotated[str | None, _PATH] = None
    evidence: Annotated[str | None, _PATH] = None


def _portals_model() -> type[Strict]:
    """The `[portals]` table: every portal setting of the evidence tables, in its own range."""
    fields: dict[str, Any] = {}
    for setting in load_evidence().settings.values():
        subject, _, key = setting.name.partition(".")
        if subject == "portal":
            bounds = _number(key, setting.low, setting.high, remedy=f"It is in {setting.unit}")
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
    id: Annotated[str, _TEXT]
    side: Annotated[Side, _WORD]
    patient: PatientModel | None = None
    history: HistoryModel | None = None
    sources: SourcesModel | None = None
    grades: GradesModel | None = None
    reading: Annotated[list[ReadingModel] | None, Field(max_length=MAX_LIST_LENGTH)] = None
    labrum: Annotated[list[LabrumSectorModel] | None, Field(max_length=MAX_LIST_LENGTH)] = None
    old_anchor: Annotated[list[OldAnchorModel] | None, Field(max_length=MAX_LIST_LENGTH)] = None
    equipment: EquipmentModel | None = None
    settings: SettingsModel | None = None
    portals: PortalsModel | None = None
    landmarks: LandmarksModel | None = None
