"""Planning a case end to end on a synthetic hip: what is laid out, said, refused and repeated."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import jsonschema
import numpy as np
import pytest

import rimwright.casework.reuse as reuse
from rimwright.anatomy import Cancelled, OptionName, Stance, Status, spoken_hour
from rimwright.casework import (
    case_from_document,
    document_schema,
    hip_for_case,
    load_hip,
    plan_case,
    plan_document,
    save_hip,
)
from rimwright.casework.plan_cautions import UNSEEN_ANCHORS
from rimwright.errors import CaseRefusal, Refusal
from rimwright.treatment import shipped_rules


@pytest.fixture(scope="module")
def plan(demo, stored):
    """The demo plan."""
    return plan_case(demo, hip=stored)


def changed(case, **changes):
    """A case with top-level parts of its document replaced; None takes a part away."""
    document = {**case.document, **changes}
    document = {key: value for key, value in document.items() if value is not None}
    folder = case.sources.pelvis.parent if case.sources.pelvis else Path()
    return case_from_document(document, folder=folder, where="case.toml")


def test_all_five_options_are_planned_in_order(plan):
    """All five, whatever their stance; the one asked for is shown first."""
    assert [item.option.name for item in plan.options] == list(OptionName)
    assert plan.planned_option == "augmentation"
    assert plan.planned.option.name == "augmentation"


def test_an_option_without_anchors_says_why(plan):
    """An option that fixes nothing, or cannot be laid out, has its reason."""
    for item in plan.options:
        assert item.anchors or item.cautions


def test_plan_document_validates(plan):
    """The document of a real plan is what the schema says."""
    document = json.loads(json.dumps(plan_document(plan), allow_nan=False))
    jsonschema.Draft202012Validator(document_schema("plan")).validate(document)


def test_ok_anchors_keep_the_margins_of_the_case(plan, demo):
    """Anchor `ok` means both margins held; the spacing stays at 12 mm or less."""
    for item in plan.options:
        for anchor in item.anchors:
            if anchor.status is Status.OK:
                assert anchor.clearance_joint_mm >= demo.settings.margin_joint_mm - 1e-6
                assert anchor.clearance_cortex_mm >= demo.settings.margin_cortex_mm - 1e-6


def test_corridors_stand_every_quarter_hour_outside_the_notch(plan):
    """Corridors every 0.25 h where there is bone, for the first drill listed."""
    hours = [corridor.hour for corridor in plan.corridors]
    rim = plan.hip.rim
    expected = [h for h in np.arange(0, 12, 0.25) if np.isfinite(rim.point_at(float(h))).all()]
    assert hours == expected
    assert (plan.corridor_kind.drill_mm, plan.corridor_kind.depth_mm) == (1.8, 20.0)


def test_deterministic(demo, stored, plan):
    """The same case and hip give the same document."""
    again = plan_case(demo, hip=stored)
    assert plan_document(again) == plan_document(plan)


def test_a_stored_hip_plans_the_same(demo, stored, plan, tmp_path):
    """A plan from a hip that was stored and loaded is the same plan."""
    path = tmp_path / "hip.npz"
    save_hip(stored, path)
    assert plan_document(plan_case(demo, hip=load_hip(path))) == plan_document(plan)


def test_the_orders_of_work_follow_the_technique_asked_for(demo, stored, plan):
    """The technique named in the case comes first; an augmentation keeps the remnant."""
    assert plan.orders_of_work[0].name == "all anchors first, graft drawn across"
    assert any("kept remnant" in step for step in plan.orders_of_work[0].steps)
    other = changed(demo, settings={"technique": "anchor after each stitch"})
    assert plan_case(other, hip=stored).orders_of_work[0].name == "anchor after each stitch"


def test_equipment_counts_the_planned_anchors_and_spares(plan):
    """The list holds as many anchors as planned and the spares of the settings."""
    lines = [item for item in plan.equipment_list if item.item.startswith("anchor ")]
    planned = len(plan.anchors)
    assert planned > 0
    assert sum(item.count for item in lines) >= planned + 2 * len(lines)
    assert any("tibialis" in item.item for item in plan.equipment_list)


def test_each_anchor_has_its_guide_by_portal(plan):
    """The guides name every portal and every anchor once, and no portal no anchor needs."""
    guides = [item for item in plan.equipment_list if item.item.startswith("guide ")]
    for portal in {anchor.portal for anchor in plan.anchors}:
        hours = [spoken_hour(item.hour) for item in plan.anchors if item.portal == portal]
        (line,) = [item for item in guides if f"the {portal} portal" in item.item]
        assert line.note.endswith(", ".join(hours))
    assert len(guides) == len({anchor.portal for anchor in plan.anchors})


def test_the_worse_case_replaces_what_rests_on_the_remnant(demo, stored, plan):
    """A repair that fails needs a graft and says how much; what is kept stays kept."""
    worse = plan.worse_plan
    assert {str(item.action) for item in worse.planned.option.actions} == {"replace", "keep"}
    assert (worse.anchors_more, worse.graft_more_mm) == (0, 0.0)
    repair = plan_case(changed(demo, settings={"option": "repair"}), hip=stored)
    assert repair.graft is None
    assert repair.worse_plan.graft_more_mm == plan.graft.stock_length_mm
    booked = [item for item in repair.equipment_list if "only if the remnant" in item.note]
    assert [item.item for item in booked] == ["tibialis tendon allograft, 6 mm"]
    assert f"{plan.graft.stock_length_mm:.0f} mm" in booked[0].note


@pytest.mark.parametrize("option", ["debridement", "segmental reconstruction"])
def test_without_a_remnant_there_is_no_worse_case(demo, stored, option):
    """An option that fixes nothing of the remnant has nothing to lose by it."""
    made = plan_case(changed(demo, settings={"option": option}), hip=stored)
    assert made.worse_plan is None
    assert plan_document(made)["unavailable"]["worse"]


def test_what_surgery_left_narrows_the_corridors_there(demo, stored):
    """A cyst of 6 mm at 1:00 leaves less room at 1:00 and the same at 10:00; it is in the plan."""
    bare = plan_case(changed(demo, revision=[], old_anchor=[]), hip=stored)
    cyst = {"kind": "cyst", "hour": 1.0, "size_mm": 6.0, "seen_by": "CT"}
    made = plan_case(changed(demo, revision=[cyst], old_anchor=[]), hip=stored)
    room = {item.hour: item.half_angle_deg for item in bare.corridors}
    left = {item.hour: item.half_angle_deg for item in made.corridors}
    assert left[1.0] < room[1.0] - 1.0
    assert left[10.0] == room[10.0]
    assert plan_document(made)["revision"][0]["kind"] == "cyst"
    assert any("cyst at 1:00" in text for text in made.cautions)


def test_the_record_of_the_clinic_reaches_plan_and_document(plan):
    """Person, record, findings of earlier surgery and grades are printed as the case gave them."""
    document = plan_document(plan)
    assert document["person"] == "invented person"
    assert document["clinic"]["symptoms"]["on"] == "2026-02-10"
    assert document["clinic"]["examinations"][0]["motion"]["flexion_deg"] == 105.0
    assert [item["kind"] for item in document["revision"]] == [
        "tunnel",
        "earlier trim",
        "capsule defect",
    ]
    assert plan.patient["ligamentum teres"] == "grade 1 of 3"


def test_a_rule_file_of_the_clinic_is_in_force_and_printed(demo, stored, tmp_path):
    """What a clinic switches off is named in the settings with its reason."""
    rule = shipped_rules().facts[0].id
    rules = tmp_path / "ours.toml"
    rules.write_text(
        f'schema = "rimwright.clinic-rules/1"\n[[off]]\nid = "{rule}"\nnote = "not here"\n',
        encoding="utf-8",
    )
    settings = plan_case(changed(demo, settings={"rules": str(rules)}), hip=stored).settings
    assert (settings["rules"], settings["rules_changed"]) == (
        "ours.toml",
        [f"{rule}: switched off (not here)"],
    )
    with pytest.raises(Refusal) as refused:
        plan_case(changed(demo, settings={"rules": str(tmp_path / "gone.toml")}), hip=stored)
    assert "gone.toml" in str(refused.value)


def test_the_cam_is_planned_to_the_target_asked_for(demo, stored, plan):
    """Every alpha comes under the target of the case; the burr is booked; `skip` leaves it."""
    assert plan.cam_plan.target_alpha_deg == 50.0
    assert np.nanmax(plan.cam_plan.alpha_before_deg) > 55.0
    assert np.nanmax(plan.cam_plan.alpha_after_deg) < 50.0
    assert any(item.item == "burr for the neck of the femur" for item in plan.equipment_list)
    left = plan_case(changed(demo, cam={"skip": True}), hip=stored)
    assert left.cam_plan is None
    assert plan_document(left)["unavailable"]["cam"] == "the case leaves the neck alone"
    assert not any("burr" in item.item for item in left.equipment_list)


def test_a_cam_target_beyond_reason_is_refused_where_it_stands(demo, stored):
    """The refusal names the key of the case, not that of the program."""
    with pytest.raises(CaseRefusal) as refused:
        plan_case(changed(demo, cam={"target_alpha_deg": 89.0}), hip=stored)
    assert str(refused.value).startswith("case.toml, [cam], target_alpha_deg: ")


def test_low_coverage_brings_a_summary_for_a_surgeon_of_another_road(demo, stored, plan):
    """A centre-edge angle of 15 degrees on a radiograph asks for an opinion; 33 does not."""
    low = {"quantity": "lateral_centre_edge_angle", "value": 15, "seen_by": "radiograph"}
    made = plan_case(changed(demo, reading=[low]), hip=stored)
    assert made.referral[0].startswith("For a surgeon who does osteotomies")
    assert plan_document(made)["referral"] == list(made.referral)
    other = plan_case(changed(demo, reading=[{**low, "value": 33}]), hip=stored)
    assert (plan.referral, other.referral) == ((), ())


def test_what_the_case_changes_is_printed(plan, demo, stored):
    """A margin set in the case stands in the settings as changed; a default does not."""
    tighter = changed(demo, settings={"margin_joint_mm": 1.0})
    settings = plan_case(tighter, hip=stored).settings
    assert settings["margin_joint_mm"] == 1.0
    assert settings["changed"]["fixation.margin_joint_mm"].startswith("1 mm, set in the case")
    assert "fixation.margin_cortex_mm" not in settings["changed"]


@pytest.mark.property
def test_a_wider_margin_never_gains_room(demo, stored):
    """No corridor grows when the margin to the joint grows."""
    sizes = []
    for margin in (1.0, 2.5):
        case = changed(demo, settings={"margin_joint_mm": margin}, labrum=None)
        corridors = plan_case(case, hip=stored).corridors
        sizes.append(np.array([corridor.half_angle_deg for corridor in corridors]))
    # half a degree: the search for the best axis stops at 0.3 degrees
    assert (sizes[0] >= sizes[1] - 0.5).all()
    assert (sizes[0] > sizes[1] + 0.5).any()


def test_a_case_without_bones_plans_from_the_labrum_map(demo):
    """Without bones the options keep their stance, and each says why nothing is laid out."""
    bare = plan_case(changed(demo, sources=None))
    assert bare.hip is None
    assert bare.corridors == ()
    assert [item.option.name for item in bare.options] == list(OptionName)
    for item in bare.options:
        assert item.anchors == ()
        assert item.graft is None
        if any(action.action.needs_anchors for action in item.option.actions):
            assert "No anchors laid out: the case names no bones." in item.cautions
    document = json.loads(json.dumps(plan_document(bare), allow_nan=False))
    jsonschema.Draft202012Validator(document_schema("plan")).validate(document)


def test_a_femur_alone_measures_but_lays_out_nothing(demo):
    """A femur alone gives its numbers; anchors and corridors are refused with the reason."""
    alone = plan_case(changed(demo, sources={"femur": "femur.stl", "axes": "LPS"}))
    assert alone.hip.head is not None
    assert alone.corridors == ()
    assert any("No anchors laid out: no hip bone given." in i.cautions for i in alone.options)


def test_equipment_left_out_is_stood_in_for_and_said(demo, stored):
    """Anchors not listed are stood in for by the example of the settings, which is said."""
    plan = plan_case(changed(demo, equipment=None), hip=stored)
    assert any("lists no anchors to hand" in caution for caution in plan.cautions)
    none = plan_case(changed(demo, equipment={"anchors": []}), hip=stored)
    assert none.anchors == ()
    assert any("none are to hand" in caution for caution in none.planned.cautions)


def test_an_old_anchor_narrows_the_corridors_beside_it(demo, stored, plan):
    """Without the old anchor at 1:30 the corridor there is wider; far from it nothing changes."""
    free = plan_case(changed(demo, old_anchor=None), hip=stored)
    wide = {corridor.hour: corridor.half_angle_deg for corridor in free.corridors}
    kept = {corridor.hour: corridor.half_angle_deg for corridor in plan.corridors}
    assert kept[1.5] < wide[1.5]
    assert kept[9.0] == wide[9.0]
    assert [item.hour for item in free.old_anchors] == [0.25]  # the tunnel of the findings
    assert [item.hour for item in plan.old_anchors] == [1.5, 0.25]


@pytest.mark.parametrize(
    ("history", "prior_suture", "is_said"),
    [(1, None, True), (0, True, True), (0, False, False), (None, None, False)],
)
def test_earlier_surgery_without_old_anchors_is_a_caution(
    demo, stored, history, prior_suture, is_said
):
    """What is not entered is not avoided: the plan says so wherever surgery is recorded."""
    sector = {"from_hour": 11.0, "to_hour": 2.5}
    if prior_suture is not None:
        sector["prior_suture"] = prior_suture
    case = changed(
        demo,
        old_anchor=None,
        revision=None,
        clinic=None,
        history=None if history is None else {"previous_hip_arthroscopy": history},
        labrum=[sector],
    )
    assert (UNSEEN_ANCHORS in plan_case(case, hip=stored).cautions) is is_said
    trimmed = {"kind": "earlier trim", "hour": 1.0}
    tunnel = {"kind": "tunnel", "hour": 1.0}
    for finding, is_still_said in ((trimmed, True), (tunnel, False)):
        with_finding = plan_case(changed(case, revision=[finding]), hip=stored)
        assert (UNSEEN_ANCHORS in with_finding.cautions) is is_still_said
    with_anchor = changed(case, old_anchor=demo.document["old_anchor"])
    assert UNSEEN_ANCHORS not in plan_case(with_anchor, hip=stored).cautions


def test_without_a_choice_the_first_option_not_excluded_is_shown(demo, stored):
    """No option asked for: the first whose stance is neither against nor impossible."""
    free = plan_case(changed(demo, settings=None), hip=stored)
    stances = {item.option.name: item.option.stance for item in free.options}
    open_ones = [n for n in OptionName if stances[n] in (Stance.SUPPORTED, Stance.OPEN)]
    assert open_ones[0] != OptionName.DEBRIDEMENT  # else this case could not tell
    assert free.planned_option == open_ones[0]


@pytest.mark.parametrize(
    ("grades", "is_against"),
    [
        ({"joint_space_mm": 1.8}, True),
        ({"joint_space_mm": 3.8}, False),
        ({"joint_space_mm": 1.8, "joint_space_seen_by": "CT"}, False),
        ({"tonnis_grade": 3}, True),
    ],
)
def test_grades_of_the_case_reach_the_candidacy(demo, grades, is_against):
    """A joint space of 2 mm or less on a radiograph, or arthritis, speaks against arthroscopy.

    The cut-off holds for radiographs (planning:4.23, planning:4.24), so a CT does not meet it.
    """
    bare = plan_case(changed(demo, sources=None, grades=grades))
    (road,) = [item for item in bare.candidacy if item.statement.startswith("Arthroscopy")]
    assert (road.stance is Stance.ADVISED_AGAINST) == is_against


def test_a_number_read_by_a_person_counts_where_nothing_is_measured(demo):
    """A lateral centre-edge angle of 15 degrees given by hand brings dysplasia into the plan."""
    reading = {"quantity": "lateral_centre_edge_angle", "value": 15.0, "seen_by": "radiograph"}
    with_it = plan_case(changed(demo, sources=None, reading=[reading]))
    without = plan_case(changed(demo, sources=None))
    assert with_it.candidacy != without.candidacy


def test_a_clinic_file_is_in_force_and_printed(demo, stored, tmp_path):
    """A clinic's number acts and is printed as changed; the case's own stands over it."""
    clinic = tmp_path / "clinic.toml"
    clinic.write_text("[fixation]\nmargin_joint_mm = 3.0\nspacing_mm = 9.0\n", encoding="utf-8")
    chosen = {"evidence": str(clinic), "spacing_mm": 7.0}
    settings = plan_case(changed(demo, settings=chosen), hip=stored).settings
    assert (settings["margin_joint_mm"], settings["spacing_mm"]) == (3.0, 7.0)
    printed = settings["changed"]
    assert "set by the clinic in clinic.toml" in printed["fixation.margin_joint_mm"]
    assert printed["fixation.spacing_mm"] == "7 mm, set in the case (otherwise 9 mm)"


def test_moving_the_trochanter_moves_what_a_portal_reaches(demo, stored, plan):
    """A trochanter tip picked 10 mm further back changes the hours the portals reach."""
    found = stored.hip.landmarks_mm["greater_trochanter"]
    picked = (found - 10.0 * stored.hip.frame.anterior).tolist()
    moved = plan_case(changed(demo, landmarks={"greater_trochanter": picked}))
    # within rounding: the point is carried through the frame of the femur and back
    assert np.abs(moved.hip.femur.greater_trochanter_mm - picked).max() < 1e-9
    assert [item.name for item in moved.portals] == [item.name for item in plan.portals]
    assert [item.reaches for item in moved.portals] != [item.reaches for item in plan.portals]
    assert not any("not used" in caution for caution in moved.cautions)


def test_a_landmark_the_stored_hip_was_measured_without_is_said(demo, stored):
    """A landmark moved after measuring is a caution, never silently dropped."""
    picked = (stored.hip.landmarks_mm["greater_trochanter"] + 5.0).tolist()
    case = changed(demo, landmarks={"greater_trochanter": picked})
    cautions = plan_case(case, hip=stored).cautions
    assert any("measured with other landmarks: greater_trochanter" in text for text in cautions)


def test_notch_ends_of_an_older_case_keep_their_meaning(demo):
    """`notch_from` is the anterior end; both names of one end are refused."""
    older = changed(demo, landmarks={"notch_from": [1.0, 2.0, 3.0], "notch_to": [4.0, 5.0, 6.0]})
    assert {name: point.tolist() for name, point in older.landmarks_mm.items()} == {
        "notch_anterior": [1.0, 2.0, 3.0],
        "notch_posterior": [4.0, 5.0, 6.0],
    }
    with pytest.raises(CaseRefusal) as refused:
        changed(demo, landmarks={"notch_from": [1, 2, 3.0], "notch_anterior": [1.0, 2.0, 3.0]})
    assert str(refused.value) == (
        "case.toml, [landmarks], notch_from: given twice (got notch_from and notch_anterior, "
        "need one of them). Keep notch_anterior."
    )


def test_picked_notch_ends_move_the_clock(demo, stored):
    """Ends of the notch picked on the rim an hour in front of those found turn the clock."""
    rim = stored.hip.rim
    front = rim.point_at(rim.notch_from_hour - 1.0).tolist()
    back = rim.point_at(rim.notch_to_hour + 0.1).tolist()
    turned = plan_case(
        changed(demo, landmarks={"notch_anterior": front, "notch_posterior": back})
    ).hip.rim
    before = rim.notch_to_hour - rim.notch_from_hour
    assert turned.notch_to_hour - turned.notch_from_hour > before + 0.5


def test_unknown_labrum_is_said(plan):
    """The arcs no sector speaks of are cautions, never healthy."""
    assert any(text.startswith("Labrum unknown, not healthy") for text in plan.cautions)


@pytest.mark.fault
@pytest.mark.parametrize("limit", [0.0, 0.3, 0.7, 1.0])
def test_cancelling_stops_at_every_stage(demo, stored, limit):
    """Cancelled from the callback leaves planning at the stage it was told of."""
    seen = []

    def tell(fraction, stage):
        seen.append(fraction)
        if fraction >= limit:
            raise Cancelled

    with pytest.raises(Cancelled):
        plan_case(demo, hip=stored, progress=tell)
    assert sum(fraction >= limit for fraction in seen) == 1


@pytest.mark.fault
def test_measuring_can_be_cancelled(demo):
    """Cancelled while the bones are read, nothing is measured."""

    def tell(fraction, stage):
        raise Cancelled

    with pytest.raises(Cancelled):
        plan_case(demo, progress=tell)


def test_progress_never_goes_back(demo, stored):
    """The fraction told rises from 0 to 1."""
    seen = []
    plan_case(demo, hip=stored, progress=lambda fraction, stage: seen.append(fraction))
    assert seen == sorted(seen)
    assert (seen[0], seen[-1]) == (0.0, 1.0)


@pytest.mark.fault
def test_a_stored_hip_of_the_other_side_is_refused(demo, stored):
    """A hip of the other side is never planned on."""
    with pytest.raises(CaseRefusal, match="the stored hip is of the left side"):
        plan_case(changed(demo, side="right"), hip=stored)


@pytest.mark.fault
@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        (
            {"sources": {"pelvis": "nothing.stl"}},
            r"^case\.toml, \[sources\], pelvis: no such file \(looked for .*nothing\.stl\)",
        ),
        ({"sources": {"image": "series"}}, r"\[sources\], image: no such file or folder"),
        ({"sources": {"pelvis": "femur.stl"}}, r"^femur\.stl: no hip"),
        ({"settings": {"technique": "mine.toml"}}, r"mine\.toml: no such file"),
        ({"settings": {"evidence": "clinic.toml"}}, r"clinic\.toml: cannot be read"),
        ({"settings": {"spacing_mm": 30.0}}, r"spacing"),
    ],
)
def test_refusals(demo, changes, expected):
    """What the case names and cannot be used is refused with its place."""
    with pytest.raises(Refusal, match=expected):
        plan_case(changed(demo, **changes))


def test_a_hip_beside_is_reused_only_if_nothing_changed(demo, stored, tmp_path, monkeypatch):
    """The hip of an earlier plan serves while bones, landmarks and code are the same."""
    measured_anew = replace(stored, input_digest="new")
    monkeypatch.setattr(reuse, "prepare_hip", lambda case, progress=None: measured_anew)
    save_hip(stored, tmp_path / "hip.npz")
    same = hip_for_case(demo, beside=tmp_path)
    assert same.note.startswith("Bones unchanged")
    assert same.stored.input_digest == stored.input_digest
    other = changed(demo, landmarks={"asis": [100.0, -60.0, 80.0]})
    assert hip_for_case(other, beside=tmp_path).stored is measured_anew
    assert hip_for_case(demo, beside=tmp_path / "nowhere").stored is measured_anew
    (tmp_path / "hip.npz").write_bytes(b"damaged")
    assert hip_for_case(demo, beside=tmp_path).stored is measured_anew
    save_hip(stored, tmp_path / "hip.npz")
    monkeypatch.setattr(reuse, "code_digest", lambda: "of another day")
    assert hip_for_case(demo, beside=tmp_path).stored is measured_anew


@pytest.mark.fault
def test_a_hip_given_must_be_of_these_bones(demo, stored, tmp_path):
    """A hip named by the user is refused where the bones at hand are others."""
    path = tmp_path / "other.npz"
    save_hip(replace(stored, input_digest="0" * 64), path)
    with pytest.raises(CaseRefusal, match=r"other\.npz: measured from other bones"):
        hip_for_case(demo, given=path)
    with pytest.raises(CaseRefusal, match=r"other\.npz: of the left side"):
        hip_for_case(changed(demo, side="right"), given=path)
