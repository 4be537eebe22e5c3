"""A small CT series on disk, and measuring in its place a hip whose geometry is known.

The bones in a scan are found by `rimwright.morphology.scan`, which has tests of its own. Here its
answer is laid in: the demo hip, with a density that is known everywhere.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from rimwright.anatomy import MEASUREMENT_KEYS, HipGeometry, Modality, Side, Volume
from rimwright.imaging import write_ct_series
from rimwright.morphology.mirroring import mirror_hip, mirror_mesh
from rimwright.morphology.scan import HipInScan, MetalPiece, ScannedHip, ScanSurvey

DENSITY_HU = 300.0
"""Density of the laid-in block at the origin, HU; it rises by 2 HU a mm along z."""


def density_about(hip: HipGeometry) -> Volume:
    """A block of 140 mm about the socket at 2 mm, HU rising by 2 a mm along z; a crop."""
    affine = np.diag([2.0, 2.0, 2.0, 1.0])
    affine[:3, 3] = np.round(hip.socket.centre_mm) - 70.0
    z = affine[2, 3] + 2.0 * np.arange(71)
    whole = np.zeros((80, 80, 80), dtype=np.int16)
    crop = whole[4:75, 4:75, 4:75]
    crop[:] = np.rint(DENSITY_HU + 2.0 * z)
    return Volume(values=crop, affine=affine, modality=Modality.CT)


def hip_of(hip: HipGeometry, side: Side) -> HipGeometry:
    """The left hip given, or its mirror image."""
    if side is Side.LEFT:
        return hip
    assert hip.pelvis_bone is not None
    assert hip.femur_bone is not None
    return mirror_hip(
        hip,
        pelvis_bone=mirror_mesh(hip.pelvis_bone),
        femur_bone=mirror_mesh(hip.femur_bone),
    )


class LaidIn:
    """Stands for `measure_scan` and `survey_scan`, and remembers what it was asked."""

    def __init__(self, hip: HipGeometry, *, metal: tuple[MetalPiece, ...] = ()) -> None:
        self.hip = hip
        self.metal = metal
        self.asked: list[dict] = []

    def measure_scan(self, volume, *, side, labels=None, landmarks_mm=None, progress=None):
        """The laid-in hip of the side asked for."""
        self.asked.append({"side": side, "labels": labels, "landmarks_mm": landmarks_mm})
        assert volume.modality is Modality.CT
        if progress is not None:
            progress(0.0, "finding the head")
            progress(1.0, "measured")
        hip = replace(hip_of(self.hip, side), warnings=("slices of 3 mm: angles are doubtful",))
        return ScannedHip(hip=hip, density=density_about(hip), metal=self.metal)

    def survey_scan(self, volume, *, labels=None, progress=None):
        """Both hips, the left one beside metal and cut off below the neck."""
        unfit = {"femoral_version": "the condyles are outside the scan"}
        return ScanSurvey(
            hips=(
                HipInScan(
                    side=Side.LEFT,
                    centre_mm=np.array([90.0, 0.0, -10.0]),
                    radius_mm=23.4,
                    metal_mm3=812.0,
                    unfit={**unfit, "neck_shaft_angle": "the shaft is cut off"},
                    doubts=("metal near the head",),
                ),
                HipInScan(side=Side.RIGHT, centre_mm=np.array([-90.0, 0.0, -10.0]), radius_mm=23.5),
            ),
            doubts=("slices of 3 mm",),
        )


def lay_in(monkeypatch, hip: HipGeometry, *, metal: tuple[MetalPiece, ...] = ()) -> LaidIn:
    """Put a known hip in the place of the search for bones."""
    import rimwright.morphology.scan as scan

    laid = LaidIn(hip, metal=metal)
    monkeypatch.setattr(scan, "measure_scan", laid.measure_scan)
    monkeypatch.setattr(scan, "survey_scan", laid.survey_scan)
    return laid


def write_series(folder: Path, *, seed: int = 3) -> Path:
    """A CT series of 12 slices of noise; the seed makes it another one."""
    values = np.random.default_rng(seed).integers(-100, 400, (16, 16, 12)).astype(np.int16)
    affine = np.diag([0.7, 0.7, 1.0, 1.0])
    affine[:3, 3] = (-5.0, -5.0, -6.0)
    volume = Volume(values=values, affine=affine, modality=Modality.CT)
    return write_ct_series(volume, folder)


def metal_at(hip: HipGeometry, hour: float, **changes: object) -> MetalPiece:
    """A slim piece sunk 2 mm below the rim at an hour, along the bone's inward direction."""
    rim = hip.rim
    inward = rim.bone_inward_at(hour)
    length_mm = float(changes.pop("length_mm", 14.0))
    values = {
        "centre_mm": rim.point_at(hour) + (2.0 + length_mm / 2) * inward,
        "axis": inward,
        "length_mm": length_mm,
        "width_mm": 4.0,
        "volume_mm3": 60.0,
        "lies_in": "hip bone",
    }
    return MetalPiece(**{**values, **changes})


N_KEYS = len(MEASUREMENT_KEYS)
