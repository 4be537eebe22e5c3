"""Where anchors can go: the bone field, corridors by hour, and the limits they keep."""

from rimwright.fixation.corridors import corridor_hours, find_corridors
from rimwright.fixation.limits import FixationLimits
from rimwright.fixation.mesh_field import MeshBoneField, build_mesh_field

__all__ = [
    "FixationLimits",
    "MeshBoneField",
    "build_mesh_field",
    "corridor_hours",
    "find_corridors",
]
