"""The key under a drawing: only what the drawing holds, each texture with its word."""

from __future__ import annotations

from collections.abc import Sequence

from rimwright.anatomy import Attachment, Fibres, Plan, Status, Tear
from rimwright.report.figure import (
    LINE,
    Spot,
    cross,
    group,
    polygon,
    polyline,
    rect,
    text,
    text_width,
)
from rimwright.report.markup import Markup, join
from rimwright.report.tissue import Native, Run

SWATCH = (34.0, 18.0)
"""Width and height of a swatch, drawing units."""
ROW = LINE + 8.0
"""Distance of rows of the key, drawing units."""

Entry = tuple[Markup, str]


def key_entries(plan: Plan, runs: Sequence[Run]) -> list[Entry]:
    """Swatches and words for what a strip of this plan holds, drawn at the origin."""
    entries: list[Entry] = []
    natives = {run.native for run in runs if not run.is_removed}
    known = [run.found for run in runs if run.found is not None and not run.is_removed]
    if Native.BAND in natives:
        words = (
            "labrum, width to scale"
            if plan.hip and plan.hip.rim
            else "labrum, widths in proportion"
        )
        entries.append((_swatch(Native.BAND), words))
    if Native.UNMEASURED in natives:
        entries.append((_swatch(Native.UNMEASURED), "labrum, width not known"))
    if any(found.fibres is Fibres.INTERRUPTED for found in known):
        lines = [polyline([(2, y), (12, y)], class_="f-fibre") for y in (4, 9, 14)]
        rest = [polyline([(21, y), (32, y)], class_="f-fibre") for y in (4, 9, 14)]
        entries.append((join([lines, rest]), "fibres interrupted"))
    if Native.UNKNOWN in natives:
        entries.append((_swatch(Native.UNKNOWN), "not known"))
    if any(run.is_removed or run.native is Native.ABSENT for run in runs):
        entries.append((rect((1, 2), (32, 14), class_="f-cut"), "absent or removed"))
    if any(run.has_graft for run in runs):
        entries.append((_swatch_graft(), "graft"))
    if any(found.attachment is Attachment.DETACHED for found in known):
        spots = [(x, 12.0 if k % 2 else 7.0) for k, x in enumerate(range(2, 34, 4))]
        entries.append((polyline(spots, class_="f-mark"), "off the rim"))
    if any(found.tear is Tear.UNSTABLE for found in known):
        spots = [(14, 0), (20, 6), (14, 11), (20, 18)]
        entries.append((polyline(spots, class_="f-mark"), "unstable tear"))
    if any(found.tear is Tear.STABLE for found in known):
        spots = [(3, 9), (10, 4), (17, 9), (24, 14), (31, 9)]
        entries.append((polyline(spots, class_="f-mark"), "stable tear"))
    if any(found.calcified for found in known):
        diamonds = [
            polygon([(x, y - 4), (x + 4, y), (x, y + 4), (x - 4, y)], class_="f-ink")
            for x, y in ((8, 12), (17, 6), (26, 12))
        ]
        entries.append((join(diamonds), "calcified"))
    return entries + _anchor_entries(plan)


def _anchor_entries(plan: Plan) -> list[Entry]:
    """Swatches of anchors, their states and what blocks a drill."""
    entries: list[Entry] = []
    if plan.anchors:
        fan = polygon([(17, 0), (28, 18), (6, 18)], class_="f-fan")
        peg = rect((15, 0), (4, 18), class_="f-peg")
        entries.append((join([fan, peg]), "anchor and the aiming error it tolerates"))
    if any(anchor.status is not Status.OK for anchor in plan.anchors):
        entries.append(
            (rect((14, 0), (6, 18), class_="f-pegopen"), "anchor not ok: ▲ caution, ✕ refused")
        )
    if plan.old_anchors:
        entries.append((rect((13, 0), (8, 18), class_="f-old"), "old anchor or tunnel"))
    if any(not corridor.fits for corridor in plan.corridors):
        entries.append((cross((17, 9), size=4.5), "no drill fits here"))
    return entries


def draw_key(entries: Sequence[Entry], at: Spot, *, width: float) -> tuple[Markup, float]:
    """The key in rows, and its height."""
    x, y = at
    parts = []
    for swatch, words in entries:
        needed = SWATCH[0] + 8 + text_width(words)
        if x > at[0] and x + needed > at[0] + width:
            x, y = at[0], y + ROW
        parts.append(group(swatch, transform=f"translate({x:g} {y:g})"))
        parts.append(text(words, (x + SWATCH[0] + 8, y + 15)))
        x += needed + 22
    return join(parts), (y - at[1] + ROW) if entries else 0.0


def _swatch(native: Native) -> Markup:
    """A patch of labrum of one kind."""
    lines = [polyline([(2, y), (32, y)], class_="f-fibre") for y in (5, 9, 13)]
    if native is Native.BAND:
        return join([rect((1, 1), (32, 16), class_="f-native"), lines])
    if native is Native.UNMEASURED:
        return join([rect((1, 1), (32, 16), class_="f-unknown"), lines])
    hatch = [polyline([(x, 17), (x + 6, 1)], class_="f-hatch") for x in range(2, 28, 5)]
    return join([hatch, rect((1, 1), (32, 16), class_="f-unknown")])


def _swatch_graft() -> Markup:
    """A patch of graft."""
    one = [(x, 1.0 if k % 2 else 17.0) for k, x in enumerate(range(1, 34, 8))]
    two = [(x, 17.0 if k % 2 else 1.0) for k, x in enumerate(range(1, 34, 8))]
    weave = [polyline(one, class_="f-weave"), polyline(two, class_="f-weave")]
    return join([rect((1, 1), (32, 16), class_="f-graft"), weave])
