"""The case as the rest of the program sees it: frozen records, every field possibly unknown."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path

from rimwright.anatomy import (
    AnchorKind,
    ClinicRecord,
    GraftKind,
    LabrumMap,
    OldAnchor,
    RevisionFinding,
    RimTrim,
    Side,
    Vector,
)
from rimwright.units import LengthUnit

LETTER_KINDS = ("authorisation", "referral")
"""Letters a case may ask for."""


class Sex(StrEnum):
    """Sex of the patient, where it bears on a norm."""

    FEMALE = "female"
    MALE = "male"


class ReadOn(StrEnum):
    """What a number was read on; a radiographic cut-off holds for radiographs."""

    RADIOGRAPH = "radiograph"
    CT = "CT"
    MR = "MR"


@dataclass(frozen=True, slots=True, kw_only=True)
class Patient:
    """
    What is known of the patient; None is unknown.

    Parameters
    ----------
    age_years, bmi
        Years; kg/m².
    sex
        Female or male.
    """

    age_years: float | None = None
    sex: Sex | None = None
    bmi: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class History:
    """
    What was done to this hip before.

    Parameters
    ----------
    previous_hip_arthroscopy
        Number of earlier arthroscopies of this hip; None is unknown.
    """

    previous_hip_arthroscopy: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Sources:
    """
    Where the bones or the scan are; paths are absolute, resolved against the case file.

    Parameters
    ----------
    pelvis, femur
        Surface files.
    unit, axes
        As written; axes None means the case did not say.
    part
        Body of the pelvis file to take, from 1; None lets geometry choose.
    image, labels
        A scan and its label map.
    series
        Number from 1 or key of the series to take; None takes the only one of use.
    readings
        A file of caliper readings of the labrum by hour.
    """

    pelvis: Path | None = None
    femur: Path | None = None
    unit: LengthUnit | None = None
    axes: str | None = None
    part: int | None = None
    image: Path | None = None
    labels: Path | None = None
    series: str | None = None
    readings: Path | None = None

    @property
    def has_bones(self) -> bool:
        """Whether a surface file is named."""
        return self.pelvis is not None or self.femur is not None

    @property
    def names_hip(self) -> bool:
        """Whether there is anything to measure a hip from: surfaces or a scan."""
        return self.has_bones or self.image is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class Grades:
    """
    Gradings of the joint; None is unknown.

    Parameters
    ----------
    tonnis_grade
        On the radiograph, 0 to 3.
    joint_space_mm, joint_space_seen_by
        Smallest width read, mm, and on what; a case that does not say means a radiograph.
    joint_space_lateral_mm, joint_space_apex_mm, joint_space_medial_mm
        At three sites, mm, read on what `joint_space_seen_by` says.
    ligamentum_teres_grade
        0 to 3 by the share torn; 3 is torn through.
    femoral_cartilage_grade, femoral_cartilage_scale
        Of the femoral head, and the scale it is on.
    """

    tonnis_grade: int | None = None
    joint_space_mm: float | None = None
    joint_space_seen_by: ReadOn | None = None
    joint_space_lateral_mm: float | None = None
    joint_space_apex_mm: float | None = None
    joint_space_medial_mm: float | None = None
    ligamentum_teres_grade: int | None = None
    femoral_cartilage_grade: int | None = None
    femoral_cartilage_scale: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class GivenReading:
    """
    One number a person read on an image, for hips that are not measured here.

    Parameters
    ----------
    quantity
        A measurement key, e.g. 'lateral_centre_edge_angle'.
    value
        In the unit of that key: deg, mm or %.
    seen_by
        What it was read on.
    method
        How it was taken, where that matters (femoral version); '' where nobody said.
    """

    quantity: str
    value: float
    seen_by: ReadOn
    method: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class CamWish:
    """
    What the case asks of the head-neck junction.

    Parameters
    ----------
    target_alpha_deg
        Alpha angle aimed at, deg; None takes the one in force.
    skip
        True leaves the neck alone.
    """

    target_alpha_deg: float | None = None
    skip: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Equipment:
    """
    What is to hand; None means the case did not say, an empty tuple means nothing.

    Parameters
    ----------
    anchors, grafts
        In the order of preference.
    """

    anchors: tuple[AnchorKind, ...] | None = None
    grafts: tuple[GraftKind, ...] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class CaseSettings:
    """
    Choices of the surgeon; None takes the default of the evidence tables.

    Parameters
    ----------
    option
        Name of the option to show first.
    margin_joint_mm, margin_cortex_mm, spacing_mm
        mm.
    technique
        Name of a shipped technique, or a path to a technique file.
    evidence
        Clinic file that overrides evidence settings.
    rules
        Rule file of the clinic in place of the shipped rules.
    letters
        Letters to write, 'authorisation' or 'referral' to a template; None takes the shipped one.
    portals
        Evidence settings of the portals that the case changes, full name to number.
    """

    option: str | None = None
    margin_joint_mm: float | None = None
    margin_cortex_mm: float | None = None
    spacing_mm: float | None = None
    technique: str | Path | None = None
    evidence: Path | None = None
    rules: Path | None = None
    letters: Mapping[str, Path | None] = field(default_factory=dict)
    portals: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Case:
    """
    One case, validated.

    Parameters
    ----------
    id, side
        Identity.
    readings
        Numbers read on images by a person.
    patient, history, sources, grades, labrum, old_anchors, equipment, settings
        Its parts; what was left out is unknown.
    labrum_beside
        Readings of the labrum that its map does not take, a sentence each.
    person
        What names the person, the same for both hips; '' where the case does not say.
    clinic
        Symptoms, examination, care and scores; None where the case gives none.
    revision, rim_trim
        What earlier surgery left; bone to take from the rim.
    cam
        What is asked of the head-neck junction.
    landmarks_mm
        Points picked by a person, name to (3,) mm, image frame; they win over geometry.
    where
        Name of the file as the reader knows it, for messages.
    document
        The document as validated, after upgrades: plain lists, dicts, numbers and text.
    digest
        sha256 of the document's canonical JSON, hex; of its readings of the labrum too.
    """

    id: str
    side: Side
    patient: Patient = field(default_factory=Patient)
    history: History = field(default_factory=History)
    sources: Sources = field(default_factory=Sources)
    grades: Grades = field(default_factory=Grades)
    readings: tuple[GivenReading, ...] = ()
    labrum: LabrumMap = field(default_factory=LabrumMap)
    old_anchors: tuple[OldAnchor, ...] = ()
    labrum_beside: tuple[str, ...] = ()
    person: str = ""
    clinic: ClinicRecord | None = None
    revision: tuple[RevisionFinding, ...] = ()
    rim_trim: tuple[RimTrim, ...] = ()
    cam: CamWish = field(default_factory=CamWish)
    equipment: Equipment = field(default_factory=Equipment)
    settings: CaseSettings = field(default_factory=CaseSettings)
    landmarks_mm: Mapping[str, Vector] = field(default_factory=dict)
    where: str = "case"
    document: Mapping[str, object] = field(default_factory=dict)
    digest: str = ""
