"""HipTruth: every measurement of a synthetic hip, by construction, in the image frame."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from rimwright.anatomy import (
    ClockReference,
    FemoralAxes,
    Floats,
    PelvicReference,
    Points,
    RimCurve,
    Vector,
    hours_of_rim,
)
from rimwright.phantom.dial import N_DENSE, SocketDial
from rimwright.phantom.femur_mesh import condyle_backs, greater_trochanter_tip
from rimwright.phantom.femur_surface import FemurSurface
from rimwright.phantom.pelvis_parts import pelvic_landmarks
from rimwright.phantom.placement import Placement, placement_of
from rimwright.phantom.shape import HipShape
from rimwright.phantom.socket_surface import SocketSurface
from rimwright.phantom.truth_angles import SocketAngles
from rimwright.phantom.truth_joint import (
    alpha_deg,
    joint_space_at,
    joint_space_least_mm,
    joint_space_mm,
)

DEPARTURE_MM = 0.5
"""Departure from the head sphere at which alpha is read unless another is asked for, mm."""


@dataclass(frozen=True, kw_only=True, eq=False)
class HipTruth:
    """
    What is true of the hip of one shape; points and directions in the image frame (LPS, mm).

    Parameters
    ----------
    shape
        Its numbers.

    Notes
    -----
    Everything is computed from the analytic curves and surfaces. The edge is the middle of the
    rounding between articular and outer face. Angles use the head centre where a femur is
    given, else the socket centre, in the frame of the anterior pelvic plane (exact here) or of
    the image axes.
    """

    shape: HipShape

    @cached_property
    def placement(self) -> Placement:
        """Pose of the person."""
        return placement_of(self.shape)

    @cached_property
    def dial(self) -> SocketDial:
        """Dial and edge in the built frame."""
        return SocketDial(surface=SocketSurface(shape=self.shape))

    @cached_property
    def femur_surface(self) -> FemurSurface:
        """Femur in the built frame."""
        return FemurSurface(shape=self.shape)

    # Spheres, dial, rim -----------------------------------------------------------------

    @cached_property
    def socket_centre_mm(self) -> Vector:
        """Centre of the lunate sphere."""
        return self.placement.points(np.zeros(3))

    @property
    def socket_radius_mm(self) -> float:
        """Radius of the lunate sphere."""
        return self.shape.socket_radius_mm

    @cached_property
    def head_centre_mm(self) -> Vector:
        """Centre of the femoral head."""
        return self.placement.points(self.femur_surface.head_centre_mm)

    @property
    def head_radius_mm(self) -> float:
        """Radius of the femoral head."""
        return self.shape.head_radius_mm

    @cached_property
    def opening_axis(self) -> Vector:
        """Unit, out of the socket."""
        return self.placement.directions(self.dial.opening_axis)

    @cached_property
    def twelve(self) -> Vector:
        """12 o'clock of the acetabular dial."""
        return self.placement.directions(self.dial.twelve)

    @cached_property
    def three(self) -> Vector:
        """3 o'clock (anterior) of the acetabular dial."""
        return self.placement.directions(self.dial.three)

    @property
    def notch_hours(self) -> tuple[float, float]:
        """Hours at which the notch begins and ends."""
        return self.dial.notch_hours

    @cached_property
    def notch_ends_mm(self) -> Points:
        """Edge at the beginning (front) and end (behind) of the notch, (2, 3)."""
        return self.placement.points(self.dial.notch_ends_mm[::-1])

    def rim_points_mm(self, hours: Floats) -> Points:
        """True edge at hours, (n, 3); NaN strictly inside the notch."""
        hours = np.atleast_1d(np.asarray(hours, dtype=np.float64))
        points = self.placement.points(self.dial.edge_at(hours))
        points[self.dial.is_in_notch(hours)] = np.nan
        return points

    @cached_property
    def rim_dense_mm(self) -> Points:
        """The bony edge as 7201 points from the hind end of the notch over 12 to the front."""
        angles = np.linspace(*self.dial.bony_range, N_DENSE + 1)
        return self.placement.points(self.dial.surface.edge_points(angles))

    @cached_property
    def edge_all_round_mm(self) -> Points:
        """The edge all round, 7200 points, the receded edge of the notch included."""
        angles = np.linspace(-np.pi, np.pi, N_DENSE, endpoint=False)
        return self.placement.points(self.dial.surface.edge_points(angles))

    @cached_property
    def rim_length_mm(self) -> float:
        """Length of the closed rim, the notch bridged straight."""
        closed = np.concatenate([self.rim_dense_mm, self.rim_dense_mm[:1]])
        return float(np.linalg.norm(np.diff(closed, axis=0), axis=1).sum())

    @cached_property
    def rim(self) -> RimCurve:
        """The true edge as a rim curve of 120 stations."""
        hours = hours_of_rim()
        is_gap = self.dial.is_in_notch(hours)
        angles = self.dial.hour_angles(hours)
        surface = self.dial.surface
        outward = self.placement.directions(surface.edge_travel(angles))
        inward = -self.placement.directions(surface.edge_normal(angles))
        outward[is_gap], inward[is_gap] = np.nan, np.nan
        start, end = self.notch_hours
        return RimCurve(
            hours=hours,
            points_mm=self.rim_points_mm(hours),
            outward=outward,
            bone_inward=inward,
            centre_mm=self.socket_centre_mm,
            axis=self.opening_axis,
            twelve=self.twelve,
            three=self.three,
            notch_from_hour=start,
            notch_to_hour=end,
            reference=ClockReference.NOTCH,
            hour_doubt=0.0,
            length_mm=self.rim_length_mm,
        )

    # Landmarks and femur ----------------------------------------------------------------

    @cached_property
    def landmarks_mm(self) -> dict[str, Vector]:
        """ASIS and pubic tubercle of both sides; the other side's only where it is made."""
        built = pelvic_landmarks(self.shape.scale)
        keep = self.shape.with_other_hip_bone
        return {
            name: self.placement.points(point)
            for name, point in built.items()
            if keep or not name.endswith("_other")
        }

    @cached_property
    def femoral_axes(self) -> FemoralAxes:
        """Axes of the femur; condyles None where the shaft is cut."""
        femur, place = self.femur_surface, self.placement
        medial, lateral = condyle_backs(femur)
        is_cut = self.shape.shaft_length_mm is not None
        return FemoralAxes(
            neck_centre_mm=place.points(femur.neck_centre_mm),
            neck_axis=place.directions(femur.neck_axis),
            neck_radius_mm=self.shape.neck_radius_mm,
            femoral_twelve=place.directions(femur.twelve),
            femoral_three=place.directions(femur.three),
            shaft_axis=place.directions(femur.proximal),
            shaft_point_mm=place.points(femur.shaft_point_mm),
            condyle_medial_mm=None if is_cut else place.points(medial),
            condyle_lateral_mm=None if is_cut else place.points(lateral),
            greater_trochanter_mm=place.points(greater_trochanter_tip(femur)),
        )

    def alpha_deg(self, femoral_hours: Floats, *, departure_mm: float = DEPARTURE_MM) -> Floats:
        """Alpha angle at femoral hours (12 from the shaft) for a departure from the sphere."""
        angles = np.radians(30.0 * np.asarray(femoral_hours, dtype=np.float64))
        return alpha_deg(self.femur_surface, angles, departure_mm=departure_mm)

    def alpha_max_deg(self, *, departure_mm: float = DEPARTURE_MM) -> float:
        """Largest alpha angle round the neck."""
        hours = np.append(np.arange(0.0, 12.0, 0.02), self.shape.cam_hour)
        return float(self.alpha_deg(hours, departure_mm=departure_mm).max())

    # Joint ------------------------------------------------------------------------------

    def joint_space_mm(self, directions: Floats) -> Floats:
        """Gap along rays from the head centre, directions (..., 3) in the image frame."""
        turned = np.stack(
            [
                self.shape.side.lateral_x_lps * directions[..., 0],
                directions[..., 2],
                -directions[..., 1],
            ],
            axis=-1,
        )
        return joint_space_mm(self.dial, self.femur_surface, turned @ self.placement.turn)

    def joint_space_by_hour_mm(self, hours: Floats) -> Floats:
        """Median gap over the lunate along each hour; NaN in the notch."""
        return joint_space_at(self.dial, self.femur_surface, np.asarray(hours))

    # Angles -----------------------------------------------------------------------------

    def angles(
        self, *, reference: PelvicReference | None = None, with_femur: bool = True
    ) -> SocketAngles:
        """The socket's angles in one frame about one centre."""
        if reference is None:
            reference = (
                PelvicReference.ANTERIOR_PELVIC_PLANE
                if self.shape.with_other_hip_bone
                else PelvicReference.IMAGE_AXES
            )
        is_plane = reference is PelvicReference.ANTERIOR_PELVIC_PLANE
        return SocketAngles(
            dial=self.dial,
            centre_mm=self.femur_surface.head_centre_mm if with_femur else np.zeros(3),
            radius_mm=self.head_radius_mm,
            frame=np.eye(3) if is_plane else self.placement.image_axes_built(),
        )

    def coverage_deg(self, hours: Floats, *, with_femur: bool = True) -> Floats:
        """Coverage by hour, deg: angle at the centre from medial pole to edge; NaN in the notch."""
        hours = np.asarray(hours, dtype=np.float64)
        coverage = self.angles(with_femur=with_femur).coverage_deg(hours)
        return np.where(self.dial.is_in_notch(hours), np.nan, coverage)

    def measurements(
        self,
        *,
        reference: PelvicReference | None = None,
        with_femur: bool = True,
        departure_mm: float = DEPARTURE_MM,
    ) -> dict[str, float]:
        """
        Value of every measurement that exists; the roof's slope needs a fossa in the section.

        Parameters
        ----------
        reference
            Pelvic frame; None = the anterior pelvic plane where the other hip bone is made,
            else the image axes.
        with_femur
            Whether the femur is given too: else angles use the socket centre and femoral
            measurements, the extrusion index and the joint space are left out.
        departure_mm
            Departure from the head sphere at which alpha is read, mm.
        """
        socket = self.angles(reference=reference, with_femur=with_femur)
        front, back = socket.sector_deg()
        values = {
            "lateral_centre_edge_angle": socket.lateral_centre_edge_deg(),
            "lateral_centre_edge_angle_sourcil": socket.sourcil_centre_edge_deg(),
            "anterior_centre_edge_angle": socket.anterior_centre_edge_deg(),
            "tonnis_angle": socket.tonnis_deg(),
            "sharp_angle": socket.sharp_deg(),
            "acetabular_version_cranial": socket.version_deg(cranial=True),
            "acetabular_version_central": socket.version_deg(),
            "anterior_sector_angle": front,
            "posterior_sector_angle": back,
            "horizontal_sector_angle": front + back,
            "subtended_angle": socket.subtended_deg(),
        }
        values = {key: value for key, value in values.items() if not np.isnan(value)}
        if not with_femur:
            return values
        values |= {
            "extrusion_index": socket.extrusion_percent(),
            "alpha_angle_max": self.alpha_max_deg(departure_mm=departure_mm),
            "head_neck_offset": self.head_radius_mm - self.shape.neck_radius_mm,
            "neck_shaft_angle": self.shape.neck_shaft_angle_deg,
            "joint_space_min": joint_space_least_mm(self.dial, self.femur_surface),
        }
        if self.shape.shaft_length_mm is None:
            values["femoral_version"] = self.shape.femoral_version_deg
        return values
