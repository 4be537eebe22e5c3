"""The rules in force as Markdown: each with what it rests on and what would change it."""

from __future__ import annotations

from collections.abc import Iterable

from rimwright.evidence import EvidenceTable, anchor_of, load_evidence, page_of
from rimwright.treatment.conditions import Choice, Comparison, Condition, Presence
from rimwright.treatment.cut_offs import number_with_unit
from rimwright.treatment.rule_file import shipped_rules
from rimwright.treatment.rules import FactRule, LabrumRule, Limit, Measure, OptionPlan, RuleSet

_UNKNOWN = "unknown"


def rules_page(rules: RuleSet | None = None, *, table: EvidenceTable | None = None) -> str:
    """
    Write every rule out.

    Parameters
    ----------
    rules
        None for the shipped rules.
    table
        None for the shipped evidence.

    Returns
    -------
    str
        Markdown, from the second level of headings on; links lead to the evidence pages beside
        it under `reference/evidence`.
    """
    used = rules if rules is not None else shipped_rules()
    known = table if table is not None else load_evidence()
    lines = ["## Every rule: the roads, by measure", ""]
    for measure in used.measures:
        lines += _measure(measure, known)
    lines += ["## Every rule: the roads, by fact", ""]
    for fact in used.facts:
        lines += _fact(fact, known)
    lines += ["## Every rule: the labrum", "", *_sector(used)]
    for rule in used.labrum:
        lines += _labrum(rule, known)
    lines += ["## The five options", ""]
    for option in used.options:
        lines += _option(option, known)
    return "\n".join(lines)


def _measure(measure: Measure, table: EvidenceTable) -> list[str]:
    lines = [f"### {measure.label}", ""]
    if measure.holds_for:
        held = " or ".join(measure.holds_for)
        method = f", by the {measure.holds_for_method} method" if measure.holds_for_method else ""
        lines.append(f"- Held against a reading made on {held} only{method}.")
    if measure.sites:
        lines.append(f"- Any site counts: {', '.join(measure.sites.values())}.")
    lines += [_limit(limit, table) for limit in measure.limits]
    lines.append(f"- Where unknown: {measure.unknown}.")
    return [*lines, *_would_change(measure.would_change), ""]


def _limit(limit: Limit, table: EvidenceTable) -> str:
    setting = table.setting(limit.setting)
    cut_off = f"{limit.test} {number_with_unit(setting.value, setting.unit)}"
    others = [number_with_unit(item.value, setting.unit) for item in setting.alternatives]
    in_print = f"; in print also {', '.join(others)}" if others else ""
    roads = ", ".join(f"{road}: {stance}" for road, stance in limit.roads.items())
    rows = tuple(dict.fromkeys((*limit.evidence, *setting.evidence)))
    refers = " Ends in a summary for a surgeon who does osteotomies." if limit.refers else ""
    return (
        f"- **{cut_off}** (`{limit.setting}`, {setting.status}{in_print}): {limit.says}. "
        f"*{roads}*.{refers} {_evidence(rows, table)}"
    )


def _fact(rule: FactRule, table: EvidenceTable) -> list[str]:
    roads = ", ".join(f"{road}: {stance}" for road, stance in rule.roads.items())
    lines = [
        f"### `{rule.id}`",
        "",
        f"- When {_when(rule.when)}: *{roads or 'said, decides nothing'}*.",
        f"- Says: {rule.label}: {rule.says}.",
        f"- {_evidence(rule.evidence, table)}",
    ]
    if rule.unknown:
        lines.append(f"- Where unknown: {rule.unknown}.")
    return [*lines, *_would_change(rule.would_change), ""]


def _sector(rules: RuleSet) -> list[str]:
    needs = "; ".join(_when(conditions) for conditions in rules.needs)
    return [
        f"A sector needs something when one of these is known: {needs}. It is sound when "
        f"{_when(rules.sound)}. Anything else is unclear, and asked for.",
        "",
    ]


def _labrum(rule: LabrumRule, table: EvidenceTable) -> list[str]:
    verdict = str(rule.verdict) if rule.verdict is not None else "said, decides nothing"
    return [
        f"### `{rule.id}`",
        "",
        f"- When {_when(rule.when)}: {', '.join(rule.actions)}: *{verdict}*.",
        f"- Says: {rule.says}.",
        f"- {_evidence(rule.evidence, table)}",
        *_would_change(rule.would_change),
        "",
    ]


def _option(option: OptionPlan, table: EvidenceTable) -> list[str]:
    others = ", else ".join(option.others)
    where = (
        "the whole rim outside the notch"
        if option.whole_rim
        else f"each sector that needs something{f', else {others}' if others else ''}"
    )
    return [
        f"### {option.name}",
        "",
        f"- {option.lead}: {where}.",
        f"- Says: {option.says}.",
        f"- {_evidence(option.evidence, table)}",
        "",
    ]


def _when(conditions: Iterable[Condition]) -> str:
    return " and ".join(_condition(item) for item in conditions)


def _condition(condition: Condition) -> str:
    name = condition.field.replace("_", " ")
    if isinstance(condition, Presence):
        return f"{name} is known"
    if isinstance(condition, Comparison):
        limit = f"`{condition.limit}`" if isinstance(condition.limit, str) else condition.limit
        shown = limit if isinstance(limit, str) else f"{limit:g}"
        return f"{name} {condition.test} {shown}"
    return f"{name} is {_choice(condition)}"


def _choice(condition: Choice) -> str:
    words = [
        str(value).lower() if isinstance(value, bool) else str(value) for value in condition.values
    ]
    if condition.accepts_unknown:
        words.append(_UNKNOWN)
    return " or ".join(words)


def _evidence(rows: Iterable[str], table: EvidenceTable) -> str:
    links = [
        f'<a href="reference/evidence/{page_of(row)}.html#{anchor_of(row)}">'
        f"{row.removeprefix('planning:')}</a> ({table.row(row).status})"
        for row in rows
    ]
    return f"Rests on {', '.join(links)}." if links else "Rests on its setting."


def _would_change(text: str) -> list[str]:
    return [f"- Would change it: {text}."] if text else []
