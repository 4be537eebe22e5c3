"""Writes the pages for people: each as one HTML file and one PDF, both or none."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from rimwright.anatomy import Plan
from rimwright.evidence import EvidenceTable, load_evidence
from rimwright.report.blocks import Document
from rimwright.report.colleague_page import compose_colleague_page
from rimwright.report.composition import PlanMark
from rimwright.report.html_page import render_html
from rimwright.report.letter import LetterKind, compose_letter
from rimwright.report.patient_page import compose_patient_page
from rimwright.report.pdf_page import render_pdf
from rimwright.report.two_hips import compose_two_hips
from rimwright.report.writing import write_files


@dataclass(frozen=True, slots=True, kw_only=True)
class PageFiles:
    """
    What was written.

    Parameters
    ----------
    html, pdf
        The page, twice the same.
    """

    html: Path
    pdf: Path


def write_patient_page(
    plan: Plan,
    out_dir: Path,
    *,
    issued_on: str = "",
    mark: PlanMark = PlanMark.DRAFT,
    evidence: EvidenceTable | None = None,
) -> PageFiles:
    """
    Write `patient.html` and `patient.pdf`, for the talk with the patient.

    Parameters
    ----------
    plan
        What casework computed.
    out_dir
        Folder; made where it is missing.
    issued_on
        Date as it shall be printed; the clock is not read.
    mark
        Draft, superseded or signed.
    evidence
        Rows and settings in force; the shipped ones where left out.

    Returns
    -------
    PageFiles
        Paths written.

    Raises
    ------
    FileRefusal
        The folder cannot be written; nothing is left half written.
    """
    table = load_evidence() if evidence is None else evidence
    document = compose_patient_page(
        plan, evidence=table, issued_on=issued_on, mark=word_across(mark)
    )
    return _write(document, out_dir, name="patient")


def write_colleague_page(
    plan: Plan,
    out_dir: Path,
    *,
    issued_on: str = "",
    mark: PlanMark = PlanMark.DRAFT,
    evidence: EvidenceTable | None = None,
) -> PageFiles:
    """
    Write `colleague.html` and `colleague.pdf`: one page, and behind it the rows it cites.

    Parameters
    ----------
    plan
        What casework computed.
    out_dir
        Folder; made where it is missing.
    issued_on
        Date as it shall be printed; the clock is not read.
    mark
        Draft, superseded or signed.
    evidence
        Rows and settings in force; the shipped ones where left out.

    Returns
    -------
    PageFiles
        Paths written.

    Raises
    ------
    FileRefusal
        The folder cannot be written; nothing is left half written.
    """
    table = load_evidence() if evidence is None else evidence
    document = compose_colleague_page(
        plan, evidence=table, issued_on=issued_on, mark=word_across(mark)
    )
    return _write(document, out_dir, name="colleague")


def write_letter(
    plan: Plan,
    template_text: str,
    out_dir: Path,
    *,
    kind: LetterKind,
    issued_on: str = "",
    mark: PlanMark = PlanMark.DRAFT,
    evidence: EvidenceTable | None = None,
    where: str = "letter template",
) -> PageFiles:
    """
    Write `letter-authorisation` or `letter-referral` as HTML and PDF.

    Parameters
    ----------
    plan
        What casework computed.
    template_text
        The template, `shipped_template(kind)` or a clinic's own.
    out_dir
        Folder; made where it is missing.
    kind
        Authorisation or referral.
    issued_on
        Date as it shall be printed; the clock is not read.
    mark
        Draft, superseded or signed.
    evidence
        Rows and settings in force; the shipped ones where left out.
    where
        How the template is called in a refusal, usually its path.

    Returns
    -------
    PageFiles
        Paths written.

    Raises
    ------
    CaseRefusal
        The template holds an unknown placeholder, a brace that stands alone, or no text.
    FileRefusal
        The folder cannot be written; nothing is left half written.
    """
    table = load_evidence() if evidence is None else evidence
    document = compose_letter(
        plan,
        template_text,
        kind=kind,
        evidence=table,
        issued_on=issued_on,
        mark=word_across(mark),
        where=where,
    )
    return _write(document, out_dir, name=f"letter-{kind.value}")


def write_two_hips(
    left: Plan,
    right: Plan,
    out_dir: Path,
    *,
    issued_on: str = "",
    mark: PlanMark = PlanMark.DRAFT,
    evidence: EvidenceTable | None = None,
) -> PageFiles:
    """
    Write `two-hips.html` and `two-hips.pdf`: both hips of one person side by side.

    Parameters
    ----------
    left, right
        Plans of one person.
    out_dir
        Folder; made where it is missing.
    issued_on
        Date as it shall be printed; the clock is not read.
    mark
        Draft, superseded or signed.
    evidence
        Rows and settings in force; the shipped ones where left out.

    Returns
    -------
    PageFiles
        Paths written.

    Raises
    ------
    CaseRefusal
        A plan is of the wrong side, or the two name different persons.
    FileRefusal
        The folder cannot be written; nothing is left half written.
    """
    table = load_evidence() if evidence is None else evidence
    document = compose_two_hips(
        left, right, evidence=table, issued_on=issued_on, mark=word_across(mark)
    )
    return _write(document, out_dir, name="two-hips")


def word_across(mark: PlanMark) -> str:
    """What stands across a page: nothing once it is signed."""
    return "" if mark is PlanMark.SIGNED else mark.value


def _write(document: Document, out_dir: Path, *, name: str) -> PageFiles:
    """Both files, made first and moved in together."""
    files = PageFiles(html=Path(out_dir) / f"{name}.html", pdf=Path(out_dir) / f"{name}.pdf")
    write_files({files.html: render_html(document).encode(), files.pdf: render_pdf(document)})
    return files
