"""A chain: one layout under way, with its arrays and its own random numbers, and the moves the outer loops make.

In: shapes, grounds, gap and margin. Out: spots. A chain is deterministic in its seed and may run in a thread of its
own: the kernels release the GIL and chains share nothing that is written.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from nesting.layout import grounds as g
from nesting.layout import kernels, outlines
from nesting.layout.terms import Effort, Ground, Shape, Spot, Stop

CHUNK = 20_000
"""Evaluations between two looks at the stop rule: some hundredths of a second."""
Keep = NDArray[np.float64]
"""A saved layout: (pieces, 5) x, y, row or base, angle, region; region -1: takes no part."""


class Task:
    """What does not change while a set of shapes is laid on grounds: rows, pieces, regions."""

    def __init__(self, shapes: Sequence[Shape], grounds: Sequence[Ground], gap_mm: float, margin_mm: float) -> None:
        self.shapes = list(shapes)
        self.grounds = list(grounds)
        self.gap_mm, self.margin_mm = gap_mm, margin_mm
        self.table = outlines.table(shapes, gap_mm / 2)
        self.scale = self.table.scale
        across = any(shape.reach_charge is not None for shape in shapes)
        self.places = g.places(grounds, gap_mm / 2, margin_mm, across=across)
        self.regions = g.regions(self.places, self.scale) if self.places else None
        self.allowed = self._allowed()
        hulls = self.table.rows.size[self.table.first].astype(float) ** 4
        diameters = self.table.rows.soft[self.table.first]
        self.bulk = hulls * diameters
        """Large and long shapes first: the order in which shapes are laid one after another."""

    def _allowed(self) -> NDArray[np.uint8]:
        rows, allowed = self.table.rows, np.zeros((len(self.shapes), len(self.places)), np.uint8)
        for i, shape in enumerate(self.shapes):
            first, count = self.table.first[i], self.table.turns[i]
            box = rows.box[first : first + count]
            w, h = (box[:, 2] - box[:, 0]) * self.scale, (box[:, 3] - box[:, 1]) * self.scale
            for k, place in enumerate(self.places):
                if place.across and shape.reach_charge is None:
                    continue
                x0, y0, x1, y1 = place.area.bounds
                fits = bool(np.any((w <= x1 - x0) & (h <= y1 - y0))) or shape.turns_deg is None
                allowed[i, k] = fits and shape.polygon.area <= place.area.area
        return allowed

    @property
    def hopeless(self) -> list[int]:
        """Shapes that no place is large enough for."""
        return [i for i in range(len(self.shapes)) if not self.allowed[i].any()]

    @property
    def overfull(self) -> bool:
        """The shapes have more area than the grounds."""
        room = sum(ground.polygon.area - sum(p.area for p in ground.pinned) for ground in self.grounds)
        return sum(shape.polygon.area for shape in self.shapes) > room * (1 + 1e-9)


class Chain:
    """One layout under way; see the kernels for what the arrays hold."""

    def __init__(self, task: Task, seed: int) -> None:
        self.task = task
        n = len(task.shapes)
        table = task.table
        free = bool((table.slot >= 0).any())
        self.rows = kernels.Rows._make(a.copy() for a in table.rows) if free else table.rows
        self.pieces = kernels.Pieces(table.first, table.turns, table.slot, task.allowed)
        assert task.regions is not None
        self.regions = task.regions._replace(box=task.regions.box.copy())
        self.state = _state(n, table, seed)
        self.keep: Keep = np.zeros((n, 5))
        self.arrays = (self.rows, self.pieces, self.regions, self.state)
        for i in range(n):
            kernels.take_off(self.state, i)

    @property
    def effort(self) -> Effort:
        return Effort(int(self.state.work[kernels.EVALUATIONS]), int(self.state.work[kernels.ROUNDS]))

    @property
    def present(self) -> NDArray[np.bool_]:
        return self.state.live.astype(bool)

    @property
    def loss(self) -> float:
        return float(kernels.total_loss(self.state))

    def random(self) -> float:
        return float(kernels.uniform(self.state.rng))

    def insert(self, i: int, tries: int, lean: tuple[float, float] = (1.0, 0.3)) -> bool:
        """Lay a piece where it overlaps nothing, far against the lean."""
        return bool(kernels.insert(*self.arrays, i, tries, *lean))

    def insert_within_reach(self, i: int, tries: int) -> bool:
        """Lay a piece again, now wholly in a reach; it stays where it is if there is no room."""
        allowed, before = self.task.allowed[i].copy(), self.save()
        self.task.allowed[i] *= np.array([not place.across for place in self.task.places], np.uint8)
        self.take_off(i)
        found = bool(self.task.allowed[i].any()) and self.insert(i, tries)
        self.task.allowed[i] = allowed
        if not found:
            self.restore(before)
        return found

    def force(self, i: int) -> None:
        """Lay a piece where it overlaps least."""
        kernels.relocate(*self.arrays, i, 60, 0, 0.01)

    def take_off(self, i: int) -> None:
        kernels.take_off(self.state, i)

    def calm(self) -> None:
        """Forget the weights."""
        self.state.weight.fill(1.0)
        self.state.weight_out.fill(1.0)

    def separate(self, patience: int, stop: Stop, *, strikes: int = 1, floor: float = 0.001) -> bool:
        """Move pieces until nothing overlaps (True), or `strikes` times `patience` rounds brought no gain.

        Every strike goes on from the best layout seen, with the weights as they are. It is that layout which stands
        at the end.
        """
        run, mark = self.state.run, np.inf
        while strikes > 0:
            run[kernels.LEAST] = -1.0
            while stop(self.effort) < 1.0:
                least = kernels.separate(*self.arrays, self.keep, patience, CHUNK, floor)
                if least == 0.0:
                    return True
                if run[kernels.IDLE] >= patience:
                    break
            self.restore(self.keep)
            strikes = strikes if least < 0.98 * mark else strikes - 1
            mark = min(mark, least)
            if stop(self.effort) >= 1.0:
                return False
        return False

    def save(self) -> Keep:
        kernels.save(self.pieces, self.state, self.keep)
        return self.keep.copy()

    def restore(self, keep: Keep) -> float:
        """Lay everything as saved. Returns the total loss."""
        state, slot = self.state, self.pieces.slot
        state.x[:], state.y[:], state.angle[:] = keep[:, 0], keep[:, 1], keep[:, 3]
        state.live[:] = keep[:, 4] >= 0
        state.region[:] = np.maximum(0, keep[:, 4])
        np.copyto(state.base, keep[:, 2].astype(np.int64), where=slot >= 0)
        np.copyto(state.row, keep[:, 2].astype(np.int64), where=slot < 0)
        return self.remeasure()

    def remeasure(self) -> float:
        """Bring all losses up to date with the positions."""
        return float(kernels.measure_all(*self.arrays))

    def spots(self) -> list[Spot]:
        """Where the pieces that take part lie, in millimetres, each in its ground's own frame."""
        found, s, t = [], self.state, self.task
        for i, shape in enumerate(t.shapes):
            if not s.live[i]:
                continue
            place = t.places[int(s.region[i])]
            form = t.table.forms[int(s.base[i]) if t.table.slot[i] >= 0 else int(s.row[i])]
            x, y = float(s.x[i]) * t.scale - place.aside[0], float(s.y[i]) * t.scale - place.aside[1]
            found.append(
                outlines.spot(shape.id, form, x, y, float(s.angle[i]), ground=place.ground, across=place.across)
            )
        return found


def _state(n: int, table: outlines.Table, seed: int) -> kernels.State:
    def f32(*shape: int) -> NDArray[np.float32]:
        return np.zeros(shape, np.float32)

    return kernels.State(
        x=np.zeros(n),
        y=np.zeros(n),
        angle=np.zeros(n),
        base=table.first.copy(),
        row=np.where(table.slot >= 0, table.slot, table.first),
        region=np.zeros(n, np.int64),
        box=np.zeros((n, 8)),
        live=np.zeros(n, np.uint8),
        loss=f32(n, n),
        out=f32(n),
        weight=f32(n, n) + np.float32(1.0),
        weight_out=f32(n) + np.float32(1.0),
        rng=np.array([(seed * 0x9E3779B97F4A7C15 + 0x1234567) % 2**64], np.uint64),
        work=np.zeros(3, np.int64),
        run=np.zeros(3),
        lane=f32(2, kernels.LANES),
        near=np.zeros(table.rows.ax.shape[1] + 1, np.int64),
        order=np.zeros(n, np.int64),
        best=np.zeros((kernels.KEPT + 1, 6)),
    )
