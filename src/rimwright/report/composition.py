"""The report as one document of blocks, from a plan and the evidence tables."""

from __future__ import annotations

from enum import StrEnum

from rimwright.anatomy import Plan
from rimwright.evidence import EvidenceTable
from rimwright.report.appendix import (
    cautions_section,
    cited_in,
    evidence_section,
    settings_section,
)
from rimwright.report.blocks import Document
from rimwright.report.bony_section import bony_section
from rimwright.report.chapters import (
    candidacy_section,
    dial_section,
    options_section,
    work_section,
)
from rimwright.report.first_page import first_page
from rimwright.report.measured_chapters import (
    corridors_section,
    measurements_section,
    portals_section,
)
from rimwright.report.revision_section import revision_section
from rimwright.report.wording import side_words
from rimwright.report.worse_section import worse_section


class PlanMark(StrEnum):
    """What stands across every page: a plan is a draft until it is signed, then in force."""

    DRAFT = "draft"
    SUPERSEDED = "superseded"
    SIGNED = "signed"


def compose(
    plan: Plan, *, evidence: EvidenceTable, issued_on: str = "", mark: PlanMark = PlanMark.DRAFT
) -> Document:
    """
    All blocks of the report.

    Parameters
    ----------
    plan
        What casework computed.
    evidence
        Rows and settings in force.
    issued_on
        Date as it shall be printed, else the plan's setting of that name; no clock is read.
    mark
        Draft, superseded or signed.

    Returns
    -------
    Document
        Page one and the sections behind it.
    """
    first = first_page(plan)
    dated = issued_on or str(plan.settings.get("issued_on", ""))
    parts = (
        dial_section(plan),
        revision_section(plan),
        options_section(plan),
        candidacy_section(plan),
        measurements_section(plan, evidence=evidence),
        corridors_section(plan, evidence=evidence),
        bony_section(plan),
        portals_section(plan),
        work_section(plan),
        worse_section(plan),
        cautions_section(plan),
    )
    body = tuple(part for part in parts if part is not None)
    settings = settings_section(plan, evidence=evidence)
    cited = (*cited_in(first), *cited_in(body), *cited_in(settings))
    return Document(
        title=f"Plan for the {side_words(plan.side)}",
        side=side_words(plan.side),
        case_id=plan.case_id,
        version=plan.version,
        issued_on=dated,
        mark="" if mark is PlanMark.SIGNED else mark.value,
        first=first,
        sections=(*body, evidence_section(cited, evidence=evidence), settings),
    )
