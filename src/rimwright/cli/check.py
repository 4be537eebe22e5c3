"""`rimwright check`: is this file what it should be, before anything is planned with it."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from rimwright.cli.bone_options import (
    AxesOption,
    JsonOption,
    LabelsOption,
    SeriesOption,
    UnitsOption,
)
from rimwright.cli.screen import output, warn

if TYPE_CHECKING:
    from rimwright.casework import Case


class Checked(StrEnum):
    """Kinds of file that can be checked."""

    CASE = "case"
    BONES = "bones"
    IMAGE = "image"
    HIP = "hip"
    TECHNIQUE = "technique"
    SETTINGS = "settings"
    RULES = "rules"


def check(
    kind: Annotated[
        Checked,
        typer.Argument(
            help="case: a case file; bones: a surface file; image: a scan, its series and the hips "
            "in it; hip: a stored hip.npz; technique: an order of work; settings: a clinic's own "
            "numbers; rules: a clinic's own rules."
        ),
    ],
    file: Annotated[Path, typer.Argument(help="The file; of an image also its folder.")],
    units: UnitsOption = None,
    axes: AxesOption = None,
    labels: LabelsOption = None,
    series: SeriesOption = None,
    json: JsonOption = False,
) -> None:
    """
    Check one file and say what it holds; what is wrong is said in one line, exit 1.

    Examples: rimwright check case case.toml; rimwright check image series/
    """
    if kind is not Checked.BONES and units is not None:
        raise typer.BadParameter("only for bones", param_hint="--units")
    if kind not in (Checked.BONES, Checked.IMAGE) and axes is not None:
        raise typer.BadParameter("only for bones and images", param_hint="--axes")
    if kind is not Checked.IMAGE:
        for option, given in (("--labels", labels), ("--series", series), ("--json", json or None)):
            if given is not None:
                raise typer.BadParameter("only for images", param_hint=option)
    if kind is Checked.CASE:
        _check_case(file)
    elif kind is Checked.IMAGE:
        from rimwright.casework import ScanFiles
        from rimwright.cli.check_image import check_image

        files = ScanFiles(image=file, labels=labels, series=series, axes=axes)
        check_image(files, as_json=json)
    elif kind is Checked.BONES:
        _check_bones(file, unit=None if units is None else units.value, axes=axes)
    elif kind is Checked.HIP:
        _check_hip(file)
    elif kind is Checked.TECHNIQUE:
        _check_technique(file)
    elif kind is Checked.SETTINGS:
        _check_settings(file)
    else:
        _check_rules(file)


def _check_case(path: Path) -> None:
    """A case file, and whether the files it names are there and of use."""
    from rimwright.casework import hip_files_of, letter_templates, read_case
    from rimwright.casework.case_settings import settings_in_force

    case = read_case(path)
    hip_files_of(case)
    used = settings_in_force(case)
    letter_templates(case)
    console = output()
    console.print(f"{path.name}: a case, {case.side} hip")
    for line in _told(case):
        console.print(line)
    for name, text in used.changed.items():
        console.print(f"{name}: {text}")
    warn(used.doubts)


def _told(case: Case) -> list[str]:
    """What a case says and what it leaves unknown."""
    lines = []
    sectors = case.labrum.sectors
    lines.append(f"labrum: {len(sectors)} sectors described" if sectors else "labrum: all unknown")
    unknown = case.labrum.unknown_sectors()
    if sectors and unknown:
        lines.append("labrum unknown: " + ", ".join(str(sector) for sector in unknown))
    lines.append(f"old anchors: {len(case.old_anchors)}")
    if case.revision:
        left = ", ".join(f"{item.kind} {item.place}".rstrip() for item in case.revision)
        lines.append(f"left by earlier surgery: {left}")
    if case.rim_trim:
        trims = ", ".join(f"{item.depth_mm:g} mm at {item.sector}" for item in case.rim_trim)
        lines.append(f"rim trim: {trims}")
    sources = case.sources
    if sources.image is not None:
        named = [path.name for path in (sources.image, sources.labels) if path]
        lines.append("image: " + ", labels ".join(named))
    else:
        bones = [path.name for path in (sources.pelvis, sources.femur) if path]
        lines.append("bones: " + (", ".join(bones) if bones else "none named"))
    facts = {
        "age": case.patient.age_years,
        "Tönnis grade": case.grades.tonnis_grade,
        "joint space": case.grades.joint_space_mm,
        "earlier arthroscopies": case.history.previous_hip_arthroscopy,
        "record of the clinic": case.clinic,
    }
    missing = [name for name, value in facts.items() if value is None]
    if missing:
        lines.append("unknown: " + ", ".join(missing))
    return lines


def _check_bones(path: Path, *, unit: str | None, axes: str | None) -> None:
    """A surface file and the bodies in it."""
    from rimwright.imaging import describe_bodies, read_bodies
    from rimwright.units import LengthUnit

    read = read_bodies(path, unit=None if unit is None else LengthUnit(unit), axes=axes)
    console = output()
    assumed = ", assumed: the file does not say" if read.axes_assumed else ""
    console.print(f"{path.name}: {read.kind}; {read.unit}; axes {read.axes}{assumed}")
    for number, body in enumerate(describe_bodies(read), 1):
        console.print(f"part {number}: {body}")
    warn(read.warnings)


def _check_hip(path: Path) -> None:
    """A stored hip."""
    from rimwright.casework import load_hip
    from rimwright.casework.hip_store import code_digest

    stored = load_hip(path)
    console = output()
    field = "with" if stored.field is not None else "without"
    console.print(f"{path.name}: a measured {stored.hip.side} hip, {field} its bone field")
    if stored.made_by != code_digest():
        warn(["made by another version of the code; measure again before planning on it"])


def _check_technique(path: Path) -> None:
    """An order of work."""
    from rimwright.casework import read_technique

    technique = read_technique(path)
    output().print(f"{path.name}: {technique.name}, {len(technique.steps)} steps")


def _check_settings(path: Path) -> None:
    """A clinic's own numbers."""
    from rimwright.evidence import load_evidence

    console = output()
    changes = load_evidence(path).overrides
    console.print(f"{path.name}: {len(changes)} settings changed")
    for change in changes:
        console.print(f"{change.name}: {change.default:g} -> {change.value:g} {change.unit}")


def _check_rules(path: Path) -> None:
    """A clinic's own rules."""
    from rimwright.treatment import load_rules

    console = output()
    changes = load_rules(path).changes
    console.print(f"{path.name}: {len(changes)} rules changed")
    for change in changes:
        console.print(f"{change.rule}: {change.what} ({change.note})")
