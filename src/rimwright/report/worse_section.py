"""If the remnant is not usable: what more is needed, and where its anchors would go."""

from __future__ import annotations

from rimwright.anatomy import Plan, Status
from rimwright.report.blocks import Block, Cell, Facts, Items, Section
from rimwright.report.first_page import anchor_table, graft_sentence, sentence
from rimwright.report.wording import STATUS_SHAPES, number


def worse_section(plan: Plan) -> Section | None:
    """The worse case; None where nothing rests on a remnant or it was not worked out."""
    worse = plan.worse_plan
    if worse is None:
        return None
    more = "none"
    if worse.graft_more_mm is None:
        more = "not known"
    elif worse.graft_more_mm > 0.0:
        more = number(worse.graft_more_mm, "mm", digits=0)
    mark = STATUS_SHAPES[Status.CAUTION]
    done = "; ".join(f"{a.sector}: {a.action.value}" for a in worse.planned.option.actions)
    items = [Cell(text=sentence(text)) for text in worse.says]
    items.append(Cell(text=f"Actions then: {done or 'none'}."))
    items.append(Cell(text=graft_sentence(worse.planned)))
    items += [Cell(text=sentence(text), mark=mark) for text in worse.planned.cautions]
    blocks: tuple[Block, ...] = (
        Facts(pairs=(("More anchors", str(worse.anchors_more or "none")), ("More graft", more))),
        Items(items=tuple(items)),
        anchor_table(worse.planned, plan=plan, is_folded=True),
    )
    return Section(key="worse", title="If the remnant is not usable", blocks=blocks)
