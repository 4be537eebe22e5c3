"""Synthetic hips whose every measurement is known by construction."""

from rimwright.phantom.hip import (
    PhantomHip,
    make_hip,
)
from rimwright.phantom.random_shape import (
    random_shape,
)
from rimwright.phantom.shape import (
    HipShape,
    demo_shape,
)
from rimwright.phantom.truth import (
    HipTruth,
)

__all__ = [
    "HipShape",
    "HipTruth",
    "PhantomHip",
    "demo_shape",
    "make_hip",
    "random_shape",
]
