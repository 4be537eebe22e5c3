"""What is known of a patient and a hip before treatment is compared; everything optional."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from rimwright.anatomy import HipGeometry, Status


class Modality(StrEnum):
    """How a reading was made; a cut-off holds for the modality its source used."""

    RADIOGRAPH = "radiograph"
    CT = "CT"
    MR = "MR"
    MESH = "mesh"


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """
    One number read on one image.

    Parameters
    ----------
    quantity
        A measurement key ('lateral_centre_edge_angle', 'joint_space_min' …).
    value
        In the unit of that key (deg, mm or %).
    modality
        None where it is not known how it was read; then no cut-off is applied.
    status
        Caution for a doubtful number; a refused measurement is no reading.
    method
        How it was taken, where that matters (femoral version).
    """

    quantity: str
    value: float
    modality: Modality | None = None
    status: Status = Status.OK
    method: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Findings:
    """
    Facts that candidacy and the labral options rest on; None means unknown, never normal.

    Parameters
    ----------
    age_years, bmi_kg_m2
        Of the patient.
    previous_hip_arthroscopy
        Number of arthroscopies of this hip; 0 is known to be none.
    tonnis_grade
        Arthritis grade on the radiograph, 0 to 3.
    femoral_cartilage_grade, femoral_cartilage_scale
        Of the femoral head, and the scale it is on ('Outerbridge', 'ICRS' …).
    readings
        Numbers read on images; several modalities of one quantity may stand side by side.
    """

    age_years: float | None = None
    bmi_kg_m2: float | None = None
    previous_hip_arthroscopy: int | None = None
    tonnis_grade: int | None = None
    femoral_cartilage_grade: int | None = None
    femoral_cartilage_scale: str | None = None
    readings: tuple[Reading, ...] = ()

    def reading(self, quantity: str, *, prefer: Sequence[Modality] = ()) -> Reading | None:
        """The reading of a quantity in the first of the preferred modalities, else any."""
        found = [item for item in self.readings if item.quantity == quantity]
        for modality in prefer:
            for item in found:
                if item.modality is modality:
                    return item
        return found[0] if found else None


def readings_of_hip(hip: HipGeometry, *, modality: Modality = Modality.MESH) -> tuple[Reading, ...]:
    """
    Take every number of a measured hip as a reading of one modality.

    Parameters
    ----------
    hip
        A measured hip; what it refused is left out.
    modality
        What the hip was measured on: a mesh, or a CT.

    Returns
    -------
    tuple of Reading
        In the order of the measurement keys.
    """
    return tuple(
        Reading(
            quantity=key,
            value=measurement.value,
            modality=modality,
            status=measurement.status,
            method=measurement.method,
        )
        for key, measurement in hip.measurements.items()
        if measurement.value is not None
    )
