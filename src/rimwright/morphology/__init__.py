"""From bones to HipGeometry: socket, rim, frame, angles, femur, joint space; bone taken away."""

from rimwright.morphology.cam_mesh import resected_femur
from rimwright.morphology.cam_resection import plan_cam
from rimwright.morphology.hip_bones import ChosenBones, HipBone, choose_hip_bone, find_hip_bones
from rimwright.morphology.measure import LANDMARKS, measure_hip
from rimwright.morphology.rim_trim import trimmed_rim
from rimwright.morphology.trim_effect import predict_trim
from rimwright.morphology.trim_mesh import trimmed_bone

__all__ = [
    "ChosenBones",
    "HipBone",
    "LANDMARKS",
    "choose_hip_bone",
    "find_hip_bones",
    "measure_hip",
    "plan_cam",
    "predict_trim",
    "resected_femur",
    "trimmed_bone",
    "trimmed_rim",
]
