"""What earlier surgery left in this hip, and what an empty image does not prove."""

from __future__ import annotations

from rimwright.anatomy import Plan, RevisionFinding, RevisionKind
from rimwright.report.blocks import Block, Cell, Paragraph, Section, Table, Tone
from rimwright.report.wording import number

INVISIBLE = (
    "Anchors that are not of metal often cannot be seen on CT: an image without anchors does not "
    "prove a free rim."
)
SIZE_NAMES = {
    RevisionKind.EARLIER_TRIM: "deep",
    RevisionKind.CAPSULE_DEFECT: "wide",
}


def revision_section(plan: Plan) -> Section | None:
    """The findings with what they do to the plan; None where none was given."""
    if not plan.revision:
        return None
    rows = tuple(
        (
            Cell(text=item.kind.value, is_strong=True),
            Cell(text=item.place or "place not known"),
            Cell(text=_size(item) or "not known"),
            Cell(text=item.seen_by.value if item.seen_by else "not recorded"),
            Cell(text=_effect(item)),
            Cell(text=item.note or "–"),
        )
        for item in plan.revision
    )
    table = Table(
        caption="Findings",
        header=("What", "Where", "Size", "Seen on", "In this plan", "Note"),
        rows=rows,
        wide=(1, 2, 4, 5),
    )
    blocks: tuple[Block, ...] = (Paragraph(cell=Cell(text=INVISIBLE), tone=Tone.NOTE), table)
    return Section(key="revision", title="What earlier surgery left", blocks=blocks)


def revision_words(item: RevisionFinding) -> str:
    """A finding as one line."""
    parts = [item.kind.value, item.place or "place not known", _size(item), item.note]
    seen = f"seen on {item.seen_by.value}" if item.seen_by else "not recorded what it was seen on"
    return ", ".join(part for part in (*parts, seen) if part)


def _size(item: RevisionFinding) -> str:
    """Size and depth in words."""
    parts = []
    if item.size_mm is not None:
        parts.append(f"{number(item.size_mm, 'mm')} {SIZE_NAMES.get(item.kind, 'across')}")
    if item.depth_mm is not None:
        parts.append(f"{number(item.depth_mm, 'mm')} into bone")
    return ", ".join(parts)


def _effect(item: RevisionFinding) -> str:
    """What the plan does with it."""
    if not item.place:
        return "blocks nothing: its place is not known"
    if item.kind.is_in_bone or item.kind is RevisionKind.OSSICLE:
        return "drills keep clear of it"
    return "told, blocks no drill"
