"""What a scan as a whole makes doubtful, and what it cannot show at all."""

from __future__ import annotations

from dataclasses import replace

from rimwright.anatomy import HipGeometry, Measurement
from rimwright.morphology.scan.field_checks import THICK_MM
from rimwright.morphology.scan.oriented import OrientedGrid
from rimwright.morphology.scan.scan_bones import POOR_HEAD_SHARE, ScanBones
from rimwright.morphology.scan.scanned_hip import MetalPiece

ROOF_KEYS = ("lateral_centre_edge_angle_sourcil", "tonnis_angle")
"""What rests on the ends of the roof; on a made scan of 3 mm slices it missed by up to 40 deg."""
HEAD_KEYS = ("alpha_angle_max", "head_neck_offset")
"""What rests on the contour of the head beside its neck."""
LARGE_METAL_MM3 = 200.0
"""More metal than an anchor or two about the hip makes every number doubtful, mm³."""
MOST_TORN_DEG = 25.0
"""Cranial and central version of one socket further apart than this are not of one rim, deg
(retroverted sockets: up to about 20, from memory)."""


def metal_doubts(metal: tuple[MetalPiece, ...], bones: ScanBones) -> list[str]:
    """
    What metal spoils, in words.

    Parameters
    ----------
    metal
        Pieces near the hip.
    bones
        The traced hip.

    Returns
    -------
    list of str
        Empty without metal.
    """
    if not metal:
        return []
    total = sum(piece.volume_mm3 for piece in metal)
    where = sorted({piece.lies_in for piece in metal})
    through = float(bones.trace.metal.mean())
    text = (
        f"metal ({len(metal)} piece{'s' if len(metal) > 1 else ''}, {total:.0f} mm³, "
        f"{'about the hip' if where == ['elsewhere'] else 'in the ' + ' and the '.join(where)}): "
        "streaks and blooming move surfaces"
    )
    if through > 0.005:
        text += f"; {100 * through:.0f} % of the rays about the head pass through it"
    return [text]


def with_doubts(
    hip: HipGeometry,
    scan: OrientedGrid,
    bones: ScanBones,
    metal: tuple[MetalPiece, ...],
    doubts: list[str],
) -> HipGeometry:
    """
    Say of every number what the scan as a whole makes doubtful.

    Parameters
    ----------
    hip
        As measured.
    scan, bones, metal
        What it was measured in.
    doubts
        What was noted on the way.

    Returns
    -------
    HipGeometry
        With cautions, with refusals of what such a scan cannot show, and with the doubts first.
    """
    reasons = []
    longest = float(scan.voxel_mm.max())
    if longest > THICK_MM:
        reasons.append(f"voxels {longest:.1f} mm long: angles to about 3 degrees")
        doubts.append(
            f"voxels of {' × '.join(f'{edge:.1f}' for edge in scan.voxel_mm[::-1])} mm: angles to "
            "about 3 degrees, narrow joints under resolution"
        )
    if any(piece.volume_mm3 > LARGE_METAL_MM3 for piece in metal):
        reasons.append("metal about the hip")
    if bones.doubts:
        reasons.append("the head is poorly seen")
    if not bones.scanner.learned:
        doubts.append("the scan's blur could not be learned from it; a usual one was taken")
    measurements = dict(hip.measurements)
    for key, item in measurements.items():
        for reason in reasons:
            item = item.doubted(reason)
        measurements[key] = item
    if longest > THICK_MM:
        for key in ROOF_KEYS:
            item = measurements[key]
            measurements[key] = Measurement.refused(
                item.unit,
                f"voxels {longest:.1f} mm long do not resolve where the roof ends",
                method=item.method,
            )
    if bones.trace.sphere.share < POOR_HEAD_SHARE:
        for key in HEAD_KEYS:
            if measurements[key].value is not None:
                measurements[key] = Measurement.refused(
                    measurements[key].unit,
                    "too little of the head is seen to tell where its contour leaves its sphere",
                    method=measurements[key].method,
                )
    _refuse_torn_versions(measurements)
    return replace(hip, measurements=measurements, warnings=(*doubts, *hip.warnings))


def _refuse_torn_versions(measurements: dict[str, Measurement]) -> None:
    """Refuse both versions where they contradict each other: then the rim was not seen."""
    keys = ("acetabular_version_cranial", "acetabular_version_central")
    first, second = (measurements[key].value for key in keys)
    if first is None or second is None or abs(first - second) <= MOST_TORN_DEG:
        return
    reason = (
        f"cranial and central version contradict each other ({first:.0f} and {second:.0f} "
        "degrees): the rim is not seen well enough"
    )
    for key in keys:
        item = measurements[key]
        measurements[key] = Measurement.refused(item.unit, reason, method=item.method)
