"""Cut-offs side by side: the one in force, who chose it, and the others in print."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from rimwright.evidence import EvidenceStatus, EvidenceTable, Setting
from rimwright.treatment.conditions import Test
from rimwright.treatment.rules import Limit

_UNITS = {"deg": "°", "grade": "", "count": "", "kg/m2": " kg/m²"}


@dataclass(frozen=True, slots=True, kw_only=True)
class CutOff:
    """
    One cut-off, in force or in print, and what it answers for a value.

    Parameters
    ----------
    setting
        Name of the setting it stands under.
    test, value, unit
        How a value meets it.
    in_force
        Whether it decides here.
    chosen_by
        'default' or 'clinic' for the one in force, else ''.
    is_met
        What it answers for the value; None where no cut-off is applied to it.
    note
        Who uses it, or what the setting says.
    status
        How far the number may be trusted; None for another number in print, whose rows say it.
    evidence
        Rows and conflicts behind it.
    """

    setting: str
    test: Test
    value: float
    unit: str
    in_force: bool
    chosen_by: str
    is_met: bool | None
    note: str
    status: EvidenceStatus | None
    evidence: tuple[str, ...]

    @property
    def text(self) -> str:
        """The test and its number, as in 'below 20°'."""
        return f"{self.test} {number_with_unit(self.value, self.unit)}"


def cut_offs_of(limit: Limit, table: EvidenceTable, *, value: float | None) -> tuple[CutOff, ...]:
    """
    The cut-off in force, then the others in print; a shipped default the clinic changed is one.

    Parameters
    ----------
    limit
        Names the setting and the test.
    table
        Settings in force.
    value
        None where the cut-off is not applied.

    Returns
    -------
    tuple of CutOff
        The one in force first.
    """
    setting = table.setting(limit.setting)

    def one(number: float, **more: object) -> CutOff:
        known: dict[str, object] = {
            "in_force": False,
            "chosen_by": "",
            "status": None,
            "evidence": setting.evidence,
        }
        known |= more
        return CutOff(
            setting=setting.name,
            test=limit.test,
            value=number,
            unit=setting.unit,
            is_met=None if value is None else limit.test.holds(value, limit=number),
            **known,  # type: ignore[arg-type]  # names are checked by the record
        )

    by_clinic = setting.status is EvidenceStatus.CLINIC
    in_force = one(
        setting.value,
        in_force=True,
        chosen_by="clinic" if by_clinic else "default",
        note=setting.note,
        status=setting.status,
    )
    shipped = [
        one(item.default, note="shipped default")
        for item in table.overrides
        if item.name == setting.name and item.default != setting.value
    ]
    others = [
        one(item.value, note=item.note, evidence=item.evidence) for item in setting.alternatives
    ]
    return (in_force, *shipped, *others)


def beside(cut_offs: Iterable[CutOff]) -> str:
    """The cut-off in force with the others, and which of them would answer otherwise."""
    in_force, *others = cut_offs
    text = f"{in_force.text}{_chosen(in_force)}"
    shipped = [item for item in others if item.note == "shipped default"]
    printed = [item for item in others if item not in shipped]
    if shipped:
        text += f", default {_numbers(shipped)}"
    if printed:
        text += f", in print also {_numbers(printed)}"
    otherwise = [item for item in others if item.is_met is not in_force.is_met]
    if otherwise:
        text += f", by {_numbers(otherwise, joiner=' and ')} the answer would be another"
    return text


def rows_of(settings: Iterable[Setting]) -> tuple[str, ...]:
    """Rows behind settings and the other numbers in print."""
    rows = [
        row
        for setting in settings
        for row in (
            *setting.evidence,
            *(row for other in setting.alternatives for row in other.evidence),
        )
    ]
    return tuple(dict.fromkeys(rows))


def number_with_unit(value: float, unit: str) -> str:
    """A number as it is printed: one decimal at most, no decimal of zero."""
    number = f"{value:.1f}".removesuffix(".0")
    return f"{number}{_UNITS.get(unit, f' {unit}')}"


def _chosen(in_force: CutOff) -> str:
    if in_force.chosen_by == "clinic":
        return " set by the clinic"
    if in_force.status is not None and in_force.status.was_read:
        return " by default"
    return f" by default ({in_force.status})"


def _numbers(cut_offs: Iterable[CutOff], *, joiner: str = ", ") -> str:
    return joiner.join(number_with_unit(item.value, item.unit) for item in cut_offs)
