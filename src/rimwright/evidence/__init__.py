"""What the tool knows from outside: rows with source and status, and the settings in force."""

from rimwright.evidence.check_values import check_values
from rimwright.evidence.pages import anchor_of, evidence_pages, page_of
from rimwright.evidence.row import Conflict, Definition, EvidenceRow, EvidenceStatus
from rimwright.evidence.setting import Alternative, Override, Setting
from rimwright.evidence.table import EvidenceTable, load_evidence

__all__ = [
    "Alternative",
    "Conflict",
    "Definition",
    "EvidenceRow",
    "EvidenceStatus",
    "EvidenceTable",
    "Override",
    "Setting",
    "anchor_of",
    "check_values",
    "evidence_pages",
    "load_evidence",
    "page_of",
]
