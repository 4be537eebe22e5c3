"""Writes the report to a folder: all of it is made first, then it appears at once or not at all."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from rimwright.anatomy import Plan
from rimwright.errors import FileRefusal
from rimwright.evidence import EvidenceTable, load_evidence
from rimwright.report.composition import PlanMark, compose
from rimwright.report.html_page import render_html
from rimwright.report.pdf_page import render_pdf
from rimwright.report.scene import scene_bytes

FIGURE_NAMES = (
    "alpha",
    "cam-contour",
    "cam-hours",
    "corridors",
    "coverage",
    "joint-space",
    "options",
    "portals",
    "rim-ring",
    "rim-strip",
    "trim-hours",
    "trim-steps",
)
"""Every drawing a report may have."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportFiles:
    """
    What was written.

    Parameters
    ----------
    html, pdf
        The report, twice the same.
    figures
        Its drawings, one SVG each.
    """

    html: Path
    pdf: Path
    figures: tuple[Path, ...]


def write_report(
    plan: Plan,
    out_dir: Path,
    *,
    issued_on: str = "",
    mark: PlanMark = PlanMark.DRAFT,
    evidence: EvidenceTable | None = None,
) -> ReportFiles:
    """
    Write `report.html`, `report.pdf` and the drawings of `figures/`.

    Parameters
    ----------
    plan
        What casework computed.
    out_dir
        Folder; made where it is missing.
    issued_on
        Date as it shall be printed (2026-03-02 makes the PDF archival); the clock is not read.
    mark
        Draft, superseded or signed.
    evidence
        Rows and settings in force; the shipped ones where left out.

    Returns
    -------
    ReportFiles
        Paths written.

    Raises
    ------
    FileRefusal
        The folder cannot be written; nothing of the report is left half written.
    """
    table = load_evidence() if evidence is None else evidence
    document = compose(plan, evidence=table, issued_on=issued_on, mark=mark)
    out_dir = Path(out_dir)
    html, pdf = out_dir / "report.html", out_dir / "report.pdf"
    drawings = {
        out_dir / "figures" / f"{picture.figure.name}.svg": picture.figure.standalone().encode()
        for picture in document.pictures()
    }
    write_files({html: render_html(document).encode(), pdf: render_pdf(document), **drawings})
    for name in FIGURE_NAMES:  # a drawing of an earlier plan must not stand beside this one
        path = out_dir / "figures" / f"{name}.svg"
        if path not in drawings:
            path.unlink(missing_ok=True)
    return ReportFiles(html=html, pdf=pdf, figures=tuple(drawings))


def write_scene(plan: Plan, path: Path) -> Path:
    """
    Write the plan on bone as binary glTF.

    Parameters
    ----------
    plan
        What casework computed.
    path
        File to write, usually scene.glb.

    Returns
    -------
    Path
        The same path.

    Raises
    ------
    FileRefusal
        It cannot be written.
    """
    write_files({Path(path): scene_bytes(plan)})
    return Path(path)


def write_files(contents: Mapping[Path, bytes]) -> None:
    """Write all files beside their places first, then move them in; on failure none appears."""
    staged: list[tuple[Path, Path]] = []
    try:
        for path, data in contents.items():
            path.parent.mkdir(parents=True, exist_ok=True)
            handle, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
            staged.append((Path(name), path))
            with os.fdopen(handle, "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            Path(name).chmod(0o644)
        for temporary, path in staged:
            temporary.replace(path)
    except OSError as error:
        raise FileRefusal(
            f"cannot be written ({error.strerror or error})",
            str(error.filename or next(iter(contents)).parent),
            "Choose a folder that exists, has room and may be written to",
        ) from error
    finally:
        for temporary, _ in staged:
            temporary.unlink(missing_ok=True)
