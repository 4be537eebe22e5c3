"""Options of treatment, their actions by sector, and the stance of the evidence."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from rimwright.anatomy.anchor import Anchor
from rimwright.anatomy.graft import GraftStock
from rimwright.anatomy.sector import Sector


class Action(StrEnum):
    """What is done with one sector of the labrum."""

    KEEP = "keep"
    DEBRIDE = "debride"
    REPAIR = "repair"
    AUGMENT = "augment"
    REPLACE = "replace"

    @property
    def needs_anchors(self) -> bool:
        """Whether tissue is fixed to the rim."""
        return self in (Action.REPAIR, Action.AUGMENT, Action.REPLACE)

    @property
    def needs_graft(self) -> bool:
        """Whether a graft is brought in."""
        return self in (Action.AUGMENT, Action.REPLACE)


class OptionName(StrEnum):
    """The five labral options that are always laid out, by their trade names."""

    DEBRIDEMENT = "debridement"
    REPAIR = "repair"
    AUGMENTATION = "augmentation"
    SEGMENTAL_RECONSTRUCTION = "segmental reconstruction"
    CIRCUMFERENTIAL_RECONSTRUCTION = "circumferential reconstruction"


class Stance(StrEnum):
    """What the evidence says of an option in this hip; never a score."""

    SUPPORTED = "supported"
    OPEN = "open"
    ADVISED_AGAINST = "advised against"
    NOT_POSSIBLE = "not possible here"


@dataclass(frozen=True, slots=True, kw_only=True)
class Reason:
    """
    One sentence and the evidence rows behind it.

    Parameters
    ----------
    text
        A sentence in the trade's words.
    evidence
        Evidence ids, e.g. 'planning:4.20'.
    """

    text: str
    evidence: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Statement:
    """
    One statement of candidacy: a road, its stance and why.

    Parameters
    ----------
    statement
        A sentence.
    stance
        What the evidence says.
    evidence
        Evidence ids.
    """

    statement: str
    stance: Stance
    evidence: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class SectorAction:
    """
    One action on one sector.

    Parameters
    ----------
    sector, action
        Where and what.
    """

    sector: Sector
    action: Action


@dataclass(frozen=True, slots=True, kw_only=True)
class Option:
    """
    A treatment before it is laid out on bone.

    Parameters
    ----------
    name
        Trade name.
    stance, reasons
        What the evidence says and why.
    actions
        By sector; sectors not named are left as they are.
    """

    name: str
    stance: Stance
    actions: tuple[SectorAction, ...]
    reasons: tuple[Reason, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlannedOption:
    """
    An option laid out on this hip's bone.

    Parameters
    ----------
    option
        What is done where.
    anchors
        Empty where no layout exists; the cautions say why.
    graft
        None where the option brings none.
    cautions
        Doubts of this option.
    """

    option: Option
    anchors: tuple[Anchor, ...] = ()
    graft: GraftStock | None = None
    cautions: tuple[str, ...] = ()
