"""The letters a case asks for, with the text of their templates."""

from __future__ import annotations

from dataclasses import dataclass

from rimwright.casework.case import Case


@dataclass(frozen=True, slots=True, kw_only=True)
class LetterTemplate:
    """
    One letter to write.

    Parameters
    ----------
    kind
        'authorisation' or 'referral'.
    text
        The template.
    where
        How it is called in a refusal.
    """

    kind: str
    text: str
    where: str


def letter_templates(case: Case) -> tuple[LetterTemplate, ...]:
    """
    Read the templates of a case.

    Parameters
    ----------
    case
        Its settings name templates, or the shipped ones.

    Returns
    -------
    tuple of LetterTemplate
        Empty where no letter is asked for.

    Raises
    ------
    FileRefusal
        A template is missing or no text.
    CaseRefusal
        It holds what no letter can be filled with.
    """
    if not case.settings.letters:
        return ()
    from rimwright.casework.case_file import text_of
    from rimwright.report import LetterKind, letter_placeholders, shipped_template
    from rimwright.report.letter_template import read_template

    letters = []
    for kind, path in case.settings.letters.items():
        where = f"{kind}.txt" if path is None else path.name
        text = shipped_template(LetterKind(kind)) if path is None else text_of(path, where=where)
        read_template(text, known=letter_placeholders(), where=where)
        letters.append(LetterTemplate(kind=kind, text=text, where=where))
    return tuple(letters)
