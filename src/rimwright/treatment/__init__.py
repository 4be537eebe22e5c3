"""Which road, and what to do with each part of the labrum: stances with reasons, never a score."""

from rimwright.treatment.candidacy import assess_candidacy
from rimwright.treatment.findings import Findings, Modality, Reading, readings_of_hip
from rimwright.treatment.options import list_options
from rimwright.treatment.rule_file import parse_rules, shipped_rules
from rimwright.treatment.rules import Road, RuleSet

__all__ = [
    "Findings",
    "Modality",
    "Reading",
    "Road",
    "RuleSet",
    "assess_candidacy",
    "list_options",
    "parse_rules",
    "readings_of_hip",
    "shipped_rules",
]
