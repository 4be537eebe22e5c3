"""Where radial planes lie, which way they look, and that the two kinds are never mixed."""

from __future__ import annotations

import numpy as np
import pytest

from morphology.reformat.made_scan import true_hip
from rimwright.anatomy import Side, hours_of_rim
from rimwright.morphology.reformat import (
    EVERY_HALF_HOUR,
    NeckPlane,
    RadialKind,
    RadialPlane,
    SocketPlane,
    neck_clock_of,
    neck_planes,
    one_kind,
    resample,
    side_of,
    socket_clock_of,
    socket_planes,
)
from rimwright.morphology.reformat.alpha_reading import alpha_on_reformats
from rimwright.phantom import HipShape
from rimwright.report.reformat_sheet import acetabular_sheet, femoral_sheet

EXACT_MM = 1e-9  # arithmetic in double precision on points some 100 mm away


@pytest.mark.property
@pytest.mark.parametrize("side", list(Side))
def test_the_rim_point_of_an_hour_lies_in_its_picture(side: Side) -> None:
    """On every tenth of an hour the rim point lies in the plane, in the half named by the hour."""
    hip = true_hip(HipShape(side=side))
    hours = hours_of_rim()
    for plane in socket_planes(hip, hours=[float(h) for h in hours]):
        for hour, is_upper in ((plane.hour, True), (plane.opposite_hour, False)):
            point = hip.rim.point_at(hour)
            if np.isnan(point).any():
                continue
            offset = point - plane.middle_mm
            assert abs(offset @ plane.normal) < EXACT_MM
            assert bool(offset @ plane.up > 15.0) is is_upper
            row, column = plane.to_pixels(point)
            assert 0 <= row < plane.shape[0]
            assert 0 <= column < plane.shape[1]
            np.testing.assert_allclose(plane.to_mm(np.array([row, column])), point, atol=EXACT_MM)


@pytest.mark.parametrize("side", list(Side))
def test_which_way_the_pictures_look(side: Side) -> None:
    """12 is seen from the front with lateral right on a left hip, left on a right; 3 from below."""
    hip = true_hip(HipShape(side=side))
    for planes in (socket_planes(hip), neck_planes(hip)):
        twelve, three = planes[0], planes[6]
        assert twelve.up[2] > 0.7  # cranial up
        assert twelve.normal[1] < -0.7  # the viewer stands in front
        assert three.up[1] < -0.7  # anterior up
        assert three.normal[2] < -0.7  # the viewer stands at the feet
        for plane in (twelve, three):
            assert plane.right[0] > 0.3  # the person's left is at the right of the picture
            assert bool(plane.right @ plane.clock.axis > 0.0) is (side is Side.LEFT)
        for plane in planes:
            np.testing.assert_allclose(
                plane.normal, plane.clock.towards(plane.hour + 3.0), atol=1e-12
            )
            across = np.array([plane.right @ plane.up, plane.normal @ plane.clock.axis])
            np.testing.assert_allclose(across, 0.0, atol=1e-12)


@pytest.mark.property
def test_half_hours_cover_the_dial() -> None:
    """Twelve planes show all twenty-four half hours, each once."""
    planes = socket_planes(true_hip(HipShape()))
    shown = sorted(hour for plane in planes for hour in (plane.hour, plane.opposite_hour))
    assert shown == [0.5 * k for k in range(24)]
    assert len(EVERY_HALF_HOUR) == 12


@pytest.mark.fault
def test_a_clock_of_the_other_kind_makes_no_plane() -> None:
    """The femoral clock lays no acetabular plane, nor the other way round."""
    hip = true_hip(HipShape())
    with pytest.raises(TypeError, match="got NeckClock"):
        socket_planes(neck_clock_of(hip))
    with pytest.raises(TypeError, match="got SocketClock"):
        neck_planes(socket_clock_of(hip))


@pytest.mark.fault
def test_sheets_and_alpha_take_their_own_kind_only() -> None:
    """By type and when run: no femoral hour on an acetabular sheet, no acetabular alpha."""
    for function, wanted in (
        (acetabular_sheet, "Sequence[SocketPlane]"),
        (femoral_sheet, "Sequence[NeckPlane]"),
        (alpha_on_reformats, "Sequence[NeckPlane]"),
    ):
        assert function.__annotations__["planes"] == wanted
    assert not issubclass(SocketPlane, NeckPlane)
    assert not issubclass(NeckPlane, SocketPlane)
    hip = true_hip(HipShape())
    socket, neck = socket_planes(hip, hours=[1.0]), neck_planes(hip, hours=[1.0])
    picture = np.zeros((1, *socket[0].shape), dtype=np.float32)
    with pytest.raises(TypeError, match="by acetabular hour"):
        acetabular_sheet(picture, neck, facts=None)
    with pytest.raises(TypeError, match="by femoral hour"):
        femoral_sheet(picture, socket, facts=None)
    with pytest.raises(TypeError, match="never mixed"):
        acetabular_sheet(picture, [*socket, *neck], facts=None)
    with pytest.raises(TypeError, match="never mixed"):
        alpha_on_reformats(None, socket)
    assert one_kind(socket) is RadialKind.ACETABULAR
    assert one_kind(neck) is RadialKind.FEMORAL
    with pytest.raises(TypeError, match="never mixed"):
        one_kind([])


@pytest.mark.fault
def test_planes_of_two_sides_or_of_no_kind() -> None:
    """Two sides make no sheet, and a plane of neither kind cannot be made."""
    both = [*socket_planes(true_hip(HipShape()), hours=[0.0])]
    both += socket_planes(true_hip(HipShape(side=Side.RIGHT)), hours=[0.0])
    with pytest.raises(ValueError, match="one side"):
        side_of(both)
    with pytest.raises(TypeError, match="of the socket or of the neck"):
        RadialPlane(
            hour=0.0,
            middle_mm=np.zeros(3),
            right=np.array([1.0, 0, 0]),
            up=np.array([0, 0, 1.0]),
            pixel_mm=1.0,
            shape=(4, 4),
        )


@pytest.mark.property
def test_a_mirrored_hip_gives_the_mirrored_picture() -> None:
    """Same shape on the other side, scan mirrored: every picture is the other's mirror image."""
    from morphology.reformat.made_scan import mirrored_volume, scan_of_femur

    left, right = HipShape(), HipShape(side=Side.RIGHT)
    scan = scan_of_femur(left, half_mm=45.0, spacing_mm=(2.0, 2.0, 2.0))
    for lay in (socket_planes, neck_planes):
        ours = resample(scan, lay(true_hip(left)))
        others = resample(mirrored_volume(scan), lay(true_hip(right)))
        assert np.isfinite(ours).mean() > 0.5
        # One voxel of rounding at the field's edge may fall to either side.
        seen = np.isfinite(ours) & np.isfinite(others[:, :, ::-1])
        assert seen.sum() > 0.999 * np.isfinite(ours).sum()
        np.testing.assert_allclose(ours[seen], others[:, :, ::-1][seen], atol=1e-2)
