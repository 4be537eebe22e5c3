"""`rimwright check image`: the series of a scan, the hips in its CT, and what it is fit for."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rimwright.cli.screen import output, print_json, progress_bar, warn

if TYPE_CHECKING:
    from rimwright.casework import ScanCheck, ScanFiles
    from rimwright.imaging import SeriesFacts
    from rimwright.morphology.scan import HipInScan, ScanSurvey


def check_image(files: ScanFiles, *, as_json: bool) -> None:
    """
    Say what a scan holds.

    Parameters
    ----------
    files
        Image, label map and series.
    as_json
        Whether to print the document instead of words.

    Raises
    ------
    Refusal
        Nothing can be read, or there is no series of that number.
    """
    from rimwright.casework import check_scan, scan_document

    with progress_bar() as tell:
        check = check_scan(files, progress=tell)
    if as_json:
        warn(check.warnings)
        print_json(scan_document(check))
        return
    _show_series(check)
    console = output()
    if check.survey is None:
        console.print(f"No CT was looked into: {check.reason}.")
    else:
        how = "bones told apart by the label map" if check.has_labels else "without a label map"
        console.print(f"Looked into series {check.taken}, {how}.")
        _show_survey(check.survey)
    warn(check.warnings)


def _show_series(check: ScanCheck) -> None:
    """One line for each series, and what it is good for."""
    from rimwright.casework.scan_check import good_for

    console = output()
    console.print(f"{check.name}: {len(check.series)} series")
    for facts in check.series:
        console.print(f"series {facts.number} ({facts.series_key}): {_grid(facts)}")
        console.print(f"  good for {good_for(facts)}")
        for note in facts.notes:
            console.print(f"  {note}")


def _grid(facts: SeriesFacts) -> str:
    """Modality, size, spacing, thickness and coverage in one line."""
    parts = [str(facts.modality)]
    if facts.description:
        parts.append(f'"{facts.description}"')
    if all(facts.size):
        parts.append(" × ".join(str(count) for count in facts.size))
    if all(facts.spacing_mm):
        parts.append(" × ".join(f"{step:.2f}" for step in facts.spacing_mm) + " mm")
    if facts.slice_thickness_mm:
        parts.append(f"slices {facts.slice_thickness_mm:.2f} mm thick")
    if all(facts.coverage_mm):
        covers = " × ".join(f"{length:.0f}" for length in facts.coverage_mm)
        parts.append(f"covers {covers} mm")
    return ", ".join(parts)


def _show_survey(survey: ScanSurvey) -> None:
    """The hips found, and what each is fit for."""
    console = output()
    if not survey.hips:
        console.print(f"No hip was found: {survey.reason}.")
    for hip in survey.hips:
        where = ", ".join(f"{number:.0f}" for number in hip.centre_mm)
        console.print(
            f"{str(hip.side).capitalize()} hip: head about {hip.radius_mm:.1f} mm in radius, "
            f"centre near {where} (LPS, mm); metal near it {hip.metal_mm3:.0f} mm³"
        )
        for doubt in hip.doubts:
            console.print(f"  doubt: {doubt}")
        _show_fitness(hip)
    for doubt in survey.doubts:
        console.print(f"Doubt on the scan: {doubt}")


def _show_fitness(hip: HipInScan) -> None:
    """Which measurements may be tried, and why others cannot be given."""
    from rimwright.anatomy import MEASUREMENT_KEYS

    console = output()
    tried = [key.replace("_", " ") for key in MEASUREMENT_KEYS if key not in hip.unfit]
    console.print(f"  may be tried: {', '.join(tried) or 'nothing'}")
    for key in MEASUREMENT_KEYS:
        if key in hip.unfit:
            console.print(f"  cannot be given: {key.replace('_', ' ')} ({hip.unfit[key]})")
