"""From the validated models to the records of the domain, with the checks between fields."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from rimwright.anatomy import (
    AnchorKind,
    GraftKind,
    LabrumMap,
    LabrumSector,
    OldAnchor,
    Sector,
    Vector,
)
from rimwright.casework.case import (
    LETTER_KINDS,
    CamWish,
    Case,
    CaseSettings,
    Equipment,
    GivenReading,
    Grades,
    History,
    Patient,
    Sources,
)
from rimwright.casework.case_clinic_build import clinic_record, revision_finding, rim_trims
from rimwright.casework.case_model import (
    CaseModel,
    EquipmentModel,
    LabrumSectorModel,
    LandmarksModel,
    OldAnchorModel,
    SettingsModel,
    SourcesModel,
)
from rimwright.casework.case_words import ordinal, place
from rimwright.casework.labrum_readings_map import with_readings
from rimwright.casework.technique_files import SHIPPED_TECHNIQUES
from rimwright.casework.upgrades import shown
from rimwright.errors import CaseRefusal

OVERLAP_TOLERANCE_HOURS = 1e-9
"""Sectors that share no more than rounding touch; they do not overlap."""

OLDER_LANDMARKS = {"notch_from": "notch_anterior", "notch_to": "notch_posterior"}
"""Names of an earlier case file and what they are called now: hours run from front to back."""

SHIPPED_LETTER = "shipped"
"""What a case writes in place of a path to a template of its own."""

SHORTEST_DIRECTION = 1e-6
"""A direction shorter than this points nowhere."""


def build_case(model: CaseModel, *, document: Mapping[str, Any], folder: Path, where: str) -> Case:
    """
    Make the records of a case from its validated document.

    Parameters
    ----------
    model
        The validated document.
    document
        The same as plain data, kept with the case.
    folder
        What relative paths are relative to.
    where
        Name of the file, for messages.

    Returns
    -------
    Case
        With paths resolved; whether the files exist is asked when they are read. Readings of the
        labrum are read at once, as the labrum map is made of them.

    Raises
    ------
    CaseRefusal
        Sectors overlap, an old anchor is placed twice or not at all, a path is none, a reading of
        the labrum cannot be used.
    """
    _check_printable(model.id, where=f"{where}, id")
    sources = _sources(model.sources, folder=folder, where=where)
    labrum = with_readings(
        _labrum(model.labrum or [], where=where), sources.readings, side=model.side, where=where
    )
    return Case(
        id=model.id,
        side=model.side,
        patient=Patient(age_years=model.patient.age, sex=model.patient.sex, bmi=model.patient.bmi)
        if model.patient
        else Patient(),
        history=History(**model.history.model_dump()) if model.history else History(),
        sources=sources,
        grades=Grades(**model.grades.model_dump()) if model.grades else Grades(),
        readings=tuple(
            GivenReading(
                quantity=str(item.quantity),
                value=item.value,
                seen_by=item.seen_by,
                method=item.method or "",
            )
            for item in model.reading or []
        ),
        labrum=labrum.labrum,
        labrum_beside=labrum.beside,
        old_anchors=tuple(
            _old_anchor(item, index, where=where)
            for index, item in enumerate(model.old_anchor or [])
        ),
        person=_person(model.person, where=where),
        clinic=clinic_record(model.clinic, side=model.side),
        revision=tuple(
            revision_finding(item, index, where=where)
            for index, item in enumerate(model.revision or [])
        ),
        rim_trim=rim_trims(model.rim_trim or [], where=where),
        cam=CamWish(target_alpha_deg=model.cam.target_alpha_deg, skip=bool(model.cam.skip))
        if model.cam
        else CamWish(),
        equipment=_equipment(model.equipment),
        settings=_settings(model, folder=folder, where=where),
        landmarks_mm=_landmarks(model.landmarks, where=where),
        where=where,
        document=document,
        digest=digest_of(_with_contents(document, sources.readings)),
    )


def _with_contents(document: Mapping[str, Any], readings: Path | None) -> Mapping[str, Any]:
    """The document with what its file of readings holds: another content is another case."""
    if readings is None:
        return document
    return {**document, "readings": hashlib.sha256(readings.read_bytes()).hexdigest()}


def _check_printable(text: str, *, where: str) -> None:
    """Refuse a name that cannot be printed."""
    if any(not char.isprintable() for char in text):
        raise CaseRefusal(
            f"holds characters that cannot be printed (got {shown(text)})",
            where,
            "Use letters, digits and dashes",
        )


def _person(text: str | None, *, where: str) -> str:
    """What names the person; '' where the case does not say."""
    if text is not None:
        _check_printable(text, where=f"{where}, person")
    return text or ""


def digest_of(document: Mapping[str, Any]) -> str:
    """The sha256 of a document's canonical JSON, hex."""
    text = json.dumps(document, sort_keys=True, separators=(",", ":"), ensure_ascii=True)
    return hashlib.sha256(text.encode("ascii")).hexdigest()


def _landmarks(model: LandmarksModel | None, *, where: str) -> dict[str, Vector]:
    """The landmarks picked by a person, under the names the measuring code knows."""
    given = model.model_dump(exclude_none=True) if model else {}
    for older, newer in OLDER_LANDMARKS.items():
        if older not in given:
            continue
        if newer in given:
            raise CaseRefusal(
                f"given twice (got {older} and {newer}, need one of them)",
                f"{where}, [landmarks], {older}",
                f"Keep {newer}",
            )
        given[newer] = given.pop(older)
    return {name: np.array(point) for name, point in given.items()}


def _labrum(models: Sequence[LabrumSectorModel], *, where: str) -> LabrumMap:
    """The labrum map; sectors that overlap are refused by name."""
    sectors: list[LabrumSector] = []
    for index, item in enumerate(models):
        fields = item.model_dump(exclude={"from_hour", "to_hour"})
        sector = Sector(from_hour=item.from_hour, to_hour=item.to_hour)
        for earlier, other in enumerate(sectors):
            if sector.overlap_hours(other.sector) > OVERLAP_TOLERANCE_HOURS:
                raise CaseRefusal(
                    f"overlaps the {ordinal(earlier)} [[labrum]] "
                    f"(got {sector} against {other.sector})",
                    place(where, ("labrum", index, "from_hour")),
                    "Let each sector end where the next begins",
                )
        sectors.append(LabrumSector(sector=sector, **fields))
    return LabrumMap(sectors=tuple(sectors))


def _old_anchor(item: OldAnchorModel, index: int, *, where: str) -> OldAnchor:
    """One old anchor, placed by its hour or by a point and a direction."""
    here = place(where, ("old_anchor", index, "hour"))
    by_point = item.entry_mm is not None or item.direction is not None
    if item.hour is None and not by_point:
        raise CaseRefusal(
            "not placed (need hour, or entry_mm and direction)",
            here,
            "Write the hour it sits at",
        )
    if item.hour is not None and by_point:
        raise CaseRefusal(
            "placed twice (got hour and a point, need one of them)",
            here,
            "Keep the point and direction if they were seen on images, else the hour",
        )
    if by_point:
        for key, value in (("entry_mm", item.entry_mm), ("direction", item.direction)):
            if value is None:
                raise CaseRefusal(
                    "missing (need entry_mm and direction together)",
                    place(where, ("old_anchor", index, key)),
                    "Add it, or give the hour instead of both",
                )
        if float(np.linalg.norm(item.direction or [0.0])) < SHORTEST_DIRECTION:
            raise CaseRefusal(
                "points nowhere (got a length of 0)",
                place(where, ("old_anchor", index, "direction")),
                "Give the direction into bone, of any length",
            )
    return OldAnchor(
        drill_mm=item.drill_mm,
        depth_mm=item.depth_mm,
        hour=None if item.hour is None else item.hour % 12.0,
        entry_mm=None if item.entry_mm is None else np.array(item.entry_mm),
        direction=None if item.direction is None else np.array(item.direction),
    )


def _equipment(model: EquipmentModel | None) -> Equipment:
    """What is to hand; a list left out stays unknown."""
    if model is None:
        return Equipment()
    return Equipment(
        anchors=None
        if model.anchors is None
        else tuple(AnchorKind(**item.model_dump()) for item in model.anchors),
        grafts=None
        if model.grafts is None
        else tuple(GraftKind(**item.model_dump()) for item in model.grafts),
    )


def _sources(model: SourcesModel | None, *, folder: Path, where: str) -> Sources:
    """The sources with their paths resolved; bones and an image are not mixed."""
    if model is None:
        return Sources()
    if model.image is not None and (model.pelvis is not None or model.femur is not None):
        raise CaseRefusal(
            "bones and an image together (need one or the other)",
            f"{where}, [sources]",
            "Keep pelvis and femur, or keep image and labels",
        )
    for key in ("labels", "series"):
        if getattr(model, key) is not None and model.image is None:
            raise CaseRefusal(
                f"{key} without an image", f"{where}, [sources], {key}", "Name the image too"
            )
    if model.units is not None and model.image is not None:
        raise CaseRefusal(
            "units of an image, which its file states",
            f"{where}, [sources], units",
            "Leave units out",
        )
    if model.part is not None and model.pelvis is None:
        raise CaseRefusal(
            "a part without the file it is a part of",
            f"{where}, [sources], part",
            "Name the pelvis file, or leave part out",
        )
    paths = {
        key: _path(getattr(model, key), folder=folder, where=f"{where}, [sources], {key}")
        for key in ("pelvis", "femur", "image", "labels", "readings")
    }
    if model.series is not None:
        _check_printable(model.series, where=f"{where}, [sources], series")
    axes = _axes(model.axes, where=f"{where}, [sources], axes")
    return Sources(**paths, unit=model.units, axes=axes, part=model.part, series=model.series)


def _axes(text: str | None, *, where: str) -> str | None:
    """The convention of the bones' axes in the readers' spelling."""
    if text is None:
        return None
    from rimwright.imaging import name_axes

    try:
        return name_axes(text)
    except CaseRefusal as refusal:
        raise CaseRefusal(refusal.wrong, where, refusal.remedy) from None


def _settings(model: CaseModel, *, folder: Path, where: str) -> CaseSettings:
    """The settings; a technique is the name of a shipped one or a path."""
    given = model.settings or SettingsModel()
    portals = {} if model.portals is None else model.portals.model_dump(exclude_none=True)
    technique: str | Path | None = given.technique
    if given.technique is not None and given.technique not in SHIPPED_TECHNIQUES:
        technique = _path(given.technique, folder=folder, where=f"{where}, [settings], technique")
    return CaseSettings(
        option=None if given.option is None else str(given.option),
        margin_joint_mm=given.margin_joint_mm,
        margin_cortex_mm=given.margin_cortex_mm,
        spacing_mm=given.spacing_mm,
        technique=technique,
        evidence=_path(given.evidence, folder=folder, where=f"{where}, [settings], evidence"),
        rules=_path(given.rules, folder=folder, where=f"{where}, [settings], rules"),
        letters=_letters(given, folder=folder, where=f"{where}, [settings]"),
        portals={f"portal.{key}": value for key, value in portals.items()},
    )


def _letters(given: SettingsModel, *, folder: Path, where: str) -> dict[str, Path | None]:
    """The letters asked for; the word for the shipped template is no path."""
    letters: dict[str, Path | None] = {}
    for kind in LETTER_KINDS:
        text = getattr(given, f"{kind}_letter")
        if text is not None:
            path = None if text == SHIPPED_LETTER else text
            letters[kind] = _path(path, folder=folder, where=f"{where}, {kind}_letter")
    return letters


def _path(text: str | None, *, folder: Path, where: str) -> Path | None:
    """A path made absolute against the folder of the case."""
    if text is None:
        return None
    if any(not char.isprintable() for char in text):
        raise CaseRefusal(
            f"not a path (got {shown(text)}, need printable characters)",
            where,
            "Rename the file without control characters",
        )
    return Path(folder, text).absolute()
