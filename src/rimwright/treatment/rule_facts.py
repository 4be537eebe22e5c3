"""The findings that rules may turn on, under the names rules call them by."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from enum import StrEnum

from rimwright.anatomy import (
    Attachment,
    Effect,
    Fibres,
    LabrumSector,
    RevisionFinding,
    RevisionKind,
    Sector,
    SeenBy,
    Tear,
    Tissue,
)
from rimwright.treatment.conditions import Fact
from rimwright.treatment.findings import Findings

SECTOR_WORDS: Mapping[str, type[StrEnum]] = {
    "tissue": Tissue,
    "attachment": Attachment,
    "fibres": Fibres,
    "tear": Tear,
    "seen_by": SeenBy,
}
SECTOR_TRUTHS = ("seals", "calcified", "prior_suture")
SECTOR_NUMBERS = ("width_mm", "thickness_mm")
HIP_WORDS: Mapping[str, type[StrEnum]] = {"injection_relief": Effect}
HIP_NUMBERS = (
    "age_years",
    "bmi_kg_m2",
    "previous_hip_arthroscopy",
    "tonnis_grade",
    "ligamentum_teres_grade",
    "laxity_score",
    "non_operative_weeks",
)
REPORTED: Mapping[str, RevisionKind] = {
    "anchor_reported": RevisionKind.ANCHOR,
    "tunnel_reported": RevisionKind.TUNNEL,
    "cyst_reported": RevisionKind.CYST,
    "earlier_trim_reported": RevisionKind.EARLIER_TRIM,
    "ossicle_reported": RevisionKind.OSSICLE,
    "capsule_defect_reported": RevisionKind.CAPSULE_DEFECT,
}
HIP_TRUTHS = ("instability_sign", "is_revision", *REPORTED)

_IMPLIED_BY_ABSENCE: Mapping[str, Fact] = {
    "fibres": Fibres.INTERRUPTED,
    "seals": False,
    "calcified": False,
}


def facts_of_hip(findings: Findings) -> dict[str, Fact]:
    """
    What rules of the hip may know.

    Parameters
    ----------
    findings
        Of patient and hip.

    Returns
    -------
    dict
        A kind of finding that was reported is true, wherever it lies; one that was not is false,
        which says that nobody reported it and nothing else.
    """
    facts: dict[str, Fact] = {
        name: getattr(findings, name)
        for name in (*HIP_WORDS, *HIP_NUMBERS, "instability_sign", "is_revision")
    }
    kinds = {item.kind for item in findings.revision}
    return facts | {name: kind in kinds for name, kind in REPORTED.items()}


def facts_of_sector(item: LabrumSector, findings: Findings) -> dict[str, Fact]:
    """
    What rules of one sector may know.

    Parameters
    ----------
    item
        The sector.
    findings
        Of patient and hip.

    Returns
    -------
    dict
        A kind of finding counts where it lies in the sector; one whose place is unknown leaves
        the answer unknown. An old anchor or tunnel here means a suture was here.
    """
    facts = facts_of_hip(findings)
    names = (*SECTOR_WORDS, *SECTOR_TRUTHS, *SECTOR_NUMBERS)
    facts |= {name: getattr(item, name) for name in names}
    for name, kind in REPORTED.items():
        facts[name] = _reported_here(kind, findings.revision, sector=item.sector)
    if facts["anchor_reported"] or facts["tunnel_reported"]:
        facts["prior_suture"] = True
    elif facts["prior_suture"] is None and findings.is_revision is False:
        facts["prior_suture"] = False  # nobody can have sutured it
    if facts["tissue"] == Tissue.ABSENT:
        for name, implied in _IMPLIED_BY_ABSENCE.items():
            facts[name] = implied if facts[name] is None else facts[name]
    return facts


def _reported_here(
    kind: RevisionKind, revision: Iterable[RevisionFinding], *, sector: Sector
) -> bool | None:
    of_kind = [item for item in revision if item.kind is kind]
    if any(item.lies_in(sector) for item in of_kind):
        return True
    return None if any(not item.place for item in of_kind) else False
