"""Earlier surgery: what it left changes stances and blocks corridors; no image proves it away."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimwright.anatomy import (
    OptionName,
    RevisionFinding,
    RevisionKind,
    Sector,
    Stance,
    Tear,
    Tissue,
)
from rimwright.evidence import load_evidence
from rimwright.treatment import (
    Findings,
    assess_candidacy,
    list_options,
    obstacles_of,
    revision_cautions,
)
from treatment.labrum_cases import (
    REMNANT,
    SOUND,
    STANCE_ORDER,
    YOUNG,
    findings,
    labrum,
    labrum_sectors,
    sector,
)

TABLE = load_evidence()
TORN = {**SOUND, "tear": Tear.UNSTABLE}
INVISIBLE = "often invisible on CT"


def left(kind, **where):
    """Findings of a young hip in which something was left."""
    return replace(YOUNG, revision=(RevisionFinding(kind=kind, **where),))


def options_of(*sectors, known):
    """The options by name."""
    found = list_options(labrum(*sectors), known, TABLE)
    return {OptionName(option.name): option for option in found}


def text_of(option):
    """All reasons in one text."""
    return "\n".join(reason.text for reason in option.reasons)


def statements(known):
    """All candidacy statements in one text."""
    return "\n".join(item.statement for item in assess_candidacy(known, TABLE))


# ------------------------------------------------------------------------------- written cases


def test_case_19_an_old_anchor_means_a_suture_was_here():
    """Good torn tissue at an old anchor: repair drops to open, replacement rises to it."""
    known = replace(left(RevisionKind.ANCHOR, hour=1), previous_hip_arthroscopy=1)
    torn = {**TORN, "seals": None}
    options = options_of(sector(12, 2, **torn), known=known)
    assert options[OptionName.REPAIR].stance is Stance.OPEN
    assert "the segment was sutured before and needs something again" in text_of(
        options[OptionName.REPAIR]
    )
    segmental = options[OptionName.SEGMENTAL_RECONSTRUCTION]
    assert segmental.stance is Stance.OPEN
    assert "does not say whether the groups were alike" in text_of(segmental)
    first_time = options_of(sector(12, 2, **torn), known=YOUNG)
    assert first_time[OptionName.SEGMENTAL_RECONSTRUCTION].stance is Stance.ADVISED_AGAINST


def test_case_20_the_same_anchor_elsewhere():
    """At 9 o'clock it says nothing of a suture at 12 to 2, yet the hip is a revision."""
    known = left(RevisionKind.ANCHOR, hour=9)
    repair = options_of(sector(12, 2, **TORN), known=known)[OptionName.REPAIR]
    assert "the segment was sutured" not in text_of(repair)
    assert repair.stance is Stance.OPEN
    assert "in revision surgery repair failed" in text_of(repair)


def test_case_21_an_anchor_nobody_can_place():
    """An anchor of unknown hour leaves the question of the suture open, and asks it."""
    repair = options_of(sector(12, 2, **TORN), known=left(RevisionKind.ANCHOR))[OptionName.REPAIR]
    assert repair.stance is Stance.OPEN
    assert "was it sutured before" in text_of(repair)


def test_case_22_a_cyst_holds_the_repair_back():
    """Good torn tissue over a cyst: whether an anchor holds is open, and so is the repair."""
    torn = sector(12, 2, **TORN)
    assert options_of(torn, known=YOUNG)[OptionName.REPAIR].stance is Stance.SUPPORTED
    over_cyst = options_of(torn, known=left(RevisionKind.CYST, hour=1, size_mm=6))
    assert over_cyst[OptionName.REPAIR].stance is Stance.OPEN
    assert "planning:4.38: from memory" in text_of(over_cyst[OptionName.REPAIR])
    unplaced = options_of(torn, known=left(RevisionKind.CYST))[OptionName.REPAIR]
    assert unplaced.stance is Stance.OPEN
    assert "does the cyst lie here" in text_of(unplaced)
    beside = options_of(torn, known=left(RevisionKind.CYST, hour=3, size_mm=6))
    assert beside[OptionName.REPAIR].stance is Stance.SUPPORTED


def test_case_23_an_ossicle_under_a_lost_segment():
    """Tissue is gone over an ossicle: replacing it is held at open until the ossicle is settled."""
    lost = sector(12, 2, tissue=Tissue.ABSENT)
    assert (
        options_of(lost, known=YOUNG)[OptionName.SEGMENTAL_RECONSTRUCTION].stance
        is Stance.SUPPORTED
    )
    known = left(RevisionKind.OSSICLE, sector=Sector(from_hour=1, to_hour=2))
    segmental = options_of(lost, known=known)[OptionName.SEGMENTAL_RECONSTRUCTION]
    assert segmental.stance is Stance.OPEN
    assert "decides where the rim is" in text_of(segmental)
    assert "may carry part of the coverage" in statements(known)


def test_case_24_failed_debridement():
    """A stable tear at 48 after an earlier arthroscopy: debridement drops to open."""
    older = replace(YOUNG, age_years=48)
    stable = sector(1, 2, **{**SOUND, "tear": Tear.STABLE})
    first = options_of(stable, known=older)[OptionName.DEBRIDEMENT]
    again = options_of(stable, known=replace(older, previous_hip_arthroscopy=1))
    assert first.stance is Stance.SUPPORTED
    assert again[OptionName.DEBRIDEMENT].stance is Stance.OPEN
    assert "was operated on before and needs something again" in text_of(
        again[OptionName.DEBRIDEMENT]
    )


def test_case_25_a_thin_remnant_in_revision_stays_worth_keeping():
    """2 mm, continuous, after a debridement: augmentation stays open beside replacement."""
    known = replace(
        left(RevisionKind.EARLIER_TRIM, sector=Sector(from_hour=11, to_hour=2)),
        previous_hip_arthroscopy=1,
    )
    options = options_of(sector(11, 2, width_mm=2.0, **REMNANT), known=known)
    assert options[OptionName.AUGMENTATION].stance is Stance.OPEN
    assert options[OptionName.SEGMENTAL_RECONSTRUCTION].stance is Stance.OPEN
    assert options[OptionName.REPAIR].stance is Stance.ADVISED_AGAINST
    assert "angles of images from before that no longer hold" in statements(known)


# --------------------------------------------------------------------------------------- rules


@pytest.mark.parametrize(
    ("known", "said"),
    [
        (replace(YOUNG, previous_hip_arthroscopy=1), True),
        (left(RevisionKind.ANCHOR, hour=1), True),
        (left(RevisionKind.TUNNEL), True),
        (left(RevisionKind.EARLIER_TRIM), True),
        (left(RevisionKind.CYST, hour=1), False),  # a cyst needs no operation
        (YOUNG, False),
        (Findings(), False),  # then it is asked whether the hip was operated on
    ],
)
def test_an_empty_image_is_not_a_free_rim(known, said):
    """The sentence stands wherever the hip was operated on, and is marked as memory."""
    text = statements(known)
    assert (INVISIBLE in text) is said
    assert ("planning:4.37: from memory" in text) is said


def test_capsule_defect_and_trim_speak_of_roads():
    """Each stands beside arthroscopy, and a trim brings the pelvis into the discussion."""
    capsule = assess_candidacy(left(RevisionKind.CAPSULE_DEFECT), TABLE)
    assert "closed or rebuilt" in capsule[1].statement
    trim = assess_candidacy(left(RevisionKind.EARLIER_TRIM), TABLE)
    assert "coverage may be low now" in trim[2].statement


def test_obstacles_by_hour_and_arc():
    """An anchor is one body, an arc one each quarter hour; trims and capsules are none."""
    found = (
        RevisionFinding(kind=RevisionKind.ANCHOR, hour=1, size_mm=2.3, depth_mm=18),
        RevisionFinding(kind=RevisionKind.CYST, hour=2, size_mm=7),
        RevisionFinding(kind=RevisionKind.TUNNEL, sector=Sector(from_hour=11, to_hour=12)),
        RevisionFinding(kind=RevisionKind.OSSICLE, hour=3, size_mm=9),
        RevisionFinding(kind=RevisionKind.EARLIER_TRIM, hour=3, size_mm=2),
        RevisionFinding(kind=RevisionKind.CAPSULE_DEFECT, hour=3, size_mm=12),
        RevisionFinding(kind=RevisionKind.ANCHOR),
    )
    bodies = [(item.hour, item.drill_mm, item.depth_mm) for item in obstacles_of(found, TABLE)]
    assert bodies[:2] == [(1, 2.3, 18), (2, 7, 7)]
    assert [hour for hour, _, _ in bodies[2:]] == pytest.approx([11, 11.25, 11.5, 11.75, 0])
    assert {(drill, depth) for _, drill, depth in bodies[2:]} == {(3.0, 20.0)}
    cautions = revision_cautions(found, TABLE)
    assert len(cautions) == 3  # the cyst's depth, the tunnel, and the anchor without a place
    assert "a depth equal to its diameter" in cautions[0]
    assert "a diameter of 3 mm (from memory) and a depth of 20 mm (from memory)" in cautions[1]
    assert cautions[2] == "anchor: its place is not known, so it blocks no corridor"


HOLDS_BACK = st.builds(
    RevisionFinding,
    kind=st.sampled_from([RevisionKind.CYST, RevisionKind.OSSICLE, RevisionKind.CAPSULE_DEFECT]),
    hour=st.none() | st.floats(0, 11.9),
)
OF_SURGERY = st.builds(
    RevisionFinding,
    kind=st.sampled_from([item for item in RevisionKind if item.is_left_by_surgery]),
    hour=st.none() | st.floats(0, 11.9),
)


@pytest.mark.property
@given(sectors=labrum_sectors(), known=findings(), found=HOLDS_BACK)
def test_a_cyst_or_ossicle_never_helps(sectors, known, found):
    """What speaks against holding makes no option more favourable."""
    before = list_options(labrum(*sectors), known, TABLE)
    after = list_options(labrum(*sectors), replace(known, revision=(found,)), TABLE)
    for first, second in zip(before, after, strict=True):
        assert STANCE_ORDER.index(second.stance) >= STANCE_ORDER.index(first.stance)


@pytest.mark.property
@given(sectors=labrum_sectors(), known=findings(), found=OF_SURGERY)
def test_what_surgery_left_never_helps_what_failed(sectors, known, found):
    """An old anchor, tunnel or trim makes neither debridement nor repair more favourable."""
    before = list_options(labrum(*sectors), known, TABLE)[:2]
    after = list_options(labrum(*sectors), replace(known, revision=(found,)), TABLE)[:2]
    for first, second in zip(before, after, strict=True):
        assert STANCE_ORDER.index(second.stance) >= STANCE_ORDER.index(first.stance)
