"""Limits of coverage in force, the room that is left before each, and warnings of a trim."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from rimwright.anatomy import CoverageLimit, Measurement, RimTrim, Sector, TrimStep
from rimwright.evidence import EvidenceTable, Setting

ANTEROSUPERIOR = Sector(from_hour=0.0, to_hour=3.0)
"""The arc that the cadaver hips of planning:3.02 and 3.06 were trimmed over (12 to 3)."""
LCEA, LCEA_SOURCIL = "lateral_centre_edge_angle", "lateral_centre_edge_angle_sourcil"
ACEA = "anterior_centre_edge_angle"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Rule:
    """A limit: whose, from which setting, on which side of it coverage is enough, in words."""

    keys: tuple[str, ...]
    setting: str
    is_least: bool
    name: str


RULES = (
    _Rule(
        keys=(LCEA, LCEA_SOURCIL),
        setting="rim_trim.lcea_floor_deg",
        is_least=True,
        name="lateral centre-edge angle",
    ),
    _Rule(
        keys=(ACEA,),
        setting="coverage.acea_low_deg",
        is_least=True,
        name="anterior centre-edge angle",
    ),
    _Rule(
        keys=("tonnis_angle",),
        setting="coverage.tonnis_angle_high_deg",
        is_least=False,
        name="roof angle",
    ),
    _Rule(
        keys=("anterior_sector_angle",),
        setting="coverage.aasa_low_deg",
        is_least=True,
        name="anterior sector angle",
    ),
    _Rule(
        keys=("posterior_sector_angle",),
        setting="coverage.pasa_low_deg",
        is_least=True,
        name="posterior sector angle (posterior wall)",
    ),
    _Rule(
        keys=("extrusion_index",),
        setting="coverage.extrusion_index_high_percent",
        is_least=False,
        name="extrusion index",
    ),
)
WHICH = {LCEA: "to the bony edge", LCEA_SOURCIL: "to the sourcil's end"}
"""Which of two readings of one angle was the lower."""


def find_limits(
    before: Mapping[str, Measurement],
    after: Mapping[str, Measurement],
    *,
    steps: Sequence[TrimStep],
    table: EvidenceTable,
) -> tuple[CoverageLimit, ...]:
    """
    Stand every limit beside the hip before and after.

    Parameters
    ----------
    before, after
        Measurements by key.
    steps
        The same arcs at rising depths; empty where nothing is trimmed.
    table
        Settings in force.

    Returns
    -------
    tuple of CoverageLimit
        One a rule; of two readings of the lateral angle the lower one counts.
    """
    limits = []
    for rule in RULES:
        setting = table.setting(rule.setting)
        was = _lowest(rule, {key: before[key].value for key in rule.keys})
        now = _lowest(rule, {key: after[key].value for key in rule.keys})
        limits.append(
            CoverageLimit(
                measurement=now[0],
                setting=rule.setting,
                evidence=setting.evidence,
                status=str(setting.status),
                limit=setting.value,
                before=was[1],
                after=now[1],
                room_mm=_room_mm(rule, setting, steps),
                is_kept=None if now[1] is None else _keeps(rule, setting, now[1]),
            )
        )
    return tuple(limits)


def find_warnings(
    trims: Sequence[RimTrim],
    *,
    before: Mapping[str, Measurement],
    after: Mapping[str, Measurement],
    limits: Sequence[CoverageLimit],
    table: EvidenceTable,
) -> tuple[str, ...]:
    """
    Say which limit a trim breaks, comes near to, or finds broken.

    Parameters
    ----------
    trims
        What was asked for, each deeper than nothing.
    before, after, limits
        Measurements, and the limits beside them.
    table
        Settings in force.

    Returns
    -------
    tuple of str
        Lines for the surgeon.
    """
    lines = []
    for rule, limit in zip(RULES, limits, strict=True):
        lines += _limit_lines(rule, limit, after, table.setting(rule.setting))
    lines += _faster_in_front(before, after)
    most = table.setting("rim_trim.max_mm")
    deepest = max(
        (trim.depth_mm for trim in trims if trim.sector.overlap_hours(ANTEROSUPERIOR) > 0.0),
        default=0.0,
    )
    if deepest >= most.value:
        lines.append(
            f"{deepest:g} mm between 12 and 3 o'clock: in six cadaver hips that were not "
            "dysplastic, contact area, pressure and force at the base of the socket rose after 4 "
            f"to 6 mm (caution from {most.value:g} mm on, {_rests_on(most)})"
        )
    return tuple(lines)


def _limit_lines(
    rule: _Rule,
    limit: CoverageLimit,
    after: Mapping[str, Measurement],
    setting: Setting,
) -> list[str]:
    """What one limit has to say."""
    unit = "%" if setting.unit == "%" else "°"
    name = f"{rule.name} {WHICH[limit.measurement]}" if len(rule.keys) > 1 else rule.name
    side = "under" if rule.is_least else "over"
    if limit.before is None or limit.after is None:
        return [f"{rule.name}: not measured, so this trim was not held against its limit"]
    held = f"the limit in force, {setting.value:g}{unit} ({_rests_on(setting)})"
    if not _keeps(rule, setting, limit.before):
        return [
            f"{name} is {limit.before:.1f}{unit} before any trim, already {side} {held}; "
            f"after this trim {limit.after:.1f}{unit}"
        ]
    if limit.after == limit.before:
        return []
    if not limit.is_kept:
        room = "" if limit.room_mm is None else f"; it is met at {limit.room_mm:.1f} mm"
        return [
            f"{name} goes from {limit.before:.1f}{unit} to {limit.after:.1f}{unit}, "
            f"{side} {held}{room}"
        ]
    spread = after[limit.measurement].spread or 0.0
    if abs(limit.after - setting.value) < spread:
        return [
            f"{name} goes to {limit.after:.1f}{unit}, within its own spread (± {spread:.1f}{unit}) "
            f"of {held}"
        ]
    return []


def _faster_in_front(
    before: Mapping[str, Measurement], after: Mapping[str, Measurement]
) -> list[str]:
    """That coverage in front falls faster than the lateral angle shows."""
    values = [before[LCEA].value, after[LCEA].value, before[ACEA].value, after[ACEA].value]
    if any(value is None for value in values):
        return []
    lateral, front = values[0] - values[1], values[2] - values[3]  # type: ignore[operator]
    if front <= lateral or front <= 0.0:
        return []
    return [
        f"coverage falls faster in front ({front:.1f}°) than the lateral angle shows "
        f"({lateral:.1f}°), as in cadaver hips (planning:3.02, planning:3.03)"
    ]


def _lowest(rule: _Rule, values: Mapping[str, float | None]) -> tuple[str, float | None]:
    """The reading that is nearest to breaking the rule, with its key."""
    known = {key: value for key, value in values.items() if value is not None}
    if not known:
        return rule.keys[0], None
    pick = min if rule.is_least else max
    key = pick(known, key=lambda name: known[name])
    return key, known[key]


def _keeps(rule: _Rule, setting: Setting, value: float) -> bool:
    """Whether a value is on the right side of its limit."""
    return value >= setting.value if rule.is_least else value <= setting.value


def _room_mm(rule: _Rule, setting: Setting, steps: Sequence[TrimStep]) -> float | None:
    """Depth at which a limit is met, linear between the steps; None if it is not."""
    previous: tuple[float, float] | None = None
    for step in steps:
        _, value = _lowest(rule, {key: step.values[key] for key in rule.keys})
        if value is None:
            return None
        if not _keeps(rule, setting, value):
            if previous is None:
                return 0.0
            depth, at = previous
            return depth + (step.depth_mm - depth) * (setting.value - at) / (value - at)
        previous = (step.depth_mm, value)
    return None


def _rests_on(setting: Setting) -> str:
    """Evidence and status of a setting, short."""
    rows = ", ".join(setting.evidence)
    return f"{rows}; {setting.status}" if rows else str(setting.status)
