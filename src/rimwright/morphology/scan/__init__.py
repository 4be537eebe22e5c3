"""From a CT to the surfaces of one hip, and on to the same geometry as from bones."""

from rimwright.morphology.scan.scanned_hip import (
    HipInScan,
    MetalPiece,
    ScannedHip,
    ScanSurvey,
)

__all__ = [
    "HipInScan",
    "MetalPiece",
    "ScanSurvey",
    "ScannedHip",
]
