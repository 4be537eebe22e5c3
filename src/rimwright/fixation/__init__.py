"""Where anchors can go: the bone field, corridors by hour, and the limits they keep."""

from rimwright.fixation.corridors import corridor_hours, find_corridors
from rimwright.fixation.drill_density import DrillDensity, anchors_with_density, drill_density
from rimwright.fixation.graft_stock import graft_stock
from rimwright.fixation.layout import Layout, lay_out_anchors
from rimwright.fixation.limits import FixationLimits
from rimwright.fixation.mesh_field import MeshBoneField, build_mesh_field
from rimwright.fixation.portals import PortalPlacement, place_portals

__all__ = [
    "DrillDensity",
    "FixationLimits",
    "Layout",
    "MeshBoneField",
    "PortalPlacement",
    "anchors_with_density",
    "build_mesh_field",
    "corridor_hours",
    "drill_density",
    "find_corridors",
    "graft_stock",
    "lay_out_anchors",
    "place_portals",
]
