"""What is known of a patient and a hip before treatment is compared; everything optional."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from rimwright.anatomy import Effect, HipGeometry, RevisionFinding, Status

JOINT_SPACE_SITES = ("joint_space_lateral", "joint_space_apex", "joint_space_medial")
"""Quantities of readings of the joint space at the three sites of the sourcil, mm."""


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
    previous_open_hip_surgery
        Number of open operations inside this hip; osteotomies and arthroplasties do not count.
    tonnis_grade
        Arthritis grade on the radiograph, 0 to 3.
    femoral_cartilage_grade, femoral_cartilage_scale
        Of the femoral head, and the scale it is on ('Outerbridge', 'ICRS' …).
    ligamentum_teres_grade
        0 to 3 by the share torn; 3 is torn through.
    laxity_score
        Signs of general laxity, 0 to 9.
    instability_sign
        Whether an apprehension or dial sign is positive.
    injection_relief
        What an injection into the joint did to the pain.
    non_operative_weeks
        Weeks of the longest treatment without an operation; 0 is known to be none.
    revision
        What earlier surgery left, and cysts and ossicles; empty means none was reported.
    readings
        Numbers read on images; several modalities of one quantity may stand side by side.
    """

    age_years: float | None = None
    bmi_kg_m2: float | None = None
    previous_hip_arthroscopy: int | None = None
    previous_open_hip_surgery: int | None = None
    tonnis_grade: int | None = None
    femoral_cartilage_grade: int | None = None
    femoral_cartilage_scale: str | None = None
    ligamentum_teres_grade: int | None = None
    laxity_score: int | None = None
    instability_sign: bool | None = None
    injection_relief: Effect | None = None
    non_operative_weeks: float | None = None
    revision: tuple[RevisionFinding, ...] = ()
    readings: tuple[Reading, ...] = ()

    @property
    def is_revision(self) -> bool | None:
        """Whether the inside of this hip was operated on before; None where nothing says so."""
        if self.previous_hip_arthroscopy or self.previous_open_hip_surgery:
            return True
        if any(item.kind.is_left_by_surgery for item in self.revision):
            return True
        return None if self.previous_hip_arthroscopy is None else False

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
