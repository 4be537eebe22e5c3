"""The page for the talk with the patient: plain words, every road side by side, room to write.

It says what is done, what reports say and what nobody knows. It does not advise, rank or promise,
and a number from a report stands only beside the number of its source.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from rimwright.anatomy import Plan, Stance
from rimwright.evidence import EvidenceTable
from rimwright.report.blocks import (
    Block,
    Cell,
    Document,
    Facts,
    Items,
    Paragraph,
    Picture,
    Section,
    Space,
    Table,
    Tone,
)
from rimwright.report.clinic_words import plain_record
from rimwright.report.first_page import IDENTIFYING
from rimwright.report.plain_ring import LEAST_HEIGHT, draw_plain_ring
from rimwright.report.plain_words import (
    PlainRoad,
    plain_questions,
    plain_reading,
    plain_roads,
    plain_stance,
    stance_of_road,
)
from rimwright.report.wording import side_words

LEAD = "For the talk with your surgeon about your {side}. It does not advise or promise anything."
JOINT = (
    "Your hip is a ball in a socket. A ring of firm, rubbery tissue, the labrum, runs round the "
    "edge of the socket. It helps to close the joint and to keep the ball steady. This page calls "
    "it the ring. The five choices with the ring are keyhole surgery (arthroscopy): small cuts, a "
    "camera. In your hip, of keyhole surgery: {stance}"
)
CAPTION = (
    "The width of the ring is the same all round in this picture: it is a drawing, not a scan."
)
NO_OPERATION, KEYHOLE = "no operation", "arthroscopy"
OTHER_ROADS = ("osteotomy of the pelvis", "osteotomy of the femur", "arthroplasty")
"""Names of roads in the plan."""
STAYS_OPEN = "Stays open to you."
NOTHING_AGAINST = "Nothing known speaks against it."
BROUGHT_UP = "Something in your hip or history brings it up. Ask what."
NOT_BROUGHT_UP = "Nothing found in this hip brings it up."
NOTHING_SAID = "nothing that is known"
"""Words of a statement on a road that nothing speaks for or against."""
CHOICES = "Your choices, in no order of worth. Numbers in [ ]: list of reports on the back."
TRADE_WORD = "doctors' word for it"
N_LINES = 3
"""Ruled lines on page one; the back of the sheet has more."""
LINE_HEIGHT = 37.0
"""Height of a ruled line in the units of the drawing: 7 mm of a page 186 mm wide."""
WHAT_IT_IS = (
    "This page was made with an aid for planning. The aid is not a medical device, and nobody has "
    "tested whether choices made with it turn out better. Your surgeon has to check every "
    "measurement on your images."
)


def compose_patient_page(
    plan: Plan, *, evidence: EvidenceTable, issued_on: str = "", mark: str = "draft"
) -> Document:
    """
    Blocks of the page for the patient.

    Parameters
    ----------
    plan
        What casework computed; what is missing is said to be not known.
    evidence
        Rows and settings in force.
    issued_on
        Date as it shall be printed; no clock is read.
    mark
        Word across the page; '' for none.

    Returns
    -------
    Document
        The page, and on its back the sources and more room to write.
    """
    roads = plain_roads()
    sources = tuple(dict.fromkeys(id_ for road in roads for id_ in road.evidence))
    return Document(
        title=f"Your {plan.side.value} hip: what could be done",
        side=side_words(plan.side),
        case_id=plan.case_id,
        version=plan.version,
        issued_on=issued_on,
        mark=mark,
        first=_front(plan, roads, sources),
        sections=(_back(sources, evidence),),
        first_title="What was found, and what could be done",
        is_plain=True,
    )


def _front(plan: Plan, roads: Sequence[PlainRoad], sources: Sequence[str]) -> tuple[Block, ...]:
    """Page one."""
    figure = draw_plain_ring(plan)
    blocks: list[Block] = [
        Facts(pairs=_identity(plan)),
        Paragraph(cell=Cell(text=LEAD.format(side=side_words(plan.side))), tone=Tone.LEAD),
        Paragraph(cell=Cell(text=JOINT.format(stance=_lowered(_in_your_hip(plan, KEYHOLE))))),
        Picture(figure=figure, caption=CAPTION),
    ]
    told = plain_record(plan.clinic)
    if told:
        blocks.append(Paragraph(cell=Cell(text="You told us: " + " ".join(told))))
    blocks.append(_choices(plan, roads, sources))
    # What is told above takes room; the back of the sheet has more lines.
    crowded = bool(told) + math.ceil(max(figure.height - LEAST_HEIGHT, 0.0) / LINE_HEIGHT)
    n_lines = max(N_LINES - crowded, 1)
    blocks.append(Space(title="Your notes and questions", n_lines=n_lines))
    return tuple(blocks)


def _identity(plan: Plan) -> tuple[tuple[str, str], ...]:
    """Case, side and what names the person; a line where nothing does."""
    pairs = [("Case", plan.case_id), ("Side", f"{plan.side.value} hip")]
    named = [
        (name, str(value))
        for name, value in plan.patient.items()
        if any(word in name.lower() for word in IDENTIFYING)
    ]
    if not named and plan.person:
        named = [("Person", plan.person)]
    return (*pairs, *(named or [("Name", "                    ")]))


def _lowered(words: str) -> str:
    """A sentence that goes on after a colon."""
    return words[0].lower() + words[1:]


def _choices(plan: Plan, roads: Sequence[PlainRoad], sources: Sequence[str]) -> Table:
    """Every road, one row each; none stands out."""
    rows = tuple(
        (
            Cell(
                text=road.name,
                is_strong=True,
                detail=road.trade,
                detail_name=TRADE_WORD,
            ),
            Cell(text=road.done),
            Cell(text=road.known + _numbers(road.evidence, sources)),
            Cell(text=road.unknown),
            Cell(text=_in_your_hip(plan, road.key)),
        )
        for road in roads
    )
    return Table(
        caption=CHOICES,
        header=("Choice", "What is done", "What reports say", "What is not known", "In your hip"),
        rows=rows,
        wide=(0, 1, 2, 3, 4),
    )


def _numbers(ids: Sequence[str], sources: Sequence[str]) -> str:
    """Where in the list of sources the rows stand."""
    if not ids:
        return ""
    numbers = ", ".join(str(sources.index(id_) + 1) for id_ in ids)
    return f" [{numbers}]"


def _in_your_hip(plan: Plan, key: str) -> str:
    """The stance in plain words."""
    stance = stance_of_road(plan, key)
    texts = [s.statement.casefold() for s in plan.candidacy]
    said = [text for text in texts if text.startswith(f"{key}:")]
    is_silent = any(NOTHING_SAID in text for text in said)
    if key == NO_OPERATION and stance in (None, Stance.OPEN):
        return STAYS_OPEN
    if key == KEYHOLE and is_silent:
        return NOTHING_AGAINST
    if key in OTHER_ROADS and stance is Stance.OPEN:
        return NOT_BROUGHT_UP if is_silent else BROUGHT_UP
    return plain_stance(stance)


def _back(sources: Sequence[str], evidence: EvidenceTable) -> Section:
    """The back of the sheet: sources, what the page is, more room to write."""
    rows = []
    for number, id_ in enumerate(sources, 1):
        row = evidence.row(id_) if evidence.has_row(id_) else None
        rows.append(
            (
                Cell(text=str(number), is_strong=True),
                Cell(text=row.source if row else "no such row in the tables"),
                Cell(text=plain_reading(row.status) if row else "–"),
                Cell(text=id_),
            )
        )
    table = Table(
        caption="Where the reports come from",
        header=("Source", "Published as", "How we read it", "Surgeon's list"),
        rows=tuple(rows),
        wide=(1, 2),
    )
    return Section(
        key="sources",
        title="On the back",
        blocks=(
            table,
            Items(
                title="Questions you may want to ask",
                items=tuple(Cell(text=text) for text in plain_questions()),
            ),
            Items(title="What this page is", items=(Cell(text=WHAT_IT_IS),)),
            Space(title="More room for notes", n_lines=8),
        ),
    )
