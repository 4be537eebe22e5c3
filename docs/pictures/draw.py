"""Draw the pictures of README and docs again, from the demo and nothing else."""

from __future__ import annotations

import shutil
import sys
import tempfile
from importlib.util import find_spec
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw, ImageFilter, ImageFont

from rimwright.anatomy import Anchor, HipGeometry, Plan, TriangleMesh, spoken_hour
from rimwright.casework import hip_for_case, plan_case, read_case, write_demo_case, write_plan

HERE = Path(__file__).resolve().parent
FIGURES = ("rim-strip", "rim-ring", "corridors", "coverage")
PIXEL_MM = 0.16
HALF_MM = 62.0
SPLAT_MM = 0.08
LABEL_MM = 9.0
RIM_MM = 26.0
LIGHT = np.array([0.35, 0.55, 0.76])
BONE = np.array([222.0, 211.0, 188.0])
INK = (24, 30, 33)
ANCHOR = (0, 97, 127)


class View:
    """Orthographic view into the socket: up is 12 o'clock, towards the eye the opening axis."""

    def __init__(self, hip: HipGeometry) -> None:
        rim = hip.rim
        self.centre = np.asarray(rim.centre_mm)
        towards = np.asarray(rim.axis)
        up = np.asarray(rim.twelve)
        self.axes = np.stack([np.cross(up, towards), up, towards])

    def pixels(self, points_mm: np.ndarray) -> np.ndarray:
        """(n, 3): column, row, nearness in mm."""
        local = (points_mm - self.centre) @ self.axes.T
        return np.column_stack(
            [
                (local[:, 0] + HALF_MM) / PIXEL_MM,
                (HALF_MM - local[:, 1]) / PIXEL_MM,
                local[:, 2],
            ]
        )


def surface_points(
    mesh: TriangleMesh, *, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray]:
    """Points spread evenly over a surface, and the normal at each."""
    area = np.linalg.norm(mesh.area_vectors_mm2(), axis=1)
    n = np.ceil(area / SPLAT_MM**2).astype(np.int64)
    owner = np.repeat(np.arange(len(n)), n)
    a, b = rng.random(len(owner)), rng.random(len(owner))
    outside = a + b > 1
    a[outside], b[outside] = 1 - a[outside], 1 - b[outside]
    corners = mesh.corners_mm()[owner]
    points = corners[:, 0] + a[:, None] * (corners[:, 1] - corners[:, 0])
    points += b[:, None] * (corners[:, 2] - corners[:, 0])
    weights = np.stack([1 - a - b, a, b], axis=1)
    normals = np.einsum("nk,nkd->nd", weights, mesh.vertex_normals()[mesh.triangles[owner]])
    return points, normals / np.linalg.norm(normals, axis=1, keepdims=True)


def shaded_bone(mesh: TriangleMesh, view: View) -> Image.Image:
    """The bone as seen by the view, nearest surface first."""
    points, normals = surface_points(mesh, rng=np.random.default_rng(1))
    pixels = view.pixels(points)
    size = round(2 * HALF_MM / PIXEL_MM)
    column, row = pixels[:, 0].astype(np.int64), pixels[:, 1].astype(np.int64)
    facing = normals @ view.axes.T
    seen = (column >= 0) & (column < size) & (row >= 0) & (row < size) & (facing[:, 2] > 0)
    order = np.argsort(pixels[seen, 2])
    place = (row[seen] * size + column[seen])[order]
    light = np.clip(facing[seen][order] @ (LIGHT / np.linalg.norm(LIGHT)), 0, 1)
    depth = np.clip((pixels[seen, 2][order] + 45) / 70, 0, 1)
    shade = (0.30 + 0.70 * light) * (0.72 + 0.28 * depth)
    picture = np.full((size * size, 3), 255.0)
    picture[place] = BONE * shade[:, None]
    drawn = Image.fromarray(picture.reshape(size, size, 3).astype(np.uint8))
    return drawn.filter(ImageFilter.MedianFilter(3))  # closes pixels that no point fell on


def font(size: int) -> ImageFont.FreeTypeFont:
    """The report's own sans serif."""
    folder = Path(find_spec("matplotlib").submodule_search_locations[0])
    return ImageFont.truetype(str(folder / "mpl-data/fonts/ttf/DejaVuSans.ttf"), size)


def draw_anchor(
    pen: ImageDraw.ImageDraw, anchor: Anchor, number: int, *, plan: Plan, view: View
) -> None:
    """An anchor's hole: a dot at its entry, its axis into the bone, its number further out."""
    tip = anchor.entry_mm + anchor.depth_mm * anchor.direction
    outward = plan.hip.rim.radial_direction(anchor.hour)
    label = anchor.entry_mm + LABEL_MM * outward
    (x, y, _), (u, v, _), (p, q, _) = view.pixels(np.stack([anchor.entry_mm, tip, label]))
    pen.line((x, y, u, v), fill=ANCHOR, width=round(anchor.drill_mm / PIXEL_MM))
    pen.ellipse((x - 7, y - 7, x + 7, y + 7), fill=(255, 255, 255), outline=ANCHOR, width=3)
    pen.ellipse((p - 15, q - 15, p + 15, q + 15), fill=(255, 255, 255), outline=INK, width=2)
    pen.text((p, q), str(number), fill=INK, font=font(19), anchor="mm")


def draw_bone(plan: Plan, path: Path) -> None:
    """Rim and planned anchors on the bone, seen from lateral into the socket."""
    hip = plan.hip
    view = View(hip)
    picture = shaded_bone(hip.pelvis_bone, view)
    pen = ImageDraw.Draw(picture)
    rim = view.pixels(hip.rim.closed_points_mm())
    for k in range(len(rim)):
        ends = (*rim[k, :2], *rim[(k + 1) % len(rim), :2])
        if hip.rim.is_bone[k] and hip.rim.is_bone[(k + 1) % len(rim)]:
            pen.line(ends, fill=INK, width=4)
    for number, anchor in enumerate(plan.anchors, 1):
        draw_anchor(pen, anchor, number, plan=plan, view=view)
    write_words(pen, plan, view, size=picture.width)
    picture.save(path, optimize=True)


def write_words(pen: ImageDraw.ImageDraw, plan: Plan, view: View, *, size: int) -> None:
    """Side, directions and hours, on white where they lie over bone."""
    middle = view.pixels(np.asarray(plan.hip.rim.centre_mm)[None])[0]
    anterior_left = view.axes[0] @ np.asarray(plan.hip.rim.three) < 0
    left, right = ("3 anterior", "9 posterior") if anterior_left else ("9 posterior", "3 anterior")
    hours = "   ".join(f"{n}  {spoken_hour(a.hour)}" for n, a in enumerate(plan.anchors, 1))
    words = (
        ((14, 12), f"{plan.side.value.upper()} hip, seen from lateral", "la"),
        ((14, size - 14), f"anchors   {hours}", "ls"),
        ((14, middle[1]), left, "lm"),
        ((size - 14, middle[1]), right, "rm"),
        ((middle[0], middle[1] + 0.84 * RIM_MM / PIXEL_MM), "6", "mm"),
    )
    for place, text, anchor in words:
        pen.text(
            place,
            text,
            fill=INK,
            font=font(20),
            anchor=anchor,
            stroke_width=4,
            stroke_fill=(255, 255, 255),
        )


def main() -> None:
    """Plan the demo in a folder that goes away, and keep its pictures."""
    with tempfile.TemporaryDirectory() as scratch:
        case = read_case(write_demo_case(Path(scratch) / "case"))
        stored = hip_for_case(case).stored
        plan = plan_case(case, hip=stored)
        write_plan(plan, Path(scratch) / "plan", stored=stored)
        for name in FIGURES:
            shutil.copyfile(Path(scratch) / f"plan/figures/{name}.svg", HERE / f"{name}.svg")
    draw_bone(plan, HERE / "on-bone.png")
    sys.stdout.write(f"{len(FIGURES) + 1} pictures in {HERE}\n")


if __name__ == "__main__":
    main()
