"""What the clinic knows of a person's hips beside the images; every field possibly unknown."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from rimwright.anatomy.side import Side

MAX_LAXITY_SCORE = 9
"""The laxity score counts nine signs."""


class Onset(StrEnum):
    """How the symptoms began."""

    GRADUAL = "gradual"
    SUDDEN = "sudden"
    INJURY = "after an injury"


class Effect(StrEnum):
    """What an injection or a treatment did to the symptoms."""

    FULL = "full"
    PARTIAL = "partial"
    NONE = "none"
    WORSE = "worse"


class SeenOn(StrEnum):
    """What a finding was seen on."""

    RADIOGRAPH = "radiograph"
    CT = "CT"
    MR = "MR"
    ULTRASOUND = "ultrasound"
    ARTHROSCOPY = "arthroscopy"
    OPERATION_NOTE = "operation note"


class OperationKind(StrEnum):
    """What kind of operation was done."""

    ARTHROSCOPY = "arthroscopy"
    OPEN_HIP_SURGERY = "open hip surgery"
    PELVIC_OSTEOTOMY = "osteotomy of the pelvis"
    FEMORAL_OSTEOTOMY = "osteotomy of the femur"
    ARTHROPLASTY = "arthroplasty"
    OTHER = "other"


@dataclass(frozen=True, slots=True, kw_only=True)
class Symptoms:
    """
    What the person feels.

    Parameters
    ----------
    site
        Where, in words ('groin', 'lateral', 'buttock').
    duration_months
        Since when, months before `on`.
    onset
        How it began.
    on
        Day it was asked.
    """

    site: str | None = None
    duration_months: float | None = None
    onset: Onset | None = None
    on: date | None = None

    def __post_init__(self) -> None:
        _check_range("duration_months", self.duration_months, low=0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class RangeOfMotion:
    """
    Passive range of one hip, deg; rotations at 90 degrees of flexion.

    Parameters
    ----------
    flexion_deg, extension_deg, abduction_deg, adduction_deg
        From the neutral position, each positive in its own direction.
    internal_rotation_90_deg, external_rotation_90_deg
        At 90 degrees of flexion; negative where neutral is not reached.
    """

    flexion_deg: float | None = None
    extension_deg: float | None = None
    abduction_deg: float | None = None
    adduction_deg: float | None = None
    internal_rotation_90_deg: float | None = None
    external_rotation_90_deg: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Examination:
    """
    One examination of one hip.

    Parameters
    ----------
    motion
        Range of motion; None where it was not measured.
    impingement_sign
        Pain on flexion, adduction and internal rotation.
    apprehension_sign
        Apprehension on extension and external rotation.
    dial_sign
        The leg falls outward past the other and meets no firm end.
    laxity_score
        Signs of general laxity counted, 0 to 9.
    on
        Day of the examination.
    """

    motion: RangeOfMotion | None = None
    impingement_sign: bool | None = None
    apprehension_sign: bool | None = None
    dial_sign: bool | None = None
    laxity_score: int | None = None
    on: date | None = None

    def __post_init__(self) -> None:
        _check_range("laxity_score", self.laxity_score, low=0.0, high=MAX_LAXITY_SCORE)

    @property
    def instability_sign(self) -> bool | None:
        """True where a sign of instability is positive, False where all are negative."""
        signs = (self.apprehension_sign, self.dial_sign)
        if any(signs):
            return True
        return None if None in signs else False


@dataclass(frozen=True, slots=True, kw_only=True)
class Injection:
    """
    One injection into the joint.

    Parameters
    ----------
    what
        What was injected, in trade words.
    relief
        What it did to the pain while the anaesthetic lasted.
    on
        Day of the injection.
    """

    what: str | None = None
    relief: Effect | None = None
    on: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class NonOperativeCare:
    """
    One treatment without an operation.

    Parameters
    ----------
    kind
        In trade words ('physiotherapy', 'activity changed').
    weeks
        How long.
    effect
        What it did.
    on
        Day it began.
    """

    kind: str
    weeks: float | None = None
    effect: Effect | None = None
    on: date | None = None

    def __post_init__(self) -> None:
        _check_range("weeks", self.weeks, low=0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Score:
    """
    One score of a questionnaire.

    Parameters
    ----------
    instrument
        Its name.
    value
        In points of that instrument.
    on
        Day it was answered.
    """

    instrument: str
    value: float
    on: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ImagingFinding:
    """
    One finding a person read on images.

    Parameters
    ----------
    kind
        What it is a finding of ('labrum', 'cartilage', 'bone oedema').
    finding
        What was seen, a sentence.
    where
        Place, in words or by the clock.
    modality
        What it was seen on.
    on
        Day of the images.
    """

    kind: str
    finding: str
    where: str | None = None
    modality: SeenOn | None = None
    on: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PreviousOperation:
    """
    One earlier operation; the side is always said.

    Parameters
    ----------
    side, year
        Which hip and when; the year may be unknown.
    kind
        What kind; None where nobody knows.
    done
        What was done, in words.
    """

    side: Side
    year: int | None = None
    kind: OperationKind | None = None
    done: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ClinicRecord:
    """
    What the clinic knows of one hip; an empty tuple means that nothing was given, never 'none'.

    Parameters
    ----------
    side
        The hip it speaks of.
    symptoms
        None where nobody asked.
    examinations, injections, care, scores, imaging, operations
        Each in the order given; operations may name the other side too.
    """

    side: Side
    symptoms: Symptoms | None = None
    examinations: tuple[Examination, ...] = ()
    injections: tuple[Injection, ...] = ()
    care: tuple[NonOperativeCare, ...] = ()
    scores: tuple[Score, ...] = ()
    imaging: tuple[ImagingFinding, ...] = ()
    operations: tuple[PreviousOperation, ...] = ()

    @property
    def latest_examination(self) -> Examination | None:
        """The examination of the last day; of several without a day the last given."""
        if not self.examinations:
            return None
        return max(
            enumerate(self.examinations),
            key=lambda item: (item[1].on or date.min, item[0]),
        )[1]

    @property
    def non_operative_weeks(self) -> float | None:
        """Weeks of the longest treatment without an operation; None where no length is known."""
        return max((item.weeks for item in self.care if item.weeks is not None), default=None)

    def operations_on(self, side: Side) -> tuple[PreviousOperation, ...]:
        """The earlier operations of one side."""
        return tuple(item for item in self.operations if item.side is side)


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """
    One person with two hips; a hip nobody looked at is None.

    Parameters
    ----------
    id
        How the clinic names the person; no name is asked for.
    left, right
        Record of each hip.
    """

    id: str
    left: ClinicRecord | None = None
    right: ClinicRecord | None = None

    def __post_init__(self) -> None:
        for side in Side:
            record = self.hip(side)
            if record is not None and record.side is not side:
                raise ValueError(f"the record of the {record.side} hip stands under {side}")

    def hip(self, side: Side) -> ClinicRecord | None:
        """The record of one side."""
        return self.left if side is Side.LEFT else self.right

    def operations_on(self, side: Side) -> tuple[PreviousOperation, ...]:
        """Earlier operations of one side, whichever record names them, each once."""
        named = [
            item
            for record in (self.left, self.right)
            if record is not None
            for item in record.operations_on(side)
        ]
        return tuple(dict.fromkeys(named))


def _check_range(name: str, value: float | None, *, low: float, high: float = float("inf")) -> None:
    """A number outside its range is a slip of the pen."""
    if value is not None and not low <= value <= high:
        raise ValueError(f"{name} is outside its range (got {value:g}, need {low:g} to {high:g})")
