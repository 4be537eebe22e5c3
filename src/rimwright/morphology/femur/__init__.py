"""One femur measured: head, neck, shaft, condyles, alpha angle by hour."""

from rimwright.morphology.femur.alpha import DEPARTURE_MM
from rimwright.morphology.femur.geometry import FemurGeometry
from rimwright.morphology.femur.given_landmarks import FEMORAL_LANDMARKS
from rimwright.morphology.femur.measure import measure_femur

__all__ = ["DEPARTURE_MM", "FEMORAL_LANDMARKS", "FemurGeometry", "measure_femur"]
