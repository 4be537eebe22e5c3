"""Which road, and what to do with each part of the labrum: stances with reasons, never a score."""

from rimwright.treatment.candidacy import assess_candidacy
from rimwright.treatment.clinic_findings import with_clinic
from rimwright.treatment.clinic_rules import load_rules
from rimwright.treatment.comparisons import CutOffComparison, compare_cut_offs
from rimwright.treatment.cut_offs import CutOff
from rimwright.treatment.findings import (
    JOINT_SPACE_SITES,
    Findings,
    Modality,
    Reading,
    readings_of_hip,
)
from rimwright.treatment.options import list_options
from rimwright.treatment.referral import Referral, ReferralMeasurement, referral_summary
from rimwright.treatment.revision_obstacles import obstacles_of, revision_cautions
from rimwright.treatment.rule_file import parse_rules, shipped_rules
from rimwright.treatment.rule_pages import rules_page
from rimwright.treatment.rules import Road, RuleChange, RuleSet

__all__ = [
    "CutOff",
    "CutOffComparison",
    "Findings",
    "JOINT_SPACE_SITES",
    "Modality",
    "Reading",
    "Referral",
    "ReferralMeasurement",
    "Road",
    "RuleChange",
    "RuleSet",
    "assess_candidacy",
    "compare_cut_offs",
    "list_options",
    "load_rules",
    "obstacles_of",
    "parse_rules",
    "readings_of_hip",
    "referral_summary",
    "revision_cautions",
    "rules_page",
    "shipped_rules",
    "with_clinic",
]
