"""Page one: who, which side, what is planned, where the anchors go, and what speaks against it."""

from __future__ import annotations

import re

from rimwright.anatomy import (
    Action,
    Anchor,
    Plan,
    PlannedOption,
    RimCurve,
    Sector,
    Stance,
    Status,
    spoken_hour,
)
from rimwright.report.blocks import Block, Cell, Facts, Items, Paragraph, Picture, Table, Tone
from rimwright.report.scan_words import (
    DENSITY_CAPTION,
    DENSITY_HEADER,
    DENSITY_NOTE,
    density_cell,
    knows_density,
    source_facts,
)
from rimwright.report.strip import draw_strip
from rimwright.report.wording import STANCE_SHAPES, STATUS_SHAPES, count_of, number

IDENTIFYING = ("name", "identifier", "number", "born", "birth")
"""Words in the names of patient facts that identify; two identifiers are wanted in theatre."""
DOUBTS_ON_PAGE_ONE = 6
"""More doubts than these go to their section, and page one says how many."""
FILE_NOTE = re.compile(r"\S+\.\w+: ")
"""How a note on the state of a file begins; doubts on the hip itself come before it."""
NO_LAYOUT = ("no layout", "no anchors", "nothing is laid out")
"""How the caution of an option begins that says why it could not be laid out."""
LONG_TABLE = 14
"""Anchors up to which all doubts of page one have room beside them."""
REASONS_ON_PAGE_ONE = 2
"""The first says what the option is, the next what decides in this hip; the rest is behind."""
STRIP_CAPTION = (
    "Rim unrolled, one scale for lengths along the rim, widths, depths and drills. Above the line: "
    "labrum and graft (a graft beside a kept remnant is drawn on top of it, for reading). Below: "
    "anchors as they lean along the rim, each with the aiming error it tolerates as a fan."
)
STRIP_CAPTION_WITHOUT_RIM = (
    "No rim was measured: hours are spaced evenly and there are no millimetres along the rim; "
    "widths are in proportion to each other."
)


def first_page(plan: Plan) -> tuple[Block, ...]:
    """Blocks of page one."""
    has_rim = plan.hip is not None and plan.hip.rim is not None
    caption = STRIP_CAPTION if has_rim else STRIP_CAPTION_WITHOUT_RIM
    blocks: list[Block] = [
        Facts(pairs=(*patient_facts(plan), *source_facts(plan))),
        Paragraph(cell=lead(plan), tone=Tone.LEAD),
        Paragraph(cell=why(plan)),
        Picture(figure=draw_strip(plan), caption=caption),
        anchor_table(plan.planned, plan=plan),
    ]
    if knows_density(plan.anchors):
        blocks.append(Paragraph(cell=Cell(text=DENSITY_NOTE), tone=Tone.NOTE))
    blocks.append(Paragraph(cell=Cell(text=graft_sentence(plan.planned), is_strong=True)))
    against = blocking_facts(plan)
    if against:
        blocks.append(Items(title="Speaks against it, or stops it", items=against))
    doubts = doubts_that_matter(plan)
    # A long table of anchors leaves room for fewer doubts; how many more there are is said.
    room = max(DOUBTS_ON_PAGE_ONE - max(len(plan.anchors) - LONG_TABLE, 0) // 2, 3)
    shown, rest = doubts[:room], len(doubts) - room
    if rest > 0:
        more = Cell(text=f"{rest} more under Cautions.")
        shown = (*shown, more)
    if shown:
        blocks.append(Items(title="Doubts", items=shown))
    blocks.append(
        Facts(pairs=(("Read and signed by", "                    "), ("Date", "          ")))
    )
    return tuple(blocks)


def patient_facts(plan: Plan) -> tuple[tuple[str, str], ...]:
    """Case and patient as given; a blank to fill in where a second identifier lacks."""
    pairs = [("Case", plan.case_id)]
    pairs += [(name, str(value)) for name, value in plan.patient.items()]
    if plan.person:
        pairs.append(("person", plan.person))
    elif not any(word in name.lower() for name in plan.patient for word in IDENTIFYING):
        pairs.append(("second identifier", "                    "))
    return tuple(pairs)


def lead(plan: Plan) -> Cell:
    """The option shown first: what it does where, and its stance."""
    planned = plan.planned
    if planned is None:
        return Cell(text=f"Shown first: {plan.planned_option}. It was not laid out.")
    option = planned.option
    acting = sorted(option.actions, key=lambda item: item.action is Action.KEEP)
    where = "; ".join(f"{item.action.value} {item.sector}" for item in acting)
    return Cell(
        text=f"{option.name.capitalize()}, shown first: {where or 'no action'}. "
        f"Evidence: {option.stance.value}.",
        mark=STANCE_SHAPES[option.stance],
        is_strong=True,
    )


def why(plan: Plan) -> Cell:
    """The first reasons for the stance of the option shown first."""
    planned = plan.planned
    reasons = planned.option.reasons if planned else ()
    shown = reasons[:REASONS_ON_PAGE_ONE]
    text = " ".join(sentence(reason.text) for reason in shown) or "No reasons are recorded."
    if len(reasons) > len(shown):
        text += f" {count_of(len(reasons) - len(shown), 'more reason')} under Options."
    evidence = tuple(dict.fromkeys(id_ for reason in shown for id_ in reason.evidence))
    return Cell(text=text, evidence=evidence)


def anchor_table(planned: PlannedOption | None, *, plan: Plan, is_folded: bool = False) -> Table:
    """Anchors of an option, one row each."""
    anchors = planned.anchors if planned else ()
    rim = plan.hip.rim if plan.hip else None
    has_density = knows_density(anchors)
    header = (
        "No.",
        "Hour",
        "From last\nmm",
        "Drill\nmm",
        "Depth\nmm",
        "To joint\nmm",
        "To cortex\nmm",
        "Tolerates",
        *([DENSITY_HEADER] if has_density else []),
        "Portal",
        "Off\nline",
        "Status",
    )
    rows = []
    for place, anchor in enumerate(anchors, 1):
        before = anchors[place - 2] if place > 1 else None
        rows.append(
            (
                Cell(text=str(place), is_strong=True),
                Cell(text=spoken_hour(anchor.hour), is_strong=True),
                Cell(text=_from_last(before, anchor, rim)),
                Cell(text=f"{anchor.drill_mm:.1f}"),
                Cell(text=f"{anchor.depth_mm:.0f}"),
                Cell(text=f"{anchor.clearance_joint_mm:.1f}"),
                Cell(text=f"{anchor.clearance_cortex_mm:.1f}"),
                Cell(text=f"±{number(anchor.half_angle_deg, 'deg', digits=0)}"),
                *([density_cell(anchor)] if has_density else []),
                Cell(text=anchor.portal or ("none reaches" if plan.portals else "not computed")),
                Cell(text=number(anchor.portal_off_deg, "deg", digits=0)),
                Cell(
                    text=anchor.status.value + (f": {anchor.reason}" if anchor.reason else ""),
                    mark=STATUS_SHAPES[anchor.status],
                ),
            )
        )
    name = planned.option.name if planned else plan.planned_option
    caption = f"Anchors, {name}; {DENSITY_CAPTION}" if has_density else f"Anchors, {name}"
    return Table(
        caption=caption if rows else f"No anchors: {why_no_anchors(planned)}",
        header=header,
        rows=tuple(rows),
        wide=(len(header) - 1,),
        anchor_rows=not is_folded,
        is_folded=is_folded,
    )


def graft_sentence(planned: PlannedOption | None) -> str:
    """Stock to have in the room, never a length to cut beforehand."""
    if planned is None or planned.graft is None:
        needs = planned is not None and any(a.action.needs_graft for a in planned.option.actions)
        return (
            "Graft: needed, but no stock was computed." if needs else "Graft: none in this option."
        )
    graft = planned.graft
    kind = graft.kind or "a graft (none is in the equipment list)"
    wide = f", {number(graft.diameter_mm, 'mm')} across" if graft.diameter_mm is not None else ""
    added = graft.stock_length_mm - graft.arc_mm
    stock = number(graft.stock_length_mm, "mm", digits=0)
    return (
        f"Graft stock to have in the room: at least {stock} of {kind}{wide} "
        f"(arc {number(graft.arc_mm, 'mm', digits=0)} and "
        f"{number(added, 'mm', digits=0)} of allowances). "
        "It is not cut to length beforehand: the surplus is cut last, in place."
    )


def blocking_facts(plan: Plan) -> tuple[Cell, ...]:
    """What stops the planned option, or speaks against operating."""
    found = [
        Cell(
            text=statement.statement,
            mark=STANCE_SHAPES[statement.stance],
            evidence=statement.evidence,
        )
        for statement in plan.candidacy
        if statement.stance in (Stance.ADVISED_AGAINST, Stance.NOT_POSSIBLE)
    ]
    planned = plan.planned
    if planned is not None:
        stance = planned.option.stance
        if stance in (Stance.ADVISED_AGAINST, Stance.NOT_POSSIBLE):
            text = f"{planned.option.name}: {stance.value}."
            found.append(Cell(text=text, mark=STANCE_SHAPES[stance]))
        if not planned.anchors and any(a.action.needs_anchors for a in planned.option.actions):
            text = f"{planned.option.name}: no anchors are laid out, see above."
            found.append(Cell(text=text, mark=STATUS_SHAPES[Status.REFUSED]))
    found += _anchor_doubts(plan, Status.REFUSED)
    return tuple(found)


def doubts_that_matter(plan: Plan) -> tuple[Cell, ...]:
    """Doubts of the planned anchors, of the option, then of the whole plan; each once."""
    mark = STATUS_SHAPES[Status.CAUTION]
    planned = plan.planned
    texts = list(planned.cautions) if planned else []
    if planned is not None and not planned.anchors:  # the reason stands under the strip
        texts = [text for text in texts if sentence(text) not in why_no_anchors(planned)]
    texts += [*plan.cautions, *(plan.hip.warnings if plan.hip else ())]
    cells = [*_anchor_doubts(plan, Status.CAUTION)]
    sentences = list(dict.fromkeys(sentence(text) for text in texts))
    unknown = ", ".join(str(sector) for sector in plan.labrum.unknown_sectors())
    if unknown and not any("labrum" in text.lower() and unknown in text for text in sentences):
        sentences.append(f"Labrum not known: {unknown}.")
    sentences.sort(key=lambda text: FILE_NOTE.match(text) is not None)
    cells += [Cell(text=text, mark=mark) for text in sentences]
    return tuple(cells)


def sentence(text: str) -> str:
    """A text that begins large and ends with a stop."""
    text = text.strip()
    if not text:
        return text
    word = text.split(maxsplit=1)[0].rstrip(".:,;")
    has_own_spelling = word != word.lower() or "." in word or "_" in word
    first = text[0] if has_own_spelling else text[0].upper()
    return first + text[1:] + ("" if text.endswith((".", "!", "?")) else ".")


def _anchor_doubts(plan: Plan, status: Status) -> list[Cell]:
    """One sentence for each anchor of a status."""
    return [
        Cell(
            text=f"Anchor {place} at {spoken_hour(anchor.hour)}, {status.value}: "
            f"{anchor.reason or 'no reason given'}.",
            mark=STATUS_SHAPES[status],
        )
        for place, anchor in enumerate(plan.anchors, 1)
        if anchor.status is status
    ]


def why_no_anchors(planned: PlannedOption | None) -> str:
    """Why an option has no anchors, from its cautions."""
    if planned is None:
        return "no option of this name was planned."
    if not any(item.action.needs_anchors for item in planned.option.actions):
        return "nothing is fixed to the rim in this option."
    stops = [text for text in planned.cautions if text.lower().startswith(NO_LAYOUT)]
    reasons = stops or list(planned.cautions)
    return " ".join(sentence(text) for text in reasons) or "no reason given."


def _from_last(before: Anchor | None, anchor: Anchor, rim: RimCurve | None) -> str:
    """Distance along the rim from the anchor before, mm."""
    if before is None or rim is None:
        return "–"
    arc = Sector(from_hour=before.hour, to_hour=anchor.hour)
    return f"{rim.arc_between_mm(arc.from_hour, arc.to_hour):.1f}"
