"""`rimwright plan`: a case file in, a folder with the plan out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from rimwright.cli.bone_options import JsonOption
from rimwright.cli.screen import print_json, progress_bar, say, warn

if TYPE_CHECKING:
    from rimwright.anatomy import Plan
    from rimwright.casework import Case, ChosenHip, PlanFiles
    from rimwright.evidence import EvidenceTable


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Planned:
    """
    One plan that was written.

    Parameters
    ----------
    plan, files
        What was planned and where it stands.
    evidence
        Rows and settings it was made with.
    note
        What was reused, in a sentence.
    """

    plan: Plan
    files: PlanFiles
    evidence: EvidenceTable
    note: str = ""


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
            help="A hip.npz of an earlier plan of the same bones or scan: plans again without "
            "measuring. Left out, that of --out serves where nothing it was made from has changed."
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

    Writes plan.json, the report, a page for the patient, a page for colleagues, letters where the
    case asks for them, figures, scene.glb and hip.npz. A plan already in the folder is replaced
    only once the new one is whole. Of two cases each hip goes to OUT/left and OUT/right.

    Example: rimwright plan case.toml --out plan
    """
    dated = issued_on or today()
    if len(cases) > 2:
        raise typer.BadParameter("a person has two hips", param_hint="CASE")
    if len(cases) == 1:
        made = plan_into(cases[0], out, hip=hip, issued_on=dated)
        show([made], as_json=json)
        return
    if hip is not None:
        raise typer.BadParameter("of which side? plan one case at a time", param_hint="--hip")
    plan_both(cases[0], cases[1], out, issued_on=dated, as_json=json)


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


def plan_into(case: Path, out: Path, *, hip: Path | None, issued_on: str) -> Planned:
    """Plan a case file into a folder."""
    from rimwright.casework import read_case

    return plan_read(read_case(case), out, hip=hip, issued_on=issued_on)


def plan_read(
    read: Case,
    out: Path,
    *,
    hip: Path | None,
    issued_on: str,
    measured: ChosenHip | None = None,
) -> Planned:
    """Plan a case that is read into a folder; `measured` where its hip is at hand already."""
    from rimwright.casework import (
        hip_for_case,
        letter_templates,
        plan_case,
        plan_folder,
        write_plan,
    )
    from rimwright.casework.case_settings import settings_in_force

    plan_folder(out)
    letters = letter_templates(read)
    table = settings_in_force(read).table
    with progress_bar() as tell:
        chosen = measured or hip_for_case(
            read, given=hip, beside=out, progress=lambda done, stage: tell(0.45 * done, stage)
        )
        made = plan_case(
            read, hip=chosen.stored, progress=lambda done, stage: tell(0.45 + 0.2 * done, stage)
        )
        files = write_plan(
            made,
            out,
            stored=chosen.stored,
            evidence=table,
            issued_on=issued_on,
            letters=letters,
            progress=lambda done, stage: tell(0.65 + 0.35 * done, stage),
        )
    return Planned(plan=made, files=files, evidence=table, note=chosen.note)


def plan_both(first: Path, second: Path, out: Path, *, issued_on: str, as_json: bool) -> None:
    """Plan both hips of one person, each into its own folder, and set them side by side."""
    from rimwright.casework import (
        hips_for_both,
        letter_templates,
        plan_folder,
        read_case,
        two_hips,
    )
    from rimwright.casework.case_settings import settings_in_force
    from rimwright.report import write_two_hips

    pair = two_hips(read_case(first), read_case(second))
    plan_folder(out)
    for case in pair.cases:  # what can be refused at once is refused before anything is measured
        plan_folder(out / str(case.side))
        letter_templates(case)
        settings_in_force(case)
    with progress_bar() as tell:
        hips = hips_for_both(pair, beside=out, progress=tell)
    made = [
        plan_read(case, out / str(case.side), hip=None, issued_on=issued_on, measured=chosen)
        for case, chosen in zip(pair.cases, hips, strict=True)
    ]
    left, right = made
    page = write_two_hips(left.plan, right.plan, out, issued_on=issued_on, evidence=left.evidence)
    show(made, as_json=as_json)
    if not as_json:
        from rimwright.cli.screen import output

        output().print(f"Both hips: {page.html}", soft_wrap=True)


def show(made: Sequence[Planned], *, as_json: bool) -> None:
    """Say what came of one plan, or of two."""
    from rimwright.casework import plan_document

    for item in made:
        if item.note:
            say(item.note)
        warn(item.plan.cautions)
    if as_json:
        documents = [plan_document(item.plan) for item in made]
        print_json(documents[0] if len(documents) == 1 else documents)
        return
    for item in made:
        show_plan(item.plan, item.files)


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
    if made.worse_plan is not None:
        for sentence in made.worse_plan.says:
            console.print(f"{sentence}.")
    console.print(f"The report: {files.report}", soft_wrap=True)
