"""One case from its file to its plan: read, measure, plan, write, store, re-plan."""

from rimwright.casework.case import Case
from rimwright.casework.case_file import case_from_document, read_case

__all__ = ["Case", "case_from_document", "read_case"]
