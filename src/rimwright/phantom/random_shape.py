"""Random hips within what adults show, for tests over many shapes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from rimwright.anatomy import Side
from rimwright.phantom.dial import SocketDial
from rimwright.phantom.femur_surface import FemurSurface
from rimwright.phantom.shape import HipShape
from rimwright.phantom.socket_surface import SocketSurface
from rimwright.phantom.truth_angles import SocketAngles
from rimwright.phantom.truth_joint import LEAST_PERCENT, lunate_gaps_mm

ALPHA_DEPARTURE_MM = 0.5
"""Departure at which the drawn alpha angle holds, mm."""
CAM_STEP_DEG = 4.0
"""How much smaller a cam is made at a time until it leaves the lunate, degrees."""
TURN_STEP_DEG = 4.0
"""How much farther inward a femur is turned at a time whose neck meets the rim, degrees."""
LEAST_STEP_MM = 0.15
"""The least joint space and its first percentile may differ by this: no bump in the joint, mm."""
N_TRIES = 40
"""Steps of either kind; 20 were enough over 400 draws."""
N_TURNS = 6
"""Corrections of the axis towards the drawn angles; the rest is below 0.01 degrees."""


def random_shape(seed: int) -> HipShape:
    """
    Draw one hip.

    Parameters
    ----------
    seed
        Same seed, same hip.

    Notes
    -----
    Drawn evenly: lateral centre-edge angle 18 to 42, central version 5 to 30 (both about the
    head centre, anterior pelvic plane), neck-shaft angle 118 to 142, femoral version -5 to 35,
    alpha 42 to 80 at 0.5 mm, head radius 20 to 27 mm, side, pose, wall, notch, fossa and rim. A cam
    that would fill more than half the joint space, or put its own mark on the least joint
    space, is made smaller; a femur whose neck does so is turned inward. Ranges: general
    anatomy, from memory.
    """
    rng = np.random.default_rng(seed)

    def draw(low: float, high: float) -> float:
        return float(rng.uniform(low, high))

    radius = draw(20.0, 27.0)
    gap = draw(1.6, 4.5)
    height, ramp, alpha = draw(1.8, 2.7), draw(11.0, 14.0), draw(42.0, 80.0)
    lcea, version = draw(18.0, 42.0), draw(5.0, 30.0)
    size = radius / 24.0
    shape = HipShape(
        side=Side.LEFT if rng.random() < 0.5 else Side.RIGHT,
        head_radius_mm=radius,
        joint_gap_mm=gap,
        head_offset_mm=tuple(rng.uniform(-0.12, 0.12, 3) * gap),
        opening_version_deg=version,
        rim_mean_deg=draw(83.0, 91.0),
        rim_second_deg=(draw(-2.5, 2.5), draw(-2.5, 2.5)),
        rim_third_deg=(draw(-1.2, 1.2), draw(-1.2, 1.2)),
        psoas_dip_deg=draw(1.0, 7.0),
        psoas_hour=draw(3.1, 3.7),
        psoas_sharpness=draw(6.0, 12.0),
        rim_rounding_mm=draw(0.3, 1.0),
        rim_wedge_deg=draw(42.0, 52.0),
        wall_scale=draw(0.9, 1.15),
        notch_width_hours=draw(2.2, 3.0),
        notch_turn_hours=draw(0.1, 0.5),
        notch_dip_deg=draw(16.0, 26.0),
        fossa_depth_mm=size * draw(3.0, 4.2),
        fossa_polar_deg=draw(16.0, 25.0),
        fossa_growth_deg=draw(20.0, 30.0),
        floor_thickness_mm=size * draw(3.0, 4.2),
        neck_shaft_angle_deg=draw(118.0, 142.0),
        femoral_version_deg=draw(-5.0, 35.0),
        neck_radius_mm=radius * draw(0.60, 0.69),
        neck_waist_mm=radius * draw(1.12, 1.26),
        neck_length_mm=size * draw(51.0, 58.0),
        cam_start_deg=alpha + ramp * np.sqrt(-np.log(1.0 - ALPHA_DEPARTURE_MM / height)),
        cam_height_mm=height,
        cam_ramp_deg=ramp,
        cam_hour=draw(0.3, 2.7),
        cam_sharpness=draw(1.2, 3.5),
        shaft_tilt_deg=draw(4.0, 9.0),
        femoral_turn_deg=draw(-8.0, 8.0),
        shaft_length_mm=None if rng.random() < 0.6 else size * draw(130.0, 260.0),
        with_other_hip_bone=bool(rng.random() < 0.4),
        tilt_deg=draw(-8.0, 8.0),
        obliquity_deg=draw(-4.0, 4.0),
        rotation_deg=draw(-4.0, 4.0),
        position_mm=(88.0 * size + draw(-20.0, 20.0), draw(-300.0, 300.0), draw(-60.0, 60.0)),
    )
    return _seated(aim_socket(shape, lcea_deg=lcea, version_deg=version))


def aim_socket(shape: HipShape, *, lcea_deg: float, version_deg: float) -> HipShape:
    """Turn the construction axis until lateral centre-edge angle and central version are met."""
    for _ in range(N_TURNS):
        angles = SocketAngles(
            dial=SocketDial(surface=SocketSurface(shape=shape)),
            centre_mm=np.array(shape.head_offset_mm),
            radius_mm=shape.head_radius_mm,
            frame=np.eye(3),
        )
        lateral, version = angles.lateral_centre_edge_deg(), angles.version_deg()
        shape = replace(
            shape,
            opening_inclination_deg=shape.opening_inclination_deg + lateral - lcea_deg,
            opening_version_deg=shape.opening_version_deg + version_deg - version,
        )
    return shape


def _seated(shape: HipShape) -> HipShape:
    """Keep the femur out of the socket's way: a smaller cam first, then turned inward."""
    dial = SocketDial(surface=SocketSurface(shape=shape))
    for _ in range(N_TRIES):
        gaps, shares = lunate_gaps_mm(dial, FemurSurface(shape=shape))
        few, least = np.interp(LEAST_PERCENT / 100.0, shares, gaps), gaps[0]
        if least > 0.5 * shape.joint_gap_mm and few - least < LEAST_STEP_MM:
            return shape
        if shape.cam_start_deg > shape.cam_base_deg:
            shape = replace(shape, cam_start_deg=shape.cam_start_deg - CAM_STEP_DEG)
        else:
            shape = replace(shape, femoral_turn_deg=shape.femoral_turn_deg - TURN_STEP_DEG)
    raise AssertionError("the drawn femur fits its socket in no turn")
