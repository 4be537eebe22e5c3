"""What is mended, what is left out with a word, and what is refused."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from imaging.surfaces import Surface, ball, box, corner_rows
from imaging.writers import obj, ply_ascii, stl_ascii, stl_binary, vrml2
from rimwright.anatomy import TriangleMesh
from rimwright.errors import BoneRefusal, FileRefusal
from rimwright.imaging import BodyFile, describe_bodies, describe_body
from rimwright.imaging.edges import find_edges
from rimwright.units import LengthUnit

Read = Callable[..., BodyFile]
BALL, BOX = ball(), box()


def is_same(mesh: TriangleMesh, surface: Surface) -> bool:
    """Same triangles, wound alike."""
    return np.array_equal(
        corner_rows(mesh.vertices_mm, mesh.triangles),
        corner_rows(surface.vertices, surface.triangles),
    )


def without(surface: Surface, *rows: int) -> Surface:
    """A surface with triangles missing."""
    return Surface(surface.vertices, np.delete(surface.triangles, rows, axis=0))


def test_inside_out_is_turned_with_a_word(read: Read) -> None:
    """A closed body of negative volume faces inward: turned over."""
    file = read(stl_binary(BALL.turned()))
    assert is_same(file.bodies[0], BALL)
    assert file.warnings == ("body 1: inside out, turned over",)


def test_mixed_winding_is_made_consistent(read: Read) -> None:
    """A third of the triangles turned at random: all face outward again, and how many is said."""
    turned = np.random.default_rng(7).random(len(BALL.triangles)) < 0.33
    mixed = np.where(turned[:, None], BALL.triangles[:, ::-1], BALL.triangles)
    file = read(stl_binary(Surface(BALL.vertices, mixed)))
    assert is_same(file.bodies[0], BALL)
    assert file.warnings == (f"{turned.sum()} triangles wound against the rest, turned over",)


def test_corners_within_a_millionth_are_one(read: Read) -> None:
    """Corners 1e-7 of the size apart are merged and the body is closed; 1e-4 apart they are not."""
    for gap, is_closed in ((1e-7, True), (1e-4, False)):
        corners = BALL.vertices[BALL.triangles].reshape(-1, 3)
        moved = corners + 80 * gap * np.random.default_rng(3).uniform(-0.5, 0.5, corners.shape)
        soup = Surface(moved, np.arange(len(corners)).reshape(-1, 3))
        if is_closed:
            (summary,) = describe_bodies(read(stl_ascii(soup)))
            assert (summary.is_closed, summary.n_triangles) == (True, len(BALL.triangles))
        else:
            with pytest.raises(BoneRefusal, match="crumbs"):
                read(stl_ascii(soup))


def test_negative_zero_is_zero(read: Read) -> None:
    """−0.0 and 0.0 are one place."""
    text = stl_ascii(BOX).decode().splitlines()
    text[3] = text[3].replace(" 0.0", " -0.0")
    assert "-0.0" in text[3]
    assert len(read("\n".join(text).encode() + b"\n").bodies[0].vertices_mm) == 8


def test_triangles_without_area_are_left_out(read: Read) -> None:
    """A triangle with a corner twice goes; the body stays closed."""
    file = read(
        ply_ascii(Surface(BOX.vertices, np.vstack([BOX.triangles, [[0, 0, 1], [3, 3, 3]]]))), ".ply"
    )
    assert is_same(file.bodies[0], BOX)
    assert file.warnings == ("2 triangles without area left out",)


def test_triangles_standing_twice_are_left_out(read: Read) -> None:
    """Of equal triangles one stays; a flap of two back to back goes."""
    flap = [[0, 1, 7], [7, 1, 0]]
    doubled = Surface(BOX.vertices, np.vstack([BOX.triangles, BOX.triangles[2:4], flap]))
    file = read(ply_ascii(doubled), ".ply")
    assert is_same(file.bodies[0], BOX)
    assert file.warnings == ("4 triangles standing twice left out",)


def test_dust_is_left_out_with_its_size(read: Read) -> None:
    """A speck of 2 mm beside the bone goes, and is named; a fragment of 15 mm is loose."""
    speck = box(2, 2, 2).moved(90, 0, 0)
    fragment = ball(7.5, steps=1).moved(90, 0, 0)
    assert read(stl_binary(BALL, speck)).warnings == (
        "1 small separate piece left out as dust (12 triangles, largest 2.0 mm)",
    )
    file = read(stl_binary(BALL, fragment))
    assert len(file.bodies) == 1
    assert file.warnings == ("1 loose piece of up to 15.0 mm left out",)


@pytest.mark.parametrize("faces_inward", [True, False])
def test_a_cavity_stays_with_its_body(read: Read, *, faces_inward: bool) -> None:
    """An inner shell is a hollow, however it was wound: it faces into itself and takes volume."""
    hollow = ball(10, steps=1).moved(-5, 0, 0)
    file = read(stl_binary(BALL, hollow.turned() if faces_inward else hollow))
    (summary,) = describe_bodies(file)
    assert summary.n_triangles == len(BALL.triangles) + len(hollow.triangles)
    # rounding of float64 sums
    assert summary.volume_mm3 == pytest.approx(BALL.volume - hollow.volume, rel=1e-9)
    said = () if faces_inward else ("body 1: inside out, turned over (1 of 2 surfaces)",)
    assert file.warnings == said


def test_an_island_in_a_cavity_is_bone(read: Read) -> None:
    """Shell, hollow, and a piece in the hollow: one body, the innermost facing outward."""
    hollow, island = ball(30, steps=1), ball(8, steps=1)
    (summary,) = describe_bodies(read(stl_binary(BALL, hollow.turned(), island)))
    assert summary.volume_mm3 == pytest.approx(
        BALL.volume - hollow.volume + island.volume, rel=1e-9
    )


def test_a_large_hollow_is_named(read: Read) -> None:
    """A hollow of most of the body may be the inner face of the cortex: said."""
    hollow = BALL.scaled(0.9).turned()
    share = 100 * 0.9**3
    (warning,) = read(stl_binary(BALL, hollow)).warnings
    assert warning == f"body 1: an inner surface of {share:.0f} % of its volume is a hollow"


def test_a_group_inside_another_is_a_body_unless_it_faces_inward(read: Read) -> None:
    """A marrow body that is a group of its own stays apart; one that faces inward does not."""
    inner = ball(20, steps=1)
    assert len(read(stl_ascii(BALL, inner)).bodies) == 2
    assert len(read(stl_ascii(BALL, inner.turned())).bodies) == 1


def test_bodies_that_touch_stay_apart(read: Read) -> None:
    """Two boxes sharing a corner, or an edge of four triangles, are two bodies, both closed."""
    for offset in ((60, 40, 30), (60, 40, 0)):
        file = read(stl_binary(BOX, BOX.moved(*offset)))
        assert [s.is_closed for s in describe_bodies(file)] == [True, True]
        assert [s.volume_mm3 for s in describe_bodies(file)] == pytest.approx([72000, 72000])


def test_a_surface_cut_into_groups_is_read_as_one(read: Read) -> None:
    """Halves of one surface in two groups close each other; that is said."""
    upper = BALL.vertices[BALL.triangles].mean(axis=1)[:, 2] > 0
    halves = (
        Surface(BALL.vertices, BALL.triangles[upper]),
        Surface(BALL.vertices, BALL.triangles[~upper]),
    )
    file = read(obj(*halves, head="g"), ".obj")
    assert is_same(file.bodies[0], BALL)
    assert file.warnings == ("2 groups share edges and were read as one surface",)


def test_a_small_hole_is_said_with_its_width(read: Read) -> None:
    """One triangle missing: read, with the hole's width in the warning; volume as if covered."""
    fine = ball(40, steps=3)
    file = read(stl_binary(without(fine, 10)))
    width_mm = np.ptp(fine.vertices[fine.triangles[10]], axis=0).max()
    assert file.warnings == (f"body 1: open (one hole, {width_mm:.1f} mm wide)",)
    (summary,) = describe_bodies(file)
    assert not summary.is_closed
    assert summary.volume_mm3 == pytest.approx(fine.volume, rel=1e-9)  # rounding of float64


def test_volume_of_an_open_box_does_not_depend_on_its_place(read: Read) -> None:
    """A box without half a face holds the same wherever it lies."""
    near = read(stl_binary(without(ball(40, steps=3), 3, 200)))
    far = read(stl_binary(without(ball(40, steps=3).moved(512, 512, 512), 3, 200)))
    volumes = [describe_bodies(file)[0].volume_mm3 for file in (near, far)]
    assert volumes[0] == pytest.approx(volumes[1], rel=1e-6)  # float32 of the moved file


@pytest.mark.fault
def test_a_badly_open_surface_is_refused(read: Read) -> None:
    """Half a sphere: its hole is half as large as itself, above the tenth that is accepted."""
    half = BALL.vertices[BALL.triangles].mean(axis=1)[:, 2] > 0
    with pytest.raises(BoneRefusal) as refusal:
        read(stl_binary(Surface(BALL.vertices, BALL.triangles[half])))
    assert "bone.stl: open: one hole, 8" in str(refusal.value)
    assert "(need at most 10 %). Close the surface" in str(refusal.value)


def test_a_minor_open_piece_does_not_cost_the_bone(read: Read) -> None:
    """A small open sheet beside a sound bone is left out with a word."""
    rows = np.arange(42).reshape(6, 7)
    places = np.array([[90 + 4.0 * x, 4.0 * y, 0] for y in range(6) for x in range(7)])
    a, b, c, d = (
        part.ravel() for part in (rows[:-1, :-1], rows[:-1, 1:], rows[1:, :-1], rows[1:, 1:])
    )
    sheet = Surface(
        places, np.concatenate([np.column_stack([a, b, c]), np.column_stack([b, d, c])])
    )
    file = read(stl_binary(BALL, sheet))
    assert len(file.bodies) == 1
    assert file.warnings == ("a piece of 24 mm left out, open: one hole, 24.0 mm wide",)


@pytest.mark.fault
@pytest.mark.parametrize(
    ("surface", "wrong"),
    [
        (Surface(np.diag([50.0, 50, 50]), np.array([[0, 1, 1]])), "no triangle has"),
        (
            Surface(BOX.vertices * [1, 1, 0], BOX.triangles),
            "every triangle stands twice|encloses no volume|no triangle",
        ),
        # 2.4 mm³ in a box with a diagonal of 72 mm
        (box(60, 40, 0.001), "encloses no volume \\(got 2.4 mm³ in a box of diagonal 72 mm"),
        (Surface(BOX.vertices[:4], BOX.triangles[:2]), "open: one hole"),
    ],
    ids=["needle", "flattened box", "thin box", "sheet"],
)
def test_what_encloses_nothing_is_refused(surface: Surface, wrong: str, read: Read) -> None:
    """Needles, flat and open sheets are no bone."""
    with pytest.raises(BoneRefusal, match=wrong):
        read(ply_ascii(surface), ".ply")


@pytest.mark.fault
def test_a_one_sided_band_is_refused(read: Read) -> None:
    """A band with a half twist has no inside."""
    turn = np.linspace(0, 2 * np.pi, 25)[:-1]
    places = [
        [
            (60 + s * np.cos(t / 2)) * np.cos(t),
            (60 + s * np.cos(t / 2)) * np.sin(t),
            s * np.sin(t / 2),
        ]
        for t in turn
        for s in (-15, 15)
    ]
    faces = []
    for k in range(24):
        a, b = 2 * k, 2 * k + 1
        c, d = ((2 * k + 2), (2 * k + 3)) if k < 23 else (1, 0)
        faces += [[a, c, b], [b, c, d]]
    with pytest.raises(BoneRefusal, match="one-sided"):
        read(ply_ascii(Surface(np.array(places), np.array(faces))), ".ply")


@pytest.mark.fault
def test_metres_given_as_mm_are_named_and_not_rescaled(read: Read) -> None:
    """A bone of 0.08: too small in mm, and the sentence says what would fit."""
    with pytest.raises(BoneRefusal) as refusal:
        read(stl_binary(BALL.scaled(0.001)))
    assert str(refusal.value) == (
        "bone.stl: too small for a bone (longest side 0.08 mm, need at least 20). "
        'It looks like metres: pass --units m (in a case file: units = "m").'
    )
    (body,) = read(stl_binary(BALL.scaled(0.001)), unit=LengthUnit.M).bodies
    assert np.allclose(
        body.vertices_mm.max(axis=0), BALL.vertices.max(axis=0), rtol=1e-6
    )  # float32


@pytest.mark.fault
@pytest.mark.parametrize(
    ("factor", "unit", "wrong"),
    [
        (0.1, LengthUnit.MM, "too small.*Check the unit"),
        (1e-6, LengthUnit.MM, "too small.*Check the unit"),
        (30, LengthUnit.MM, "too large.*need at most 2000.*Check the unit"),
        (1, LengthUnit.M, "too large.*looks like millimetres: pass --units mm"),
        (1e30, LengthUnit.MM, "too large"),
    ],
)
def test_sizes_of_no_bone(factor: float, unit: LengthUnit, wrong: str, read: Read) -> None:
    """Below 20 mm and above 2 m nothing is bone; a likely unit is named where one fits."""
    with pytest.raises(BoneRefusal, match=wrong):
        read(stl_binary(BALL.scaled(factor)), unit=unit)


@pytest.mark.fault
def test_too_far_from_the_origin(read: Read) -> None:
    """At a kilometre float32 keeps steps of 0.06 mm: refused."""
    with pytest.raises(BoneRefusal, match="too far from the origin"):
        read(stl_binary(BALL.moved(1e6, 0, 0)))


@pytest.mark.fault
@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf])
def test_numbers_that_are_none(value: float, read: Read) -> None:
    """NaN and infinity in a vertex in use are refused; in an unused one they do not matter."""
    vertices = np.vstack([BALL.vertices, [[value, 0, 0]]])
    assert is_same(read(ply_ascii(Surface(vertices, BALL.triangles)), ".ply").bodies[0], BALL)
    vertices[3, 1] = value
    with pytest.raises(FileRefusal, match=r"1 of \d+ vertices are not finite"):
        read(ply_ascii(Surface(vertices, BALL.triangles)), ".ply")


@pytest.mark.property
def test_order_and_place_change_nothing(read: Read) -> None:
    """Shuffled triangles, turned corners and renumbered vertices give the same surface."""
    rng = np.random.default_rng(11)
    order = rng.permutation(len(BALL.vertices))
    back = np.argsort(order)
    triangles = back[BALL.triangles[rng.permutation(len(BALL.triangles))]]
    triangles = np.array([np.roll(t, rng.integers(3)) for t in triangles])
    assert is_same(
        read(ply_ascii(Surface(BALL.vertices[order], triangles)), ".ply").bodies[0], BALL
    )


def test_edges_of_a_box() -> None:
    """12 triangles have 18 edges, each shared by two; without one triangle three are open."""
    edges = find_edges(BOX.triangles, n_vertices=8)
    assert (len(edges.starts), edges.n_crowded, len(edges.open_edges())) == (18, 0, 0)
    missing = find_edges(BOX.triangles[1:], n_vertices=8)
    gone = {frozenset(e) for e in ((0, 2), (2, 1), (1, 0))}
    assert {frozenset(e) for e in missing.open_edges().tolist()} == gone


def test_summary_is_one_line() -> None:
    """A body in a few numbers, for a message."""
    mesh = TriangleMesh(vertices_mm=BOX.vertices, triangles=BOX.triangles)
    text = str(describe_body(mesh, name="hip"))
    assert text == "hip: 12 triangles, 60 × 40 × 30 mm, 72.0 cm³, closed"


def test_names_from_the_file_are_cleaned(read: Read) -> None:
    """Control letters and length cannot spoil a line of output."""
    data = stl_ascii(BOX).replace(b"bone 1", b"a\x1b[31m\tb" + 100 * b"x")
    (name,) = read(data).names
    assert name.startswith("a [31m b")
    assert len(name) == 60
    assert name.isprintable()


def test_groups_joined_only_where_that_closes_them(read: Read) -> None:
    """Two open halves of different bodies stay refused."""
    half = BALL.vertices[BALL.triangles].mean(axis=1)[:, 2] > 0
    halves = [Surface(BALL.vertices, BALL.triangles[half]).moved(dx, 0, 0) for dx in (0, 200)]
    with pytest.raises(BoneRefusal, match="open"):
        read(vrml2(*halves), ".wrl")
