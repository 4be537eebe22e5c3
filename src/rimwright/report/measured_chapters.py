"""Chapters of what was measured and computed on bone: numbers, corridors, portals."""

from __future__ import annotations

from rimwright.anatomy import HipGeometry, Measurement, Plan, spoken_hour
from rimwright.evidence import EvidenceTable
from rimwright.report.blocks import (
    Block,
    Cell,
    Facts,
    Items,
    Paragraph,
    Picture,
    Section,
    Table,
)
from rimwright.report.corridor_chart import draw_corridors
from rimwright.report.curves import draw_alpha, draw_coverage, draw_joint_space
from rimwright.report.first_page import sentence
from rimwright.report.portal_chart import draw_portals
from rimwright.report.scan_words import source_details
from rimwright.report.wording import (
    ALPHA_BY_HOUR_ROW,
    COMPARABLE_ROWS,
    MEASUREMENT_NAMES,
    STATUS_SHAPES,
    measured,
    number,
    plain,
    spread_of,
    with_unit,
)

AIMING_SETTINGS = ("fixation.aiming_error_deg", "aiming_error_deg")
"""Names under which the aiming error may stand in a plan's settings."""


def measurements_section(plan: Plan, *, evidence: EvidenceTable) -> Section:
    """Every measurement with spread and status; method and source one click away."""
    hip = plan.hip
    if hip is None:
        blocks: tuple[Block, ...] = (
            Paragraph(cell=Cell(text="No images in the case: nothing was measured on bone.")),
        )
        return Section(key="measurements", title="Measurements", blocks=blocks)
    rows = tuple(
        _measurement_row(key, hip.measurements[key], evidence=evidence)
        for key in MEASUREMENT_NAMES
        if key in hip.measurements
    )
    table = Table(
        caption="Measurements of this hip",
        header=("Measure", "Value", "Spread\n1 SD", "Status", "Published, taken alike"),
        rows=rows,
        wide=(0, 3, 4),
    )
    built: list[Block] = [Facts(pairs=(*source_details(plan), *_geometry_facts(hip))), table]
    norm = evidence.row(ALPHA_BY_HOUR_ROW) if evidence.has_row(ALPHA_BY_HOUR_ROW) else None
    curves = (
        (
            draw_coverage(hip),
            "No published curve was taken about the same centre, so none is drawn.",
        ),
        (draw_joint_space(hip), "Cut-offs of radiographs are not applied to it."),
        (draw_alpha(hip, norm=norm), _alpha_caption(hip, evidence)),
    )
    built += [Picture(figure=figure, caption=text) for figure, text in curves if figure is not None]
    missing = tuple(Cell(text=f"{plain(k)}: {v}.") for k, v in hip.unavailable.items())
    if missing:
        built.append(Items(title="Not available", items=missing))
    return Section(key="measurements", title="Measurements", blocks=tuple(built))


def _measurement_row(
    key: str, measurement: Measurement, *, evidence: EvidenceTable
) -> tuple[Cell, ...]:
    """One measurement."""
    row_id = COMPARABLE_ROWS.get(key)
    published = Cell(text="none taken alike")
    if row_id is not None and evidence.has_row(row_id):
        row = evidence.row(row_id)
        published = Cell(text=f"{with_unit(row)} ({row.population})", evidence=(row_id,))
    reason = f": {measurement.reason}" if measurement.reason else ""
    return (
        Cell(text=MEASUREMENT_NAMES[key], is_strong=True, detail=measurement.method),
        Cell(text=measured(measurement), is_strong=True),
        Cell(text=spread_of(measurement)),
        Cell(text=measurement.status.value + reason, mark=STATUS_SHAPES[measurement.status]),
        published,
    )


def _alpha_caption(hip: HipGeometry, evidence: EvidenceTable) -> str:
    """The published row beside the alpha curve, with the way this one was taken."""
    method = hip.measurements["alpha_angle_max"].method
    text = f"Taken here: {sentence(method)} " if method else ""
    if evidence.has_row(ALPHA_BY_HOUR_ROW):
        row = evidence.row(ALPHA_BY_HOUR_ROW)
        text += (
            f"Published on CT: {with_unit(row)} ({row.population}; {row.id}, {row.status.value})."
        )
    return text


def _geometry_facts(hip: HipGeometry) -> tuple[tuple[str, str], ...]:
    """Spheres, rim and frame."""
    pairs = [("Pelvic frame", hip.frame.reference.value)]
    for name, sphere in (("Head", hip.head), ("Socket", hip.socket)):
        if sphere is None:
            pairs.append((name, "not available"))
        else:
            radius, rms = number(sphere.radius_mm, "mm"), number(sphere.rms_mm, "mm", digits=2)
            pairs.append((name, f"radius {radius}, fit within {rms} (rms)"))
    if hip.rim is not None:
        pairs.append(("Rim", f"{number(hip.rim.length_mm, 'mm')} round, notch bridged"))
        if hip.rim.notch_from_hour is not None and hip.rim.notch_to_hour is not None:
            start, end = spoken_hour(hip.rim.notch_from_hour), spoken_hour(hip.rim.notch_to_hour)
            pairs.append(("Notch", f"{start} to {end}"))
    return tuple(pairs)


def corridors_section(plan: Plan, *, evidence: EvidenceTable) -> Section:
    """Where a drill fits and what it forgives."""
    figure = draw_corridors(plan, aiming_error_deg=aiming_error_deg(plan, evidence=evidence))
    if figure is None:
        reason = "no images in the case" if plan.hip is None else "the rim or its bone is missing"
        blocks: tuple[Block, ...] = (
            Paragraph(cell=Cell(text=f"No corridors were computed: {reason}.")),
        )
        return Section(key="corridors", title="Corridors", blocks=blocks)
    rows = tuple(
        (
            Cell(text=spoken_hour(c.hour), is_strong=True),
            Cell(text=number(c.half_angle_deg, "deg") if c.fits else "0°"),
            Cell(text=number(c.rim_angle_deg, "deg") if c.fits else "0°"),
            Cell(text=number(c.depth_to_cortex_mm, "mm") if c.fits else "–"),
            Cell(text=number(c.bone_volume_mm3, "mm³", digits=0) if c.fits else "–"),
            Cell(
                text="fits" if c.fits else f"blocked by {c.blocked_by or 'bone'}",
                mark="" if c.fits else "✕",
            ),
        )
        for c in plan.corridors
    )
    table = Table(
        caption="Corridors by hour",
        header=("Hour", "Half\nangle", "Rim\nangle", "To far\ncortex", "Bone\nvolume", "Drill"),
        rows=rows,
        wide=(5,),
        is_folded=True,
        is_halved=True,
    )
    caption = "First drill listed, best entry and direction at each quarter hour, margins kept."
    return Section(
        key="corridors",
        title="Corridors",
        blocks=(Picture(figure=figure, caption=caption), table),
    )


def aiming_error_deg(plan: Plan, *, evidence: EvidenceTable) -> float | None:
    """The aiming error a corridor should tolerate: as used by the plan, else as in force."""
    for name in AIMING_SETTINGS:
        value = plan.settings.get(name)
        if isinstance(value, (int, float)):
            return float(value)
    setting = evidence.settings.get(AIMING_SETTINGS[0])
    return setting.value if setting else None


def portals_section(plan: Plan) -> Section:
    """Portals computed on this hip."""
    figure = draw_portals(plan)
    if figure is None:
        text = "No portals were computed: they need the ASIS and the trochanter in view."
        blocks: tuple[Block, ...] = (Paragraph(cell=Cell(text=text)),)
        return Section(key="portals", title="Portals", blocks=blocks)
    rows = tuple(
        (
            Cell(text=portal.name, is_strong=True),
            Cell(text=", ".join(str(sector) for sector in portal.reaches) or "no hour"),
            Cell(text="position as in" if portal.evidence else "–", evidence=portal.evidence),
        )
        for portal in plan.portals
    )
    caption = (
        "Skin is not in the bones: portals rest on an assumed soft-tissue depth and on a "
        "distracted head (see settings). A caution for the whole plan."
    )
    table = Table(caption="Portals", header=("Portal", "Reaches", "Position"), rows=rows, wide=(1,))
    return Section(
        key="portals", title="Portals", blocks=(Picture(figure=figure, caption=caption), table)
    )
