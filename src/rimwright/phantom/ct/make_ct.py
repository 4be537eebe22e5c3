"""Make a CT volume of closed bones: partial volume, blur and noise over known surfaces."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from itertools import islice

import numpy as np

from rimwright.anatomy import Modality, Progress, TriangleMesh, Volume, no_progress
from rimwright.anatomy.arrays import Floats, Ints
from rimwright.phantom.ct.body import BodySection, body_round, write_slice
from rimwright.phantom.ct.bone_block import PlacedBone, bone_shares, place_bone
from rimwright.phantom.ct.fine_grid import FineGrid, lay_fine_grid
from rimwright.phantom.ct.grid import CtGrid
from rimwright.phantom.ct.inserts import BoneGap, MetalCapsule
from rimwright.phantom.ct.look import LEAST_HU, MOST_HU, CortexZone, CtLook
from rimwright.phantom.ct.tissue_mix import Shares, mix

SAMPLE_MM = 0.3
"""Largest side of a fine cell, mm: half the usual blur, so that a step of 1400 HU seen through it
is right to about 5 HU."""
BLOCKS_AT_ONCE = 64
"""Blocks computed before they are added up, so that few wait in memory."""
SEED = 1
"""Seed of the noise unless another is asked for."""


def make_ct(
    bones: Sequence[TriangleMesh],
    *,
    look: CtLook,
    grid: CtGrid,
    metal: Sequence[MetalCapsule] = (),
    gaps: Sequence[BoneGap] = (),
    zones: Sequence[CortexZone] = (),
    body: BodySection | None = None,
    seed: int = SEED,
    sample_mm: float = SAMPLE_MM,
    progress: Progress | None = None,
) -> Volume:
    """
    Scan bones that are known.

    Every voxel is the mean over its own box of the tissues' Hounsfield units, blurred by a
    Gaussian in mm, plus noise. The mean is taken over fine cells whose shares of cortex and
    spongy bone come from the exact distance to the surface; blur and box are applied to the fine
    cells as one kernel, so that neither depends on the grid.

    Parameters
    ----------
    bones
        Closed bodies, outward, image frame, mm. Where two overlap they share the cell.
    look
        Hounsfield units, cortex, blur, noise.
    grid
        Where the voxels lie; bones beyond it are cut.
    metal
        Rods that displace whatever lies there.
    gaps
        Slabs of soft tissue through single bones.
    zones
        Balls with another thickness of cortex.
    body
        Soft tissue and fat; None lays one round the bones.
    seed
        Of the noise.
    sample_mm
        Largest side of a fine cell, mm.
    progress
        Told the part done; may raise to cancel.

    Returns
    -------
    Volume
        int16 HU within 12 bits, Modality.CT.

    Raises
    ------
    ValueError
        A surface is not closed, there is no bone, or a gap names a bone that is not there.
    """
    if not bones:
        raise ValueError("bones: at least one is needed")
    for gap in gaps:
        if not 0 <= gap.bone_index < len(bones):
            raise ValueError(f"gaps: there is no bone {gap.bone_index}, need 0 to {len(bones) - 1}")
    section = body_round(bones) if body is None else body
    fine = lay_fine_grid(grid, blur_mm=look.blur_mm, sample_mm=sample_mm)
    thickest = max([look.cortex_mm, *(zone.cortex_mm for zone in zones)])
    placed = [
        place_bone(
            bone, fine=fine, thickest_mm=thickest, gaps=[g for g in gaps if g.bone_index == at]
        )
        for at, bone in enumerate(bones)
    ]
    added = np.zeros(grid.shape, dtype=np.float32, order="F")
    tell, n_blocks = progress or no_progress, int(np.prod(fine.n_blocks))
    blocks = _computed(fine, placed, look=look, metal=metal, zones=zones, body=section)
    for number, (first, block) in enumerate(blocks):
        tell(number / n_blocks, "scanning the bones")
        if block is not None:
            fine.deposit(block, first, added)
    return _finished(added, look=look, grid=grid, body=section, seed=seed)


def _computed(
    fine: FineGrid,
    bones: Sequence[PlacedBone],
    *,
    look: CtLook,
    metal: Sequence[MetalCapsule],
    zones: Sequence[CortexZone],
    body: BodySection,
) -> Iterator[tuple[Ints, Shares | None]]:
    """All blocks in storage order, computed on all processors; None without bone or metal."""
    rods = np.zeros((len(metal), 7))
    for row, rod in zip(rods, metal, strict=True):
        row[:3], row[3:6] = fine.along_axes(np.stack([rod.start_mm, rod.end_mm]))
        row[6] = rod.radius_mm
    balls = np.zeros((len(zones), 5))
    for row, zone in zip(balls, zones, strict=True):
        row[:] = *fine.along_axes(zone.centre_mm), zone.radius_mm, zone.cortex_mm
    tissue = np.array(
        [look.soft_hu, look.fat_hu, look.air_hu, look.cortex_hu, look.spongy_hu, look.metal_hu]
    )
    to_image, numbers = fine.to_image(), body.numbers()

    def compute(first: Ints) -> Shares | None:
        near = rods[_rods_near(rods, first, fine)]
        shares = bone_shares(bones, fine=fine, first=first, cortex_mm=look.cortex_mm, zones=balls)
        if shares is None:
            if not len(near):
                return None
            empty = np.zeros(fine.block_cells, dtype=np.float32, order="F")
            shares = (empty, empty)
        added = np.empty(fine.block_cells, dtype=np.float32, order="F")
        mix(*shares, first, fine.cell_mm, to_image, numbers, near, tissue, added)
        return added

    blocks = fine.blocks()
    with ThreadPoolExecutor(max_workers=min(os.cpu_count() or 1, 4)) as pool:
        while batch := list(islice(blocks, BLOCKS_AT_ONCE)):
            yield from zip(batch, pool.map(compute, batch), strict=True)


def _rods_near(rods: Floats, first: Ints, fine: FineGrid) -> Ints:
    """Rods whose box touches a block."""
    margin = rods[:, 6:] + fine.cell_mm
    low = np.minimum(rods[:, :3], rods[:, 3:6]) - margin
    high = np.maximum(rods[:, :3], rods[:, 3:6]) + margin
    touches = (high >= first * fine.cell_mm) & (low <= (first + fine.block_cells) * fine.cell_mm)
    return np.flatnonzero(touches.all(axis=1))


def _finished(added: Shares, *, look: CtLook, grid: CtGrid, body: BodySection, seed: int) -> Volume:
    """Lay bones into the body, add noise, round to Hounsfield units."""
    generator = np.random.default_rng(seed)
    axes = grid.directions
    spread = look.blur_mm**2 * np.eye(3) + (axes * grid.spacing_mm**2 / 12.0) @ axes.T
    tissue = np.array([look.soft_hu, look.fat_hu, look.air_hu, LEAST_HU, MOST_HU])
    values = np.empty(grid.shape, dtype=np.int16, order="F")
    for k in range(grid.shape[2]):
        noise = generator.standard_normal(grid.shape[1::-1], dtype=np.float32).T
        noise *= np.float32(look.noise_hu)
        write_slice(
            added[:, :, k],
            noise,
            grid.affine,
            k,
            body.numbers(),
            spread,
            tissue,
            values[:, :, k],
        )
    return Volume(values=values, affine=grid.affine, modality=Modality.CT)
