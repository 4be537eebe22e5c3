"""Work on bone in the report: rim trim with its limits and published figures, and the cam."""

from __future__ import annotations

import re

from rimwright.anatomy import CamPlan, CoverageLimit, Plan, Status, TrimEffect, spoken_hour
from rimwright.report.blocks import (
    Block,
    Cell,
    Facts,
    Heading,
    Items,
    Paragraph,
    Picture,
    Section,
    Table,
    Tone,
)
from rimwright.report.cam_charts import draw_cam_contour, draw_cam_hours
from rimwright.report.first_page import sentence
from rimwright.report.trim_charts import draw_trim_hours, draw_trim_steps
from rimwright.report.wording import MEASUREMENT_NAMES, STATUS_SHAPES, count_of, number, plain

GEOMETRY = (
    "Worked out on the bone of this hip alone: what the labrum covers and how the joint bears load "
    "are not in it."
)
ROWS_NAMED = re.compile(r"\s*\(([a-z]+:[A-Z]?[\d.]+(?:, [a-z]+:[A-Z]?[\d.]+)*)\)\.?$")
"""Rows of evidence in brackets at the end of a sentence."""
STEPS_CAPTION = (
    "The same arcs taken to each depth. Dashed: the limit in force; upright line: what is planned."
)


def bony_section(plan: Plan) -> Section | None:
    """Rim and cam; None where neither was worked out."""
    blocks: list[Block] = []
    if plan.trim_effect is not None:
        blocks += _trim(plan.trim_effect)
    if plan.cam_plan is not None:
        blocks += _cam(plan.cam_plan)
    if not blocks:
        return None
    return Section(key="bone", title="Work on bone", blocks=tuple(blocks))


def with_rows(text: str, *, mark: str = "") -> Cell:
    """A sentence whose rows, named in its last brackets, are linked to the evidence."""
    named = ROWS_NAMED.search(text)
    if named is None:
        return Cell(text=sentence(text), mark=mark)
    return Cell(
        text=sentence(text[: named.start()]), mark=mark, evidence=tuple(named[1].split(", "))
    )


def _trim(effect: TrimEffect) -> list[Block]:
    """What is taken from the rim, what it does, what papers say."""
    blocks: list[Block] = [Heading(text="Rim trim")]
    asked = [trim for trim in effect.trims if trim.depth_mm > 0.0]
    done = "; ".join(f"{trim.sector} to {number(trim.depth_mm, 'mm')}" for trim in asked)
    planned = Cell(text=f"Planned: {done or 'nothing is taken'}.", is_strong=True)
    blocks.append(Paragraph(cell=planned))
    mark = STATUS_SHAPES[Status.CAUTION]
    warned = tuple(with_rows(text, mark=mark) for text in effect.warnings)
    if warned:
        blocks.append(Items(items=warned))
    blocks.append(Paragraph(cell=Cell(text=GEOMETRY), tone=Tone.NOTE))
    for figure, caption in (
        (draw_trim_steps(effect), STEPS_CAPTION),
        (draw_trim_hours(effect), "The depth tapers to nothing at both ends of an arc."),
    ):
        if figure is not None:
            blocks.append(Picture(figure=figure, caption=caption))
    if effect.limits:
        blocks.append(_limits(effect))
    if asked:
        blocks.append(_before_after(effect))
    if effect.published:
        blocks.append(_published(effect))
    return blocks


def _limits(effect: TrimEffect) -> Table:
    """Limits in force, where this hip stands, and how much room it has."""
    return Table(
        caption="Limits of coverage in force",
        header=("Measure", "Limit", "Before", "After", "Limit met at", "Kept", "Rests on"),
        rows=tuple(_limit(item, unit=_unit(effect, item.measurement)) for item in effect.limits),
        wide=(0, 6),
    )


def _unit(effect: TrimEffect, key: str) -> str:
    """Unit of a measure."""
    return effect.before[key].unit if key in effect.before else "deg"


def _limit(item: CoverageLimit, *, unit: str) -> tuple[Cell, ...]:
    """One limit."""
    kept = {True: ("yes", Status.OK), False: ("no", Status.CAUTION), None: ("not known", None)}
    word, status = kept[item.is_kept]
    room = number(item.room_mm, "mm") if item.room_mm is not None else "no depth tried"
    return (
        Cell(
            text=MEASUREMENT_NAMES.get(item.measurement, plain(item.measurement)),
            is_strong=True,
            detail=plain(item.setting),
            detail_name="setting",
        ),
        Cell(text=number(item.limit, unit)),
        Cell(text=number(item.before, unit)),
        Cell(text=number(item.after, unit)),
        Cell(text=room),
        Cell(text=word, mark=STATUS_SHAPES[status] if status else ""),
        Cell(text=item.status, evidence=item.evidence),
    )


def _before_after(effect: TrimEffect) -> Table:
    """Every measure that the trim changes."""
    rows = []
    for key, before in effect.before.items():
        after = effect.after.get(key, before)
        change = (
            number(after.value - before.value, before.unit)
            if before.value is not None and after.value is not None
            else "–"
        )
        rows.append(
            (
                Cell(text=MEASUREMENT_NAMES.get(key, plain(key)), is_strong=True),
                Cell(text=number(before.value, before.unit)),
                Cell(text=number(after.value, after.unit)),
                Cell(text=change),
                Cell(
                    text=after.status.value + (f": {after.reason}" if after.reason else ""),
                    mark=STATUS_SHAPES[after.status],
                ),
            )
        )
    return Table(
        caption="Coverage before, and predicted after",
        header=("Measure", "Before", "After", "Change", "Status"),
        rows=tuple(rows),
        wide=(0, 4),
        is_folded=True,
    )


def _published(effect: TrimEffect) -> Table:
    """What papers say of the same depth, as text with how it was read."""
    rows = tuple(
        (
            Cell(text=sentence(item.statement), evidence=(item.evidence,)),
            Cell(
                text=number(item.change, _unit(effect, item.measurement))
                if item.change is not None
                else "no number"
            ),
            Cell(text=_own_change(effect, item.measurement)),
            Cell(text=item.status),
        )
        for item in effect.published
    )
    return Table(
        caption="Published figures at this depth, beside this hip's geometry",
        header=("What was published", "Published\nchange", "This hip", "How it was read"),
        rows=rows,
        wide=(0, 3),
    )


def _own_change(effect: TrimEffect, key: str) -> str:
    """Change of one measure by geometry."""
    before, after = effect.before.get(key), effect.after.get(key)
    if before is None or after is None or before.value is None or after.value is None:
        return "–"
    return number(after.value - before.value, before.unit)


def _cam(cam: CamPlan) -> list[Block]:
    """What is taken from the neck, and what it leaves."""
    share = number(100.0 * cam.neck_share_removed, "%")
    where = "" if cam.neck_share_hour is None else f" at {spoken_hour(cam.neck_share_hour)}"
    target = f"alpha {number(cam.target_alpha_deg, 'deg')}"
    n_hours = count_of(len(cam.resected_hours), "femoral hour")
    blocks: list[Block] = [
        Heading(text="Cam"),
        Facts(
            pairs=(
                ("Target", f"{target} (from {plain(cam.target_source)})"),
                ("Bone taken at", n_hours),
                ("Largest share of the neck's width", f"{share}{where}"),
                ("Volume", number(cam.volume_mm3, "mm³", digits=0)),
            )
        ),
    ]
    mark = STATUS_SHAPES[Status.CAUTION]
    said = tuple(with_rows(text, mark=mark) for text in cam.cautions)
    if said:
        blocks.append(Items(items=said))
    for figure, caption in (
        (draw_cam_hours(cam), "Radial planes through the neck axis. Dashed: the target in force."),
        (draw_cam_contour(cam), "The plane in which most is taken, to scale."),
    ):
        if figure is not None:
            blocks.append(Picture(figure=figure, caption=caption))
    if cam.other_targets:
        others = tuple(with_rows(text) for text in cam.other_targets)
        blocks.append(Items(title="Other cut-offs in print", items=others))
    return blocks
