"""A letter for authorisation or referral, from a template and what a plan says."""

from __future__ import annotations

from enum import StrEnum
from importlib import resources

from rimwright.anatomy import Plan
from rimwright.evidence import EvidenceTable
from rimwright.report.blocks import Block, Cell, Document, Facts, Heading, Items, Paragraph
from rimwright.report.letter_template import Line, LineKind, Values, filled, read_template
from rimwright.report.letter_values import PLACEHOLDERS, letter_values
from rimwright.report.wording import side_words


class LetterKind(StrEnum):
    """What a letter asks for."""

    AUTHORISATION = "authorisation"
    REFERRAL = "referral"


def shipped_template(kind: LetterKind) -> str:
    """
    The template that comes with the program, to start an own one from.

    Parameters
    ----------
    kind
        Authorisation or referral.

    Returns
    -------
    str
        The text.
    """
    file = resources.files("rimwright.report").joinpath("letters", f"{kind.value}.txt")
    return file.read_text(encoding="utf-8")


def compose_letter(
    plan: Plan,
    template_text: str,
    *,
    kind: LetterKind,
    evidence: EvidenceTable,
    issued_on: str = "",
    mark: str = "draft",
    where: str = "letter template",
) -> Document:
    """
    Blocks of a letter.

    Parameters
    ----------
    plan
        What casework computed.
    template_text
        The template; see `letter_template`.
    kind
        Authorisation or referral.
    evidence
        Rows and settings in force.
    issued_on
        Date as it shall be printed; no clock is read.
    mark
        Word across the page; '' for none.
    where
        How the template is called in a refusal.

    Returns
    -------
    Document
        The letter, with a line for the signature.

    Raises
    ------
    CaseRefusal
        The template cannot be used.
    """
    lines = read_template(template_text, known=PLACEHOLDERS, where=where)
    values = letter_values(plan, evidence=evidence, issued_on=issued_on)
    title = f"Letter of {kind.value}: {side_words(plan.side)}"
    for line in lines:
        if line.kind is LineKind.TITLE:
            title = " ".join(filled(line.text, values))
    side = side_words(plan.side)
    return Document(
        title=title if side.casefold() in title.casefold() else f"{title}, {side}",
        side=side,
        case_id=plan.case_id,
        version=plan.version,
        issued_on=issued_on,
        mark=mark,
        first=_blocks(lines, values),
        first_title="Letter",
        is_plain=True,
    )


def _blocks(lines: tuple[Line, ...], values: Values) -> tuple[Block, ...]:
    """Lines as blocks, neighbouring items as one list."""
    blocks: list[Block] = []
    items: list[Cell] = []

    def close_list() -> None:
        if items:
            blocks.append(Items(items=tuple(items)))
            items.clear()

    for line in lines:
        words = filled(line.text, values)
        if line.kind is LineKind.ITEM:
            items += [Cell(text=text) for text in words]
            continue
        close_list()
        if line.kind is LineKind.HEADING:
            blocks.append(Heading(text=" ".join(words)))
        elif line.kind is LineKind.TEXT:
            blocks += [Paragraph(cell=Cell(text=text)) for text in words]
    close_list()
    blank = "                    "
    blocks.append(Facts(pairs=(("Read and signed by", blank), ("Date", blank))))
    return tuple(blocks)
