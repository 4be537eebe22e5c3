"""`rimwright demo`: an invented hip, made and planned on the spot."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from rimwright.cli.screen import progress_bar


def demo(
    out: Annotated[
        Path, typer.Option(help="Folder; the case goes to OUT/case, its plan to OUT/plan.")
    ] = Path("rimwright-demo"),
) -> None:
    """
    Make an invented hip, plan it, and say where the report is.

    The bones are computed, no person was scanned. Look into OUT/case for the bones and the case
    file, change it, and plan it again with `rimwright plan OUT/case/case.toml --out OUT/plan`.
    """
    from rimwright.casework import write_demo_case
    from rimwright.cli.plan import plan_into, show, today

    with progress_bar() as tell:
        tell(0.0, "making the bones")
        case = write_demo_case(out / "case")
    show([plan_into(case, out / "plan", hip=None, issued_on=today())], as_json=False)
