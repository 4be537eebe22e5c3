"""The rim for the patient: one ring, four looks, the words front, back and top, and no numbers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rimwright.anatomy import LabrumMap, Plan, Sector, Side
from rimwright.report.figure import (
    EM,
    LINE,
    Figure,
    Spot,
    circle,
    polygon,
    polyline,
    text,
    wrap,
)
from rimwright.report.markup import Markup, join
from rimwright.report.plain_words import Look, look_of, place_of, plain_finding
from rimwright.report.unrolled import Rolled, stretches

WIDTH, LEAST_HEIGHT = 1000.0, 300.0
"""Drawing units; more parts in words make it higher."""
CENTRE = (170.0, 150.0)
"""Centre of the ring, drawing units."""
UNITS_PER_MM = 4.3
"""Scale of the ring; drawing only."""
BAND_MM = 6.5
"""Width the ring is drawn with, the same everywhere: a drawing, not a measurement, mm."""
KEY_LEFT = 350.0
"""Where the words beside the ring begin, drawing units."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """
    A part of the ring as the patient is shown it.

    Parameters
    ----------
    number
        In the drawing; all that is not known shares one.
    sector
        Where.
    look
        How it is drawn.
    words
        Where it is and what was found.
    """

    number: int
    sector: Sector
    look: Look
    words: str


def draw_plain_ring(plan: Plan) -> Figure:
    """
    The ring of tissue round the socket, as the patient is shown it.

    Parameters
    ----------
    plan
        A map without sectors is drawn as not known.

    Returns
    -------
    Figure
        Named plain-ring; the front lies to the right for a right hip, to the left for a left one.
    """
    track = Rolled(rim=None, side=plan.side, centre=CENTRE, units_per_mm=UNITS_PER_MM)
    parts = parts_of(plan.labrum)
    key, key_bottom = _key(parts)
    body = [
        circle(CENTRE, 24.0 * UNITS_PER_MM + 20.0, class_="f-bone"),
        circle(CENTRE, (24.0 - BAND_MM) * UNITS_PER_MM, class_="f-paper"),
        [_band(track, part) for part in parts],
        _rim(track),
        [_badge(track, part) for part in parts],
        _words(plan.side),
        key,
    ]
    return Figure(
        name="plain-ring",
        title=f"The socket of your {plan.side.value} hip, seen from the side",
        description=describe_plain_ring(plan),
        width=WIDTH,
        height=max(LEAST_HEIGHT, key_bottom),
        body=join(body),
    )


def describe_plain_ring(plan: Plan) -> str:
    """What the drawing shows, in sentences."""
    said = dict.fromkeys(f"{part.number}, {part.words}." for part in parts_of(plan.labrum))
    return (
        "The socket drawn as a ring, seen from the side of the body, top of the body on top. "
        + " ".join(said)
    )


def parts_of(labrum: LabrumMap) -> tuple[Part, ...]:
    """Sectors as they follow each other from the bottom through the back; unknown ones last."""
    known = sorted(labrum.sectors, key=lambda found: stretches(found.sector)[0][0])
    parts = [
        Part(
            number=number,
            sector=found.sector,
            look=look_of(found),
            words=f"{place_of(found.sector)}: {plain_finding(found)}",
        )
        for number, found in enumerate(known, 1)
    ]
    unseen = labrum.unknown_sectors()
    places = "; ".join(place_of(sector) for sector in unseen)
    parts += [
        Part(
            number=len(known) + 1,
            sector=sector,
            look=Look.UNKNOWN,
            words=f"{places}: not known. That does not mean healthy",
        )
        for sector in unseen
    ]
    return tuple(parts)


def _spots(track: Rolled, start: float, end: float, *, height_mm: float) -> list[Spot]:
    """Places along a stretch at one height."""
    steps = max(2, round((end - start) * 8))
    return [track.point(start + (end - start) * k / steps, height_mm) for k in range(steps + 1)]


def _band(track: Rolled, part: Part) -> Markup:
    """One part of the ring."""
    look = part.look
    class_ = {
        Look.SOUND: "f-native",
        Look.DAMAGED: "f-native",
        Look.MISSING: "f-cut",
        Look.UNKNOWN: "f-unknown",
    }[look]
    parts = []
    for start, end in stretches(part.sector):
        low = _spots(track, start, end, height_mm=0.0)
        high = _spots(track, start, end, height_mm=BAND_MM)
        parts.append(polygon([*low, *reversed(high)], class_=class_))
        steps = max(3, round((end - start) * 6))
        stations = [start + (end - start) * k / steps for k in range(steps + 1)]
        if look is Look.DAMAGED:
            zigzag = [
                track.point(s, BAND_MM * (0.25 if k % 2 else 0.75)) for k, s in enumerate(stations)
            ]
            parts.append(polyline(zigzag, class_="f-mark"))
        if look is Look.UNKNOWN:
            parts += [
                polyline([track.point(s), track.point(s, BAND_MM, along_mm=1.5)], class_="f-hatch")
                for s in stations[:-1]
            ]
    return join(parts)


def _rim(track: Rolled) -> Markup:
    """The edge of the bone."""
    return polyline(_spots(track, 0.0, 12.0, height_mm=0.0), class_="f-rim")


def _badge(track: Rolled, part: Part) -> Markup:
    """The number of a part, outside the ring in the middle of its longest stretch."""
    start, end = max(stretches(part.sector), key=lambda span: span[1] - span[0])
    x, y = track.point((start + end) / 2, -7.5)
    return join(
        [
            circle((x, y), 13.0, class_="f-badge"),
            text(str(part.number), (x, y + EM * 0.36), kind="mb"),
        ]
    )


def _words(side: Side) -> Markup:
    """Top, front, back, in the ring where nothing else stands."""
    left, right = ("back", "front") if side is Side.RIGHT else ("front", "back")
    inner = (24.0 - BAND_MM) * UNITS_PER_MM
    x, y = CENTRE
    return join(
        [
            text("top", (x, y - inner + 20), kind="mb"),
            text(left, (x - inner + 6, y + 6), kind="b"),
            text(right, (x + inner - 6, y + 6), kind="be"),
            text("bottom", (x, y + inner - 8), kind="mb"),
        ]
    )


def _key(parts: Sequence[Part]) -> tuple[Markup, float]:
    """Numbered parts in words; and where they end."""
    y = 22.0
    drawn: list[Markup] = []
    for number, words in dict.fromkeys((part.number, part.words) for part in parts):
        lines = wrap(words, WIDTH - KEY_LEFT - 34)
        drawn.append(text(str(number), (KEY_LEFT, y), kind="b"))
        drawn += [text(line, (KEY_LEFT + 26, y + k * LINE)) for k, line in enumerate(lines)]
        y += LINE * len(lines) + 5
    return join(drawn), y
