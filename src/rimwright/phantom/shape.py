"""The numbers a synthetic hip is built from."""

from __future__ import annotations

from dataclasses import dataclass

from rimwright.anatomy import Side


@dataclass(frozen=True, slots=True, kw_only=True)
class HipShape:
    """
    Parameters of one synthetic hip; the defaults are a plain adult left hip.

    Lengths are mm, angles degrees, hours those of the construction dial (12 at right angles to
    the construction axis and opposite the notch). The pelvis is built in the frame lateral,
    cranial, anterior of its own side with the socket centre at the origin and the anterior
    pelvic plane upright; pose turns and moves the finished person.

    Parameters
    ----------
    side
        A right hip is the exact mirror image of the left one of equal numbers.
    head_radius_mm
        Radius of the femoral head.
    joint_gap_mm
        Radius of the lunate sphere less that of the head.
    head_offset_mm
        Head centre from the socket centre: lateral, cranial, anterior.
    opening_inclination_deg, opening_version_deg
        Construction axis: angle from straight down, and turn of its horizontal part from
        lateral to anterior.
    rim_mean_deg
        Polar angle of the bony edge about the construction axis, from the medial pole.
    rim_second_deg, rim_third_deg
        Cosine and sine amplitude of the edge's second and third harmonic of the hour angle.
    psoas_dip_deg, psoas_hour, psoas_sharpness
        Dip of the edge where the iliopsoas passes: depth, hour, concentration.
    rim_rounding_mm
        Radius of the rounding of the bony edge.
    rim_wedge_deg
        Angle of bone between the articular and the outer face at the thinnest hours' base.
    wall_scale
        Factor on the thickness of the walls round the socket.
    notch_width_hours, notch_turn_hours
        Width of the notch, and its middle turned from the steepest fall of the rim plane
        towards anterior.
    notch_dip_deg
        How far the edge recedes in the notch.
    fossa_depth_mm, fossa_polar_deg, fossa_growth_deg, fossa_wall_mm
        Floor below the lunate sphere; polar angle of the fossa's edge at 12 and what it gains
        to 6; width of the slope between lunate and floor.
    floor_thickness_mm
        Bone between the fossa's floor and the inner pelvic wall where it is thinnest.
    neck_shaft_angle_deg, femoral_version_deg
        By construction of the neck axis against shaft and condyles.
    neck_radius_mm, neck_waist_mm, neck_length_mm
        Radius of the neck at its narrowest; how far along the axis that is from the head
        centre; where the axis meets the shaft axis.
    cam_start_deg, cam_base_deg
        Angle from the neck axis at which the contour leaves the head sphere: at the hour of
        the cam, and far from it.
    cam_height_mm, cam_ramp_deg, cam_hour, cam_sharpness
        Height the bump tends to, the angle it rises over, its femoral hour, concentration.
    shaft_tilt_deg, femoral_turn_deg
        Shaft leaning (upper end lateral) in the coronal plane; turn of the whole femur about
        its shaft, + outward (toes lateral).
    shaft_length_mm
        Length of femur kept below the head centre, along the shaft; None keeps the condyles.
    with_other_hip_bone
        Whether the person's other hip bone (the mirror image) is made: with it the anterior
        pelvic plane exists.
    tilt_deg, obliquity_deg, rotation_deg
        Pose: about the lateral axis (+ forward: upper pelvis anterior), the anterior axis
        (+ own side up) and the cranial axis (+ own side forward), in this order.
    position_mm
        Socket centre in the image: lateral, cranial, anterior of the own side.
    """

    side: Side = Side.LEFT
    head_radius_mm: float = 24.0
    joint_gap_mm: float = 3.0
    head_offset_mm: tuple[float, float, float] = (0.15, -0.2, 0.1)
    opening_inclination_deg: float = 54.0
    opening_version_deg: float = 20.0
    rim_mean_deg: float = 87.0
    rim_second_deg: tuple[float, float] = (1.2, -1.0)
    rim_third_deg: tuple[float, float] = (0.6, 0.5)
    psoas_dip_deg: float = 5.0
    psoas_hour: float = 3.4
    psoas_sharpness: float = 9.0
    rim_rounding_mm: float = 0.6
    rim_wedge_deg: float = 46.0
    wall_scale: float = 1.0
    notch_width_hours: float = 2.5
    notch_turn_hours: float = 0.1
    notch_dip_deg: float = 22.0
    fossa_depth_mm: float = 4.0
    fossa_polar_deg: float = 20.0
    fossa_growth_deg: float = 26.0
    fossa_wall_mm: float = 1.5
    floor_thickness_mm: float = 4.0
    neck_shaft_angle_deg: float = 128.0
    femoral_version_deg: float = 13.0
    neck_radius_mm: float = 15.5
    neck_waist_mm: float = 28.0
    neck_length_mm: float = 53.0
    cam_start_deg: float = 55.0
    cam_base_deg: float = 38.0
    cam_height_mm: float = 2.5
    cam_ramp_deg: float = 12.0
    cam_hour: float = 1.5
    cam_sharpness: float = 3.0
    shaft_tilt_deg: float = 6.0
    femoral_turn_deg: float = 0.0
    shaft_length_mm: float | None = None
    with_other_hip_bone: bool = True
    tilt_deg: float = 0.0
    obliquity_deg: float = 0.0
    rotation_deg: float = 0.0
    position_mm: tuple[float, float, float] = (88.0, 0.0, 0.0)

    @property
    def socket_radius_mm(self) -> float:
        """Radius of the lunate sphere, mm."""
        return self.head_radius_mm + self.joint_gap_mm

    @property
    def scale(self) -> float:
        """Size of the bones against the drawing they were laid out on (socket of 27 mm)."""
        return self.socket_radius_mm / 27.0


def demo_shape() -> HipShape:
    """The hip of the invented demo patient: a left hip with a mild cam, a little tilted."""
    return HipShape(
        head_radius_mm=23.0,
        joint_gap_mm=3.6,
        opening_inclination_deg=53.0,
        opening_version_deg=18.0,
        cam_start_deg=70.0,
        cam_height_mm=2.8,
        neck_radius_mm=15.0,
        tilt_deg=2.0,
    )
