"""Synthetic hips whose every measurement is known by construction."""

from rimwright.phantom.hip import (
    PhantomHip,
    make_hip,
)
from rimwright.phantom.shape import (
    HipShape,
    demo_shape,
)

__all__ = [
    "HipShape",
    "PhantomHip",
    "demo_shape",
    "make_hip",
]
