"""Axes: a body labelled by anatomy reads the same from every convention."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from imaging.surfaces import TIPS_MM, tips_in
from imaging.writers import glb, obj_plain, ply_ascii, stl_binary
from rimwright.errors import CaseRefusal
from rimwright.imaging import BodyFile, axis_conventions, describe_bodies, name_axes

Read = Callable[..., BodyFile]
TIPS_LPS = {"L": (60, 0, 0), "P": (0, 40, 0), "S": (0, 0, 30)}


def test_there_are_48_and_y_up() -> None:
    """Three pairs in any order, each either way: 3! × 2³; and the convention of scenes."""
    conventions = axis_conventions()
    assert len(set(conventions)) == 49
    assert {"LPS", "RAS", "LAS", "SPL", "y-up"} <= set(conventions)


@pytest.mark.property
@pytest.mark.parametrize("axes", axis_conventions()[:-1])
def test_tips_are_where_anatomy_has_them(axes: str, read: Read) -> None:
    """Left is +x, behind is +y, above is +z, whatever the file's axes; outward without repair."""
    file = read(ply_ascii(tips_in(axes)), ".ply", axes=axes)
    (body,) = file.bodies
    places = {tuple(place) for place in body.vertices_mm.tolist()}
    assert places == {(0, 0, 0), *TIPS_LPS.values()}
    assert describe_bodies(file)[0].volume_mm3 == pytest.approx(60 * 40 * 30 / 6)
    assert (file.warnings, file.axes, file.axes_assumed) == ((), axes, False)


def test_a_flip_is_read_off_the_labelled_body(read: Read) -> None:
    """LPS taken for RAS is a half-turn about the long axis: the left tip lands on the right."""
    (body,) = read(ply_ascii(tips_in("LPS")), ".ply", axes="RAS").bodies
    places = {tuple(place) for place in body.vertices_mm.tolist()}
    assert (-60, 0, 0) in places
    assert (60, 0, 0) not in places


def test_y_up_has_left_up_and_front(read: Read) -> None:
    """+x left, +y up, +z front: the labels of LSA."""
    (body,) = read(glb(tips_in("LSA")), ".glb", axes="y-up").bodies
    assert {tuple(p) for p in body.vertices_mm.tolist()} == {(0, 0, 0), *TIPS_LPS.values()}


@pytest.mark.parametrize("axes", ["RPS", "LAS", "SPL", "RAI"])
def test_a_mirroring_conversion_turns_the_winding(axes: str, read: Read) -> None:
    """Where the convention is left-handed, triangles are turned with it; nothing is said."""
    file = read(stl_binary(tips_in(axes)), axes=axes)
    assert file.warnings == ()
    body = file.bodies[0]
    outward = body.centroids_mm() - body.vertices_mm.mean(axis=0)
    assert (np.einsum("ij,ij->i", outward, body.normals()) > 0).all()


def test_axes_left_out_are_lps_and_said_to_be_assumed(read: Read) -> None:
    """Nothing given and nothing stated: LPS, assumed."""
    file = read(stl_binary(tips_in("LPS")), axes=None)
    assert (file.axes, file.axes_assumed) == ("LPS", True)


@pytest.mark.parametrize(
    ("data", "suffix"),
    [
        (stl_binary(tips_in("RAS"), header=b"made for a test SPACE=RAS"), ".stl"),
        (ply_ascii(tips_in("RAS")).replace(b"made for a test", b"SPACE=RAS"), ".ply"),
        (obj_plain(tips_in("RAS")).replace(b"# made for", b"# SPACE=RAS for"), ".obj"),
    ],
)
def test_axes_stated_in_the_header_count_unless_others_are_given(
    data: bytes, suffix: str, read: Read
) -> None:
    """A header that names its axes is believed; the caller is believed more, with a warning."""
    stated = read(data, suffix, axes=None)
    assert (stated.axes, stated.axes_assumed, stated.warnings) == ("RAS", False, ())
    assert (60, 0, 0) in {tuple(p) for p in stated.bodies[0].vertices_mm.tolist()}
    given = read(data, suffix, axes="LPS")
    assert given.axes == "LPS"
    assert given.warnings == ("its header states RAS, read as LPS as asked",)


@pytest.mark.parametrize("text", ["", "LP", "LRS", "XYZ", "LPSA", "z-up", "LPSLPSLPSLPSLPSLPS"])
@pytest.mark.fault
def test_other_words_are_no_axes(text: str) -> None:
    """One letter of each pair is needed."""
    with pytest.raises(CaseRefusal, match="not an axis convention"):
        name_axes(text)


def test_spelling_is_free() -> None:
    """Small letters and the spellings of y-up."""
    assert [name_axes(w) for w in ("ras", " LPS ", "Y-up", "yup")] == ["RAS", "LPS", "y-up", "y-up"]
    assert set(TIPS_MM) == {"L", "P", "S"}
