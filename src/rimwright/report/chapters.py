"""What stands behind page one: options, candidacy, measurements, corridors, work, evidence."""

from __future__ import annotations

from rimwright.anatomy import (
    Plan,
    PlannedOption,
    Statement,
    Status,
    spoken_hour,
)
from rimwright.report.blocks import (
    Block,
    Cell,
    Heading,
    Items,
    Paragraph,
    Picture,
    Section,
    Table,
    Tone,
)
from rimwright.report.first_page import anchor_table, graft_sentence, sentence
from rimwright.report.labrum_words import unknown_words, whole_words
from rimwright.report.option_rows import draw_options
from rimwright.report.ring import draw_ring
from rimwright.report.wording import (
    STANCE_SHAPES,
    STATUS_SHAPES,
    number,
    plain,
)


def dial_section(plan: Plan) -> Section:
    """The ring and the labrum map in words."""
    rows = [
        (
            Cell(text=str(found.sector), is_strong=True),
            Cell(text=whole_words(found)),
            Cell(text=unknown_words(found) or "nothing"),
            Cell(text=found.reference.value if found.reference else "not stated"),
        )
        for found in plan.labrum.sectors
    ]
    rows += [
        (
            Cell(text=str(sector), is_strong=True),
            Cell(text="nothing known; that is not the same as healthy"),
            Cell(text="everything"),
            Cell(text="–"),
        )
        for sector in plan.labrum.unknown_sectors()
    ]
    rim = plan.hip.rim if plan.hip else None
    caption = (
        "Seen from lateral: labrum inside the rim, bone outside; the same picture as the strip."
    )
    if rim is not None:
        caption += (
            f" Hours are counted from the {rim.reference.value}; their zero is uncertain by "
            f"{number(rim.hour_doubt * 60, 'min', digits=0)} of the clock (1 SD)."
        )
    table = Table(
        caption="Labrum map",
        header=("Sector", "Found", "Not known", "Hours counted from"),
        rows=tuple(rows),
        wide=(1, 2),
    )
    return Section(
        key="dial",
        title="Labrum by the clock",
        blocks=(Picture(figure=draw_ring(plan), caption=caption, is_narrow=True), table),
    )


def options_section(plan: Plan) -> Section:
    """The five options, none of them scored."""
    blocks: list[Block] = []
    figure = draw_options(plan)
    if figure is None:
        blocks.append(Paragraph(cell=Cell(text="No options were listed.")))
    else:
        caption = "Same hours in every row. Pegs: anchors, filled where ok, open where not."
        blocks.append(Picture(figure=figure, caption=caption))
        blocks.append(Paragraph(cell=Cell(text=STANCE_NOTE), tone=Tone.NOTE))
    for item in plan.options:
        blocks += _option(plan, item)
    return Section(key="options", title="Options", blocks=tuple(blocks))


N_ROADS = 5
"""No operation, arthroscopy, osteotomy of pelvis and of femur, arthroplasty: always first."""
STANCE_NOTE = (
    "The stance says what the evidence at hand says of an option in this hip. It is not a score, "
    "options are not ranked, and no operation at all is one of the roads."
)


def _option(plan: Plan, item: PlannedOption) -> list[Block]:
    """One option with reasons, actions, graft and doubts."""
    option = item.option
    title = f"{option.name}: {option.stance.value}"
    blocks: list[Block] = [Heading(text=title, mark=STANCE_SHAPES[option.stance])]
    lines = [Cell(text=sentence(r.text), evidence=r.evidence) for r in option.reasons]
    done = "; ".join(f"{a.sector}: {a.action.value}" for a in option.actions)
    lines.append(Cell(text=f"Actions: {done}." if done else "Actions: none."))
    lines.append(Cell(text=graft_sentence(item)))
    if item.graft is not None:
        lines += [
            Cell(
                text=f"Allowance of {number(a.length_mm, 'mm')}: {sentence(a.reason)}",
                evidence=a.evidence,
            )
            for a in item.graft.allowances
        ]
    mark = STATUS_SHAPES[Status.CAUTION]
    lines += [Cell(text=sentence(text), mark=mark) for text in item.cautions]
    blocks.append(Items(items=tuple(lines)))
    if item.anchors and option.name != plan.planned_option:
        blocks.append(anchor_table(item, plan=plan, is_folded=True))
    return blocks


def candidacy_section(plan: Plan) -> Section:
    """Whether arthroscopy is the right road; other roads beside it."""
    roads = tuple(_statement(item) for item in plan.candidacy[:N_ROADS])
    rest = tuple(_statement(item) for item in plan.candidacy[N_ROADS:])
    blocks: tuple[Block, ...] = (Items(items=roads),)
    if rest:
        blocks = (*blocks, Items(title="Cut-offs one by one, and what is not known", items=rest))
    if not roads:
        blocks = (Paragraph(cell=Cell(text="Nothing is known that candidacy could be judged by.")),)
    return Section(key="candidacy", title="Candidacy and other roads", blocks=blocks)


def _statement(item: Statement) -> Cell:
    """A statement with its stance in shape and word."""
    return Cell(
        text=f"{sentence(item.statement).rstrip('.')} ({item.stance.value}).",
        mark=STANCE_SHAPES[item.stance],
        evidence=item.evidence,
    )


def work_section(plan: Plan) -> Section:
    """Order of work and equipment."""
    blocks: list[Block] = []
    for place, order in enumerate(plan.orders_of_work):
        word = "in force" if place == 0 else "the other way"
        blocks.append(Heading(text=f"{order.name} ({word})"))
        blocks.append(Items(items=tuple(Cell(text=s) for s in order.steps), is_numbered=True))
        blocks.append(Paragraph(cell=Cell(text=f"From: {order.source}."), tone=Tone.NOTE))
    if not plan.orders_of_work:
        blocks.append(Paragraph(cell=Cell(text="No order of work was given.")))
    if plan.rim_trim and plan.trim_effect is None:  # else told under Work on bone
        names = list(dict.fromkeys(name for trim in plan.rim_trim for name in trim))
        rows = tuple(
            tuple(Cell(text=_trimmed(name, trim.get(name))) for name in names)
            for trim in plan.rim_trim
        )
        header = tuple(plain(name) for name in names)
        blocks.append(Table(caption="Rim trim", header=header, rows=rows))
    rows = tuple(
        (
            Cell(text=item.item, is_strong=True),
            Cell(text=str(item.count)),
            Cell(text=item.note or "–"),
        )
        for item in plan.equipment_list
    )
    if rows:
        header = ("Item", "Count", "Note")
        blocks.append(Table(caption="Equipment", header=header, rows=rows, wide=(0, 2)))
    return Section(key="work", title="Order of work and equipment", blocks=tuple(blocks))


def _trimmed(name: str, value: float | None) -> str:
    """One number of a rim trim."""
    if value is None:
        return "–"
    return spoken_hour(value) if name.endswith("hour") else f"{value:g}"
