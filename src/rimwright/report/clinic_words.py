"""The clinic's record in words: plain for the patient, the trade's for colleagues and letters."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from rimwright.anatomy import ClinicRecord, Effect, RangeOfMotion
from rimwright.anatomy.clinic import Examination

PLAIN_EFFECTS = {
    Effect.FULL: "took the pain away",
    Effect.PARTIAL: "helped in part",
    Effect.NONE: "did not help",
    Effect.WORSE: "made it worse",
}
MOTION_WORDS = {
    "flexion_deg": "flexion",
    "extension_deg": "extension",
    "abduction_deg": "abduction",
    "adduction_deg": "adduction",
    "internal_rotation_90_deg": "internal rotation at 90° of flexion",
    "external_rotation_90_deg": "external rotation at 90° of flexion",
}


def plain_record(clinic: ClinicRecord | None) -> tuple[str, ...]:
    """What the patient told, as short sentences; empty where nothing was recorded."""
    if clinic is None:
        return ()
    said = []
    symptoms = clinic.symptoms
    if symptoms is not None and symptoms.duration_months is not None:
        said.append(f"It has hurt for {_months(symptoms.duration_months)}.")
    said += [f"Tried: {item.kind}{_plain_effect(item.effect)}." for item in clinic.care]
    said += [f"An injection{_plain_effect(item.relief)}." for item in clinic.injections]
    earlier = clinic.operations_on(clinic.side)
    if earlier:
        years = ", ".join(str(item.year) if item.year else "year not known" for item in earlier)
        said.append(f"Operated on before: {years}.")
    return tuple(said)


def symptom_words(clinic: ClinicRecord | None) -> str:
    """Site, duration and onset; '' where nobody asked."""
    symptoms = None if clinic is None else clinic.symptoms
    if symptoms is None:
        return ""
    parts = [symptoms.site or ""]
    if symptoms.duration_months is not None:
        parts.append(f"for {_months(symptoms.duration_months)}")
    if symptoms.onset is not None:
        parts.append(f"onset {symptoms.onset.value}")
    return _joined(parts, on=symptoms.on)


def examination_words(clinic: ClinicRecord | None) -> tuple[str, ...]:
    """Each examination as one line."""
    return tuple(_examination(item) for item in clinic.examinations) if clinic else ()


def injection_words(clinic: ClinicRecord | None) -> tuple[str, ...]:
    """Each injection as one line."""
    if clinic is None:
        return ()
    return tuple(
        _joined(
            [item.what or "injection", f"relief {item.relief.value}" if item.relief else ""],
            on=item.on,
        )
        for item in clinic.injections
    )


def care_words(clinic: ClinicRecord | None) -> tuple[str, ...]:
    """Each treatment without an operation as one line."""
    if clinic is None:
        return ()
    return tuple(
        _joined(
            [
                item.kind,
                f"{item.weeks:g} weeks" if item.weeks is not None else "",
                f"effect {item.effect.value}" if item.effect else "",
            ],
            on=item.on,
        )
        for item in clinic.care
    )


def score_words(clinic: ClinicRecord | None) -> tuple[str, ...]:
    """Each questionnaire score as one line."""
    if clinic is None:
        return ()
    return tuple(_joined([f"{s.instrument} {s.value:g} points"], on=s.on) for s in clinic.scores)


def imaging_words(clinic: ClinicRecord | None) -> tuple[str, ...]:
    """Each finding on images as one line."""
    if clinic is None:
        return ()
    return tuple(
        _joined(
            [
                f"{item.kind}: {item.finding}",
                item.where or "",
                item.modality.value if item.modality else "modality not recorded",
            ],
            on=item.on,
        )
        for item in clinic.imaging
    )


def operation_words(clinic: ClinicRecord | None) -> tuple[str, ...]:
    """Each earlier operation as one line, its side in words."""
    if clinic is None:
        return ()
    return tuple(
        _joined(
            [
                f"{item.side.value} hip",
                str(item.year) if item.year is not None else "year not recorded",
                item.kind.value if item.kind else "",
                item.done,
            ]
        )
        for item in clinic.operations
    )


def _examination(item: Examination) -> str:
    """One examination."""
    parts = [_motion(item.motion)]
    signs = {
        "impingement sign": item.impingement_sign,
        "apprehension sign": item.apprehension_sign,
        "dial sign": item.dial_sign,
    }
    parts += [
        f"{name} {'positive' if value else 'negative'}"
        for name, value in signs.items()
        if value is not None
    ]
    if item.laxity_score is not None:
        parts.append(f"laxity score {item.laxity_score} of 9")
    return _joined(parts, on=item.on)


def _motion(motion: RangeOfMotion | None) -> str:
    """Ranges that were measured."""
    if motion is None:
        return ""
    return ", ".join(
        f"{words} {getattr(motion, name):g}°"
        for name, words in MOTION_WORDS.items()
        if getattr(motion, name) is not None
    )


def _plain_effect(effect: Effect | None) -> str:
    """What it did, to end a sentence with."""
    return f" ({PLAIN_EFFECTS[effect]})" if effect else ""


def _months(months: float) -> str:
    """A time in months, or in years from two years on."""
    if months >= 24:
        return f"{months / 12:.1f}".removesuffix(".0") + " years"
    return "1 month" if months == 1 else f"{months:g} months"


def _joined(parts: Iterable[str], *, on: date | None = None) -> str:
    """Parts that are there, and the day."""
    words = ", ".join(part for part in parts if part)
    if not words:
        return ""
    return f"{words} ({on.isoformat()})" if on else words
