"""The demo case: an invented patient on a synthetic hip, made on the spot with its case file."""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np

from rimwright.anatomy import Progress, TriangleMesh
from rimwright.casework.demo_series import SERIES_FOLDER, write_demo_series
from rimwright.errors import FileRefusal
from rimwright.phantom import demo_shape, make_hip

DEMO_CASE = """\
# An invented patient on a synthetic hip: every bone here was computed, no person was scanned.
schema = "rimwright.case/1"
id = "demo"
side = "left"
person = "invented person"       # the same word in the case of the other hip

[patient]
age = 34
sex = "female"
bmi = 23.5

[history]
previous_hip_arthroscopy = 1

[sources]                        # relative to this file
pelvis = "pelvis.stl"            # both hip bones; the side picks the left one
femur = "femur.stl"
units = "mm"
axes = "LPS"

[grades]
tonnis_grade = 0
joint_space_mm = 3.8
joint_space_seen_by = "radiograph"
joint_space_lateral_mm = 3.8
joint_space_apex_mm = 4.1
joint_space_medial_mm = 4.0
ligamentum_teres_grade = 1

[clinic.symptoms]
site = "groin"
duration_months = 14
onset = "gradual"
on = 2026-02-10

[[clinic.examination]]
flexion_deg = 105
internal_rotation_90_deg = 12
external_rotation_90_deg = 40
impingement_sign = true
apprehension_sign = false
dial_sign = false
laxity_score = 2
on = 2026-02-10

[[clinic.injection]]
what = "local anaesthetic into the joint"
relief = "partial"
on = 2026-01-20

[[clinic.care]]
kind = "physiotherapy"
weeks = 16
effect = "partial"
on = 2025-09-01

[[clinic.score]]
instrument = "iHOT-12"
value = 41
on = 2026-02-10

[[clinic.imaging]]
kind = "labrum"
where = "11:00 to 2:30"
finding = "thin, signal at the earlier repair"
modality = "MR"
on = 2026-01-12

[[clinic.operation]]
side = "left"
year = 2022
kind = "arthroscopy"
done = "labral repair with one anchor left in the rim, cam reshaped in part"

[[labrum]]                       # sectors not listed are unknown, not healthy
from_hour = 11.0
to_hour = 2.5
width_mm = 2.5
thickness_mm = 1.5
seen_by = "probe"
tissue = "poor"
attachment = "detached"
fibres = "continuous"
seals = false
tear = "unstable"
tear_type = "longitudinal, at the earlier repair"
calcified = false
prior_suture = true
cartilage_grade = 1
cartilage_scale = "Outerbridge"
reference = "notch"

[[labrum]]
from_hour = 2.5
to_hour = 4.0
width_mm = 5.0
seen_by = "probe"
tissue = "good"
attachment = "attached"
fibres = "continuous"
seals = true
tear = "none"
calcified = false

[[labrum]]
from_hour = 8.5
to_hour = 11.0
width_mm = 4.5
seen_by = "probe"
tissue = "good"
attachment = "attached"
fibres = "continuous"
seals = true
tear = "none"
calcified = false

[[old_anchor]]                   # left in the rim by the earlier operation
hour = 1.5
drill_mm = 2.9
depth_mm = 15.0

[[revision]]                     # what else the earlier operation left
kind = "tunnel"
hour = 0.25
size_mm = 2.0
depth_mm = 15.0
seen_by = "operation note"
note = "drilled, no anchor seated"

[[revision]]
kind = "earlier trim"
from_hour = 0.0
to_hour = 2.0
size_mm = 1.0
seen_by = "operation note"

[[revision]]
kind = "capsule defect"
from_hour = 0.5
to_hour = 1.5
size_mm = 8.0
seen_by = "MR"

[cam]
target_alpha_deg = 50

[equipment]
anchors = [{drill_mm = 1.8, depth_mm = 20.0}, {drill_mm = 2.9, depth_mm = 15.0}]
grafts = [
    {kind = "tibialis tendon allograft", diameter_mm = 6.0},
    {kind = "iliotibial band autograft", diameter_mm = 6.0},
]

[settings]
option = "augmentation"          # the option to show first
margin_joint_mm = 2.0
margin_cortex_mm = 1.5
spacing_mm = 8.0
technique = "all anchors first"
"""
SCAN_SOURCES = f"""\
image = "{SERIES_FOLDER}"                 # a folder of DICOM slices; the bones are found in them
"""
"""What stands under [sources] instead where the case rests on a scan."""

STL_STEP_MM = 0.01
"""Coordinates of the demo bones are rounded to this, mm: a tenth of what any scan resolves."""


def write_demo_case(
    folder: Path, *, is_scan: bool = False, progress: Progress | None = None
) -> Path:
    """
    Make the demo hip and write its bones or a scan of them, and the case file.

    Parameters
    ----------
    folder
        Made if it does not exist.
    is_scan
        Whether the case rests on a CT of the bones, a DICOM series, and not on their surfaces.
    progress
        Told the stages; may raise to cancel, and then there is no half a series.

    Returns
    -------
    Path
        The case file; bones or series stand beside it.

    Raises
    ------
    FileRefusal
        The folder cannot be written, or its series is not one that the demo wrote.
    """
    hip = make_hip(demo_shape())
    folder = Path(folder)
    case_path = folder / "case.toml"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if is_scan:
            write_demo_series(hip, folder / SERIES_FOLDER, progress=progress)
            text = case_of_scan()
        else:
            pair = [hip.hip_bone, hip.other_hip_bone]
            bones = [bone for bone in pair if bone is not None]
            (folder / "pelvis.stl").write_bytes(binary_stl(bones))
            (folder / "femur.stl").write_bytes(binary_stl([hip.femur]))
            text = DEMO_CASE
        case_path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise FileRefusal(
            f"cannot be written ({error.strerror or type(error).__name__})",
            str(folder),
            "Choose a folder that can be written and has room",
        ) from None
    return case_path


def case_of_scan() -> str:
    """Text of the demo case with a scan in place of the bones."""
    start = DEMO_CASE.index("pelvis = ")
    end = DEMO_CASE.index("\n\n", start) + 1
    return DEMO_CASE[:start] + SCAN_SOURCES + DEMO_CASE[end:]


def binary_stl(bodies: list[TriangleMesh]) -> bytes:
    """
    Bodies as one binary STL.

    Parameters
    ----------
    bodies
        LPS, mm.

    Returns
    -------
    bytes
        80 bytes of header, the count, then 50 bytes a triangle; single precision by nature.
    """
    corners = np.concatenate([body.corners_mm() for body in bodies])
    corners = np.round(corners / STL_STEP_MM) * STL_STEP_MM
    # Slivers shorter than the step lose a side; without it they have no area and are left out.
    sides = corners - np.roll(corners, 1, axis=1)
    normals = np.cross(sides[:, 0], sides[:, 1])
    lengths = np.linalg.norm(normals, axis=1)
    is_whole = (lengths > 0) & (np.abs(sides).max(axis=2) > 0).all(axis=1)
    corners, normals = corners[is_whole], normals[is_whole] / lengths[is_whole, None]
    rows = np.zeros(
        len(corners), dtype=[("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("unused", "<u2")]
    )
    rows["normal"], rows["corners"] = normals, corners
    header = b"synthetic bone, LPS, mm".ljust(80, b" ")
    return header + struct.pack("<I", len(corners)) + rows.tobytes()
