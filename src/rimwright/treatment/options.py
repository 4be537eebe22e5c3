"""The five labral options on one labrum map: actions by sector, stance and reasons."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from rimwright.anatomy import (
    Action,
    LabrumMap,
    Option,
    Reason,
    Sector,
    SectorAction,
    Stance,
)
from rimwright.evidence import EvidenceTable
from rimwright.treatment.candidacy import arthroscopy_stance
from rimwright.treatment.findings import Findings
from rimwright.treatment.option_sectors import (
    joined_actions,
    notch_in_force,
    outside_notch,
    rim_outside,
)
from rimwright.treatment.rule_file import shipped_rules
from rimwright.treatment.rules import OptionPlan, RuleSet
from rimwright.treatment.sector_verdicts import JudgedSector, SectorState, judge_sector
from rimwright.treatment.stances import is_acceptable, marked_reason, worst_stance


def list_options(
    labrum: LabrumMap,
    findings: Findings,
    table: EvidenceTable,
    *,
    notch: Sector | None = None,
    rules: RuleSet | None = None,
) -> tuple[Option, ...]:
    """
    Lay out the five options on a labrum map, whatever their stance.

    Parameters
    ----------
    labrum
        The map; a sector it does not speak of is unknown and stays untouched.
    findings
        What is known of patient and hip.
    table
        Settings in force and evidence rows.
    notch
        The measured notch; None for the customary one of the settings.
    rules
        None for the shipped rules.

    Returns
    -------
    tuple of Option
        All of OptionName in order. One that is not possible has no actions.

    Notes
    -----
    The width of the labrum adds reasons and changes no stance and no action.
    """
    used = rules if rules is not None else shipped_rules()
    cut = notch_in_force(notch, table=table)
    judged = tuple(
        judge_sector(item, rules=used, findings=findings, table=table)
        for item in labrum.sectors
        if outside_notch(item.sector, notch=cut)
    )
    unseen = tuple(
        piece for sector in labrum.unknown_sectors() for piece in outside_notch(sector, notch=cut)
    )
    against = arthroscopy_stance(findings, table, rules=used)
    return tuple(
        _Layout(plan=plan, judged=judged, unseen=unseen, notch=cut, rules=used, table=table).option(
            against
        )
        for plan in used.options
    )


SUPPOSED = (
    "no sector of the map is known to need anything; the sectors entered are laid out as if they "
    "did, and the probe decides"
)
"""What stands beside an option that rests on sectors of which nothing decides."""


class _Layout:
    """One option on the judged sectors."""

    def __init__(
        self,
        *,
        plan: OptionPlan,
        judged: Sequence[JudgedSector],
        unseen: Sequence[Sector],
        notch: Sector,
        rules: RuleSet,
        table: EvidenceTable,
    ) -> None:
        self.plan = plan
        self.judged = judged
        self.unseen = unseen
        self.notch = notch
        self.rules = rules
        self.table = table
        needing = [item for item in judged if item.state is SectorState.NEEDS]
        # nothing is known to need anything: what is entered but unclear is laid out as if it did
        self.is_supposed = not needing
        self.needing = needing or [item for item in judged if item.state is SectorState.UNCLEAR]

    def option(self, road: Reason | None) -> Option:
        """The option; `road` is the reason where arthroscopy itself is advised against."""
        chosen = self._chosen()
        stance, extra = self._stance(chosen)
        reasons = [
            marked_reason(self.plan.says, evidence=self.plan.evidence, table=self.table),
            *extra,
            *(reason for item, action in chosen for reason in item.verdicts[action].reasons),
        ]
        if road is not None:
            stance = worst_stance((stance, Stance.ADVISED_AGAINST))
            reasons.insert(1, road)
        reasons += self._questions(chosen)
        return Option(
            name=self.plan.name,
            stance=stance,
            actions=() if stance is Stance.NOT_POSSIBLE else self._actions(chosen),
            reasons=tuple(dict.fromkeys(reasons)),
        )

    def _chosen(self) -> list[tuple[JudgedSector, Action]]:
        """What each sector that needs something gets, the leading action where it fits."""
        lead = self.plan.lead
        fits = {item.sector for item in self.needing if is_acceptable(item.verdicts[lead].stance)}
        if not self.plan.others or self.plan.whole_rim:
            fits = {item.sector for item in self.needing}
        elif not fits:  # shown all the same, as far as it can be done
            fits = {
                item.sector
                for item in self.needing
                if item.verdicts[lead].stance is not Stance.NOT_POSSIBLE
            }
        if not fits:
            return [(item, lead) for item in self.needing]
        return [(item, lead if item.sector in fits else self._other(item)) for item in self.needing]

    def _other(self, item: JudgedSector) -> Action:
        """The first other action that is not excluded, else the least excluded, else the lead."""
        candidates = (*self.plan.others, self.plan.lead)
        for action in candidates:
            if is_acceptable(item.verdicts[action].stance):
                return action
        for action in candidates:
            if item.verdicts[action].stance is not Stance.NOT_POSSIBLE:
                return action
        return self.plan.lead

    def _stance(
        self, chosen: Sequence[tuple[JudgedSector, Action]]
    ) -> tuple[Stance, tuple[Reason, ...]]:
        if self.plan.whole_rim:
            return self._whole_rim_stance()
        if not self.needing:
            return self._idle_stance()
        if self.is_supposed:
            return Stance.OPEN, (Reason(text=SUPPOSED),)
        return worst_stance(item.verdicts[action].stance for item, action in chosen), ()

    def _idle_stance(self) -> tuple[Stance, tuple[Reason, ...]]:
        """Nothing is known to need anything: possible only where something is still unknown."""
        if self._is_all_sound():
            return Stance.NOT_POSSIBLE, (
                Reason(text="no sector of the map needs anything: there is nothing to act on"),
            )
        return Stance.OPEN, (
            Reason(text="no sector of the map is known to need anything; nothing is laid out yet"),
        )

    def _is_all_sound(self) -> bool:
        return not self.unseen and all(item.state is SectorState.SOUND for item in self.judged)

    def _whole_rim_stance(self) -> tuple[Stance, tuple[Reason, ...]]:
        """Open where some sector may be replaced; supported only where all of the rim is."""
        verdicts = [item.verdicts[self.plan.lead].stance for item in self.needing]
        kept = tuple(str(item.sector) for item in self.judged if item.state is SectorState.SOUND)
        extra = []
        if kept:
            extra.append(Reason(text=f"it gives up sound labrum: {', '.join(kept)}"))
        if self._is_all_sound() or (
            verdicts and not any(is_acceptable(stance) for stance in verdicts)
        ):
            extra.append(
                marked_reason(
                    "no sector is known to be beyond repair; none of the surgeons of a survey "
                    "reconstruct a labrum that can be repaired",
                    evidence=("planning:4.18",),
                    table=self.table,
                )
            )
            return Stance.ADVISED_AGAINST, tuple(extra)
        whole = not self.unseen and len(self.needing) == len(self.judged)
        if whole and verdicts and all(stance is Stance.SUPPORTED for stance in verdicts):
            return Stance.SUPPORTED, tuple(extra)
        return Stance.OPEN, tuple(extra)

    def _actions(self, chosen: Sequence[tuple[JudgedSector, Action]]) -> tuple[SectorAction, ...]:
        if self.plan.whole_rim:
            return (SectorAction(sector=rim_outside(self.notch), action=self.plan.lead),)
        kept = ((item, Action.KEEP) for item in self.judged if item.state is SectorState.SOUND)
        return joined_actions(
            SectorAction(sector=piece, action=action)
            for item, action in (*chosen, *kept)
            for piece in outside_notch(item.sector, notch=self.notch)
        )

    def _questions(self, chosen: Sequence[tuple[JudgedSector, Action]]) -> list[Reason]:
        """What is not known, sector by sector, as questions."""
        asked = []
        for item, action in chosen:
            verdict = item.verdicts[action]
            asked += self._question(item.sector, verdict.missing, held=verdict.is_held_back)
        for item in self.judged:
            if item.state is SectorState.UNCLEAR:
                asked += self._question(item.sector, item.missing)
        asked += [
            f"{sector}: not seen; "
            + (
                "it is replaced with the rest"
                if self.plan.whole_rim
                else "it stays untouched until the probe has answered whether it is sound"
            )
            for sector in self.unseen
        ]
        return [Reason(text=text) for text in asked]

    def _question(self, sector: Sector, missing: Iterable[str], *, held: bool = False) -> list[str]:
        """One sentence on what is missing; none where no rule turns on anything missing."""
        questions = [
            self.rules.questions[field] for field in missing if field in self.rules.questions
        ]
        if not questions:
            return []
        lead = "open only because it is not known" if held else "must be answered"
        return [f"{sector}: {lead}: {'; '.join(questions)}"]
