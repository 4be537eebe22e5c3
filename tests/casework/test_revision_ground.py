"""Findings of earlier surgery as bodies in the rim: what blocks, what does not, what is said."""

from __future__ import annotations

import pytest

from rimwright.anatomy import RevisionFinding, RevisionKind, Sector
from rimwright.casework.revision_ground import revision_obstacles
from rimwright.evidence import load_evidence


def obstacles(*findings, hip=None):
    """Bodies and cautions with the shipped settings."""
    return revision_obstacles(findings, hip, table=load_evidence())


def test_an_ossicle_of_known_place_and_size_is_kept_off():
    """It fills the rim as deep as it is wide, and the plan says that this is assumed."""
    found = obstacles(RevisionFinding(kind=RevisionKind.OSSICLE, hour=1.0, size_mm=6.0))
    (body,) = found.bodies
    assert (body.hour, body.drill_mm, body.depth_mm) == (1.0, 6.0, 6.0)
    assert any("6 mm deep" in text and "decided at surgery" in text for text in found.cautions)


@pytest.mark.parametrize("known", [{"hour": 1.0}, {"size_mm": 6.0}])
def test_an_ossicle_half_known_blocks_nothing_and_says_so(known):
    """Without its place or its size no body is guessed."""
    found = obstacles(RevisionFinding(kind=RevisionKind.OSSICLE, **known))
    assert found.bodies == ()
    assert any("blocks no corridor" in text for text in found.cautions)


def test_what_does_not_lie_in_bone_blocks_nothing():
    """A capsule defect and an earlier trim are no bodies."""
    arc = Sector(from_hour=0.0, to_hour=2.0)
    for kind in (RevisionKind.CAPSULE_DEFECT, RevisionKind.EARLIER_TRIM):
        assert obstacles(RevisionFinding(kind=kind, sector=arc, size_mm=5.0)).bodies == ()


def test_a_finding_in_the_notch_is_left_out_with_a_word(stored):
    """The notch has no rim to block; the rest of an arc that runs into it stays."""
    rim = stored.hip.rim
    into = Sector(from_hour=rim.notch_from_hour - 1.0, to_hour=rim.notch_from_hour + 0.5)
    found = obstacles(
        RevisionFinding(kind=RevisionKind.TUNNEL, sector=into, size_mm=2.0, depth_mm=15.0),
        hip=stored.hip,
    )
    assert 4 <= len(found.bodies) <= 5
    assert all(not 0 < (body.hour - rim.notch_from_hour) < 1 for body in found.bodies)
    assert any("lies in the notch" in text for text in found.cautions)
