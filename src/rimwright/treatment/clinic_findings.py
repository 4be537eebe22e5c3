"""The clinic's record of one hip as findings that rules may turn on."""

from __future__ import annotations

from dataclasses import replace

from rimwright.anatomy import ClinicRecord, Effect, OperationKind
from rimwright.treatment.findings import Findings

_LEAST_RELIEF = (Effect.WORSE, Effect.NONE, Effect.PARTIAL, Effect.FULL)


def with_clinic(findings: Findings, record: ClinicRecord | None) -> Findings:
    """
    Add what the clinic's record says to the findings of a hip.

    Parameters
    ----------
    findings
        What is known already; a fact given there stays as it is.
    record
        Of the same hip; None adds nothing.

    Returns
    -------
    Findings
        Signs of the latest examination, the least relief of any injection, the longest care
        without an operation. Of two counts of earlier operations the larger holds; a list of
        operations without one does not make the count 0.
    """
    if record is None:
        return findings
    seen = record.latest_examination
    reliefs = {item.relief for item in record.injections if item.relief is not None}
    kinds = [item.kind for item in record.operations_on(record.side)]
    counted = {
        "previous_hip_arthroscopy": kinds.count(OperationKind.ARTHROSCOPY),
        "previous_open_hip_surgery": kinds.count(OperationKind.OPEN_HIP_SURGERY),
    }
    known = {
        "laxity_score": seen.laxity_score if seen else None,
        "instability_sign": seen.instability_sign if seen else None,
        "injection_relief": next((item for item in _LEAST_RELIEF if item in reliefs), None),
        "non_operative_weeks": record.non_operative_weeks,
    }
    changes: dict[str, object] = {
        name: value for name, value in known.items() if getattr(findings, name) is None
    }
    changes |= {
        name: max(listed, getattr(findings, name) or 0)
        for name, listed in counted.items()
        if listed
    }
    return replace(findings, **changes)  # type: ignore[arg-type]  # names are checked by replace
