"""`rimwright plan`: a case file in, a folder with the plan out."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from rimwright.cli.bone_options import JsonOption
from rimwright.cli.screen import print_json, progress_bar, say, warn

if TYPE_CHECKING:
    from rimwright.anatomy import Plan
    from rimwright.casework import PlanFiles


def plan(
    cases: Annotated[
        list[Path],
        typer.Argument(
            metavar="CASE [OTHER_SIDE]",
            help="Case file, .toml or .json; a second one of the same person's other hip adds a "
            "page with both.",
        ),
    ],
    out: Annotated[Path, typer.Option(help="Folder for the plan; made if it does not exist.")],
    hip: Annotated[
        Path | None,
        typer.Option(
            help="A hip.npz of an earlier plan of the same bones: plans again without measuring. "
            "Left out, that of --out serves where nothing it was made from has changed."
        ),
    ] = None,
    issued_on: Annotated[
        str | None,
        typer.Option(
            callback=known_date,
            metavar="YYYY-MM-DD",
            help="Date printed on every page; left out: today.",
        ),
    ] = None,
    json: JsonOption = False,
) -> None:
    """
    Plan a case: corridors, the five options, anchors, graft stock, order of work, report.

    Writes plan.json, report.html, report.pdf, figures, scene.glb and hip.npz. A plan already in
    the folder is replaced only once the new one is whole.

    Example: rimwright plan case.toml --out plan
    """
    plan_into(cases[0], out, hip=hip, issued_on=issued_on or today(), as_json=json)


def known_date(text: str | None) -> str | None:
    """A date of the calendar as year-month-day, or wrong usage."""
    if text is None:
        return None
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError:
        raise typer.BadParameter(f"{text!r} is no date such as 2026-03-02.") from None


def today() -> str:
    """Today as year-month-day; the only clock the program reads."""
    return datetime.now().astimezone().date().isoformat()


def plan_into(case: Path, out: Path, *, hip: Path | None, issued_on: str, as_json: bool) -> None:
    """Plan a case file into a folder and show what came of it."""
    from rimwright.casework import (
        hip_for_case,
        plan_case,
        plan_document,
        plan_folder,
        read_case,
        write_plan,
    )
    from rimwright.casework.case_settings import settings_in_force

    read = read_case(case)
    plan_folder(out)
    with progress_bar() as tell:
        chosen = hip_for_case(
            read, given=hip, beside=out, progress=lambda done, stage: tell(0.45 * done, stage)
        )
        made = plan_case(
            read, hip=chosen.stored, progress=lambda done, stage: tell(0.45 + 0.2 * done, stage)
        )
        files = write_plan(
            made,
            out,
            stored=chosen.stored,
            evidence=settings_in_force(read).table,
            issued_on=issued_on,
            progress=lambda done, stage: tell(0.65 + 0.35 * done, stage),
        )
    if chosen.note:
        say(chosen.note)
    warn(made.cautions)
    if as_json:
        print_json(plan_document(made))
    else:
        show_plan(made, files)


def show_plan(made: Plan, files: PlanFiles) -> None:
    """Print the plan in short: the options with their stance, the anchors, where the report is."""
    from rimwright.cli.screen import output, plain_table

    console = output()
    console.print(f"{made.case_id}, {made.side} hip. Shown first: {made.planned_option}")
    table = plain_table("option", "stance", "anchors", "graft stock", "what to know")
    for item in made.options:
        stock = "–" if item.graft is None else f"{item.graft.stock_length_mm:.0f} mm"
        first = item.cautions[0] if item.cautions and not item.anchors else ""
        table.add_row(
            str(item.option.name), str(item.option.stance), str(len(item.anchors)), stock, first
        )
    console.print(table)
    if made.anchors:
        anchors = plain_table("hour", "drill", "depth", "to joint", "cone", "portal", "status")
        for anchor in made.anchors:
            anchors.add_row(
                f"{anchor.hour:.2f}",
                f"{anchor.drill_mm:g} mm",
                f"{anchor.depth_mm:g} mm",
                f"{anchor.clearance_joint_mm:.1f} mm",
                f"{anchor.half_angle_deg:.0f}°",
                anchor.portal or "–",
                f"{anchor.status}{': ' + anchor.reason if anchor.reason else ''}",
            )
        console.print(anchors)
    console.print(f"The report: {files.report}", soft_wrap=True)
