"""A measured number with its unit, method, spread and status."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum
from math import isfinite


class Status(StrEnum):
    """How far a number may be trusted."""

    OK = "ok"
    CAUTION = "caution"
    REFUSED = "refused"


@dataclass(frozen=True, slots=True, kw_only=True)
class Measurement:
    """
    One number, or the reason why there is none.

    Parameters
    ----------
    value
        None if and only if the status is refused.
    unit
        'deg', 'mm', '%', …
    method
        How it was taken, surrogates named.
    spread
        One standard deviation over refits, same unit; None where none was made.
    status, reason
        A reason is required for caution and refused.
    """

    value: float | None
    unit: str
    method: str = ""
    spread: float | None = None
    status: Status = Status.OK
    reason: str = ""

    def __post_init__(self) -> None:
        if (self.value is None) != (self.status is Status.REFUSED):
            raise ValueError("value: None goes with status refused, and only with it")
        if self.value is not None and not isfinite(self.value):
            raise ValueError(f"value: {self.value} is no measurement; refuse it with a reason")
        if self.status is not Status.OK and not self.reason:
            raise ValueError(f"reason: a measurement of status {self.status} needs one")

    @classmethod
    def refused(cls, unit: str, reason: str, *, method: str = "") -> Measurement:
        """No value, with the reason."""
        return cls(value=None, unit=unit, method=method, status=Status.REFUSED, reason=reason)

    def doubted(self, reason: str) -> Measurement:
        """The same value as a caution, with one more reason; a refusal stays as it is."""
        if self.status is Status.REFUSED:
            return self
        reasons = f"{self.reason}; {reason}" if self.reason else reason
        return replace(self, status=Status.CAUTION, reason=reasons)
