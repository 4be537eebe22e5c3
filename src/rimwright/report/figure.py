"""One drawing with its title and description, and the few shapes all drawings share."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from rimwright.report.markup import Child, Markup, compact, element
from rimwright.report.palette import LIGHT, figure_rules

EM = 16.0
"""Size of all text, drawing units; a page shows one unit as one CSS pixel or more."""
LINE = 20.0
"""Distance of text lines, drawing units."""

Spot = tuple[float, float]
"""A place in a drawing, x to the right and y down, drawing units."""

_NARROW, _WIDE = set("ijlI.,:;'|!()[]·˙ft1 "), set("mwMWGOQ@%—±→")


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """
    A drawing in its own units.

    Parameters
    ----------
    name
        File name without ending; also the prefix of its ids.
    title, description
        What it is, and what it shows in words for those who do not see it.
    width, height
        Drawing units.
    body
        SVG elements.
    """

    name: str
    title: str
    description: str
    width: float
    height: float
    body: Markup

    def inline(self) -> Markup:
        """For an HTML page that brings the colours."""
        return self._svg(class_="figure", style=f"max-width:{compact(self.width * 1.1)}px")

    def standalone(self) -> str:
        """For a file of its own: light colours inside, nothing fetched from elsewhere."""
        style = element("style", Markup(figure_rules(LIGHT)))
        paper = element("rect", class_="f-paper", width=self.width, height=self.height)
        svg = self._svg(
            style,
            paper,
            xmlns="http://www.w3.org/2000/svg",
            width=compact(self.width),
            height=compact(self.height),
        )
        return '<?xml version="1.0" encoding="UTF-8"?>\n' + svg + "\n"

    def _svg(self, *before: Markup, **attributes: str) -> Markup:
        """The svg element."""
        title_id, text_id = f"figure-{self.name}-title", f"figure-{self.name}-text"
        return element(
            "svg",
            element("title", self.title, id=title_id),
            element("desc", self.description, id=text_id),
            before,
            self.body,
            viewBox=f"0 0 {compact(self.width)} {compact(self.height)}",
            role="img",
            aria_labelledby=f"{title_id} {text_id}",
            **attributes,
        )


def text_width(words: str) -> float:
    """An upper estimate of the width of a line of text, drawing units."""
    return EM * sum(0.4 if c in _NARROW else 0.98 if c in _WIDE else 0.63 for c in words)


def wrap(words: str, width: float) -> list[str]:
    """Break text into lines no wider than `width`; a word alone may stand out."""
    lines: list[str] = []
    for word in words.split():
        if lines and text_width(f"{lines[-1]} {word}") <= width:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines


def text(words: str, at: Spot, *, kind: str = "") -> Markup:
    """A line of text; `kind` adds classes by letter: q quiet, b bold, m middle, e end, h halo."""
    names = {"q": "f-q", "b": "f-b", "m": "f-m", "e": "f-e", "h": "f-halo"}
    classes = " ".join(["f-t", *(names[letter] for letter in kind)])
    return element("text", words, x=at[0], y=at[1], class_=classes)


def rect(at: Spot, size: Spot, *, class_: str) -> Markup:
    """An upright rectangle by its upper left corner and its width and height."""
    width, height = max(size[0], 0.0), max(size[1], 0.0)
    return element("rect", x=at[0], y=at[1], width=width, height=height, class_=class_)


def circle(at: Spot, radius: float, *, class_: str) -> Markup:
    """A circle."""
    return element("circle", cx=at[0], cy=at[1], r=radius, class_=class_)


def path(points: Iterable[Spot], *, closed: bool = False) -> str:
    """Path data through points."""
    written = "L".join(f"{compact(x)} {compact(y)}" for x, y in points)
    return f"M{written}{'Z' if closed else ''}"


def polyline(points: Iterable[Spot], *, class_: str) -> Markup:
    """An open line through points."""
    return element("path", d=path(points), class_=class_)


def polygon(points: Iterable[Spot], *, class_: str) -> Markup:
    """A closed area."""
    return element("path", d=path(points, closed=True), class_=class_)


def group(*children: Child, **attributes: str | float | None) -> Markup:
    """A group of elements."""
    return element("g", *children, **attributes)


def cross(at: Spot, *, size: float = 6.0) -> Markup:
    """A cross: refused, or nothing fits."""
    x, y = at
    one = path([(x - size, y - size), (x + size, y + size)])
    two = path([(x - size, y + size), (x + size, y - size)])
    return element("path", d=one + two, class_="f-mark")


@dataclass(slots=True, kw_only=True)
class Lanes:
    """
    Places labels side by side and opens a further lane where they would touch.

    Parameters
    ----------
    left, right
        Limits a label is kept within, drawing units.
    gap
        Least distance of two labels in one lane, drawing units.
    """

    left: float
    right: float
    gap: float = 8.0
    _ends: list[list[tuple[float, float]]] = field(default_factory=list, init=False)

    def place(self, words: str, x: float) -> tuple[float, int]:
        """Middle and lane of a centred label."""
        half = text_width(words) / 2
        x = min(max(x, self.left + half), self.right - half)
        for number, lane in enumerate(self._ends):
            if all(x + half + self.gap <= a or x - half - self.gap >= b for a, b in lane):
                lane.append((x - half, x + half))
                return x, number
        self._ends.append([(x - half, x + half)])
        return x, len(self._ends) - 1

    @property
    def n_lanes(self) -> int:
        """How many lanes are in use."""
        return len(self._ends)
