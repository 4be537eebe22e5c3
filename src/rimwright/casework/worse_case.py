"""What the plan becomes if the remnant is not usable: its sectors replaced, laid out anew."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from rimwright.anatomy import (
    Action,
    OptionName,
    PlannedOption,
    SectorAction,
    Stance,
    WorsePlan,
)
from rimwright.casework.option_layout import OptionLayouts, joined

NO_LAYOUT = "No layout: "
"""How a layout that does not exist begins its reason."""
_ON_THE_REMNANT = (Action.AUGMENT, Action.REPAIR)


def plan_for_worse(
    shown: PlannedOption, planned: Sequence[PlannedOption], *, layouts: OptionLayouts
) -> WorsePlan | None:
    """
    Plan for a remnant that turns out not to be usable.

    Parameters
    ----------
    shown
        The option shown first.
    planned
        All options, for what is said of segmental reconstruction.
    layouts
        Lays out; arcs already laid out cost nothing.

    Returns
    -------
    WorsePlan or None
        None where the option keeps and fixes nothing of the remnant.
    """
    resting = joined(item.sector for item in shown.option.actions if item.action in _ON_THE_REMNANT)
    if not resting or shown.option.stance is Stance.NOT_POSSIBLE:
        return None
    segmental = next(
        item.option for item in planned if item.option.name == OptionName.SEGMENTAL_RECONSTRUCTION
    )
    stance = segmental.stance
    option = replace(
        segmental,
        stance=Stance.OPEN if stance is Stance.NOT_POSSIBLE else stance,
        actions=tuple(
            SectorAction(
                sector=item.sector,
                action=Action.REPLACE if item.action in _ON_THE_REMNANT else item.action,
            )
            for item in shown.option.actions
        ),
    )
    worse = layouts.lay_out(option)
    more = max(0, len(worse.anchors) - len(shown.anchors))
    stock = 0.0 if shown.graft is None else shown.graft.stock_length_mm
    graft_more = None if worse.graft is None else max(0.0, worse.graft.stock_length_mm - stock)
    arcs = ", ".join(str(sector) for sector in resting)
    says = [f"If the probe finds the remnant not usable at {arcs}, a graft takes its place there"]
    if shown.anchors and worse.anchors:
        says.append(
            f"It needs {more or 'no'} more anchor{'' if more == 1 else 's'} than the option shown "
            f"first ({len(shown.anchors)})"
        )
    elif not worse.anchors:
        why = worse.cautions[0] if worse.cautions else "no reason is given"
        says.append(f"No anchors are laid out for it: {why.removeprefix(NO_LAYOUT).rstrip('.')}")
    if worse.graft is None or graft_more is None:
        says.append("How much graft it takes is not known without a rim to measure the arc on")
    elif shown.graft is None:
        says.append(
            f"It needs a graft that the option shown first does not: "
            f"{worse.graft.stock_length_mm:.0f} mm of stock"
        )
    else:
        says.append(
            f"It needs {f'{graft_more:.0f} mm more' if graft_more else 'no more'} graft stock "
            f"than the option shown first ({stock:.0f} mm)"
        )
    return WorsePlan(planned=worse, anchors_more=more, graft_more_mm=graft_more, says=tuple(says))
