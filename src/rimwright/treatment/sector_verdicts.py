"""What the rules say of every action on one sector of the labrum."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from rimwright.anatomy import Action, LabrumSector, Reason, Sector, Stance
from rimwright.evidence import EvidenceTable
from rimwright.treatment.conditions import Fact, verify
from rimwright.treatment.findings import Findings
from rimwright.treatment.judged import OF_THE_CLINIC
from rimwright.treatment.rule_facts import facts_of_sector
from rimwright.treatment.rules import LabrumRule, RuleSet
from rimwright.treatment.stances import marked_reason, worst_stance

_JUDGED = (Action.DEBRIDE, Action.REPAIR, Action.AUGMENT, Action.REPLACE)


class SectorState(StrEnum):
    """Whether a sector needs something."""

    NEEDS = "needs something"
    SOUND = "sound"
    UNCLEAR = "unclear"


@dataclass(frozen=True, slots=True, kw_only=True)
class ActionVerdict:
    """
    One action on one sector.

    Parameters
    ----------
    stance
        What the rules say together.
    reasons
        One for each rule that is met, the sector named.
    missing
        Findings that would decide a rule that is still undecided.
    is_held_back
        Whether the rules that are met support the action and only something unknown, which a
        less favourable rule turns on, keeps the stance at open.
    """

    stance: Stance
    reasons: tuple[Reason, ...]
    missing: tuple[str, ...]
    is_held_back: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class JudgedSector:
    """
    One sector with the verdict on every action.

    Parameters
    ----------
    sector, state
        Where, and whether it needs something.
    verdicts
        By action; keeping is not judged.
    missing
        Findings that would say whether it needs something; empty where that is known.
    """

    sector: Sector
    state: SectorState
    verdicts: Mapping[Action, ActionVerdict]
    missing: tuple[str, ...] = ()


def judge_sector(
    item: LabrumSector, *, rules: RuleSet, findings: Findings, table: EvidenceTable
) -> JudgedSector:
    """
    Hold one sector against every rule.

    Parameters
    ----------
    item
        What is known of the sector.
    rules, findings, table
        The rules, the patient and hip, the settings in force.

    Returns
    -------
    JudgedSector
        State and verdicts; the width alone changes neither.
    """
    facts = facts_of_sector(item, findings)
    limits = {name: setting.value for name, setting in table.settings.items()}
    state, missing = _state(rules, facts=facts, limits=limits)
    return JudgedSector(
        sector=item.sector,
        state=state,
        verdicts={
            action: _judge_action(
                [rule for rule in rules.labrum if action in rule.actions],
                facts=facts,
                limits=limits,
                sector=item.sector,
                table=table,
            )
            for action in _JUDGED
        },
        missing=missing,
    )


def _state(
    rules: RuleSet, *, facts: Mapping[str, Fact], limits: Mapping[str, float]
) -> tuple[SectorState, tuple[str, ...]]:
    needs = [verify(conditions, facts=facts, limits=limits) for conditions in rules.needs]
    if any(item.met for item in needs):
        return SectorState.NEEDS, ()
    sound = verify(rules.sound, facts=facts, limits=limits)
    if sound.met:
        return SectorState.SOUND, ()
    return SectorState.UNCLEAR, sound.missing


def _judge_action(
    rules: list[LabrumRule],
    *,
    facts: Mapping[str, Fact],
    limits: Mapping[str, float],
    sector: Sector,
    table: EvidenceTable,
) -> ActionVerdict:
    met, undecided = [], []
    missing: dict[str, None] = {}
    for rule in rules:
        verification = verify(rule.when, facts=facts, limits=limits)
        if verification.met:
            met.append(rule)
        elif verification.met is None and rule.verdict is not None:
            undecided.append(rule.verdict)
            missing |= dict.fromkeys(verification.missing)
    stance = worst_stance(rule.verdict for rule in met if rule.verdict is not None)
    if stance is Stance.NOT_POSSIBLE:  # then nothing else matters, and nothing need be asked
        met = [rule for rule in met if rule.verdict is stance]
        missing.clear()
    is_held_back = stance is Stance.SUPPORTED and any(
        verdict is not Stance.SUPPORTED for verdict in undecided
    )
    return ActionVerdict(
        stance=Stance.OPEN if is_held_back else stance,
        reasons=tuple(
            marked_reason(
                f"{sector}: {rule.says}{OF_THE_CLINIC if rule.set_by_clinic else ''}",
                evidence=rule.evidence,
                table=table,
            )
            for rule in met
        ),
        missing=tuple(missing),
        is_held_back=is_held_back,
    )
