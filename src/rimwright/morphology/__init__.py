"""From bones to HipGeometry: socket, rim, frame, angles, femur, joint space."""

from rimwright.morphology.hip_bones import ChosenBones, HipBone, choose_hip_bone, find_hip_bones
from rimwright.morphology.measure import LANDMARKS, measure_hip

__all__ = [
    "LANDMARKS",
    "ChosenBones",
    "HipBone",
    "choose_hip_bone",
    "find_hip_bones",
    "measure_hip",
]
