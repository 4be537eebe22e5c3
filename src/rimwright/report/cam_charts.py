"""Charts of a cam: depth and alpha by femoral hour, and the contour before and after."""

from __future__ import annotations

import numpy as np

from rimwright.anatomy import CamPlan, Floats, spoken_hour
from rimwright.report.figure import Figure, Spot, circle, polyline, rect, text
from rimwright.report.hour_axes import WIDTH, HourAxes, value_range
from rimwright.report.legend import Entry, draw_key
from rimwright.report.markup import join
from rimwright.report.wording import number

FEMORAL_CLOCK = "FEMORAL hour, round the neck axis: not the hours of the rim"
CONTOUR_HEIGHT = 400.0
"""Height of the contour drawing, drawing units."""


def draw_cam_hours(cam: CamPlan) -> Figure | None:
    """
    Depth taken by femoral hour, alpha before and after over it with the target.

    Parameters
    ----------
    cam
        Its curves.

    Returns
    -------
    Figure or None
        Named cam-hours; None where no alpha was seen.
    """
    if not np.isfinite(cam.alpha_before_deg).any():
        return None
    values = [*cam.alpha_before_deg.tolist(), *cam.alpha_after_deg.tolist(), cam.target_alpha_deg]
    low, high = value_range(values, step=10.0)
    target = f"target {number(cam.target_alpha_deg, 'deg', digits=0)}"
    key, key_height = draw_key([*KEY, _target_entry(target)], (64.0, 2.0), width=WIDTH - 80.0)
    top = key_height + 22.0
    axes = HourAxes(top=top, bottom=top + 190.0, low=low, high=high, step=10.0)
    depth_low, depth_high = value_range(cam.depth_mm.tolist(), step=1.0, floor=0.0)
    below = HourAxes(
        top=axes.bottom + 60.0,
        bottom=axes.bottom + 150.0,
        low=depth_low,
        high=depth_high,
        step=1.0 if depth_high <= 4 else 2.0,
        unit=" mm",
    )
    hours = len(cam.femoral_hours)
    bar = min(13.0, 0.7 * (below.right - below.left) / max(hours, 1))
    line_y = axes.y(cam.target_alpha_deg)
    body = [
        key,
        axes.draw(clock=FEMORAL_CLOCK),
        polyline([(axes.left, line_y), (axes.right, line_y)], class_="f-limit"),
        [polyline(r, class_="f-line2") for r in axes.runs(cam.femoral_hours, cam.alpha_before_deg)],
        [polyline(r, class_="f-line") for r in axes.runs(cam.femoral_hours, cam.alpha_after_deg)],
        below.draw(clock="depth taken at each femoral hour"),
        [
            rect((below.x(float(h)) - bar / 2, below.y(float(d))), (bar, below.bottom - below.y(d)),
                 class_="f-bar")
            for h, d in zip(cam.femoral_hours, cam.depth_mm, strict=True)
            if d > 0.0
        ],
    ]  # fmt: skip
    deepest = deepest_hour(cam)
    if deepest is not None:
        depth_mm = float(cam.depth_mm[deepest])
        x, y = below.x(float(cam.femoral_hours[deepest])), below.y(depth_mm)
        body.append(text(number(depth_mm, "mm"), (x, y - 6), kind="mbh"))
    return Figure(
        name="cam-hours",
        title="Cam by femoral hour",
        description=_describe(cam),
        width=WIDTH,
        height=below.bottom + 54.0,
        body=join(body),
    )


def draw_cam_contour(cam: CamPlan) -> Figure | None:
    """
    The contour at the deepest hour before and after, in the plane of the neck axis.

    Parameters
    ----------
    cam
        Its contours.

    Returns
    -------
    Figure or None
        Named cam-contour; None where nothing is taken.
    """
    row = deepest_hour(cam)
    if row is None:
        return None
    before, after = cam.contour_before_mm[row], cam.contour_after_mm[row]
    seen = np.isfinite(before) & np.isfinite(after)
    if seen.sum() < 2:
        return None
    angles = np.radians(cam.angles_deg[seen])
    along = before[seen] * np.cos(angles)
    across = before[seen] * np.sin(angles)
    left_mm, right_mm = min(float(along.min()), 0.0) - 2.0, float(along.max()) + 2.0
    low_mm, high_mm = -1.0, float(across.max()) + 2.0
    scale = min((WIDTH - 40.0) / (right_mm - left_mm), CONTOUR_HEIGHT / (high_mm - low_mm))
    shift = (WIDTH - scale * (right_mm - left_mm)) / 2

    def spot(x_mm: float, y_mm: float) -> Spot:
        return shift + (x_mm - left_mm) * scale, 40.0 + (high_mm - y_mm) * scale

    def contour(distance_mm: Floats) -> list[Spot]:
        return [
            spot(float(r * np.cos(a)), float(r * np.sin(a)))
            for r, a in zip(distance_mm[seen], angles, strict=True)
        ]

    hour = spoken_hour(float(cam.femoral_hours[row]))
    depth = number(float(cam.depth_mm[row]), "mm")
    key, _ = draw_key(KEY_CONTOUR, (64.0, 2.0), width=WIDTH - 80.0)
    origin = spot(0.0, 0.0)
    body = [
        key,
        polyline([spot(left_mm, 0.0), spot(right_mm, 0.0)], class_="f-axis"),
        text("neck axis", (spot(right_mm, 0.0)[0] - 4, origin[1] + 22), kind="eq"),
        circle(origin, 4.0, class_="f-ink"),
        text("head centre", (origin[0], origin[1] + 22), kind="mq"),
        polyline(contour(before), class_="f-line2"),
        polyline(contour(after), class_="f-line"),
    ]
    tick = spot(left_mm + 1.0, 0.0)[0], 70.0
    body += [
        polyline([tick, (tick[0] + 5 * scale, tick[1])], class_="f-rim"),
        text("5 mm", (tick[0], tick[1] + 20), kind="q"),
    ]
    return Figure(
        name="cam-contour",
        title=f"Contour at femoral hour {hour}, before and after",
        description=(
            f"Section through the neck axis at femoral hour {hour}: at most {depth} is taken, "
            f"alpha {number(float(cam.alpha_before_deg[row]), 'deg')} before and "
            f"{number(float(cam.alpha_after_deg[row]), 'deg')} after."
        ),
        width=WIDTH,
        height=origin[1] + 34.0,
        body=join(body),
    )


def deepest_hour(cam: CamPlan) -> int | None:
    """Index of the hour at which most is taken; None where nothing is."""
    if not len(cam.depth_mm) or not float(np.nanmax(cam.depth_mm)) > 0.0:
        return None
    return int(np.nanargmax(cam.depth_mm))


KEY: list[Entry] = [
    (polyline([(2, 9), (32, 9)], class_="f-line2"), "alpha before"),
    (polyline([(2, 9), (32, 9)], class_="f-line"), "alpha after, predicted"),
    (rect((11, 1), (12, 16), class_="f-bar"), "bone taken"),
]
KEY_CONTOUR: list[Entry] = [
    (polyline([(2, 9), (32, 9)], class_="f-line2"), "before"),
    (polyline([(2, 9), (32, 9)], class_="f-line"), "after"),
]


def _target_entry(words: str) -> Entry:
    """The target line in the key."""
    return polyline([(2, 9), (32, 9)], class_="f-limit"), words


def _describe(cam: CamPlan) -> str:
    """What the chart shows, in sentences."""
    seen = np.flatnonzero(np.isfinite(cam.alpha_before_deg))
    top = int(seen[np.argmax(cam.alpha_before_deg[seen])])
    said = [
        f"Largest alpha before {number(float(cam.alpha_before_deg[top]), 'deg')} at femoral hour "
        f"{spoken_hour(float(cam.femoral_hours[top]))}, after "
        f"{number(float(cam.alpha_after_deg[top]), 'deg')}; target "
        f"{number(cam.target_alpha_deg, 'deg')}."
    ]
    deepest = deepest_hour(cam)
    if deepest is None:
        said.append("No bone has to go for this target.")
    else:
        said.append(
            f"Deepest {number(float(cam.depth_mm[deepest]), 'mm')} at femoral hour "
            f"{spoken_hour(float(cam.femoral_hours[deepest]))}."
        )
    return " ".join(said)
