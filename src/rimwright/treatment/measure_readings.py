"""Which readings of a quantity its cut-offs apply to, and why not where they do not."""

from __future__ import annotations

from dataclasses import dataclass

from rimwright.anatomy import Status
from rimwright.treatment.cut_offs import number_with_unit
from rimwright.treatment.findings import Findings, Modality, Reading
from rimwright.treatment.rules import Measure

_PLURAL = {
    Modality.RADIOGRAPH: "radiographs",
    Modality.CT: "CT",
    Modality.MR: "MR",
    Modality.MESH: "meshes",
}
_GRADE_SCALE = {"femoral_cartilage_grade": ("femoral_cartilage_scale", "Outerbridge")}


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasureReadings:
    """
    The readings of one quantity.

    Parameters
    ----------
    applicable
        Those its cut-offs were made for.
    others
        The rest.
    obstacle
        Why no cut-off is applied; '' where some reading is applicable.
    """

    applicable: tuple[Reading, ...]
    others: tuple[Reading, ...]
    obstacle: str = ""


def readings_of(measure: Measure, findings: Findings) -> MeasureReadings:
    """
    Sort the readings of a quantity and of its single sites.

    Parameters
    ----------
    measure
        Says which modality and method its cut-offs hold for.
    findings
        What is known.

    Returns
    -------
    MeasureReadings
        In the order given, the modality named first by the measure before the others.
    """
    if not measure.holds_for:
        value = getattr(findings, measure.key)
        if value is None:
            return MeasureReadings(applicable=(), others=())
        plain = (Reading(quantity=measure.key, value=float(value)),)
        obstacle = _scale_obstacle(measure, findings)
        if obstacle:
            return MeasureReadings(applicable=(), others=plain, obstacle=obstacle)
        return MeasureReadings(applicable=plain, others=())
    keys = (measure.key, *measure.sites)
    found = [item for item in findings.readings if item.quantity in keys]
    fitting = [item for item in found if not _obstacle(measure, item)]
    fitting.sort(key=lambda item: measure.holds_for.index(item.modality or Modality.MESH))
    others = [item for item in found if _obstacle(measure, item)]
    others.sort(key=lambda item: item.modality not in measure.holds_for)
    obstacle = _obstacle(measure, others[0]) if others and not fitting else ""
    return MeasureReadings(applicable=tuple(fitting), others=tuple(others), obstacle=obstacle)


def as_seen(measure: Measure, reading: Reading, *, unit: str, with_label: bool = True) -> str:
    """A reading in words: name, number, site, modality, doubt."""
    how = []
    if measure.holds_for:
        how.append(str(reading.modality) if reading.modality else "modality unknown")
    if reading.status is not Status.OK:
        how.append("doubtful")
    text = number_with_unit(reading.value, unit)
    if with_label:
        text = f"{measure.label[0].upper()}{measure.label[1:]} {text}"
    if reading.quantity in measure.sites:
        text += f" at the {measure.sites[reading.quantity]}"
    return text + (f" ({', '.join(how)})" if how else "")


def made_on(measure: Measure) -> str:
    """The modalities the cut-offs were made on, in words."""
    return " or ".join(_PLURAL[item] for item in measure.holds_for)


def _scale_obstacle(measure: Measure, findings: Findings) -> str:
    if measure.key not in _GRADE_SCALE:
        return ""
    name, wanted = _GRADE_SCALE[measure.key]
    scale = getattr(findings, name)
    return "" if scale == wanted else f"which are grades of the {wanted} scale"


def _obstacle(measure: Measure, reading: Reading) -> str:
    """Why no cut-off is applied to a reading; '' where they are."""
    if reading.modality is None:
        return f"which were made on {made_on(measure)}, because it is not said how it was read"
    if reading.modality not in measure.holds_for:
        return f"which were made on {made_on(measure)}"
    if measure.holds_for_method and measure.holds_for_method not in reading.method:
        return f"which hold for the {measure.holds_for_method} method only"
    return ""
