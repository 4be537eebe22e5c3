"""What the cut-offs in force say of every quantity, beside the other cut-offs in print."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from rimwright.anatomy import Stance, Status
from rimwright.evidence import EvidenceStatus, EvidenceTable, Setting
from rimwright.treatment.findings import Findings, Modality, Reading
from rimwright.treatment.rules import Limit, Measure, Road, RuleSet

_PLURAL = {
    Modality.RADIOGRAPH: "radiographs",
    Modality.CT: "CT",
    Modality.MR: "MR",
    Modality.MESH: "meshes",
}
_GRADE_SCALE = {"femoral_cartilage_grade": ("femoral_cartilage_scale", "Outerbridge")}
_UNITS = {"deg": "°", "grade": "", "count": "", "kg/m2": " kg/m²"}


class MeasureState(StrEnum):
    """What became of one quantity."""

    MET = "a cut-off is met"
    WITHIN = "inside the limits in force"
    NOT_APPLIED = "no cut-off is applied"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True, kw_only=True)
class JudgedMeasure:
    """
    One quantity held against its cut-offs.

    Parameters
    ----------
    label, state
        Its name and what became of it.
    text
        The whole sentence; for an unknown quantity, what to do.
    short
        The sentence without the other cut-offs in print.
    evidence
        Rows behind it.
    roads
        What it does to the roads; empty unless a cut-off is met.
    """

    label: str
    state: MeasureState
    text: str
    short: str = ""
    evidence: tuple[str, ...] = ()
    roads: Mapping[Road, Stance] = field(default_factory=dict)


def judge_measures(
    findings: Findings, table: EvidenceTable, *, rules: RuleSet
) -> tuple[JudgedMeasure, ...]:
    """Every quantity of the rules, in their order."""
    return tuple(_judge(measure, findings=findings, table=table) for measure in rules.measures)


def _judge(measure: Measure, *, findings: Findings, table: EvidenceTable) -> JudgedMeasure:
    settings = [table.setting(limit.setting) for limit in measure.limits]
    reading = _reading(measure, findings)
    if reading is None:
        return JudgedMeasure(label=measure.label, state=MeasureState.UNKNOWN, text=measure.unknown)
    seen = _as_seen(measure, reading, unit=settings[0].unit)
    obstacle = _obstacle(measure, reading, findings)
    if obstacle:
        limits = ", ".join(
            _in_force(limit, setting)
            for limit, setting in zip(measure.limits, settings, strict=True)
        )
        text = f"{seen}: not held against the cut-offs in force ({limits}), {obstacle}; "
        return JudgedMeasure(
            label=measure.label,
            state=MeasureState.NOT_APPLIED,
            text=text + measure.unknown,
            evidence=_rows(settings),
        )
    for limit, setting in zip(measure.limits, settings, strict=True):
        if limit.test.holds(reading.value, limit=setting.value):
            return _met(measure, limit, setting, seen=seen, value=reading.value)
    others = [
        _beside(limit, setting, value=reading.value)
        for limit, setting in zip(measure.limits, settings, strict=True)
    ]
    return JudgedMeasure(
        label=measure.label,
        state=MeasureState.WITHIN,
        text=f"{seen}: meets none of the cut-offs in force ({'; '.join(others)})",
        evidence=_rows(settings),
    )


def _met(
    measure: Measure, limit: Limit, setting: Setting, *, seen: str, value: float
) -> JudgedMeasure:
    short = f"{seen}: {limit.says}"
    roads = ", ".join(f"{road}: {stance}" for road, stance in limit.roads.items())
    return JudgedMeasure(
        label=measure.label,
        state=MeasureState.MET,
        text=f"{short} ({_beside(limit, setting, value=value)}). {roads}",
        short=short,
        evidence=tuple(dict.fromkeys((*limit.evidence, *_rows([setting])))),
        roads=limit.roads,
    )


def _reading(measure: Measure, findings: Findings) -> Reading | None:
    """The number behind a measure: a reading, or a plain fact of the patient."""
    if measure.holds_for:
        return findings.reading(measure.key, prefer=measure.holds_for)
    value = getattr(findings, measure.key)
    return None if value is None else Reading(quantity=measure.key, value=float(value))


def _obstacle(measure: Measure, reading: Reading, findings: Findings) -> str:
    """Why no cut-off is applied to a reading; '' where they are."""
    if measure.key in _GRADE_SCALE:
        name, wanted = _GRADE_SCALE[measure.key]
        scale = getattr(findings, name)
        return "" if scale == wanted else f"which are grades of the {wanted} scale"
    if not measure.holds_for:
        return ""
    made_on = " or ".join(_PLURAL[item] for item in measure.holds_for)
    if reading.modality is None:
        return f"which were made on {made_on}, because it is not said how it was read"
    if reading.modality not in measure.holds_for:
        return f"which were made on {made_on}"
    if measure.holds_for_method and measure.holds_for_method not in reading.method:
        return f"which hold for the {measure.holds_for_method} method only"
    return ""


def _as_seen(measure: Measure, reading: Reading, *, unit: str) -> str:
    how = []
    if measure.holds_for:
        how.append(str(reading.modality) if reading.modality else "modality unknown")
    if reading.status is not Status.OK:
        how.append("doubtful")
    label = f"{measure.label[0].upper()}{measure.label[1:]}"
    return f"{label} {_with_unit(reading.value, unit)}" + (f" ({', '.join(how)})" if how else "")


def _beside(limit: Limit, setting: Setting, *, value: float) -> str:
    """The cut-off in force with the others in print, and which of them would answer otherwise."""
    text = f"{_in_force(limit, setting)}{_chosen_by(setting)}"
    if not setting.alternatives:
        return text
    others = ", ".join(_with_unit(item.value, setting.unit) for item in setting.alternatives)
    text += f", in print also {others}"
    answer = limit.test.holds(value, limit=setting.value)
    otherwise = [
        _with_unit(item.value, setting.unit)
        for item in setting.alternatives
        if limit.test.holds(value, limit=item.value) is not answer
    ]
    if otherwise:
        text += f", by {' and '.join(otherwise)} the answer would be another"
    return text


def _chosen_by(setting: Setting) -> str:
    if setting.status is EvidenceStatus.CLINIC:
        return " set by the clinic"
    if setting.status.was_read:
        return ""
    return f" ({setting.status})"


def _in_force(limit: Limit, setting: Setting) -> str:
    return f"{limit.test} {_with_unit(setting.value, setting.unit)}"


def _with_unit(value: float, unit: str) -> str:
    number = f"{value:.1f}".removesuffix(".0")
    return f"{number}{_UNITS.get(unit, f' {unit}')}"


def _rows(settings: list[Setting]) -> tuple[str, ...]:
    rows = [
        row
        for setting in settings
        for row in (
            *setting.evidence,
            *(row for other in setting.alternatives for row in other.evidence),
        )
    ]
    return tuple(dict.fromkeys(rows))
