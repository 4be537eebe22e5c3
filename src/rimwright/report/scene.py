"""The plan on bone: hip bone, femur, rim, anchors and their corridors as named nodes."""

from __future__ import annotations

import numpy as np

from rimwright.anatomy import Anchor, HipGeometry, OldAnchor, Plan, Status, spoken_hour
from rimwright.report.glb import NamedMesh, glb_bytes
from rimwright.report.solids import cone, drill, tube
from rimwright.report.wording import NOTICE, side_words

RIM_RADIUS_MM = 0.6
"""Half thickness the rim line is drawn with, mm."""
COLOURS = {
    "bone": (0.84, 0.78, 0.66, 1.0),
    "femur": (0.84, 0.78, 0.66, 0.35),
    "rim": (0.10, 0.09, 0.08, 1.0),
    "notch": (0.45, 0.45, 0.45, 1.0),
    "cone": (0.0, 0.168, 0.445, 0.25),
    "ok": (0.0, 0.168, 0.445, 1.0),
    "caution": (0.791, 0.347, 0.0, 1.0),
    "refused": (0.665, 0.112, 0.0, 1.0),
    "old": (0.35, 0.35, 0.35, 0.7),
}
"""Linear light; states also stand in the names of the nodes."""


def scene_bytes(plan: Plan) -> bytes:
    """
    The scene of a plan as a binary glTF file.

    Parameters
    ----------
    plan
        A plan without bone gives a scene without nodes, which says so.

    Returns
    -------
    bytes
        A complete .glb, metres, y up.
    """
    nodes: list[NamedMesh] = []
    if plan.hip is not None:
        nodes += _bones(plan.hip)
        nodes += _rim(plan.hip)
    for old in plan.old_anchors:
        nodes += _old(old, plan.hip)
    for place, anchor in enumerate(plan.anchors, 1):
        nodes += _anchor(anchor, place)
    extras = {
        "case": plan.case_id,
        "side": plan.side.value,
        "title": f"Plan for the {side_words(plan.side)}, version {plan.version}",
        "axes": "x patient's left, y cranial, z anterior; metres",
        "notice": NOTICE,
    }
    if not nodes:
        extras["empty"] = "no bone was given"
    return glb_bytes(nodes, extras=extras)


def _bones(hip: HipGeometry) -> list[NamedMesh]:
    """Hip bone, and the femur translucent."""
    nodes = []
    if hip.pelvis_bone is not None:
        nodes.append(NamedMesh(name="hip bone", mesh=hip.pelvis_bone, colour=COLOURS["bone"]))
    if hip.femur_bone is not None:
        nodes.append(NamedMesh(name="femur", mesh=hip.femur_bone, colour=COLOURS["femur"]))
    return nodes


def _rim(hip: HipGeometry) -> list[NamedMesh]:
    """The rim as a tube; the notch bridge as one of its own."""
    rim = hip.rim
    if rim is None:
        return []
    if rim.notch_from_hour is None:
        whole = tube(rim.closed_points_mm(), radius_mm=RIM_RADIUS_MM, closed=True)
        return [NamedMesh(name="rim", mesh=whole, colour=COLOURS["rim"])]
    seen = rim.is_bone
    points, hours = rim.closed_points_mm(), rim.hours
    start = next(k for k in range(len(seen)) if seen[k] and not seen[k - 1])
    order = [(start + k) % len(seen) for k in range(len(seen))]
    bone = [k for k in order if seen[k]]
    gap = [bone[-1], *(k for k in order if not seen[k]), bone[0]]
    extras = {"from_hour": float(hours[bone[0]]), "to_hour": float(hours[bone[-1]])}
    return [
        NamedMesh(
            name="rim",
            mesh=tube(points[bone], radius_mm=RIM_RADIUS_MM, closed=False),
            colour=COLOURS["rim"],
            extras=extras,
        ),
        NamedMesh(
            name="notch, bridged straight",
            mesh=tube(points[gap], radius_mm=RIM_RADIUS_MM / 2, closed=False),
            colour=COLOURS["notch"],
        ),
    ]


def _anchor(anchor: Anchor, place: int) -> list[NamedMesh]:
    """An anchor as its drill, and the aiming error it tolerates as a cone."""
    hour = spoken_hour(anchor.hour)
    extras = {
        "hour": anchor.hour,
        "depth_mm": anchor.depth_mm,
        "drill_mm": anchor.drill_mm,
        "status": anchor.status.value,
        "portal": anchor.portal or "",
    }
    name = f"anchor {place} at {hour}"
    shown = name if anchor.status is Status.OK else f"{name}, {anchor.status.value}"
    nodes = [
        NamedMesh(
            name=shown,
            mesh=drill(
                anchor.entry_mm,
                anchor.direction,
                depth_mm=anchor.depth_mm,
                diameter_mm=anchor.drill_mm,
            ),
            colour=COLOURS[anchor.status.value],
            extras=extras,
        )
    ]
    if anchor.half_angle_deg > 0:
        nodes.append(
            NamedMesh(
                name=f"corridor of {name}",
                mesh=cone(
                    anchor.entry_mm,
                    anchor.direction,
                    depth_mm=anchor.depth_mm,
                    half_angle_deg=min(anchor.half_angle_deg, 80.0),
                ),
                colour=COLOURS["cone"],
                extras={"half_angle_deg": anchor.half_angle_deg},
            )
        )
    return nodes


def _old(old: OldAnchor, hip: HipGeometry | None) -> list[NamedMesh]:
    """An old anchor; where only its hour is known it stands in the middle of the bone there."""
    entry, direction, name = old.entry_mm, old.direction, "old anchor"
    rim = hip.rim if hip else None
    if entry is None and old.hour is not None and rim is not None:
        entry, direction = rim.point_at(old.hour), rim.bone_inward_at(old.hour)
        name = f"old anchor, only its hour known ({spoken_hour(old.hour)})"
    if entry is None or direction is None or not np.isfinite([*entry, *direction]).all():
        return []  # neither seen nor an hour on bone: there is no place to draw it
    mesh = drill(entry, direction, depth_mm=old.depth_mm, diameter_mm=old.drill_mm)
    return [NamedMesh(name=name, mesh=mesh, colour=COLOURS["old"])]
