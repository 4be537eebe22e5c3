"""What a page is made of, before it is HTML or PDF: both are written from the same blocks."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from rimwright.report.figure import Figure


class Tone(StrEnum):
    """How loud a paragraph is; words carry the meaning, the tone only its place."""

    PLAIN = "plain"
    LEAD = "lead"
    NOTE = "note"


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """
    A piece of text with what belongs to it.

    Parameters
    ----------
    text
        Words.
    mark
        Shape before the words; '' for none.
    detail
        Longer text one click away (HTML) or in small print below (PDF).
    evidence
        Evidence ids, shown as links to the evidence section.
    is_strong
        Whether the words are set bold.
    detail_name
        What the longer text is, in a word.
    """

    text: str
    mark: str = ""
    detail: str = ""
    evidence: tuple[str, ...] = ()
    is_strong: bool = False
    detail_name: str = "method"


@dataclass(frozen=True, slots=True, kw_only=True)
class Paragraph:
    """
    A paragraph.

    Parameters
    ----------
    cell, tone
        Words and how loud they are.
    """

    cell: Cell
    tone: Tone = Tone.PLAIN


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """
    Short pairs of name and value.

    Parameters
    ----------
    pairs
        In order.
    """

    pairs: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Items:
    """
    A list.

    Parameters
    ----------
    title
        Heading over the list; '' for none.
    items
        In order.
    is_numbered
        Whether the order matters.
    """

    items: tuple[Cell, ...]
    title: str = ""
    is_numbered: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """
    A table with a heading row.

    Parameters
    ----------
    caption
        What it lists.
    header
        Column names, the unit of a column on a second line.
    rows
        As many cells as columns each; the first is the row's name.
    wide
        Indices of columns that take the room left over.
    anchor_rows
        Whether rows are anchors in order, to be linked with the drawings.
    is_folded
        Whether it is one click away on the screen.
    is_evidence
        Whether its rows are evidence rows, to be linked to.
    is_halved
        Whether it is long and narrow: in print its halves stand side by side.
    """

    caption: str
    header: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    wide: tuple[int, ...] = ()
    anchor_rows: bool = False
    is_folded: bool = False
    is_evidence: bool = False
    is_halved: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """
    A drawing with its caption.

    Parameters
    ----------
    figure
        The drawing, its alternative text included.
    caption
        Sentence under it.
    is_narrow
        Whether it takes half of the width.
    """

    figure: Figure
    caption: str
    is_narrow: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Heading:
    """
    A heading inside a section.

    Parameters
    ----------
    text, mark
        Words, and the shape before them.
    """

    text: str
    mark: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Space:
    """
    Ruled lines to write on.

    Parameters
    ----------
    title
        Heading over the lines.
    n_lines
        How many.
    """

    title: str
    n_lines: int


Block = Paragraph | Facts | Items | Table | Picture | Heading | Space


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """
    A part of the report.

    Parameters
    ----------
    key, title
        Name for links, and heading.
    blocks
        In order.
    """

    key: str
    title: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Document:
    """
    The whole report.

    Parameters
    ----------
    title, side, case_id, version, issued_on, mark
        What every page carries; `mark` is draft, superseded or ''.
    first
        Page one.
    sections
        What stands behind it; the first of them starts page two.
    first_title
        Heading of page one on the screen; print has the title alone.
    is_plain
        Whether it is set larger, for readers outside the trade.
    version_words
        The version where it is not one number (two hips on one page); '' for `version`.
    """

    title: str
    side: str
    case_id: str
    version: int
    issued_on: str
    mark: str
    first: tuple[Block, ...]
    sections: tuple[Section, ...] = field(default=())
    first_title: str = "The plan in short"
    is_plain: bool = False
    version_words: str = ""

    @property
    def shown_version(self) -> str:
        """The version in words."""
        return self.version_words or f"version {self.version}"

    @property
    def running_head(self) -> str:
        """What stands at the head of every printed page."""
        parts = [self.side, f"case {self.case_id}", self.shown_version]
        parts += [self.issued_on] if self.issued_on else ["date not given"]
        parts += [self.mark] if self.mark else []
        return " · ".join(parts)

    def pictures(self) -> tuple[Picture, ...]:
        """Every drawing, in order."""
        blocks = [*self.first, *(block for section in self.sections for block in section.blocks)]
        return tuple(block for block in blocks if isinstance(block, Picture))
