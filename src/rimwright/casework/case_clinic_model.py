"""The door of the clinic's record in a case file: symptoms, examination, care, scores, history."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from rimwright.anatomy import Effect, Onset, OperationKind, SeenOn, Side
from rimwright.casework.case_fields import MAX_LIST_LENGTH, TEXT, WORD, Day, Strict, bounded

MAX_NOTE_LENGTH = 1000
_NOTE = Field(min_length=1, max_length=MAX_NOTE_LENGTH)
_LIST = Field(max_length=MAX_LIST_LENGTH)
_ANGLE = bounded("angle", -90.0, 200.0, remedy="Angles are in degrees")


class SymptomsModel(Strict):
    """The `[clinic.symptoms]` table."""

    site: Annotated[str | None, TEXT] = None
    duration_months: Annotated[
        float | None, *bounded("duration_months", 0, 1200, remedy="Give the duration in months")
    ] = None
    onset: Annotated[Onset | None, WORD] = None
    on: Day | None = None


class ExaminationModel(Strict):
    """One `[[clinic.examination]]`; rotations at 90 degrees of flexion, all in degrees."""

    flexion_deg: Annotated[float | None, *_ANGLE] = None
    extension_deg: Annotated[float | None, *_ANGLE] = None
    abduction_deg: Annotated[float | None, *_ANGLE] = None
    adduction_deg: Annotated[float | None, *_ANGLE] = None
    internal_rotation_90_deg: Annotated[float | None, *_ANGLE] = None
    external_rotation_90_deg: Annotated[float | None, *_ANGLE] = None
    impingement_sign: bool | None = None
    apprehension_sign: bool | None = None
    dial_sign: bool | None = None
    laxity_score: Annotated[
        int | None, *bounded("laxity_score", 0, 9, remedy="Nine signs are counted")
    ] = None
    on: Day | None = None


class InjectionModel(Strict):
    """One `[[clinic.injection]]`."""

    what: Annotated[str | None, TEXT] = None
    relief: Annotated[Effect | None, WORD] = None
    on: Day | None = None


class CareModel(Strict):
    """One `[[clinic.care]]`: treatment without an operation."""

    kind: Annotated[str, TEXT]
    weeks: Annotated[
        float | None, *bounded("weeks", 0, 2600, remedy="Give the length in weeks")
    ] = None
    effect: Annotated[Effect | None, WORD] = None
    on: Day | None = None


class ScoreModel(Strict):
    """One `[[clinic.score]]`."""

    instrument: Annotated[str, TEXT]
    value: Annotated[
        float, *bounded("value", -1000, 1000, remedy="Give the points of the instrument")
    ]
    on: Day | None = None


class ImagingModel(Strict):
    """One `[[clinic.imaging]]`: a finding a person read on images."""

    kind: Annotated[str, TEXT]
    finding: Annotated[str, _NOTE]
    where: Annotated[str | None, TEXT] = None
    modality: Annotated[SeenOn | None, WORD] = None
    on: Day | None = None


class OperationModel(Strict):
    """One `[[clinic.operation]]`: an earlier operation, of either hip."""

    side: Annotated[Side, WORD]
    year: Annotated[
        int | None, *bounded("year", 1900, 2200, remedy="Give the year with four digits")
    ] = None
    kind: Annotated[OperationKind | None, WORD] = None
    done: Annotated[str | None, _NOTE] = None


class ClinicModel(Strict):
    """The `[clinic]` table: what is known of this hip beside its images."""

    symptoms: SymptomsModel | None = None
    examination: Annotated[list[ExaminationModel] | None, _LIST] = None
    injection: Annotated[list[InjectionModel] | None, _LIST] = None
    care: Annotated[list[CareModel] | None, _LIST] = None
    score: Annotated[list[ScoreModel] | None, _LIST] = None
    imaging: Annotated[list[ImagingModel] | None, _LIST] = None
    operation: Annotated[list[OperationModel] | None, _LIST] = None
