"""What the rules of treatment may know of a case: its facts, its readings, its measured hip."""

from __future__ import annotations

from rimwright.anatomy import HipGeometry, RevisionFinding, RevisionKind
from rimwright.casework.case import Case, Grades, ReadOn
from rimwright.treatment import Findings, Modality, Reading, readings_of_hip, with_clinic

JOINT_SPACE_TAKEN_AS = (
    "the joint space is taken as read on a radiograph; write joint_space_seen_by if it was not"
)


def findings_of(case: Case, hip: HipGeometry | None) -> Findings:
    """
    The findings of a case; what nobody gave stays unknown.

    Parameters
    ----------
    case
        Facts, grades and readings.
    hip
        As measured; None where the case names no bones.

    Returns
    -------
    Findings
        A person's readings stand before those of the measured hip.
    """
    grades = case.grades
    modality = Modality(str(grades.joint_space_seen_by or ReadOn.RADIOGRAPH))
    readings = [
        Reading(quantity=quantity, value=value, modality=modality)
        for quantity, value in joint_spaces(grades).items()
    ]
    readings += [
        Reading(
            quantity=item.quantity,
            value=item.value,
            modality=Modality(str(item.seen_by)),
            method=item.method,
        )
        for item in case.readings
    ]
    if hip is not None:
        readings.extend(readings_of_hip(hip))
    found = Findings(
        age_years=case.patient.age_years,
        bmi_kg_m2=case.patient.bmi,
        previous_hip_arthroscopy=case.history.previous_hip_arthroscopy,
        tonnis_grade=grades.tonnis_grade,
        femoral_cartilage_grade=grades.femoral_cartilage_grade,
        femoral_cartilage_scale=grades.femoral_cartilage_scale,
        ligamentum_teres_grade=grades.ligamentum_teres_grade,
        revision=(*case.revision, *old_anchor_findings(case)),
        readings=tuple(readings),
    )
    return with_clinic(found, case.clinic)


def old_anchor_findings(case: Case) -> tuple[RevisionFinding, ...]:
    """
    The old anchors of a case as the rules know them: signs of earlier surgery.

    Parameters
    ----------
    case
        An anchor known by entry and direction has no hour here.

    Returns
    -------
    tuple of RevisionFinding
        One an anchor.
    """
    return tuple(
        RevisionFinding(
            kind=RevisionKind.ANCHOR,
            hour=anchor.hour,
            size_mm=anchor.drill_mm,
            depth_mm=anchor.depth_mm,
        )
        for anchor in case.old_anchors
    )


def joint_spaces(grades: Grades) -> dict[str, float]:
    """
    The joint spaces a person read, quantity to mm.

    Parameters
    ----------
    grades
        What is unknown is left out.

    Returns
    -------
    dict
        The smallest first, then the sites from lateral to medial.
    """
    read = {
        "joint_space_min": grades.joint_space_mm,
        "joint_space_lateral": grades.joint_space_lateral_mm,
        "joint_space_apex": grades.joint_space_apex_mm,
        "joint_space_medial": grades.joint_space_medial_mm,
    }
    return {quantity: value for quantity, value in read.items() if value is not None}


def patient_facts(case: Case) -> dict[str, str]:
    """
    The facts a report prints, name to text.

    Parameters
    ----------
    case
        What is unknown is left out.

    Returns
    -------
    dict
        In the order a surgeon reads them.
    """
    facts: dict[str, str] = {}
    if case.patient.age_years is not None:
        facts["age"] = f"{case.patient.age_years:g} years"
    if case.patient.sex is not None:
        facts["sex"] = str(case.patient.sex)
    if case.patient.bmi is not None:
        facts["body mass index"] = f"{case.patient.bmi:g} kg/m²"
    if case.history.previous_hip_arthroscopy is not None:
        count = case.history.previous_hip_arthroscopy
        facts["earlier arthroscopies of this hip"] = str(count) if count else "none"
    if case.grades.tonnis_grade is not None:
        facts["Tönnis grade"] = str(case.grades.tonnis_grade)
    if case.grades.joint_space_mm is not None:
        seen_by = case.grades.joint_space_seen_by or ReadOn.RADIOGRAPH
        facts["joint space"] = f"{case.grades.joint_space_mm:g} mm ({seen_by})"
    sites = {
        "laterally": case.grades.joint_space_lateral_mm,
        "at the apex": case.grades.joint_space_apex_mm,
        "medially": case.grades.joint_space_medial_mm,
    }
    for site, width in sites.items():
        if width is not None:
            seen_by = case.grades.joint_space_seen_by or ReadOn.RADIOGRAPH
            facts[f"joint space {site}"] = f"{width:g} mm ({seen_by})"
    if case.grades.ligamentum_teres_grade is not None:
        facts["ligamentum teres"] = f"grade {case.grades.ligamentum_teres_grade} of 3"
    if case.grades.femoral_cartilage_grade is not None:
        scale = case.grades.femoral_cartilage_scale or "scale not given"
        facts["cartilage of the head"] = f"grade {case.grades.femoral_cartilage_grade} ({scale})"
    return facts
