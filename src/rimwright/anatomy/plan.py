"""The plan of one hip: what casework computes and report prints."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from rimwright.anatomy.anchor import Anchor, AnchorKind, OldAnchor
from rimwright.anatomy.bony_work import CamPlan, TrimEffect
from rimwright.anatomy.clinic import ClinicRecord
from rimwright.anatomy.corridor import Corridor
from rimwright.anatomy.graft import GraftStock
from rimwright.anatomy.hip import HipGeometry
from rimwright.anatomy.labrum import LabrumMap
from rimwright.anatomy.option import PlannedOption, Statement
from rimwright.anatomy.portal import Portal
from rimwright.anatomy.revision import RevisionFinding
from rimwright.anatomy.scan_source import ScanSource
from rimwright.anatomy.side import Side


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderOfWork:
    """
    The steps of the operation from a technique file.

    Parameters
    ----------
    name
        Name of the technique.
    steps
        In order, as sentences.
    source
        Where the file came from.
    """

    name: str
    steps: tuple[str, ...]
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class EquipmentItem:
    """
    One line of the equipment list.

    Parameters
    ----------
    item
        In trade words, no brand.
    count
        How many to have in the room, spares included.
    note
        Spares, reserve, why.
    """

    item: str
    count: int
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WorsePlan:
    """
    The plan if the remnant turns out not to be usable: its sectors are replaced.

    Parameters
    ----------
    planned
        The segmental reconstruction of the sectors that the plan augments or repairs, laid out.
    anchors_more
        Anchors beyond those of the option shown first; 0 where it needs no more.
    graft_more_mm
        Graft stock beyond that of the option shown first, mm; None where no length is known.
    says
        What it comes to, in sentences.
    """

    planned: PlannedOption
    anchors_more: int
    graft_more_mm: float | None
    says: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plan:
    """
    Everything the report prints.

    Parameters
    ----------
    case_id, version, side
        Identity.
    hip
        The measured hip; None where the case has no images.
    labrum
        The map the plan rests on.
    candidacy
        Statements with stance and evidence.
    planned_option
        Name of the option shown first.
    options
        All five, whatever their stance.
    corridors
        Every 0.25 h outside the notch, for the first drill listed.
    portals
        Portals computed on this hip; empty where ASIS or trochanter is not seen.
    orders_of_work
        Steps from technique files, the first is the one in force.
    equipment_list
        For booking the theatre.
    rim_trim
        Trim by sector; empty means none.
    cautions
        General doubts.
    settings
        Name to value, as used; overrides of evidence included.
    patient
        Facts of the patient the case gave, as printed (name to text).
    digest
        Digest of the inputs, hex.
    old_anchors
        Hardware, tunnels, cysts and ossicles in the rim: every body that drills were kept off.
    corridor_kind
        The anchor size the corridors were computed for; None where there are none.
    person
        What names the person whose hips these are, as the case gave it; '' where it did not.
    clinic
        Symptoms, examination, care so far and scores; None where the case gave none.
    revision
        What earlier surgery left in this hip.
    trim_effect
        What trimming the rim does to coverage; None where nothing is trimmed.
    cam_plan
        Where the neck would be reshaped; None where `no_cam` says why not.
    no_cam
        Why the neck is not reshaped; '' where it is, or nobody worked it out.
    worse_plan
        The plan if the remnant is not usable; None where nothing rests on a remnant.
    referral
        Paragraphs of a summary for a surgeon of another road; empty where none is called for.
    source
        The scan the hip was measured in; None where it was measured on surfaces, or not at all.
    """

    case_id: str
    side: Side
    hip: HipGeometry | None
    labrum: LabrumMap
    candidacy: tuple[Statement, ...]
    planned_option: str
    options: tuple[PlannedOption, ...]
    corridors: tuple[Corridor, ...]
    portals: tuple[Portal, ...] = ()
    orders_of_work: tuple[OrderOfWork, ...] = ()
    equipment_list: tuple[EquipmentItem, ...] = ()
    rim_trim: tuple[Mapping[str, float], ...] = ()
    cautions: tuple[str, ...] = ()
    settings: Mapping[str, object] = field(default_factory=dict)
    patient: Mapping[str, str] = field(default_factory=dict)
    version: int = 1
    digest: str = ""
    old_anchors: tuple[OldAnchor, ...] = ()
    corridor_kind: AnchorKind | None = None
    person: str = ""
    clinic: ClinicRecord | None = None
    revision: tuple[RevisionFinding, ...] = ()
    trim_effect: TrimEffect | None = None
    cam_plan: CamPlan | None = None
    no_cam: str = ""
    worse_plan: WorsePlan | None = None
    referral: tuple[str, ...] = ()
    source: ScanSource | None = None

    @property
    def planned(self) -> PlannedOption | None:
        """The option shown first, laid out; None if there is no option of that name."""
        for item in self.options:
            if item.option.name == self.planned_option:
                return item
        return None

    @property
    def anchors(self) -> tuple[Anchor, ...]:
        """Anchors of the option shown first."""
        return self.planned.anchors if self.planned else ()

    @property
    def graft(self) -> GraftStock | None:
        """Graft of the option shown first."""
        return self.planned.graft if self.planned else None
