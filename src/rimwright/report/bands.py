"""Labrum and graft drawn along a track, each state with a texture of its own.

Kept labrum: lines along the rim, as its fibres run; broken lines where they are interrupted.
Graft: a zigzag weave. Removed: an empty dotted outline. Unknown: slanted hatching without colour.
"""

from __future__ import annotations

import numpy as np

from rimwright.anatomy import Attachment, Fibres, Tear
from rimwright.report.figure import Spot, path, polygon, polyline
from rimwright.report.markup import Markup, element, join
from rimwright.report.tissue import Native, Run
from rimwright.report.unrolled import Track

HATCH_STEP_MM = 1.6
"""Distance of hatching lines along the rim; drawing only."""
WEAVE_STEP_MM = 1.5
"""Half a period of the graft's weave; drawing only."""
FIBRE_FRACTIONS = (0.25, 0.5, 0.75)
"""Where the fibre lines run across the width."""
MM_PER_HOUR = 12.5
"""Arc of one hour on a rim of 48 mm, for spacing textures only. Source: geometry, π·48/12."""


def draw_run(track: Track, run: Run) -> Markup:
    """The native labrum along one run."""
    parts: list[Markup] = []
    if run.native is Native.UNKNOWN:
        parts.append(_hatched(track, run))
    elif run.native is Native.ABSENT or run.is_removed:
        parts.append(_outline(track, run, class_="f-cut"))
    elif run.native is Native.UNMEASURED:
        parts += [_outline(track, run, class_="f-unknown"), _fibres(track, run)]
    else:
        band = _band(track, run, (0.0, run.native_height_mm))
        parts += [polygon(band, class_="f-native"), _fibres(track, run)]
    return join(parts)


def draw_graft(track: Track, run: Run) -> Markup:
    """The graft of a stretch; dashed where its diameter is not known."""
    base, top = run.graft_base_mm, run.graft_base_mm + run.graft_height_mm
    band = _band(track, run, (base, top))
    dashes = None if run.graft_mm is not None else "5 4"
    outline = element("path", d=path(band, closed=True), class_="f-graft", stroke_dasharray=dashes)
    return join([outline, _weave(track, run, (base, top))])


def draw_findings(track: Track, run: Run) -> Markup:
    """Tear, detachment and calcification of a run, as marks on the labrum."""
    found = run.found
    if found is None or run.native is Native.ABSENT or run.is_removed:
        return Markup("")
    parts = []
    top = run.native_height_mm
    if found.attachment is Attachment.DETACHED:
        parts.append(_zigzag(track, run, height_mm=0.35, swing_mm=0.35))
    if found.tear in (Tear.UNSTABLE, Tear.STABLE):
        parts.append(_tear_mark(track, run, height_mm=top, unstable=found.tear is Tear.UNSTABLE))
    if found.calcified:
        parts += [
            _grain(track.point(station, top * (0.35 if number % 2 else 0.65)))
            for number, station in enumerate(_stations(run, step_mm=2.2)[1:-1])
        ]
    return join(parts)


def _stations(run: Run, *, step_mm: float = 1.25) -> list[float]:
    """Stations along a run, ends included."""
    steps = max(2, round((run.end - run.start) * MM_PER_HOUR / step_mm) + 1)
    return [float(value) for value in np.linspace(run.start, run.end, steps)]


def _band(track: Track, run: Run, heights_mm: tuple[float, float]) -> list[Spot]:
    """Corners of the area between two heights along a run."""
    stations = _stations(run)
    low = [track.point(station, heights_mm[0]) for station in stations]
    high = [track.point(station, heights_mm[1]) for station in reversed(stations)]
    return low + high


def _outline(track: Track, run: Run, *, class_: str) -> Markup:
    """An empty outline; an absent labrum is a flat one."""
    height_mm = run.native_height_mm if run.native is not Native.ABSENT else 1.0
    return polygon(_band(track, run, (0.0, height_mm)), class_=class_)


def _fibres(track: Track, run: Run) -> Markup:
    """Lines along the rim: whole where fibres run through or nothing is known, else broken."""
    broken = run.found is not None and run.found.fibres is Fibres.INTERRUPTED
    parts = []
    for number, fraction in enumerate(FIBRE_FRACTIONS):
        spots = [track.point(s, run.native_height_mm * fraction) for s in _stations(run)]
        parts.append(
            element(
                "path",
                d=path(spots),
                class_="f-fibre",
                stroke_dasharray="14 9" if broken else None,
                stroke_dashoffset=7.0 * number if broken else None,
            )
        )
    return join(parts)


def _weave(track: Track, run: Run, heights_mm: tuple[float, float]) -> Markup:
    """Two zigzags that cross, from edge to edge of the graft."""
    stations = _stations(run, step_mm=WEAVE_STEP_MM)
    one = [track.point(s, heights_mm[k % 2]) for k, s in enumerate(stations)]
    two = [track.point(s, heights_mm[(k + 1) % 2]) for k, s in enumerate(stations)]
    return element("path", d=path(one) + path(two), class_="f-weave")


def _hatched(track: Track, run: Run) -> Markup:
    """Slanted lines in a dotted outline: nothing is known here."""
    top = run.native_height_mm
    lines = [
        path([track.point(s, 0.0), track.point(s, top, along_mm=HATCH_STEP_MM)])
        for s in _stations(run, step_mm=HATCH_STEP_MM)[:-1]
    ]
    outline = polygon(_band(track, run, (0.0, top)), class_="f-unknown")
    return join([element("path", d="".join(lines), class_="f-hatch"), outline])


def _zigzag(track: Track, run: Run, *, height_mm: float, swing_mm: float) -> Markup:
    """A fine zigzag along the base: the labrum is off the rim."""
    spots = [
        track.point(s, height_mm + (swing_mm if k % 2 else -swing_mm))
        for k, s in enumerate(_stations(run, step_mm=0.8))
    ]
    return polyline(spots, class_="f-mark")


def _tear_mark(track: Track, run: Run, *, height_mm: float, unstable: bool) -> Markup:
    """A bolt across the labrum where a tear moves, a shallow wave where it does not."""
    middle = (run.start + run.end) / 2
    if unstable:
        steps = [(-0.9, 1.35), (0.7, 0.85), (-0.7, 0.45), (0.9, -0.1)]
    else:
        steps = [(-2.4, 0.5), (-1.2, 0.75), (0.0, 0.5), (1.2, 0.25), (2.4, 0.5)]
    spots = [track.point(middle, height_mm * h, along_mm=along) for along, h in steps]
    return polyline(spots, class_="f-mark")


def _grain(at: Spot) -> Markup:
    """A filled diamond: calcified."""
    x, y = at
    return polygon([(x, y - 4), (x + 4, y), (x, y + 4), (x - 4, y)], class_="f-ink")
