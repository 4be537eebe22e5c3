"""Hand-written labrum maps and findings that the tests of treatment share, and strategies."""

from __future__ import annotations

from hypothesis import strategies as st

from rimwright.anatomy import (
    Attachment,
    Effect,
    Fibres,
    LabrumMap,
    LabrumSector,
    Sector,
    SeenBy,
    Stance,
    Tear,
    Tissue,
)
from rimwright.treatment import Findings, Modality, Reading

STANCE_ORDER = (Stance.SUPPORTED, Stance.OPEN, Stance.ADVISED_AGAINST, Stance.NOT_POSSIBLE)
SOUND = {
    "tissue": Tissue.GOOD,
    "attachment": Attachment.ATTACHED,
    "fibres": Fibres.CONTINUOUS,
    "seals": True,
    "tear": Tear.NONE,
    "calcified": False,
}
REMNANT = {
    "tissue": Tissue.POOR,
    "attachment": Attachment.DETACHED,
    "fibres": Fibres.CONTINUOUS,
    "seals": False,
    "tear": Tear.UNSTABLE,
    "calcified": False,
}
YOUNG = Findings(
    age_years=30,
    bmi_kg_m2=23,
    previous_hip_arthroscopy=0,
    tonnis_grade=0,
    readings=(
        Reading(quantity="joint_space_min", value=4.0, modality=Modality.RADIOGRAPH),
        Reading(quantity="lateral_centre_edge_angle", value=30.0, modality=Modality.RADIOGRAPH),
    ),
)


def sector(from_hour: float, to_hour: float, **known: object) -> LabrumSector:
    """A sector with what is known of it."""
    return LabrumSector(sector=Sector(from_hour=from_hour, to_hour=to_hour), **known)


def labrum(*sectors: LabrumSector) -> LabrumMap:
    """A map of sectors."""
    return LabrumMap(sectors=sectors)


def maybe(values: st.SearchStrategy) -> st.SearchStrategy:
    """A value, or unknown."""
    return st.none() | values


FINDINGS_OF_A_SECTOR = {
    "tissue": maybe(st.sampled_from(Tissue)),
    "attachment": maybe(st.sampled_from(Attachment)),
    "fibres": maybe(st.sampled_from(Fibres)),
    "seals": maybe(st.booleans()),
    "tear": maybe(st.sampled_from(Tear)),
    "calcified": maybe(st.booleans()),
    "prior_suture": maybe(st.booleans()),
    "width_mm": maybe(st.floats(0.5, 12.0)),
    "seen_by": maybe(st.sampled_from(SeenBy)),
}
# Five arcs that touch but do not overlap; any subset may be known.
ARCS = ((8.0, 10.0), (10.0, 11.5), (11.5, 1.0), (1.0, 2.5), (2.5, 4.0))


@st.composite
def labrum_sectors(draw: st.DrawFn) -> tuple[LabrumSector, ...]:
    """Sectors in any order, each with any findings."""
    arcs = draw(st.lists(st.sampled_from(ARCS), unique=True, max_size=5))
    return tuple(sector(*arc, **draw(st.fixed_dictionaries(FINDINGS_OF_A_SECTOR))) for arc in arcs)


MEASURES = (
    "joint_space_min",
    "joint_space_medial",
    "lateral_centre_edge_angle",
    "alpha_angle_max",
    "femoral_version",
)


@st.composite
def findings(draw: st.DrawFn) -> Findings:
    """Any findings of patient and hip."""
    readings = draw(
        st.lists(
            st.builds(
                Reading,
                quantity=st.sampled_from(MEASURES),
                value=st.floats(-20, 80),
                modality=maybe(st.sampled_from(Modality)),
                method=st.sampled_from(["", "lesser trochanter"]),
            ),
            max_size=4,
        )
    )
    return Findings(
        age_years=draw(maybe(st.floats(14, 80))),
        bmi_kg_m2=draw(maybe(st.floats(16, 50))),
        previous_hip_arthroscopy=draw(maybe(st.integers(0, 3))),
        tonnis_grade=draw(maybe(st.integers(0, 3))),
        ligamentum_teres_grade=draw(maybe(st.integers(0, 3))),
        laxity_score=draw(maybe(st.integers(0, 9))),
        instability_sign=draw(maybe(st.booleans())),
        injection_relief=draw(maybe(st.sampled_from(Effect))),
        non_operative_weeks=draw(maybe(st.floats(0, 80))),
        readings=tuple(readings),
    )
