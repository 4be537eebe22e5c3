"""`rimwright demo`: an invented hip, made and planned on the spot."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from rimwright.cli.screen import progress_bar


class Source(StrEnum):
    """What the demo is planned from."""

    BONES = "bones"
    CT = "ct"


def demo(
    out: Annotated[
        Path, typer.Option(help="Folder; the case goes to OUT/case, its plan to OUT/plan.")
    ] = Path("rimwright-demo"),
    source: Annotated[
        Source,
        typer.Option(
            "--from",
            help="Plan from the surfaces of the bones, or from a made CT of them: about 50 MB of "
            "DICOM slices in OUT/case/series.",
        ),
    ] = Source.BONES,
) -> None:
    """
    Make an invented hip, plan it, and say where the report is.

    The bones are computed, no person was scanned. Look into OUT/case for the bones or slices and
    the case file, change it, and plan it again with
    `rimwright plan OUT/case/case.toml --out OUT/plan`.
    """
    from rimwright.casework import write_demo_case
    from rimwright.cli.plan import plan_into, show, today

    with progress_bar() as tell:
        tell(0.0, "making the bones")
        case = write_demo_case(out / "case", is_scan=source is Source.CT, progress=tell)
    show([plan_into(case, out / "plan", hip=None, issued_on=today())], as_json=False)
