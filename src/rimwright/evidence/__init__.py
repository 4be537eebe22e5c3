"""What the tool knows from outside: rows with source and status, and the settings in force."""

from rimwright.evidence.row import Conflict, EvidenceRow, EvidenceStatus
from rimwright.evidence.setting import Alternative, Override, Setting
from rimwright.evidence.table import EvidenceTable, load_evidence

__all__ = [
    "Alternative",
    "Conflict",
    "EvidenceRow",
    "EvidenceStatus",
    "EvidenceTable",
    "Override",
    "Setting",
    "load_evidence",
]
