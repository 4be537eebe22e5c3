"""The settings in force for a case: shipped, over them the clinic's, over them the case's own."""

from __future__ import annotations

from dataclasses import dataclass, replace
from types import MappingProxyType

from rimwright.anatomy import AnchorKind, GraftKind
from rimwright.casework.case import Case
from rimwright.casework.technique_files import (
    SHIPPED_TECHNIQUES,
    Technique,
    read_technique,
    shipped_technique,
)
from rimwright.evidence import EvidenceStatus, EvidenceTable, load_evidence
from rimwright.fixation import FixationLimits
from rimwright.treatment import RuleSet, load_rules

PRINTED_SETTINGS = (
    "fixation.margin_joint_mm",
    "fixation.margin_cortex_mm",
    "fixation.spacing_mm",
    "fixation.spacing_max_mm",
    "fixation.end_tolerance_mm",
    "fixation.neighbour_gap_mm",
    "portal.skin_depth_mm",
    "portal.skin_depth_asis_mm",
    "portal.head_distraction_mm",
    "portal.max_off_deg",
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SettingsInForce:
    """
    Everything a plan is computed with.

    Parameters
    ----------
    table
        Evidence with every override in it.
    limits
        Of fixation.
    anchors, grafts
        To hand, or the example where the case lists none.
    techniques
        The first is the one in force.
    rules
        The shipped ones, with the clinic's own over them.
    changed
        Setting name to a sentence on who changed it and from what.
    doubts
        What was assumed because the case does not say.
    """

    table: EvidenceTable
    limits: FixationLimits
    anchors: tuple[AnchorKind, ...]
    grafts: tuple[GraftKind, ...]
    techniques: tuple[Technique, ...]
    rules: RuleSet
    changed: dict[str, str]
    doubts: tuple[str, ...]


def settings_in_force(case: Case) -> SettingsInForce:
    """
    Work out the settings of a case.

    Parameters
    ----------
    case
        Its settings name files where it has any.

    Returns
    -------
    SettingsInForce
        Table, limits, equipment, techniques and what was changed or assumed.

    Raises
    ------
    Refusal
        The clinic's settings, rules or technique cannot be used, or two limits contradict.
    """
    shipped = load_evidence(case.settings.evidence)
    own = {
        "fixation.margin_joint_mm": case.settings.margin_joint_mm,
        "fixation.margin_cortex_mm": case.settings.margin_cortex_mm,
        "fixation.spacing_mm": case.settings.spacing_mm,
        **case.settings.portals,
    }
    changed = {
        change.name: f"{change.value:g} {change.unit}, set by the clinic in {change.path.name} "
        f"(shipped: {change.default:g})"
        for change in shipped.overrides
    }
    settings = dict(shipped.settings)
    for name, value in own.items():
        if value is None or value == settings[name].value:
            continue
        before = settings[name]
        changed[name] = (
            f"{value:g} {before.unit}, set in the case (otherwise {before.value:g} {before.unit})"
        )
        settings[name] = replace(
            before,
            value=value,
            status=EvidenceStatus.COMMON_PRACTICE,
            source=f"set in {case.where} (otherwise {before.value:g} {before.unit})",
        )
    table = EvidenceTable(settings=MappingProxyType(settings), overrides=shipped.overrides)
    doubts = []
    anchors = case.equipment.anchors
    if anchors is None:
        kind = AnchorKind(
            drill_mm=table.number("plan.example_drill_mm"),
            depth_mm=table.number("plan.example_depth_mm"),
        )
        anchors = (kind,)
        doubts.append(
            f"The case lists no anchors to hand: a {kind.drill_mm:g} mm drill, "
            f"{kind.depth_mm:g} mm deep, stands in for them"
        )
    return SettingsInForce(
        table=table,
        limits=FixationLimits.from_evidence(table),
        anchors=anchors,
        grafts=case.equipment.grafts or (),
        techniques=_techniques(case),
        rules=load_rules(case.settings.rules, table=table),
        changed=changed,
        doubts=tuple(doubts),
    )


def _techniques(case: Case) -> tuple[Technique, ...]:
    """The technique in force first, then the other shipped ones."""
    asked = case.settings.technique
    names = list(SHIPPED_TECHNIQUES)
    if asked is None:
        return tuple(shipped_technique(name) for name in names)
    if isinstance(asked, str):
        names.remove(asked)
        return (shipped_technique(asked), *(shipped_technique(name) for name in names))
    return (read_technique(asked), *(shipped_technique(name) for name in names))


def printed_settings(case: Case, used: SettingsInForce) -> dict[str, object]:
    """
    The settings as the plan states them.

    Parameters
    ----------
    case
        For the names of its files.
    used
        As in force.

    Returns
    -------
    dict
        Name to number, text, list or table.
    """
    printed: dict[str, object] = {}
    for name in PRINTED_SETTINGS:
        setting = used.table.setting(name)
        printed[name.partition(".")[2]] = setting.value
    printed["anchors"] = [
        {"drill_mm": kind.drill_mm, "depth_mm": kind.depth_mm} for kind in used.anchors
    ]
    printed["grafts"] = [
        {"kind": graft.kind, "diameter_mm": graft.diameter_mm} for graft in used.grafts
    ]
    printed["technique"] = used.techniques[0].name
    if case.settings.evidence is not None:
        printed["evidence"] = case.settings.evidence.name
    if case.settings.rules is not None:
        printed["rules"] = case.settings.rules.name
        printed["rules_changed"] = [
            f"{change.rule}: {change.what} ({change.note})" for change in used.rules.changes
        ]
    printed["changed"] = dict(used.changed)
    return printed
