"""The page for colleagues: the plan in five lines, reasons with evidence, measurements, doubts."""

from __future__ import annotations

from rimwright.anatomy import Action, AnchorKind, Plan, Stance, Statement, hours_after, spoken_hour
from rimwright.evidence import EvidenceTable
from rimwright.report.appendix import cited_in, evidence_section
from rimwright.report.blocks import (
    Block,
    Cell,
    Document,
    Facts,
    Items,
    Paragraph,
    Section,
    Table,
    Tone,
)
from rimwright.report.clinic_words import (
    care_words,
    examination_words,
    injection_words,
    operation_words,
    score_words,
    symptom_words,
)
from rimwright.report.first_page import (
    blocking_facts,
    doubts_that_matter,
    lead,
    patient_facts,
    sentence,
)
from rimwright.report.scan_words import source_facts
from rimwright.report.wording import (
    MEASUREMENT_NAMES,
    STANCE_SHAPES,
    STATUS_SHAPES,
    count_of,
    measured,
    number,
    side_words,
    spread_of,
)

DOUBTS_SHOWN = 3
"""More doubts than these are counted: the report has them all."""
REASONS_SHOWN = 4
"""More reasons than these are counted."""
LONG_STATEMENT = 160
"""Letters; a longer statement on an open road is left to the report."""
ROADS_SHOWN = 5
"""No operation, arthroscopy, osteotomy of pelvis and of femur, arthroplasty: always first."""


def compose_colleague_page(
    plan: Plan, *, evidence: EvidenceTable, issued_on: str = "", mark: str = "draft"
) -> Document:
    """
    Blocks of the page for colleagues.

    Parameters
    ----------
    plan
        What casework computed.
    evidence
        Rows and settings in force.
    issued_on
        Date as it shall be printed; no clock is read.
    mark
        Word across the page; '' for none.

    Returns
    -------
    Document
        One page, and behind it the rows it cites.
    """
    first = _front(plan)
    sections: tuple[Section, ...] = ()
    cited = cited_in(first)
    if cited:
        sections = (evidence_section(cited, evidence=evidence),)
    return Document(
        title=f"For colleagues: {side_words(plan.side)}",
        side=side_words(plan.side),
        case_id=plan.case_id,
        version=plan.version,
        issued_on=issued_on,
        mark=mark,
        first=first,
        sections=sections,
        first_title="Measurements, reasons, plan and doubts",
    )


def _front(plan: Plan) -> tuple[Block, ...]:
    """Page one."""
    blocks: list[Block] = [Facts(pairs=(*patient_facts(plan), *source_facts(plan)))]
    if plan.clinic is not None:
        told = " ".join(f"{name}: {words}." for name, words in clinic_pairs(plan))
        blocks.append(Paragraph(cell=Cell(text=told or "The clinic's record is empty.")))
    blocks.append(Items(title="Plan in five lines", items=five_lines(plan), is_numbered=True))
    blocks.append(measurement_table(plan))
    notes = status_notes(plan)
    if notes:
        blocks.append(Paragraph(cell=Cell(text=notes), tone=Tone.NOTE))
    blocks.append(Items(title="Reasons", items=_reasons(plan)))
    blocks.append(Items(title="Roads beside each other", items=_roads(plan)))
    roads = {item.statement for item in plan.candidacy[:ROADS_SHOWN]}
    against = tuple(cell for cell in blocking_facts(plan) if cell.text not in roads)
    if against:
        blocks.append(Items(title="Speaks against it, or stops it", items=against))
    doubts = doubts_that_matter(plan)
    shown = doubts[:DOUBTS_SHOWN]
    if len(doubts) > len(shown):
        shown = (*shown, Cell(text=f"{len(doubts) - len(shown)} more in the report.", mark="–"))
    blocks.append(Items(title="Doubts", items=shown or (Cell(text="None was raised."),)))
    return tuple(blocks)


def clinic_pairs(plan: Plan) -> tuple[tuple[str, str], ...]:
    """The clinic's record as pairs; what nobody recorded is left out."""
    clinic = plan.clinic
    pairs = (
        ("Symptoms", symptom_words(clinic)),
        ("Examination", "; ".join(examination_words(clinic))),
        ("Injection", "; ".join(injection_words(clinic))),
        ("Care without operation", "; ".join(care_words(clinic))),
        ("Scores", "; ".join(score_words(clinic))),
        ("Earlier operations", "; ".join(operation_words(clinic))),
    )
    return tuple((name, words) for name, words in pairs if words)


def five_lines(plan: Plan) -> tuple[Cell, ...]:
    """What is planned: labrum, anchors, graft, bone, and the case that is worse."""
    return (
        lead(plan),
        Cell(text=anchor_words(plan)),
        Cell(text=graft_words(plan)),
        Cell(text=bone_words(plan)),
        Cell(text=worse_words(plan)),
    )


def anchor_words(plan: Plan) -> str:
    """Anchors by size and hour, in one line."""
    if not plan.anchors:
        return "Anchors: none laid out."
    sizes = dict.fromkeys(
        AnchorKind(drill_mm=a.drill_mm, depth_mm=a.depth_mm) for a in plan.anchors
    )
    size = ", ".join(f"{kind.drill_mm:g} mm by {kind.depth_mm:g} mm" for kind in sizes)
    hours = ", ".join(spoken_hour(anchor.hour) for anchor in plan.anchors)
    bad = sum(anchor.status.value != "ok" for anchor in plan.anchors)
    doubt = f"; {bad} not ok" if bad else ""
    return f"{count_of(len(plan.anchors), 'anchor')} ({size}) at {hours}{doubt}."


def graft_words(plan: Plan) -> str:
    """Graft stock in one line."""
    graft = plan.graft
    if graft is None:
        needs = plan.planned is not None and any(
            done.action.needs_graft for done in plan.planned.option.actions
        )
        return "Graft: needed, no stock computed." if needs else "Graft: none."
    wide = f", {number(graft.diameter_mm, 'mm')}" if graft.diameter_mm is not None else ""
    stock = number(graft.stock_length_mm, "mm", digits=0)
    return f"Graft: {graft.kind or 'kind not chosen'}{wide}, stock at least {stock}; cut last."


def bone_words(plan: Plan) -> str:
    """Rim trim and cam in one line."""
    trim, cam = plan.trim_effect, plan.cam_plan
    parts = []
    if trim is not None and trim.trims:
        done = ", ".join(f"{item.sector} to {number(item.depth_mm, 'mm')}" for item in trim.trims)
        parts.append(f"rim trimmed {done}")
    else:
        parts.append("no bone taken from the rim")
    if cam is not None and len(cam.resected_hours):
        start, end = _ends([float(cam.femoral_hours[k]) for k in cam.resected_hours])
        deepest = number(float(cam.depth_mm.max()), "mm")
        parts.append(
            f"cam taken from femoral {spoken_hour(start)} to {spoken_hour(end)}, at most {deepest}"
        )
    else:
        parts.append("no cam work planned")
    return f"Bone: {'; '.join(parts)}."


def _ends(hours: list[float]) -> tuple[float, float]:
    """First and last of hours on a dial: the arc that leaves the widest gap out."""
    ordered = sorted(hours)
    gaps = [
        hours_after(ordered[k - 1], hour) if len(ordered) > 1 else 0.0
        for k, hour in enumerate(ordered)
    ]
    first = gaps.index(max(gaps))
    return ordered[first], ordered[first - 1]


def worse_words(plan: Plan) -> str:
    """What more is needed if the remnant is not usable, in one line."""
    worse = plan.worse_plan
    if worse is None:
        rests = plan.planned is not None and any(
            done.action in (Action.AUGMENT, Action.REPAIR) for done in plan.planned.option.actions
        )
        return (
            "If the remnant is not usable: not computed."
            if rests
            else "Nothing in this option rests on a remnant."
        )
    graft = "no more graft"
    if worse.graft_more_mm is None:
        graft = "graft length not known"
    elif worse.graft_more_mm > 0.0:
        graft = f"{number(worse.graft_more_mm, 'mm', digits=0)} more graft"
    anchors = count_of(worse.anchors_more, "more anchor")
    return f"If the remnant is not usable: {anchors}, {graft}."


def measurement_table(plan: Plan) -> Table:
    """Every measurement with spread and status, in two halves."""
    hip = plan.hip
    if hip is None:
        return Table(caption="No images: nothing was measured on bone.", header=(), rows=())
    rows = tuple(
        (
            Cell(text=MEASUREMENT_NAMES[key], is_strong=True),
            Cell(text=measured(hip.measurements[key])),
            Cell(text=spread_of(hip.measurements[key])),
            Cell(
                text=hip.measurements[key].status.value,
                mark=STATUS_SHAPES[hip.measurements[key].status],
            ),
        )
        for key in MEASUREMENT_NAMES
    )
    return Table(
        caption="Measurements",
        header=("Measure", "Value", "Spread\n1 SD", "Status"),
        rows=rows,
        wide=(0,),
        is_halved=True,
    )


def status_notes(plan: Plan) -> str:
    """Why measurements are a caution or refused, measures of one reason together."""
    if plan.hip is None:
        return ""
    reasons: dict[str, list[str]] = {}
    for key, name in MEASUREMENT_NAMES.items():
        found = plan.hip.measurements[key]
        if found.reason:
            reasons.setdefault(found.reason, []).append(name)
    return " ".join(f"{'; '.join(names)}: {sentence(why)}" for why, names in reasons.items())


def _reasons(plan: Plan) -> tuple[Cell, ...]:
    """Reasons of the option shown first, with their rows."""
    reasons = plan.planned.option.reasons if plan.planned else ()
    shown = tuple(
        Cell(text=sentence(reason.text), evidence=reason.evidence)
        for reason in reasons[:REASONS_SHOWN]
    )
    if len(reasons) > len(shown):
        shown = (*shown, Cell(text=f"{len(reasons) - len(shown)} more in the report."))
    return shown or (Cell(text="No reasons are recorded."),)


def _road(item: Statement) -> str:
    """A road: in full where the stance is not open or the line is short, else by its name."""
    text = sentence(item.statement).rstrip(".")
    name, colon, _ = text.partition(":")
    if item.stance is Stance.OPEN and colon and len(text) > LONG_STATEMENT:
        text = f"{name}: grounds in the report"
    return f"{text} ({item.stance.value})."


def _roads(plan: Plan) -> tuple[Cell, ...]:
    """The roads and the options with their stance."""
    cells = [
        Cell(text=_road(item), mark=STANCE_SHAPES[item.stance], evidence=item.evidence)
        for item in plan.candidacy[:ROADS_SHOWN]
    ]
    options = "; ".join(f"{p.option.name}: {p.option.stance.value}" for p in plan.options)
    if options:
        cells.append(Cell(text=f"Labral options, not ranked: {options}.", mark="–"))
    if not cells:
        return (Cell(text="Nothing is known that the roads could be judged by."),)
    return tuple(cells)
