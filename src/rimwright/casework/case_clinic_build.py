"""From the validated models to the records of clinic, earlier surgery and work on bone."""

from __future__ import annotations

from collections.abc import Sequence

from rimwright.anatomy import (
    ClinicRecord,
    Examination,
    ImagingFinding,
    Injection,
    NonOperativeCare,
    PreviousOperation,
    RangeOfMotion,
    RevisionFinding,
    RimTrim,
    Score,
    Sector,
    Side,
    Symptoms,
)
from rimwright.casework.case_clinic_model import ClinicModel, ExaminationModel
from rimwright.casework.case_model import RevisionModel, RimTrimModel
from rimwright.casework.case_words import ordinal, place
from rimwright.errors import CaseRefusal

_MOTION = (
    "flexion_deg",
    "extension_deg",
    "abduction_deg",
    "adduction_deg",
    "internal_rotation_90_deg",
    "external_rotation_90_deg",
)
OVERLAP_TOLERANCE_HOURS = 1e-9
"""Arcs that share no more than rounding touch; they do not overlap."""


def clinic_record(model: ClinicModel | None, *, side: Side) -> ClinicRecord | None:
    """
    The clinic's record of one hip.

    Parameters
    ----------
    model
        As validated; None where the case gives none.
    side
        The hip of the case.

    Returns
    -------
    ClinicRecord or None
        With every list in the order given.
    """
    if model is None:
        return None
    return ClinicRecord(
        side=side,
        symptoms=Symptoms(**model.symptoms.model_dump()) if model.symptoms else None,
        examinations=tuple(_examination(item) for item in model.examination or []),
        injections=tuple(Injection(**item.model_dump()) for item in model.injection or []),
        care=tuple(NonOperativeCare(**item.model_dump()) for item in model.care or []),
        scores=tuple(Score(**item.model_dump()) for item in model.score or []),
        imaging=tuple(ImagingFinding(**item.model_dump()) for item in model.imaging or []),
        operations=tuple(
            PreviousOperation(side=item.side, year=item.year, kind=item.kind, done=item.done or "")
            for item in model.operation or []
        ),
    )


def _examination(item: ExaminationModel) -> Examination:
    """One examination; its range is None where no angle was measured."""
    fields = item.model_dump()
    angles = {key: fields.pop(key) for key in _MOTION}
    is_measured = any(value is not None for value in angles.values())
    return Examination(motion=RangeOfMotion(**angles) if is_measured else None, **fields)


def revision_finding(item: RevisionModel, index: int, *, where: str) -> RevisionFinding:
    """
    One finding of earlier surgery.

    Parameters
    ----------
    item
        As validated.
    index
        Its position in the case, from 0.
    where
        Name of the file.

    Returns
    -------
    RevisionFinding
        By hour, by sector, or without a place.

    Raises
    ------
    CaseRefusal
        It is placed twice, or one end of its arc is missing.
    """
    here = place(where, ("revision", index, "hour"))
    has_arc = item.from_hour is not None or item.to_hour is not None
    if item.hour is not None and has_arc:
        raise CaseRefusal(
            "placed twice (got hour and an arc, need one of them)",
            here,
            "Keep the hour, or from_hour and to_hour",
        )
    sector = None
    if has_arc:
        for key in ("from_hour", "to_hour"):
            if getattr(item, key) is None:
                raise CaseRefusal(
                    "missing (need from_hour and to_hour together)",
                    place(where, ("revision", index, key)),
                    "Add it, or give the hour instead of both",
                )
        assert item.from_hour is not None
        assert item.to_hour is not None
        sector = Sector(from_hour=item.from_hour, to_hour=item.to_hour)
    return RevisionFinding(
        kind=item.kind,
        hour=None if item.hour is None else item.hour % 12.0,
        sector=sector,
        size_mm=item.size_mm,
        depth_mm=item.depth_mm,
        note=item.note or "",
        seen_by=item.seen_by,
    )


def rim_trims(models: Sequence[RimTrimModel], *, where: str) -> tuple[RimTrim, ...]:
    """
    The bone to take from the rim; arcs of no depth are left out.

    Parameters
    ----------
    models
        As validated.
    where
        Name of the file.

    Returns
    -------
    tuple of RimTrim
        In the order given.

    Raises
    ------
    CaseRefusal
        Two arcs overlap: how deep would it be there?
    """
    trims: list[RimTrim] = []
    for index, item in enumerate(models):
        sector = Sector(from_hour=item.from_hour, to_hour=item.to_hour)
        for earlier, other in enumerate(models[:index]):
            arc = Sector(from_hour=other.from_hour, to_hour=other.to_hour)
            if sector.overlap_hours(arc) > OVERLAP_TOLERANCE_HOURS:
                raise CaseRefusal(
                    f"overlaps the {ordinal(earlier)} [[rim_trim]] (got {sector} against {arc})",
                    place(where, ("rim_trim", index, "from_hour")),
                    "Let each arc end where the next begins",
                )
        if item.depth_mm > 0.0:
            trims.append(RimTrim(sector=sector, depth_mm=item.depth_mm))
    return tuple(trims)
