"""Written cases of the labral options: what each sector gets, and what is said of it."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimwright.anatomy import (
    Action,
    Attachment,
    Fibres,
    LabrumMap,
    OptionName,
    Sector,
    SeenBy,
    Stance,
    Tear,
    Tissue,
)
from rimwright.evidence import load_evidence
from rimwright.treatment import Findings, Modality, Reading, list_options
from treatment.labrum_cases import (
    REMNANT,
    SOUND,
    YOUNG,
    findings,
    labrum,
    labrum_sectors,
    sector,
)

TABLE = load_evidence()


def options_of(*sectors, known=YOUNG, **extra):
    """The options by name."""
    found = list_options(labrum(*sectors), known, TABLE, **extra)
    return {OptionName(option.name): option for option in found}


def actions_of(option):
    """From hour, to hour and action, as a list of plain values."""
    return [
        (item.sector.from_hour, item.sector.to_hour, item.action.value) for item in option.actions
    ]


def text_of(option):
    """All reasons in one text."""
    return "\n".join(reason.text for reason in option.reasons)


def rows_of(option):
    """All evidence ids of an option."""
    return {row for reason in option.reasons for row in reason.evidence}


# ------------------------------------------------------------------------------- written cases


def test_case_1_thin_but_continuous_remnant_is_worth_keeping():
    """2.5 mm by probe, poor, does not seal, fibres run through: augmentation open, repair not."""
    options = options_of(sector(11, 2.5, width_mm=2.5, seen_by=SeenBy.PROBE, **REMNANT))
    augmentation = options[OptionName.AUGMENTATION]
    assert augmentation.stance is Stance.OPEN  # memory and habit alone never make more
    assert actions_of(augmentation) == [(11, 2.5, "augment")]
    assert {"planning:4.20", "planning:6.08"} <= rows_of(augmentation)  # the conflict is shown
    assert "planning:4.20: from memory" in text_of(augmentation)
    assert options[OptionName.DEBRIDEMENT].stance is Stance.ADVISED_AGAINST
    assert options[OptionName.REPAIR].stance is Stance.ADVISED_AGAINST
    segmental = options[OptionName.SEGMENTAL_RECONSTRUCTION]
    assert segmental.stance is Stance.OPEN
    assert "cannot be undone" in text_of(segmental)


def test_case_2_wide_but_calcified_is_replaced():
    """8 mm wide, calcified, no longer seals: width does not save it."""
    options = options_of(
        sector(
            11.5,
            2,
            width_mm=8.0,
            seen_by=SeenBy.PROBE,
            tissue=Tissue.GOOD,
            fibres=Fibres.CONTINUOUS,
            calcified=True,
            seals=False,
        )
    )
    segmental = options[OptionName.SEGMENTAL_RECONSTRUCTION]
    assert segmental.stance is Stance.SUPPORTED
    assert actions_of(segmental) == [(11.5, 2, "replace")]
    assert options[OptionName.REPAIR].stance is Stance.ADVISED_AGAINST
    assert options[OptionName.AUGMENTATION].stance is Stance.ADVISED_AGAINST


def test_case_3_repairable_is_repaired():
    """Good tissue, unstable tear, seals, first operation at 30: repair supported by the survey."""
    tear = {**SOUND, "attachment": Attachment.DETACHED, "tear": Tear.UNSTABLE}
    options = options_of(sector(12, 2.5, width_mm=6.0, seen_by=SeenBy.PROBE, **tear))
    repair = options[OptionName.REPAIR]
    assert repair.stance is Stance.SUPPORTED
    assert actions_of(repair) == [(0, 2.5, "repair")]
    assert "planning:4.16" in rows_of(repair)
    for name in (OptionName.SEGMENTAL_RECONSTRUCTION, OptionName.CIRCUMFERENTIAL_RECONSTRUCTION):
        assert options[name].stance is Stance.ADVISED_AGAINST
        assert "planning:4.18" in rows_of(options[name])


def test_case_4_segmental_loss_in_revision():
    """Tissue gone from 12 to 1:30, good but torn beside it: nothing to trim or to sew there."""
    revision = replace(YOUNG, previous_hip_arthroscopy=1)
    options = options_of(
        sector(12, 1.5, tissue=Tissue.ABSENT),
        sector(1.5, 2.5, **{**SOUND, "tear": Tear.UNSTABLE}),
        known=revision,
    )
    for name in (OptionName.DEBRIDEMENT, OptionName.REPAIR):
        assert options[name].stance is Stance.NOT_POSSIBLE
        assert options[name].actions == ()
        assert "12:00 to 1:30: no labral tissue is left" in text_of(options[name])
    segmental = options[OptionName.SEGMENTAL_RECONSTRUCTION]
    assert actions_of(segmental) == [(0, 1.5, "replace"), (1.5, 2.5, "repair")]
    assert segmental.stance is Stance.OPEN  # the repaired part is a repair in revision
    assert "7 of 14" in text_of(segmental)


def test_case_5_all_of_the_tissue_is_gone():
    """Only a graft can act where nothing is left; augmentation has nothing to join to."""
    options = options_of(sector(11, 2, tissue=Tissue.ABSENT))
    assert options[OptionName.AUGMENTATION].stance is Stance.NOT_POSSIBLE
    assert options[OptionName.SEGMENTAL_RECONSTRUCTION].stance is Stance.SUPPORTED


def test_case_6_irreparable_without_calcification():
    """Poor tissue with interrupted fibres: replaced; a graft beside it is advised against."""
    options = options_of(
        sector(11, 2, **{**REMNANT, "fibres": Fibres.INTERRUPTED}),
    )
    assert options[OptionName.SEGMENTAL_RECONSTRUCTION].stance is Stance.SUPPORTED
    assert options[OptionName.AUGMENTATION].stance is Stance.ADVISED_AGAINST
    assert actions_of(options[OptionName.AUGMENTATION]) == [(11, 2, "augment")]  # laid out anyway


def test_case_7_stable_tear_over_forty():
    """Good tissue, stable tear, 48 years: the survey debrides."""
    older = replace(YOUNG, age_years=48)
    options = options_of(sector(1, 2, **{**SOUND, "tear": Tear.STABLE}), known=older)
    assert options[OptionName.DEBRIDEMENT].stance is Stance.SUPPORTED
    assert "planning:4.15" in rows_of(options[OptionName.DEBRIDEMENT])
    assert "planning:4.22" in rows_of(options[OptionName.DEBRIDEMENT])  # the registry beside it
    assert options[OptionName.REPAIR].stance is Stance.OPEN


def test_case_8_stable_tear_under_forty():
    """The same tear at 30: debridement is open, the survey speaks of people over 40."""
    options = options_of(sector(1, 2, **{**SOUND, "tear": Tear.STABLE}))
    assert options[OptionName.DEBRIDEMENT].stance is Stance.OPEN


def test_case_9_good_tissue_that_failed_a_suture():
    """Sutured before and torn again: repair is held at open by the revision series."""
    revision = replace(YOUNG, previous_hip_arthroscopy=1)
    tear = {**SOUND, "tear": Tear.UNSTABLE, "prior_suture": True}
    options = options_of(sector(12, 2, **tear), known=revision)
    assert options[OptionName.REPAIR].stance is Stance.OPEN
    assert "planning:6.13" in rows_of(options[OptionName.REPAIR])


def test_case_10_dysplasia_overrules_every_option():
    """A dysplastic radiograph: the road is advised against, so no labral option is better."""
    low = Reading(quantity="lateral_centre_edge_angle", value=16.0, modality=Modality.RADIOGRAPH)
    tear = {**SOUND, "tear": Tear.UNSTABLE}
    options = options_of(sector(12, 2, **tear), known=replace(YOUNG, readings=(low,)))
    for option in options.values():
        assert option.stance is Stance.ADVISED_AGAINST
        assert "arthroscopy itself is advised against" in text_of(option)
    assert actions_of(options[OptionName.REPAIR]) == [(0, 2, "repair")]  # planned all the same


def test_case_11_dysplasia_on_a_mesh_decides_nothing():
    """The same angle on a mesh leaves the stances as they are without it."""
    low = Reading(quantity="lateral_centre_edge_angle", value=16.0, modality=Modality.MESH)
    tear = {**SOUND, "tear": Tear.UNSTABLE}
    options = options_of(sector(12, 2, **tear), known=replace(YOUNG, readings=(low,)))
    assert options[OptionName.REPAIR].stance is Stance.SUPPORTED


def test_case_12_mixed_rim():
    """Sound, torn, remnant and loss side by side: each sector gets its own action."""
    options = options_of(
        sector(8, 10, **SOUND),
        sector(10, 11.5, **{**SOUND, "tear": Tear.UNSTABLE}),
        sector(11.5, 1, **REMNANT),
        sector(1, 2.5, tissue=Tissue.ABSENT),
    )
    assert actions_of(options[OptionName.AUGMENTATION]) == [
        (1, 2.5, "replace"),
        (8, 10, "keep"),
        (10, 11.5, "repair"),
        (11.5, 1, "augment"),
    ]
    assert options[OptionName.AUGMENTATION].stance is Stance.OPEN
    assert actions_of(options[OptionName.SEGMENTAL_RECONSTRUCTION]) == [
        (8, 10, "keep"),
        (10, 11.5, "repair"),
        (11.5, 2.5, "replace"),
    ]
    around = options[OptionName.CIRCUMFERENTIAL_RECONSTRUCTION]
    assert actions_of(around) == [(7.5, 4.5, "replace")]
    assert "gives up sound labrum: 8:00 to 10:00" in text_of(around)


def test_case_13_nothing_is_known():
    """An empty map: all open, nothing laid out but the whole rim, and the question is asked."""
    options = options_of(known=Findings())
    for name, option in options.items():
        assert option.stance is Stance.OPEN
        if name is not OptionName.CIRCUMFERENTIAL_RECONSTRUCTION:
            assert option.actions == ()
            assert "7:30 to 4:30: not seen; it stays untouched" in text_of(option)


def test_case_14_width_alone_says_nothing():
    """A width without a word on the tissue is no need to act: every option is laid out as a
    supposition, open, alike for a thin and a wide labrum, and the probe is asked.
    """
    thin = options_of(sector(11, 2, width_mm=2.0, seen_by=SeenBy.PROBE))
    wide = options_of(sector(11, 2, width_mm=8.0, seen_by=SeenBy.PROBE))
    for name, option in thin.items():
        assert option.stance is Stance.OPEN
        assert option.actions == wide[name].actions
        if name is not OptionName.CIRCUMFERENTIAL_RECONSTRUCTION:
            assert "laid out as if they did, and the probe decides" in text_of(option)
    assert "is the tissue good, poor or absent" in text_of(thin[OptionName.AUGMENTATION])


def test_a_supposition_ends_where_one_sector_needs_something():
    """As soon as one sector is known to need something, unclear ones stay untouched."""
    options = options_of(
        sector(11, 1, tear=Tear.UNSTABLE), sector(2, 3, width_mm=2.0, seen_by=SeenBy.PROBE)
    )
    acted = [item.sector for item in options[OptionName.REPAIR].actions]
    assert acted == [Sector(from_hour=11.0, to_hour=1.0)]


def test_case_15_width_without_modality_decides_nothing():
    """The reason says so, and points at the conflict between modalities."""
    options = options_of(sector(11, 2, width_mm=2.0, **REMNANT))
    augmentation = options[OptionName.AUGMENTATION]
    assert "does not say how it was seen, and decides nothing" in text_of(augmentation)
    assert "planning:C10" in rows_of(augmentation)


def test_case_16_whole_rim_beyond_repair():
    """Every part of the rim calcified and leaking: circumferential is supported too."""
    options = options_of(sector(0, 12, calcified=True, seals=False, tissue=Tissue.POOR))
    around = options[OptionName.CIRCUMFERENTIAL_RECONSTRUCTION]
    assert around.stance is Stance.SUPPORTED
    segmental = options[OptionName.SEGMENTAL_RECONSTRUCTION]
    assert actions_of(segmental) == [(7.5, 4.5, "replace")]  # the notch is left out


def test_case_17_whole_rim_sound():
    """Nothing needs anything: there is nothing to do, and a graft would take a sound labrum."""
    options = options_of(sector(7.5, 4.5, **SOUND))
    for name in (OptionName.DEBRIDEMENT, OptionName.REPAIR, OptionName.AUGMENTATION):
        assert options[name].stance is Stance.NOT_POSSIBLE
    assert options[OptionName.CIRCUMFERENTIAL_RECONSTRUCTION].stance is Stance.ADVISED_AGAINST


def test_case_18_support_is_held_back_by_what_is_unknown():
    """Unknown is never healthy: calcification not looked at keeps a repair at open."""
    tear = {**SOUND, "tear": Tear.UNSTABLE, "calcified": None}
    repair = options_of(sector(12, 2, **tear))[OptionName.REPAIR]
    assert repair.stance is Stance.OPEN
    assert "12:00 to 2:00: open only because it is not known: is it calcified" in text_of(repair)


# --------------------------------------------------------------------------------------- rules


def test_always_five_in_order():
    """All five names, in the order of the vocabulary, each with a reason."""
    found = list_options(LabrumMap(), Findings(), TABLE)
    assert [option.name for option in found] == list(OptionName)
    assert all(option.reasons for option in found)


def test_measured_notch_is_left_out():
    """A sector that runs into the notch is cut at it; the circumferential graft ends there."""
    notch = Sector(from_hour=4.2, to_hour=7.0)
    options = options_of(sector(2, 5, **REMNANT), notch=notch)
    assert actions_of(options[OptionName.AUGMENTATION]) == [(2, 4.2, "augment")]
    around = options[OptionName.CIRCUMFERENTIAL_RECONSTRUCTION]
    assert actions_of(around) == [(7.0, 4.2, "replace")]


def test_neighbours_with_one_action_are_one_arc():
    """Two sectors that both get a graft hold one graft, also across 12."""
    options = options_of(sector(11, 12, **REMNANT), sector(12, 2, **REMNANT))
    assert actions_of(options[OptionName.AUGMENTATION]) == [(11, 2, "augment")]
    options = options_of(sector(1, 2, **REMNANT), sector(2, 3, **REMNANT), sector(8, 9, **REMNANT))
    assert actions_of(options[OptionName.AUGMENTATION]) == [(1, 3, "augment"), (8, 9, "augment")]


def test_clinic_setting_acts(tmp_path):
    """The age at which the survey's repair speaks is the clinic's to set."""
    path = tmp_path / "clinic.toml"
    path.write_text("[labrum]\nage_repair_years = 50\n", encoding="utf-8")
    tear = labrum(sector(12, 2, **{**SOUND, "tear": Tear.UNSTABLE}))
    known = replace(YOUNG, age_years=45)
    shipped = list_options(tear, known, TABLE)[1]
    clinic = list_options(tear, known, load_evidence(path))[1]
    assert shipped.stance is Stance.OPEN
    assert clinic.stance is Stance.SUPPORTED


ORDER = (Stance.SUPPORTED, Stance.OPEN, Stance.ADVISED_AGAINST, Stance.NOT_POSSIBLE)


@pytest.mark.property
@given(sectors=labrum_sectors(), known=findings(), data=st.data())
def test_width_alone_changes_no_stance_and_no_action(sectors, known, data):
    """Whatever the width and however it was seen, stances and actions stay (C10, C11)."""
    before = list_options(labrum(*sectors), known, TABLE)
    widths = st.none() | st.floats(0.1, 20)
    seen = st.none() | st.sampled_from(SeenBy)
    changed = [
        replace(item, width_mm=data.draw(widths), seen_by=data.draw(seen)) for item in sectors
    ]
    after = list_options(labrum(*changed), known, TABLE)
    assert [(item.stance, item.actions) for item in after] == [
        (item.stance, item.actions) for item in before
    ]


@pytest.mark.property
@given(sectors=labrum_sectors(), known=findings(), data=st.data())
def test_shuffling_sectors_changes_nothing(sectors, known, data):
    """The order in which sectors are written is no finding."""
    shuffled = data.draw(st.permutations(sectors))
    assert list_options(labrum(*shuffled), known, TABLE) == list_options(
        labrum(*sectors), known, TABLE
    )


@pytest.mark.property
@given(sectors=labrum_sectors(), known=findings())
def test_options_keep_their_form(sectors, known):
    """Five options; augmentation at best open; actions on bone, apart, none where impossible."""
    found = {item.name: item for item in list_options(labrum(*sectors), known, TABLE)}
    assert list(found) == list(OptionName)
    assert found[OptionName.AUGMENTATION].stance is not Stance.SUPPORTED
    spoken = [item.sector for item in sectors]
    for name, option in found.items():
        arcs = [item.sector for item in option.actions]
        for position, first in enumerate(arcs):
            assert not any(first.overlap_hours(second) > 1e-9 for second in arcs[position + 1 :])
        if option.stance is Stance.NOT_POSSIBLE:
            assert option.actions == ()
        if name is not OptionName.CIRCUMFERENTIAL_RECONSTRUCTION:
            for arc in arcs:  # an unknown arc is never touched
                covered = sum(arc.overlap_hours(other) for other in spoken)
                assert covered == pytest.approx(arc.span_hours, abs=1e-9)


@pytest.mark.property
@given(sectors=labrum_sectors(), known=findings())
def test_support_rests_on_something_read(sectors, known):
    """A supported option names at least one row that was read, beyond its own description."""
    for option in list_options(labrum(*sectors), known, TABLE):
        if option.stance is Stance.SUPPORTED:
            rows = {row for reason in option.reasons[1:] for row in reason.evidence}
            assert any(TABLE.row(row).status.was_read for row in rows)


@pytest.mark.property
@given(sectors=labrum_sectors(), known=findings(), grade=st.sampled_from([2, 3]))
def test_a_contraindication_never_helps(sectors, known, grade):
    """Arthritis of a grade that cohorts excluded makes no stance more favourable."""
    before = list_options(labrum(*sectors), known, TABLE)
    after = list_options(labrum(*sectors), replace(known, tonnis_grade=grade), TABLE)
    for first, second in zip(before, after, strict=True):
        assert ORDER.index(second.stance) >= ORDER.index(first.stance)
        assert second.stance in (Stance.ADVISED_AGAINST, Stance.NOT_POSSIBLE)


@pytest.mark.property
@given(sectors=labrum_sectors(), known=findings())
def test_previous_surgery_never_helps_a_repair(sectors, known):
    """Revision shifts the balance away from repair, never towards it."""
    first_time = replace(known, previous_hip_arthroscopy=0)
    revision = replace(known, previous_hip_arthroscopy=1)
    repair = OptionName.REPAIR
    before = {item.name: item for item in list_options(labrum(*sectors), first_time, TABLE)}
    after = {item.name: item for item in list_options(labrum(*sectors), revision, TABLE)}
    assert ORDER.index(after[repair].stance) >= ORDER.index(before[repair].stance)


def test_reasons_use_no_forbidden_words():
    """No option is called safe, recommended or best."""
    options = options_of(sector(11, 2.5, **REMNANT), sector(2.5, 4, tissue=Tissue.ABSENT))
    for option in options.values():
        text = text_of(option).lower()
        assert not any(word in text for word in (" safe", "recommend", "best "))


def test_actions_that_fix_or_graft_are_told_apart():
    """Keeping and trimming need no anchor; augmenting and replacing need a graft."""
    assert {action for action in Action if action.needs_graft} == {Action.AUGMENT, Action.REPLACE}
    assert not Action.KEEP.needs_anchors
    assert not Action.DEBRIDE.needs_anchors
