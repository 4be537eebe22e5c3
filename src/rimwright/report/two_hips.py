"""Two hips of one person side by side: rings, measurements, stances, differences, doubts."""

from __future__ import annotations

from rimwright.anatomy import Measurement, Plan, Side, Status
from rimwright.errors import CaseRefusal
from rimwright.evidence import EvidenceTable
from rimwright.report.appendix import cited_in, evidence_section
from rimwright.report.blocks import (
    Block,
    Cell,
    Document,
    Facts,
    Items,
    Paragraph,
    Picture,
    Section,
    Table,
    Tone,
)
from rimwright.report.colleague_page import anchor_words, bone_words, graft_words
from rimwright.report.figure import Figure, group
from rimwright.report.first_page import IDENTIFYING, blocking_facts, doubts_that_matter, sentence
from rimwright.report.markup import join
from rimwright.report.ring import draw_ring
from rimwright.report.scan_words import source_facts
from rimwright.report.wording import (
    MEASUREMENT_NAMES,
    STANCE_SHAPES,
    STATUS_SHAPES,
    measured,
    number,
)

SPREADS_APART = 2.0
"""A difference is called one from this many standard deviations of the difference on: the usual two
(common practice)."""
DOUBTS_SHOWN = 4
"""More doubts of a hip than these are counted."""
ROADS = 5
"""The statements on roads stand first."""
SHARED_FACTS = ("age", "sex")
"""Facts that two hips of one person share."""


def compose_two_hips(
    left: Plan,
    right: Plan,
    *,
    evidence: EvidenceTable,
    issued_on: str = "",
    mark: str = "draft",
) -> Document:
    """
    Blocks of the page of both hips.

    Parameters
    ----------
    left, right
        Plans of one person.
    evidence
        Rows and settings in force.
    issued_on
        Date as it shall be printed; no clock is read.
    mark
        Word across the page; '' for none.

    Returns
    -------
    Document
        The right hip stands on the left, as one faces the person.

    Raises
    ------
    CaseRefusal
        A plan is of the wrong side, or the two name different persons.
    """
    check_pair(left, right)
    first = _front(left, right)
    cited = cited_in(first)
    sections: tuple[Section, ...] = ()
    if cited:
        sections = (evidence_section(cited, evidence=evidence),)
    same_case = left.case_id == right.case_id
    return Document(
        title="Two hips of one person",
        side="RIGHT hip and LEFT hip",
        case_id=left.case_id if same_case else f"{right.case_id} (right), {left.case_id} (left)",
        version=max(left.version, right.version),
        version_words=f"versions {right.version} (right), {left.version} (left)",
        issued_on=issued_on,
        mark=mark,
        first=first,
        sections=sections,
        first_title="The right hip on the left, as one faces the person",
    )


def check_pair(left: Plan, right: Plan) -> None:
    """
    Refuse two plans that are not the two hips of one person.

    Parameters
    ----------
    left, right
        Plans.

    Raises
    ------
    CaseRefusal
        A plan is of the wrong side, or the two name different persons.
    """
    for plan, side in ((left, Side.LEFT), (right, Side.RIGHT)):
        if plan.side is not side:
            raise CaseRefusal(
                f"the plan given as the {side} hip is of the other side (got {plan.side}, "
                f"need {side})",
                f"case {plan.case_id}",
                "Give one plan of each side, the left one first",
            )
    if left.person and right.person and left.person != right.person:
        raise _different("person", left)
    for name, value in left.patient.items():
        identifies = any(word in name.lower() for word in IDENTIFYING)
        if identifies and name in right.patient and right.patient[name] != value:
            raise _different(name, left)


def _different(name: str, left: Plan) -> CaseRefusal:
    """Two persons; what they are called is not repeated in a message."""
    return CaseRefusal(
        f"the two plans name different persons (got two values of '{name}', need one)",
        f"case {left.case_id}",
        "Give the two hips of one person",
    )


def _front(left: Plan, right: Plan) -> tuple[Block, ...]:
    """Everything but the evidence."""
    blocks: list[Block] = [
        Facts(pairs=_facts(left, right)),
        Picture(figure=draw_both(left, right), caption=_caption(left, right)),
        _plans(left, right),
        _measurements(left, right),
        Paragraph(cell=Cell(text=DIFFERENCE_NOTE), tone=Tone.NOTE),
    ]
    for plan in (right, left):
        against, doubts = blocking_facts(plan), doubts_that_matter(plan)
        shown = (*against, *doubts[:DOUBTS_SHOWN])
        if len(doubts) > DOUBTS_SHOWN:
            shown = (
                *shown,
                Cell(text=f"{len(doubts) - DOUBTS_SHOWN} more in its report.", mark="–"),
            )
        title = f"Doubts, {plan.side.value} hip"
        blocks.append(Items(title=title, items=shown or (Cell(text="None was raised."),)))
    said = _not_alike(left, right)
    if said:
        blocks.append(Items(title="The two plans do not agree", items=said))
    return tuple(blocks)


DIFFERENCE_NOTE = (
    "Difference: right minus left. 'Within the spread' is a difference of less than "
    f"{SPREADS_APART:g} standard deviations of both readings together; it does not say that the "
    "hips are alike, and a difference beyond the spread does not say which one is ill."
)


def draw_both(left: Plan, right: Plan) -> Figure:
    """
    Both rings in one drawing, each seen from its own lateral side.

    Parameters
    ----------
    left, right
        Plans.

    Returns
    -------
    Figure
        Named two-rings; the right hip on the left.
    """
    one, two = draw_ring(right), draw_ring(left)
    gap = 24.0
    return Figure(
        name="two-rings",
        title="Both rims, each seen from its own lateral side",
        description=f"Right hip: {one.description} Left hip: {two.description}",
        width=one.width + gap + two.width,
        height=max(one.height, two.height),
        body=join([one.body, group(two.body, transform=f"translate({one.width + gap:g} 0)")]),
    )


def _caption(left: Plan, right: Plan) -> str:
    """How the two rings are to be read."""
    text = "Anterior lies to the right of the right hip and to the left of the left hip."
    if any(plan.hip is None or plan.hip.rim is None for plan in (left, right)):
        text += " A circle stands for a rim that was not measured."
    return text + " Each ring has its own scale where its drills reach deeper."


def _facts(left: Plan, right: Plan) -> tuple[tuple[str, str], ...]:
    """What names the person; a line where nothing does."""
    named = [
        (name, str(value))
        for name, value in {**right.patient, **left.patient}.items()
        if any(word in name.lower() for word in IDENTIFYING)
    ]
    person = left.person or right.person
    if person and not named:
        named = [("Person", person)]
    shared = [(n, left.patient[n]) for n in SHARED_FACTS if n in left.patient]
    cases = [("Right hip", f"case {right.case_id}"), ("Left hip", f"case {left.case_id}")]
    source = source_facts(left) if left.source == right.source else ()
    return (*(named or [("Name", "                    ")]), *shared, *cases, *source)


def _measured_in(plan: Plan) -> str:
    """The scan of a plan, or that there is none."""
    return "surfaces of the bones" if plan.source is None else str(plan.source)


def _plans(left: Plan, right: Plan) -> Table:
    """Stances and the plan shown first, side by side."""
    rows = [
        (
            Cell(text="Shown first", is_strong=True),
            Cell(text=right.planned_option),
            Cell(text=left.planned_option),
        )
    ]
    names = dict.fromkeys(item.option.name for plan in (right, left) for item in plan.options)
    rows += [
        (Cell(text=name.capitalize(), is_strong=True), _stance(right, name), _stance(left, name))
        for name in names
    ]
    roads = dict.fromkeys(_road(s.statement) for p in (right, left) for s in p.candidacy[:ROADS])
    rows += [
        (Cell(text=road, is_strong=True), _statement(right, road), _statement(left, road))
        for road in roads
    ]
    for name, words in (("Anchors", anchor_words), ("Graft", graft_words), ("Bone", bone_words)):
        rows.append(
            (
                Cell(text=name, is_strong=True),
                Cell(text=_without(name, words(right))),
                Cell(text=_without(name, words(left))),
            )
        )
    return Table(
        caption="Plans and stances",
        header=("", "Right hip", "Left hip"),
        rows=tuple(rows),
        wide=(1, 2),
    )


def _without(name: str, words: str) -> str:
    """A line without the name its row has already."""
    return sentence(words.removeprefix(f"{name}:").strip())


def _stance(plan: Plan, name: str) -> Cell:
    """Stance of an option in one hip."""
    for item in plan.options:
        if item.option.name == name:
            return Cell(text=item.option.stance.value, mark=STANCE_SHAPES[item.option.stance])
    return Cell(text="not listed")


def _road(statement: str) -> str:
    """The road a statement speaks of."""
    road, colon, _ = statement.partition(":")
    return road if colon else "Arthroscopy and other roads"


def _statement(plan: Plan, road: str) -> Cell:
    """What a plan says of a road."""
    for item in plan.candidacy[:ROADS]:
        if _road(item.statement) == road:
            text = item.statement.partition(":")[2].strip() or item.statement
            return Cell(
                text=f"{sentence(text).rstrip('.')} ({item.stance.value}).",
                mark=STANCE_SHAPES[item.stance],
                evidence=item.evidence,
            )
    return Cell(text="nothing said")


def _measurements(left: Plan, right: Plan) -> Table:
    """Every measurement of both hips and their difference."""
    rows = []
    for key, name in MEASUREMENT_NAMES.items():
        one, two = _reading(right, key), _reading(left, key)
        rows.append(
            (
                Cell(text=name, is_strong=True),
                _value(one),
                _value(two),
                Cell(text=difference_words(one, two)),
            )
        )
    return Table(
        caption="Measurements",
        header=("Measure", "Right hip", "Left hip", "Difference"),
        rows=tuple(rows),
        wide=(0, 3),
    )


def _reading(plan: Plan, key: str) -> Measurement | None:
    """A measurement of a hip; None where no hip was measured."""
    return None if plan.hip is None else plan.hip.measurements.get(key)


def _value(found: Measurement | None) -> Cell:
    """A measurement with its spread and state."""
    if found is None:
        return Cell(text="not measured")
    if found.value is None:
        return Cell(text="refused", mark=STATUS_SHAPES[Status.REFUSED])
    spread = f" ± {number(found.spread, found.unit)}" if found.spread is not None else ""
    return Cell(text=measured(found) + spread, mark=STATUS_SHAPES[found.status])


def difference_words(right: Measurement | None, left: Measurement | None) -> str:
    """
    The difference of two readings, and whether it is within their spread.

    Parameters
    ----------
    right, left
        Readings; None where there is none.

    Returns
    -------
    str
        A dash where either is missing.
    """
    if right is None or left is None or right.value is None or left.value is None:
        return "–"
    apart = right.value - left.value
    shown = number(apart, right.unit)
    if right.unit != left.unit:
        return "units differ"
    if right.method != left.method:
        return f"{shown}, taken by different methods"
    if right.spread is None or left.spread is None:
        return f"{shown}, spread not made"
    limit = SPREADS_APART * (right.spread**2 + left.spread**2) ** 0.5
    return f"{shown}, {'within' if abs(apart) <= limit else 'beyond'} the spread"


def _not_alike(left: Plan, right: Plan) -> tuple[Cell, ...]:
    """What one person cannot have twice, or what makes the two readings differ by method."""
    mark = STATUS_SHAPES[Status.CAUTION]
    said = [
        f"{name}: {right.patient[name]} in the plan of the right hip, {left.patient[name]} in that "
        "of the left"
        for name in SHARED_FACTS
        if name in left.patient
        and name in right.patient
        and left.patient[name] != right.patient[name]
    ]
    if left.hip is not None and right.hip is not None:
        one, two = right.hip.frame.reference, left.hip.frame.reference
        if one is not two:
            said.append(f"pelvic frame: {one.value} on the right, {two.value} on the left")
        if left.source != right.source:
            said.append(
                f"measured in: {_measured_in(right)} on the right, {_measured_in(left)} on the left"
            )
    changed = sorted(
        name
        for name in {*left.settings, *right.settings}
        if left.settings.get(name) != right.settings.get(name) and name != "issued_on"
    )
    if changed:
        said.append(f"settings that differ: {', '.join(changed)}")
    return tuple(Cell(text=sentence(text), mark=mark) for text in said)
