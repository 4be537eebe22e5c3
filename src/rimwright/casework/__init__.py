"""One case from its file to its plan: read, measure, plan, write, store, re-plan.

Loaded when asked for: reading a case needs neither numba nor a reader of bones.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rimwright.casework.bone_files import BoneFiles, bone_files_of
    from rimwright.casework.bones import measure_sides
    from rimwright.casework.both_hips import TwoHips, hips_for_both, two_hips
    from rimwright.casework.case import Case
    from rimwright.casework.case_file import case_from_document, read_case, read_document
    from rimwright.casework.demo_case import write_demo_case
    from rimwright.casework.document_of_hip import hip_document
    from rimwright.casework.document_of_plan import plan_document
    from rimwright.casework.document_of_scan import scan_document
    from rimwright.casework.hip_inputs import hip_files_of, input_digest, measure_files
    from rimwright.casework.hip_store import StoredHip, load_hip, save_hip
    from rimwright.casework.letters import LetterTemplate, letter_templates
    from rimwright.casework.measured_hip import MeasuredHip
    from rimwright.casework.plan_files import PlanFiles, plan_folder, write_plan
    from rimwright.casework.planning import plan_case, prepare_hip
    from rimwright.casework.reuse import ChosenHip, hip_for_case
    from rimwright.casework.scan_check import ScanCheck, check_scan
    from rimwright.casework.scan_files import ScanFiles
    from rimwright.casework.schemas import document_schema
    from rimwright.casework.technique_files import Technique, read_technique

_HOMES = {
    "BoneFiles": "bone_files",
    "Case": "case",
    "ChosenHip": "reuse",
    "LetterTemplate": "letters",
    "MeasuredHip": "measured_hip",
    "PlanFiles": "plan_files",
    "ScanCheck": "scan_check",
    "ScanFiles": "scan_files",
    "StoredHip": "hip_store",
    "Technique": "technique_files",
    "TwoHips": "both_hips",
    "bone_files_of": "bone_files",
    "case_from_document": "case_file",
    "check_scan": "scan_check",
    "document_schema": "schemas",
    "hip_document": "document_of_hip",
    "hip_files_of": "hip_inputs",
    "hip_for_case": "reuse",
    "hips_for_both": "both_hips",
    "input_digest": "hip_inputs",
    "letter_templates": "letters",
    "load_hip": "hip_store",
    "measure_files": "hip_inputs",
    "measure_sides": "bones",
    "plan_case": "planning",
    "plan_document": "document_of_plan",
    "plan_folder": "plan_files",
    "prepare_hip": "planning",
    "read_case": "case_file",
    "read_document": "case_file",
    "read_technique": "technique_files",
    "save_hip": "hip_store",
    "scan_document": "document_of_scan",
    "two_hips": "both_hips",
    "write_demo_case": "demo_case",
    "write_plan": "plan_files",
}

__all__ = [
    "BoneFiles",
    "Case",
    "ChosenHip",
    "LetterTemplate",
    "MeasuredHip",
    "PlanFiles",
    "ScanCheck",
    "ScanFiles",
    "StoredHip",
    "Technique",
    "TwoHips",
    "bone_files_of",
    "case_from_document",
    "check_scan",
    "document_schema",
    "hip_document",
    "hip_files_of",
    "hip_for_case",
    "hips_for_both",
    "input_digest",
    "letter_templates",
    "load_hip",
    "measure_files",
    "measure_sides",
    "plan_case",
    "plan_document",
    "plan_folder",
    "prepare_hip",
    "read_case",
    "read_document",
    "read_technique",
    "save_hip",
    "scan_document",
    "two_hips",
    "write_demo_case",
    "write_plan",
]


def __getattr__(name: str) -> Any:
    """Load the module a name lives in."""
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)
