"""A measurement has a value or a reason why not, never both absent, never a silent hole."""

from __future__ import annotations

import math

import pytest

from rimwright.anatomy import Measurement, Status


def test_ok_needs_no_reason():
    """A plain number."""
    measured = Measurement(value=31.2, unit="deg", spread=0.8)
    assert measured.status is Status.OK
    assert measured.reason == ""


@pytest.mark.fault
@pytest.mark.parametrize(
    ("value", "status", "reason"),
    [
        (None, Status.OK, ""),
        (None, Status.CAUTION, "image axes"),
        (31.0, Status.REFUSED, "no femur"),
        (31.0, Status.CAUTION, ""),
        (None, Status.REFUSED, ""),
        (math.nan, Status.OK, ""),
        (math.inf, Status.OK, ""),
    ],
)
def test_contradictions_are_errors(value, status, reason):
    """No value goes with refused and only with it; doubt has a reason; NaN is no value."""
    with pytest.raises(ValueError, match=r"^(value|reason): "):
        Measurement(value=value, unit="deg", status=status, reason=reason)


def test_refused_keeps_its_reason():
    """A refusal has no value and says why; doubting it changes nothing."""
    refused = Measurement.refused("deg", "no femur given", method="none")
    assert refused.value is None
    assert refused.status is Status.REFUSED
    assert refused.doubted("image axes") is refused


def test_doubts_add_up():
    """A second doubt joins the first; value, unit and spread stay."""
    measured = Measurement(value=31.2, unit="deg", spread=0.8)
    doubted = measured.doubted("image axes").doubted("short shaft")
    assert doubted.status is Status.CAUTION
    assert doubted.reason == "image axes; short shaft"
    assert (doubted.value, doubted.unit, doubted.spread) == (31.2, "deg", 0.8)
    assert measured.status is Status.OK
