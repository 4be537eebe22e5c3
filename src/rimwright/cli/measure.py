"""`rimwright measure`: bones or a CT in, the hip's numbers out."""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING, Annotated

import typer

from rimwright.cli.bone_options import (
    AxesOption,
    FemurOption,
    ImageOption,
    JsonOption,
    LabelsOption,
    PartOption,
    PelvisOption,
    SeriesOption,
    UnitsOption,
)
from rimwright.cli.radial import (
    DicomOption,
    NoMarksOption,
    PointOption,
    RadialOption,
    SlabOption,
    WindowOption,
    origin_for,
    wish_of,
    write_radial,
    write_radial_by_hand,
)
from rimwright.cli.screen import print_json, progress_bar, warn

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rimwright.anatomy import HipGeometry


class Sides(StrEnum):
    """Sides that can be asked for."""

    LEFT = "left"
    RIGHT = "right"
    BOTH = "both"


def measure(
    side: Annotated[Sides, typer.Option(help="Side of the hip; never guessed from a name.")],
    pelvis: PelvisOption = None,
    femur: FemurOption = None,
    image: ImageOption = None,
    labels: LabelsOption = None,
    series: SeriesOption = None,
    units: UnitsOption = None,
    axes: AxesOption = None,
    part: PartOption = None,
    json: JsonOption = False,
    radial: RadialOption = None,
    slab: SlabOption = None,
    window: WindowOption = None,
    dicom: DicomOption = False,
    no_marks: NoMarksOption = False,
    point: PointOption = None,
) -> None:
    """
    Measure a hip: spheres, rim, angles, alpha angle by hour, joint space.

    Give the pelvis, the femur, or both; or in their place a CT. What they do not show is refused in
    the result, with the reason; a file that is not the bone or side you say is refused altogether.

    Examples: rimwright measure --pelvis hips.stl --femur femur.stl --side left;
    rimwright measure --image series/ --side both --json;
    rimwright measure --image series/ --side left --radial pictures/
    """
    wish = wish_of(radial, slab=slab, window=window, dicom=dicom, no_marks=no_marks, point=point)
    if image is not None:
        _refuse_beside_image(pelvis=pelvis, femur=femur, part=part, units=units)
    elif labels is not None or series is not None:
        option = "--labels" if labels is not None else "--series"
        raise typer.BadParameter("of which image? give --image", param_hint=option)
    elif pelvis is None and femur is None:
        raise typer.BadParameter(
            "give --pelvis, --femur or both, or --image", param_hint="--pelvis"
        )
    if radial is not None and image is None:
        raise typer.BadParameter("of which image? give --image", param_hint="--radial")
    if point and json:
        raise typer.BadParameter("with points nothing is measured", param_hint="--json")
    if part is not None and pelvis is None:
        raise typer.BadParameter("a part of which file? give --pelvis", param_hint="--part")
    if part is not None and side is Sides.BOTH:
        raise typer.BadParameter("one part is one side", param_hint="--part")
    from rimwright.anatomy import Side
    from rimwright.casework import BoneFiles, ScanFiles, measure_files
    from rimwright.imaging import check_vacant
    from rimwright.units import LengthUnit

    sides = (Side.LEFT, Side.RIGHT) if side is Sides.BOTH else (Side(side.value),)
    origin = None
    files: BoneFiles | ScanFiles
    if image is None:
        unit = None if units is None else LengthUnit(units.value)
        files = BoneFiles(pelvis=pelvis, femur=femur, unit=unit, axes=axes, part=part)
    else:
        files = ScanFiles(image=image, labels=labels, series=series, axes=axes)
    if radial is not None and wish is not None and isinstance(files, ScanFiles):
        check_vacant(radial)
        if point:
            write_radial_by_hand(files, radial, sides=sides, point=point, wish=wish, dicom=dicom)
            return
        origin = origin_for(files, dicom=dicom)
    with progress_bar() as tell:
        measured = measure_files(files, sides, progress=tell)
    hips = [item.hip for item in measured]
    for hip in hips:
        refuse_empty(hip)
    if radial is not None and wish is not None:
        write_radial(measured, radial, wish=wish, origin=origin)
    _show(hips, as_json=json, as_list=side is Sides.BOTH)


def _show(hips: Sequence[HipGeometry], *, as_json: bool, as_list: bool) -> None:
    """Print the hips as documents or for reading."""
    if not as_json:
        for hip in hips:
            show_hip(hip)
        return
    from rimwright.casework import hip_document

    warn(_warnings_of(hips))
    documents = [hip_document(hip) for hip in hips]
    print_json(documents if as_list else documents[0])


def _warnings_of(hips: Sequence[HipGeometry]) -> list[str]:
    """Warnings of all hips, each once; one that is not of every hip begins with its side."""
    said = [
        text if all(text in each.warnings for each in hips) else f"{hip.side}: {text}"
        for hip in hips
        for text in hip.warnings
    ]
    return list(dict.fromkeys(said))


def _refuse_beside_image(**given: object) -> None:
    """An image stands alone: bones beside it would be of another source."""
    for name, value in given.items():
        if value is not None:
            raise typer.BadParameter("not together with --image", param_hint=f"--{name}")


def refuse_empty(hip: HipGeometry) -> None:
    """A hip of which nothing could be measured is a refusal, not a result."""
    from rimwright.errors import LayoutRefusal

    if all(item.value is None for item in hip.measurements.values()):
        reason = next(iter(hip.measurements.values())).reason
        raise LayoutRefusal(
            f"nothing could be measured on the {hip.side} hip ({reason})",
            "measure",
            "Give more of the hip",
        )


def show_hip(hip: HipGeometry) -> None:
    """Print the numbers of a hip for reading; what is doubtful is noted by number below."""
    from rimwright.cli.screen import output, plain_table

    console = output()
    console.print(f"{str(hip.side).capitalize()} hip; pelvic frame: {hip.frame.reference}")
    table = plain_table("measurement", "value", "± spread", "unit", "status", "note")
    notes: dict[str, int] = {}
    for name, sphere in (("femoral head", hip.head), ("socket", hip.socket)):
        if sphere is not None:
            note = _note(f"surface within {sphere.rms_mm:.2f} mm rms of the sphere", notes)
            table.add_row(f"{name}, radius", f"{sphere.radius_mm:.1f}", "", "mm", "ok", note)
    if hip.rim is not None:
        table.add_row("rim, length", f"{hip.rim.length_mm:.0f}", "", "mm", "ok", "")
    for name, item in hip.measurements.items():
        table.add_row(
            name.replace("_", " "),
            "–" if item.value is None else f"{item.value:.1f}",
            "" if item.spread is None else f"{item.spread:.1f}",
            item.unit,
            str(item.status),
            ", ".join(_note(reason, notes) for reason in item.reason.split("; ") if reason),
        )
    console.print(table)
    for text, number in notes.items():
        console.print(f"{number}  {text}")
    for part, reason in hip.unavailable.items():
        console.print(f"not available: {part.replace('_', ' ')} ({reason})")
    warn(hip.warnings)


def _note(text: str, notes: dict[str, int]) -> str:
    """Number of a note, a new one if it was not yet made."""
    return str(notes.setdefault(text, len(notes) + 1))
