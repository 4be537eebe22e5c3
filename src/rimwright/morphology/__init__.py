"""From bones to HipGeometry: socket, rim, frame, angles, femur, joint space."""

from rimwright.morphology.hip_bones import ChosenBones, HipBone, choose_hip_bone, find_hip_bones
from rimwright.morphology.measure import measure_hip

__all__ = ["ChosenBones", "HipBone", "choose_hip_bone", "find_hip_bones", "measure_hip"]
