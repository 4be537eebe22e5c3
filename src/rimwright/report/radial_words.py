"""What a radial sheet says in words: side and kind, what the pictures are, legend, doubts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rimwright.anatomy import Modality, Status, spoken_hour
from rimwright.morphology.reformat import (
    AlphaAtHour,
    NeckPlane,
    RadialKind,
    SlabKind,
    SocketPlane,
    side_of,
)
from rimwright.report.grey_window import GreyWindow
from rimwright.report.radial_panel import hour_words
from rimwright.report.raster import INK, QUIET, wrapped
from rimwright.report.wording import NOTICE, STATUS_SHAPES, side_words

TITLE_SIZE, TEXT_SIZE, FOOT_SIZE = 38, 24, 21
Line = tuple[str, int, bool, str]
"""Words, size, bold, colour."""
AnyPlanes = Sequence[SocketPlane] | Sequence[NeckPlane] | Sequence[SocketPlane | NeckPlane]
"""Of one kind, as `one_kind` holds."""

KIND_WORDS = {
    RadialKind.ACETABULAR: ("ACETABULAR hours", "planes through the opening axis of the socket"),
    RadialKind.FEMORAL: ("FEMORAL hours", "planes through the axis of the femoral neck"),
}
SEEN_FROM = (
    "Above each picture the hour of its upper half, below it that of its lower half. Seen from "
    "three hours on: 12:00 as a coronal image from the front, 3:00 as an axial image from below."
)
AXIS_WORDS = {
    RadialKind.ACETABULAR: "yellow dashes, opening axis",
    RadialKind.FEMORAL: "yellow dashes, neck axis",
}
ALPHA_WORDS = (
    "Alpha is read on the plane itself, not on a slab, and may differ by a degree or so from that "
    "of the bone's surface; "
    f"{STATUS_SHAPES[Status.CAUTION]} read with caution, {STATUS_SHAPES[Status.REFUSED]} not read."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetFacts:
    """
    What a sheet says of its pictures besides where they lie.

    Parameters
    ----------
    modality
        What they were made from.
    window
        Shown range of greys.
    slab_mm, slab
        Thickness, 0 for the plane alone, and what is shown of it.
    name
        A word for the case, printed at the head; nothing is taken from the images.
    notes
        Further doubts, in words.
    """

    modality: Modality
    window: GreyWindow
    slab_mm: float = 0.0
    slab: SlabKind = SlabKind.MEAN
    name: str = ""
    notes: tuple[str, ...] = ()

    def words(self) -> str:
        """Modality, slab and window on one line."""
        slab = (
            f"slab of {self.slab_mm:g} mm, {self.slab}" if self.slab_mm else "no slab: plane alone"
        )
        return f"{self.modality} · {slab} · {self.window.words(self.modality)}"


def head_lines(
    kind: RadialKind,
    planes: AnyPlanes,
    facts: SheetFacts,
    *,
    width: float,
    hours: str = "",
) -> list[Line]:
    """
    Side and kind first, then what the pictures are.

    Parameters
    ----------
    kind, planes, facts
        Of the pictures.
    width
        Room, pixels.
    hours
        Of a leaf, in words; '' for a sheet of all.

    Returns
    -------
    list of Line
        Broken to the room.
    """
    title, through = KIND_WORDS[kind]
    side = side_words(side_of(planes))
    named = f"{side} · {title}" + (f" · {facts.name}" if facts.name else "")
    lines: list[Line] = [
        (line, TITLE_SIZE, True, INK)
        for line in wrapped(named, size=TITLE_SIZE, width=width, bold=True)
    ]
    if hours:
        lines.append((hours, TITLE_SIZE - 6, True, INK))
    text = f"{through[0].upper()}{through[1:]} · {facts.words()}"
    lines += [(line, TEXT_SIZE, False, INK) for line in wrapped(text, size=TEXT_SIZE, width=width)]
    seen = f"Seen from {_seen_from(planes[0])}." if hours else SEEN_FROM
    lines += [
        (line, FOOT_SIZE, False, QUIET) for line in wrapped(seen, size=FOOT_SIZE, width=width)
    ]
    return lines


def foot_lines(
    kind: RadialKind,
    planes: AnyPlanes,
    facts: SheetFacts,
    *,
    width: float,
    marks: bool,
    alpha: Sequence[AlphaAtHour],
) -> list[Line]:
    """
    Legend, what was assumed, and the sentence of every page.

    Parameters
    ----------
    kind, planes, facts
        Of the pictures.
    width
        Room, pixels.
    marks
        Whether marks are drawn.
    alpha
        Drawn with the marks.

    Returns
    -------
    list of Line
        Broken to the room.
    """
    notes = dict.fromkeys(
        [f"Hours counted from: {planes[0].clock.reference}.", *(_sentence(n) for n in facts.notes)]
        + [_sentence(note) for plane in planes for note in plane.clock.notes]
        + (_alpha_doubts(alpha) if marks else [])
    )
    text = " ".join([*(_legend(kind, planes[0], has_alpha=bool(alpha)) if marks else []), *notes])
    return [
        (line, FOOT_SIZE, False, QUIET) for line in wrapped(text, size=FOOT_SIZE, width=width)
    ] + [(line, FOOT_SIZE, False, INK) for line in wrapped(NOTICE, size=FOOT_SIZE, width=width)]


def _legend(kind: RadialKind, plane: SocketPlane | NeckPlane, *, has_alpha: bool) -> list[str]:
    """What is drawn over the pictures, and nothing that is not."""
    drawn = []
    if isinstance(plane, SocketPlane):
        if plane.clock.socket is not None:
            drawn.append("blue dashes, sphere of the socket")
        if plane.clock.rim is not None:
            drawn.append("orange ring, bony rim at that hour (none in the notch)")
    else:
        if plane.clock.head is not None:
            drawn.append("blue dashes, sphere of the head")
        if has_alpha:
            drawn.append("orange line, where the outline leaves the sphere")
    text = f"Marks: {'; '.join([AXIS_WORDS[kind], *drawn])}."
    return [text, ALPHA_WORDS] if has_alpha else [text]


def _alpha_doubts(alpha: Sequence[AlphaAtHour]) -> list[str]:
    """Why an alpha angle is doubtful or not read, each reason once with its femoral hours."""
    hours: dict[str, list[str]] = {}
    for item in alpha:
        for reason in filter(None, item.alpha.reason.split("; ")):
            hours.setdefault(reason, []).append(spoken_hour(item.femoral_hour))
    return [
        f"Alpha at {'every hour' if len(at) == len(alpha) else ', '.join(at)}: {reason}."
        for reason, at in hours.items()
    ]


def _sentence(words: str) -> str:
    """A note as a sentence."""
    return f"{words[0].upper()}{words[1:].rstrip('.')}."


def _seen_from(plane: SocketPlane | NeckPlane) -> str:
    """Where the viewer of a picture stands: three hours on."""
    hour = plane.hour + 3.0
    return f"{spoken_hour(hour)}, {hour_words(hour)}"
