"""One femur measured: head, neck, shaft, condyles, alpha angle by hour."""

from rimwright.morphology.femur.geometry import FemurGeometry
from rimwright.morphology.femur.measure import measure_femur

__all__ = ["FemurGeometry", "measure_femur"]
