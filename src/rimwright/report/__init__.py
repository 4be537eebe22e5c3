"""The report of a plan and the pages for people: page, print, drawings, the scene on bone."""

from rimwright.report.composition import PlanMark
from rimwright.report.letter import LetterKind, shipped_template
from rimwright.report.letter_values import letter_placeholders
from rimwright.report.page_writing import (
    PageFiles,
    write_colleague_page,
    write_letter,
    write_patient_page,
    write_two_hips,
)
from rimwright.report.writing import ReportFiles, write_report, write_scene

__all__ = [
    "LetterKind",
    "PageFiles",
    "PlanMark",
    "ReportFiles",
    "letter_placeholders",
    "shipped_template",
    "write_colleague_page",
    "write_letter",
    "write_patient_page",
    "write_report",
    "write_scene",
    "write_two_hips",
]
