"""Made-up plans that show every state a report may have to print; the patient is invented."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from rimwright.anatomy import (
    MEASUREMENT_KEYS,
    Action,
    Allowance,
    Anchor,
    AnchorKind,
    Attachment,
    ByHour,
    ClockReference,
    Corridor,
    EquipmentItem,
    FemoralAxes,
    Fibres,
    GraftStock,
    HipGeometry,
    LabrumMap,
    LabrumSector,
    Measurement,
    OldAnchor,
    Option,
    OptionName,
    OrderOfWork,
    Plan,
    PlannedOption,
    Portal,
    Reason,
    RimCurve,
    Sector,
    SectorAction,
    SeenBy,
    Side,
    SphereFit,
    Stance,
    Statement,
    Status,
    Tear,
    Tissue,
    TriangleMesh,
    hours_of_rim,
    pelvic_frame_of_image,
)

RIM_RADIUS_MM = 24.0
NOTCH = (4.6, 7.2)


def made_rim(side: Side) -> RimCurve:
    """A rim that leaves its plane by 2 mm, opening laterally, 12 cranial, 3 anterior."""
    frame = pelvic_frame_of_image(side)
    axis, twelve, three = frame.lateral, frame.cranial, frame.anterior
    hours = hours_of_rim()
    turn = np.radians(30.0 * hours)
    radial = np.cos(turn)[:, None] * twelve + np.sin(turn)[:, None] * three
    centre = np.array([90.0 * side.lateral_x_lps, 10.0, -20.0])
    height = 2.0 * np.sin(2 * turn)
    points = centre + RIM_RADIUS_MM * radial + height[:, None] * axis
    inward = (radial - axis) / np.sqrt(2.0)
    outward = (radial + axis) / np.sqrt(2.0)
    for array in (points, inward, outward):
        array[(hours > NOTCH[0]) & (hours < NOTCH[1])] = np.nan
    rim = RimCurve(
        hours=hours,
        points_mm=points,
        outward=outward,
        bone_inward=inward,
        centre_mm=centre,
        axis=axis,
        twelve=twelve,
        three=three,
        notch_from_hour=NOTCH[0],
        notch_to_hour=NOTCH[1],
        reference=ClockReference.NOTCH,
        hour_doubt=0.1,
        length_mm=1.0,
    )
    return replace(rim, length_mm=float(rim.arc_positions_mm()[-1]))


def ball(centre_mm: np.ndarray, radius_mm: float, n: int = 24) -> TriangleMesh:
    """A closed sphere of triangles, outward."""
    heights = np.linspace(0, np.pi, n)[1:-1]
    turns = np.linspace(0, 2 * np.pi, 2 * n, endpoint=False)
    rings = [
        (np.sin(h) * np.cos(t), np.sin(h) * np.sin(t), np.cos(h)) for h in heights for t in turns
    ]
    vertices = np.array([(0, 0, 1), *rings, (0, 0, -1)]) * radius_mm + centre_mm
    m, last, triangles = 2 * n, len(vertices) - 1, []
    for k in range(m):
        triangles.append((0, 1 + k, 1 + (k + 1) % m))
        triangles.append((last, last - m + (k + 1) % m, last - m + k))
        for row in range(len(heights) - 1):
            a, b = 1 + row * m + k, 1 + row * m + (k + 1) % m
            triangles += [(a, a + m, b), (b, a + m, b + m)]
    return TriangleMesh(vertices_mm=vertices, triangles=np.array(triangles))


def made_hip(side: Side, *, femur: bool = True) -> HipGeometry:
    """A hip with its numbers invented; without a femur the femoral measures are refused."""
    rim, frame = made_rim(side), pelvic_frame_of_image(side)
    femoral = {"alpha_angle_max", "head_neck_offset", "neck_shaft_angle", "femoral_version"}
    measurements: dict[str, Measurement] = {}
    for number, key in enumerate(MEASUREMENT_KEYS):
        unit = {"extrusion_index": "%", "head_neck_offset": "mm", "joint_space_min": "mm"}.get(
            key, "deg"
        )
        if not femur and key in femoral | {"joint_space_min", "extrusion_index"}:
            measurements[key] = Measurement.refused(unit, "no femur given")
        elif key in ("tonnis_angle", "lateral_centre_edge_angle_sourcil", "sharp_angle"):
            measurements[key] = Measurement(
                value=4.2 + number,
                unit=unit,
                method="surrogate: edge of the lunate sphere zone in the coronal section",
                spread=1.1,
                status=Status.CAUTION,
                reason="no sourcil on a mesh: edge of the sphere zone stands for it",
            )
        else:
            value = {"mm": 3.4, "%": 21.0}.get(unit, 20.0 + number)
            measurements[key] = Measurement(
                value=value,
                unit=unit,
                method="rim curve in the plane through the centre",
                spread=0.8,
            )
    hours = hours_of_rim()
    seen = np.isfinite(rim.points_mm[:, 0])
    coverage = np.where(seen, 85 + 8 * np.cos(np.radians(30 * (hours - 11))), np.nan)
    femoral_hours = np.arange(0, 12, 0.25)
    alpha = 42 + 22 * np.exp(-0.5 * ((((femoral_hours - 1.5 + 6) % 12) - 6) / 1.2) ** 2)
    neck = -0.7 * frame.cranial + 0.7 * frame.lateral
    neck = neck / np.linalg.norm(neck)
    twelve = frame.cranial - (frame.cranial @ neck) * neck
    return HipGeometry(
        side=side,
        frame=frame,
        axes_assumed=True,
        head=SphereFit(centre_mm=rim.centre_mm, radius_mm=22.0, rms_mm=0.2) if femur else None,
        socket=SphereFit(centre_mm=rim.centre_mm, radius_mm=24.0, rms_mm=0.3),
        opening_axis=rim.axis,
        rim=rim,
        faces=None,
        femur=FemoralAxes(
            neck_centre_mm=rim.centre_mm + 35 * neck,
            neck_axis=neck,
            neck_radius_mm=15.0,
            femoral_twelve=twelve / np.linalg.norm(twelve),
            femoral_three=frame.anterior,
        )
        if femur
        else None,
        landmarks_mm={},
        measurements=measurements,
        by_hour=ByHour(
            hours=hours,
            coverage_deg=coverage,
            joint_space_mm=np.full(120, 3.5),
            femoral_hours=femoral_hours if femur else np.zeros(0),
            alpha_deg=alpha if femur else np.zeros(0),
        ),
        pelvis_bone=ball(rim.centre_mm - 30 * rim.axis, 28.0),
        femur_bone=ball(rim.centre_mm, 22.0) if femur else None,
        unavailable={} if femur else {"head": "no femur given", "femur": "no femur given"},
        warnings=("the file does not say its axes: taken as LPS",),
    )


def made_labrum() -> LabrumMap:
    """Sectors in every state; 2:30 to 4:00 and 6:30 to 9:00 are left unknown."""
    return LabrumMap(
        sectors=(
            LabrumSector(
                sector=Sector(from_hour=11.0, to_hour=1.5),
                width_mm=2.5,
                tissue=Tissue.POOR,
                attachment=Attachment.DETACHED,
                fibres=Fibres.CONTINUOUS,
                seals=False,
                tear=Tear.UNSTABLE,
                tear_type="longitudinal",
                cartilage_grade=2,
                cartilage_scale="ALAD",
                seen_by=SeenBy.PROBE,
            ),
            LabrumSector(
                sector=Sector(from_hour=1.5, to_hour=2.5),
                width_mm=3.0,
                tissue=Tissue.POOR,
                attachment=Attachment.ATTACHED,
                fibres=Fibres.INTERRUPTED,
                calcified=True,
                prior_suture=True,
                seen_by=SeenBy.CT_ARTHROGRAM,
            ),
            LabrumSector(
                sector=Sector(from_hour=9.0, to_hour=11.0),
                width_mm=5.5,
                tissue=Tissue.GOOD,
                attachment=Attachment.ATTACHED,
                fibres=Fibres.CONTINUOUS,
                tear=Tear.STABLE,
                seals=True,
                seen_by=SeenBy.MR,
            ),
            LabrumSector(sector=Sector(from_hour=4.0, to_hour=4.5), tissue=Tissue.ABSENT),
            LabrumSector(sector=Sector(from_hour=4.5, to_hour=6.5), tissue=Tissue.GOOD),
        )
    )


def made_anchors(rim: RimCurve, hours: tuple[float, ...]) -> tuple[Anchor, ...]:
    """Anchors along the bone-inward direction; the third is a caution, the last but one refused."""
    anchors = []
    for number, hour in enumerate(hours):
        status, reason = Status.OK, ""
        if number == 2:
            status, reason = Status.CAUTION, "old anchor 3.1 mm away"
        if number == len(hours) - 2 and number > 2:
            status, reason = Status.REFUSED, "no portal reaches this hour"
        anchors.append(
            Anchor(
                hour=hour,
                entry_mm=rim.point_at(hour),
                direction=rim.bone_inward_at(hour) + 0.15 * rim.radial_direction(hour + 3),
                depth_mm=20.0,
                drill_mm=1.8,
                clearance_joint_mm=2.1,
                clearance_cortex_mm=3.04,
                half_angle_deg=14.0 - number,
                portal="anterolateral" if status is not Status.REFUSED else None,
                portal_off_deg=6.5 if status is not Status.REFUSED else None,
                status=status,
                reason=reason,
            )
        )
    return tuple(anchors)


def made_corridors(rim: RimCurve) -> tuple[Corridor, ...]:
    """Every quarter hour outside the notch; 3:00 and 3:15 are blocked."""
    corridors = []
    for hour in np.arange(0, 12, 0.25):
        if not np.isfinite(rim.point_at(float(hour))).all():
            continue
        if hour in (3.0, 3.25, 8.0):
            corridors.append(
                Corridor(
                    hour=float(hour),
                    entry_mm=None,
                    direction=None,
                    half_angle_deg=0.0,
                    rim_angle_deg=0.0,
                    depth_to_cortex_mm=0.0,
                    bone_volume_mm3=0.0,
                    blocked_by="joint" if hour != 8.0 else "old anchor",
                )
            )
            continue
        half = 12 + 9 * np.cos(np.radians(30 * (hour - 1)))
        corridors.append(
            Corridor(
                hour=float(hour),
                entry_mm=rim.point_at(float(hour)),
                direction=rim.bone_inward_at(float(hour)),
                half_angle_deg=float(half),
                rim_angle_deg=float(1.7 * half),
                depth_to_cortex_mm=27.0,
                bone_volume_mm3=4100.0,
            )
        )
    return tuple(corridors)


LESION = Sector(from_hour=11.0, to_hour=2.5)


def made_options(rim: RimCurve | None) -> tuple[PlannedOption, ...]:
    """All five, in order, with every stance."""

    def option(
        name: OptionName, stance: Stance, action: Action, text: str, *evidence: str
    ) -> Option:
        sector = LESION
        if name is OptionName.CIRCUMFERENTIAL_RECONSTRUCTION:
            sector = Sector(from_hour=0.0, to_hour=0.0)
        actions: tuple[SectorAction, ...] = (SectorAction(sector=sector, action=action),)
        if name is not OptionName.CIRCUMFERENTIAL_RECONSTRUCTION:
            actions += (
                SectorAction(sector=Sector(from_hour=9.0, to_hour=11.0), action=Action.KEEP),
            )
        return Option(
            name=name,
            stance=stance,
            actions=actions,
            reasons=(Reason(text=text, evidence=evidence),),
        )

    graft = GraftStock(
        kind="tibialis tendon allograft",
        diameter_mm=6.0,
        arc_mm=44.0,
        stock_length_mm=74.0,
        allowances=(
            Allowance(reason="handling at both ends (common practice)", length_mm=20.0),
            Allowance(
                reason="curve of the seating line", length_mm=10.0, evidence=("planning:5.23",)
            ),
        ),
    )
    short = () if rim is None else made_anchors(rim, (11.1, 11.7, 0.3, 0.9, 1.5, 2.1, 2.45))
    whole = (
        ()
        if rim is None
        else made_anchors(
            rim, (7.3, 7.9, 8.5, 9.1, 9.7, 10.3, 11.0, 11.6, 0.2, 0.8, 1.4, 2.0, 2.6, 4.2)
        )
    )
    return (
        PlannedOption(
            option=option(
                OptionName.DEBRIDEMENT,
                Stance.ADVISED_AGAINST,
                Action.DEBRIDE,
                "an unstable tear of a labrum that no longer seals",
                "planning:4.15",
            )
        ),
        PlannedOption(
            option=option(
                OptionName.REPAIR,
                Stance.NOT_POSSIBLE,
                Action.REPAIR,
                "not possible: tissue too thin to hold a stitch",
                "planning:4.16",
            ),
            cautions=("no layout: 3:00 is blocked by the joint; a 1.4 mm drill would fit",),
        ),
        PlannedOption(
            option=option(
                OptionName.AUGMENTATION,
                Stance.OPEN,
                Action.AUGMENT,
                "fibres run through, the remnant is too narrow to seal",
                "planning:4.20",
            ),
            anchors=short,
            graft=graft,
            cautions=("the width was read by probe and by CT arthrogram, which differ",),
        ),
        PlannedOption(
            option=option(
                OptionName.SEGMENTAL_RECONSTRUCTION,
                Stance.SUPPORTED,
                Action.REPLACE,
                "tissue poor and no seal",
                "planning:4.17",
                "planning:4.18",
            ),
            anchors=short,
            graft=graft,
        ),
        PlannedOption(
            option=option(
                OptionName.CIRCUMFERENTIAL_RECONSTRUCTION,
                Stance.OPEN,
                Action.REPLACE,
                "extent decides; scores were alike",
                "planning:4.21",
            ),
            anchors=whole,
            graft=replace(graft, arc_mm=148.0, stock_length_mm=178.0),
        ),
    )


def full_plan(
    side: Side = Side.LEFT, *, femur: bool = True, planned: str = "augmentation", **changes: object
) -> Plan:
    """A plan in which every kind of thing occurs once."""
    hip = made_hip(side, femur=femur)
    assert hip.rim is not None
    values: dict[str, object] = {
        "case_id": "demo-01",
        "side": side,
        "hip": hip,
        "labrum": made_labrum(),
        "candidacy": (
            Statement(
                statement="Arthroscopy is open to discussion: joint space over 2 mm.",
                stance=Stance.OPEN,
                evidence=("planning:4.23", "planning:4.24"),
            ),
            Statement(
                statement="Other roads (osteotomy of the pelvis): coverage does not ask for one.",
                stance=Stance.ADVISED_AGAINST,
                evidence=("planning:4.25",),
            ),
            Statement(statement="No operation: always open.", stance=Stance.OPEN),
        ),
        "planned_option": planned,
        "options": made_options(hip.rim),
        "corridors": made_corridors(hip.rim),
        "portals": (
            Portal(
                name="anterolateral",
                skin_mm=hip.rim.centre_mm + 90 * hip.frame.lateral,
                reaches=(Sector(from_hour=9.0, to_hour=1.5),),
                evidence=("planning:5.28",),
            ),
            Portal(
                name="mid-anterior",
                skin_mm=hip.rim.centre_mm + 80 * hip.frame.anterior,
                reaches=(Sector(from_hour=12.0, to_hour=3.5), Sector(from_hour=4.0, to_hour=4.5)),
                evidence=("planning:5.31",),
            ),
            Portal(name="posterolateral", skin_mm=hip.rim.centre_mm - 80 * hip.frame.anterior),
        ),
        "orders_of_work": (
            OrderOfWork(
                name="all anchors first, graft drawn across",
                steps=(
                    "Prepare the rim.",
                    "Place all anchors, front to back.",
                    "Bring in the graft and draw its far end out through a second portal.",
                    "Fix from front to back together with the remnant.",
                    "Cut the surplus last, in place.",
                    "Release traction and look at the seal.",
                ),
                source="shipped with the program",
            ),
            OrderOfWork(
                name="anchor after each stitch", steps=("Prepare the rim.",), source="shipped"
            ),
        ),
        "equipment_list": (
            EquipmentItem(item="anchor, 1.8 mm drill, 20 mm deep", count=9, note="2 spare"),
            EquipmentItem(item="tibialis tendon allograft, 6 mm, at least 74 mm", count=1),
        ),
        "cautions": (
            "image axes stand for the pelvic frame: every angle is a caution",
            "skin is not in the bones: portals rest on an assumed soft-tissue depth",
        ),
        "settings": {
            "margin_joint_mm": 2.0,
            "margin_cortex_mm": 1.5,
            "spacing_mm": 8.0,
            "aiming_error_deg": 5.0,
            "overridden": "margin_joint_mm: 2.0 instead of 1.7 (clinic file)",
        },
        "patient": {"age": "34", "sex": "female", "BMI": "23.5"},
        "version": 2,
        "digest": "ab12" * 16,
        "old_anchors": (
            OldAnchor(drill_mm=2.9, depth_mm=15.0, hour=1.2),
            OldAnchor(
                drill_mm=2.9,
                depth_mm=15.0,
                entry_mm=hip.rim.point_at(8.0),
                direction=hip.rim.bone_inward_at(8.0),
            ),
        ),
        "corridor_kind": AnchorKind(drill_mm=1.8, depth_mm=20.0),
    }
    return Plan(**{**values, **changes})  # type: ignore[arg-type]


def rimless_plan() -> Plan:
    """Bones were given, but no rim was found on them: everything that rests on it is missing."""
    plan = full_plan(Side.RIGHT)
    assert plan.hip is not None
    hip = replace(
        plan.hip,
        rim=None,
        opening_axis=None,
        by_hour=None,
        unavailable={"rim": "no bony edge was found"},
        measurements={
            key: Measurement.refused("deg", "no rim was found") for key in MEASUREMENT_KEYS
        },
    )
    options = tuple(replace(item, anchors=(), graft=None) for item in made_options(None))
    return replace(plan, hip=hip, options=options, corridors=(), portals=(), corridor_kind=None)


def map_only_plan(side: Side = Side.RIGHT) -> Plan:
    """A case without images: a labrum map and options, no bone."""
    return replace(
        full_plan(side),
        hip=None,
        options=tuple(replace(item, anchors=(), graft=None) for item in made_options(None)),
        corridors=(),
        portals=(),
        old_anchors=(OldAnchor(drill_mm=2.9, depth_mm=15.0, hour=1.2),),
        corridor_kind=None,
    )


def unknown_plan() -> Plan:
    """Nothing known but identity and side."""
    return Plan(
        case_id="bare",
        side=Side.LEFT,
        hip=None,
        labrum=LabrumMap(),
        candidacy=(),
        planned_option="augmentation",
        options=(),
        corridors=(),
    )
