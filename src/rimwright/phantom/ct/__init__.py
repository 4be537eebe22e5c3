"""Made CT volumes of closed bones: known surfaces under partial volume, blur and noise."""

from rimwright.phantom.ct.body import BodySection, body_round
from rimwright.phantom.ct.grid import CtGrid, grid_round
from rimwright.phantom.ct.inserts import BoneGap, MetalCapsule
from rimwright.phantom.ct.look import CortexZone, CtLook
from rimwright.phantom.ct.make_ct import make_ct
from rimwright.phantom.ct.person_bones import person_bones

__all__ = [
    "BodySection",
    "BoneGap",
    "CortexZone",
    "CtGrid",
    "CtLook",
    "MetalCapsule",
    "body_round",
    "grid_round",
    "make_ct",
    "person_bones",
]
