"""Tags of an XML file with their text, read without entities, in bounded depth and number."""

from __future__ import annotations

from dataclasses import dataclass, field
from xml.parsers import expat

from rimwright.errors import FileRefusal
from rimwright.imaging.limits import MAX_DEPTH, MAX_NODES
from rimwright.imaging.raw_shell import DAMAGED, check_count


@dataclass(slots=True, kw_only=True)
class Tag:
    """
    One tag.

    Parameters
    ----------
    name
        Of the tag.
    attributes
        As written.
    children
        Tags inside it, in order.
    parts
        Its own text in parts.
    """

    name: str
    attributes: dict[str, str] = field(default_factory=dict)
    children: list[Tag] = field(default_factory=list)
    parts: list[str] = field(default_factory=list)

    @property
    def text(self) -> bytes:
        """Its own text, as ASCII; other letters become question marks."""
        return "".join(self.parts).encode("ascii", "replace")

    def child(self, name: str) -> Tag | None:
        """The first child of a name."""
        return next((child for child in self.children if child.name == name), None)

    def children_named(self, name: str) -> tuple[Tag, ...]:
        """All children of a name."""
        return tuple(child for child in self.children if child.name == name)


def parse_tags(data: bytes, *, where: str) -> Tag:
    """
    Read an XML file into tags.

    Parameters
    ----------
    data
        The XML.
    where
        The file, for the refusal.

    Returns
    -------
    Tag
        The outermost one.

    Raises
    ------
    FileRefusal
        Not well-formed, with a document type (entities), too deep, or of too many tags.
    """
    parser = expat.ParserCreate("utf-8")
    parser.buffer_text = True
    stack: list[Tag] = []
    roots: list[Tag] = []
    n_tags = 0

    def start(name: str, attributes: dict[str, str]) -> None:
        nonlocal n_tags
        n_tags += 1
        check_count(n_tags, need=MAX_NODES, what="tags", where=where)
        check_count(len(stack) + 1, need=MAX_DEPTH, what="tags inside each other", where=where)
        tag = Tag(name=name, attributes=attributes)
        (stack[-1].children if stack else roots).append(tag)
        stack.append(tag)

    def end(_: str) -> None:
        stack.pop()

    def text(letters: str) -> None:
        if stack:
            stack[-1].parts.append(letters)

    def doctype(*_: object) -> None:
        raise FileRefusal(
            "declares a document type (entities are not read)", where, "Export the surface again"
        )

    parser.StartElementHandler = start
    parser.EndElementHandler = end
    parser.CharacterDataHandler = text
    parser.StartDoctypeDeclHandler = doctype
    try:
        parser.Parse(data, True)
    except expat.ExpatError as error:
        raise FileRefusal(
            f"cut short or not XML (line {error.lineno}: {expat.ErrorString(error.code)})",
            where,
            DAMAGED,
        ) from None
    return roots[0]
