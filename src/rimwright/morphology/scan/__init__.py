"""From a CT to the surfaces of one hip, and on to the same geometry as from bones."""

from rimwright.morphology.scan.measure_scan import (
    measure_scan,
)
from rimwright.morphology.scan.scanned_hip import (
    HipInScan,
    MetalPiece,
    ScannedHip,
    ScanSurvey,
)
from rimwright.morphology.scan.survey import (
    survey_scan,
)

__all__ = [
    "HipInScan",
    "MetalPiece",
    "ScanSurvey",
    "ScannedHip",
    "measure_scan",
    "survey_scan",
]
