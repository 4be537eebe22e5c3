"""The exact program of a layout: the cheapest chain of candidates along the arcs.

Candidates lie in order along the rim, and an anchor's neighbours decide what it costs, so the
cheapest chain that ends in each candidate follows from those that end in its predecessors. Two
anchors that are not neighbours can touch only where drills cross in depth; such a pair is split
into two smaller programs, one without each of the two, cheapest first, until the cheapest chain
left holds no such pair. What is found is the least over all chains of the candidates.
"""

from __future__ import annotations

import heapq
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numba import njit

from rimwright.anatomy import AnchorKind, Floats
from rimwright.fixation.layout_arcs import LayoutArc
from rimwright.fixation.layout_candidates import Candidates
from rimwright.fixation.limits import FixationLimits
from rimwright.fixation.triangle_distance import segment_segment_mm2

TIE_COST = 1e-6
"""Per anchor: fewest anchors break ties and decide nothing else."""
REACH_SLACK_MM = 1e-6
"""Rounding allowed when a gap or an end lies exactly at its limit, mm."""
MOST_SPLITS = 400
"""Programs tried for one layout before it is given up as having no answer."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Chain:
    """
    A chain of candidates, or how far one came.

    Parameters
    ----------
    rows
        Candidates chosen, in order; empty where no chain holds.
    cost
        Its cost; infinite where none.
    stuck_arc, stuck_mm
        Where none holds: the arc that could not be finished, and the arc length of the farthest
        candidate that a chain came to on it (−1 where not even its start is held).
    """

    rows: tuple[int, ...]
    cost: float
    stuck_arc: int = -1
    stuck_mm: float = -1.0


def best_chain(
    candidates: Candidates,
    *,
    arcs: Sequence[LayoutArc],
    kinds: Sequence[AnchorKind],
    limits: FixationLimits,
) -> Chain:
    """
    Find the cheapest chain that holds every arc.

    Parameters
    ----------
    candidates
        In order along the arcs.
    arcs, kinds
        As the candidates number them.
    limits
        Spacing, ends, gap between neighbours.

    Returns
    -------
    Chain
        Exact over the candidates.
    """
    pairs = _Pairs(candidates, kinds=kinds, limits=limits)
    program = _Program(candidates, arcs=arcs, pairs=pairs, limits=limits)
    alive = np.ones(len(candidates), dtype=bool)
    first = program.solve(alive)
    waiting = [(first.cost, 0, first, alive)]
    count = 0
    while waiting:
        _, _, chain, alive = heapq.heappop(waiting)
        clash = None if not chain.rows else pairs.first_clash(chain.rows)
        if clash is None:
            return chain if chain.rows else first
        if count > MOST_SPLITS:
            break
        for row in clash:
            rest = alive.copy()
            rest[row] = False
            branch = program.solve(rest)
            count += 1
            if branch.rows:
                heapq.heappush(waiting, (branch.cost, count, branch, rest))
    return Chain(rows=(), cost=float("inf"), stuck_arc=0, stuck_mm=0.0)


class _Pairs:
    """Distances between the drills of two candidates."""

    def __init__(
        self, candidates: Candidates, *, kinds: Sequence[AnchorKind], limits: FixationLimits
    ) -> None:
        depth = np.array([kind.depth_mm for kind in kinds])[candidates.kind]
        self.radius = np.array([kind.drill_mm / 2 for kind in kinds])[candidates.kind]
        self.entries = np.ascontiguousarray(candidates.entries)
        self.spans = np.ascontiguousarray(candidates.directions * depth[:, None])
        self.gap = limits.neighbour_gap_mm

    def first_clash(self, rows: Sequence[int]) -> tuple[int, int] | None:
        """Two anchors of a chain that come too near, if any."""
        for i, a in enumerate(rows):
            for b in rows[i + 1 :]:
                if _too_near(self.entries, self.spans, self.radius, self.gap, a, b):
                    return a, b
        return None


class _Program:
    """Edges between candidates worked out once, solved for any subset of them."""

    def __init__(
        self,
        candidates: Candidates,
        *,
        arcs: Sequence[LayoutArc],
        pairs: _Pairs,
        limits: FixationLimits,
    ) -> None:
        n = len(candidates)
        self.cost = candidates.cost + TIE_COST
        self.arc = candidates.arc
        self.along = candidates.along_mm
        tolerance = limits.end_tolerance_mm + REACH_SLACK_MM
        self.closed = bool(arcs) and arcs[0].closed
        length = np.array([arc.length_mm for arc in arcs])
        closed = np.array([arc.closed for arc in arcs], dtype=bool)
        self.n_arcs = len(arcs)
        self.starts = (self.along <= tolerance) | closed[self.arc] if n else np.zeros(0, bool)
        self.ends = (
            (self.along >= length[self.arc] - tolerance) | closed[self.arc]
            if n
            else np.zeros(0, bool)
        )
        held_arc = np.array([a for a, arc in enumerate(arcs) for _ in arc.held_mm], dtype=np.int64)
        held_at = np.array([at for arc in arcs for at in arc.held_mm], dtype=np.float64)
        self.first, self.before, self.edge_cost = _edges(
            self.arc,
            self.along,
            self.starts,
            self.ends,
            pairs.entries,
            pairs.spans,
            pairs.radius,
            pairs.gap,
            limits.spacing_mm,
            limits.spacing_max_mm + REACH_SLACK_MM,
            held_arc,
            held_at,
            tolerance,
        )
        self.pairs = pairs
        self.limits = limits
        self.length = float(length[0]) if self.n_arcs else 0.0

    def solve(self, alive: np.ndarray) -> Chain:
        """The cheapest chain over the candidates alive."""
        if not len(self.cost):
            return Chain(rows=(), cost=float("inf"), stuck_arc=0)
        if self.closed:
            return self._solve_ring(alive)
        start = np.where(self.starts & (self.arc == 0) & alive, self.cost, np.inf)
        total, came_from = _run(start, alive, self.cost, self.first, self.before, self.edge_cost)
        final = np.where(self.ends & (self.arc == self.n_arcs - 1), total, np.inf)
        if not np.isfinite(final).any():
            return self._stuck(total)
        last = int(final.argmin())
        return Chain(rows=_trace(last, came_from), cost=float(final[last]))

    def _solve_ring(self, alive: np.ndarray) -> Chain:
        """Try every first anchor of a closed ring; the last gap closes on it."""
        best = Chain(rows=(), cost=float("inf"), stuck_arc=0, stuck_mm=-1.0)
        reach = self.limits.spacing_max_mm + REACH_SLACK_MM
        farthest: Floats | None = None
        for row in np.flatnonzero((self.along <= reach) & alive):
            start = np.full(len(self.cost), np.inf)
            start[row] = self.cost[row]
            total, came_from = _run(
                start, alive, self.cost, self.first, self.before, self.edge_cost
            )
            farthest = total if farthest is None else np.minimum(farthest, total)
            gap = self.length - self.along + self.along[row]
            share = gap / self.limits.spacing_mm - 1.0
            final = np.where(
                (gap <= reach) & (self.along > self.along[row]), total + share**2, np.inf
            )
            while np.isfinite(final).any():
                last = int(final.argmin())
                if final[last] >= best.cost:
                    break
                if self.pairs.first_clash((int(row), last)) is None:
                    best = Chain(rows=_trace(last, came_from), cost=float(final[last]))
                    break
                final[last] = np.inf
        if best.rows or farthest is None:
            return best
        return self._stuck(farthest)

    def _stuck(self, total: Floats) -> Chain:
        """Where the chains end that came farthest."""
        came = np.isfinite(total)
        if not came.any():
            return Chain(rows=(), cost=float("inf"), stuck_arc=0)
        arc = int(self.arc[came].max())
        here = came & (self.arc == arc)
        at = float(self.along[here].max())
        done = bool((here & self.ends).any()) and not self.closed
        if done and arc + 1 < self.n_arcs:
            return Chain(rows=(), cost=float("inf"), stuck_arc=arc + 1)
        return Chain(rows=(), cost=float("inf"), stuck_arc=arc, stuck_mm=at)


def _trace(last: int, came_from: np.ndarray) -> tuple[int, ...]:
    """Follow a chain back to its first row."""
    rows = [last]
    while came_from[rows[-1]] >= 0:
        rows.append(int(came_from[rows[-1]]))
    return tuple(reversed(rows))


@njit(cache=True, nogil=True)
def _too_near(entries, spans, radius, gap, a, b):  # type: ignore[no-untyped-def]
    """Whether two drills leave less than the gap between their surfaces."""
    square = segment_segment_mm2(
        entries[a, 0], entries[a, 1], entries[a, 2], spans[a, 0], spans[a, 1], spans[a, 2],
        entries[b, 0], entries[b, 1], entries[b, 2], spans[b, 0], spans[b, 1], spans[b, 2],
    )  # fmt: skip
    limit = radius[a] + radius[b] + gap
    return square < limit * limit


@njit(cache=True, nogil=True)
def _edges(  # type: ignore[no-untyped-def]
    arc, along, starts, ends, entries, spans, radius, gap, target, most, held_arc, held_at,
    tolerance,
):  # fmt: skip
    """Predecessors of each candidate: first[j]..first[j+1] in `before`, with the gap's cost."""
    n = len(arc)
    first = np.zeros(n + 1, dtype=np.int64)
    before = np.empty(1024, dtype=np.int64)
    cost = np.empty(1024)
    count = 0
    for j in range(n):
        for i in range(j - 1, -1, -1):
            if arc[i] == arc[j]:
                step = along[j] - along[i]
                if step > most:
                    # Farther back on this arc only lie farther ones.
                    if starts[j] and arc[j] > 0:
                        continue
                    break
                if step <= 0.0:
                    continue
                skips = False
                for h in range(len(held_at)):
                    if (
                        held_arc[h] == arc[i]
                        and along[i] < held_at[h] - tolerance
                        and along[j] > held_at[h] + tolerance
                    ):
                        skips = True
                if skips:
                    continue
                price = (step / target - 1.0) ** 2
            elif arc[i] == arc[j] - 1:
                if not starts[j]:
                    break
                if not ends[i]:
                    continue
                price = 0.0
            else:
                break
            if _too_near(entries, spans, radius, gap, i, j):
                continue
            if count == len(before):
                before = np.concatenate((before, np.empty(count, dtype=np.int64)))
                cost = np.concatenate((cost, np.empty(count)))
            before[count] = i
            cost[count] = price
            count += 1
        first[j + 1] = count
    return first, before[:count].copy(), cost[:count].copy()


@njit(cache=True, nogil=True)
def _run(start, alive, cost, first, before, edge_cost):  # type: ignore[no-untyped-def]
    """Least cost of a chain that ends in each candidate, and its predecessor."""
    n = len(cost)
    total = start.copy()
    came_from = np.full(n, -1, dtype=np.int64)
    for j in range(n):
        if not alive[j]:
            total[j] = np.inf
            continue
        for e in range(first[j], first[j + 1]):
            through = total[before[e]] + edge_cost[e] + cost[j]
            if through < total[j]:
                total[j] = through
                came_from[j] = before[e]
    return total, came_from
