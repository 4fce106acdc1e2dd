"""A chain: one layout under way, with its arrays and its own random numbers, and the moves the outer loops make.

In: shapes, grounds, gap and margin. Out: spots. A chain is deterministic in its seed and may run in a thread of its
own: the kernels release the GIL and chains share nothing that is written.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from nesting.layout import checks, kernels, outlines
from nesting.layout import grounds as g
from nesting.layout.terms import Effort, Ground, Layout, Shape, Spot, Stop, same_turn

TRIES = 200
"""Positions tried for a piece laid where it overlaps nothing."""
WIDE, CLOSE = 40, 20
"""Positions tried for a piece in conflict: anywhere, and near where it lies."""
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
        self.shapes_free = {
            form: bool(self.table.slot[i] >= 0)
            for i in range(len(self.shapes))
            for form in range(self.table.first[i], self.table.first[i] + self.table.turns[i])
        }
        self.areas = np.array([shape.polygon.area for shape in shapes])
        self.room = sum(ground.polygon.area - sum(p.area for p in ground.pinned) for ground in grounds) * (1 + 1e-9)
        """Area to lay on, a hair more."""
        self.kinds = [shape.polygon.wkb for shape in shapes]
        across = any(shape.reach_charge is not None for shape in shapes)
        qualities = sorted({shape.quality for shape in shapes})
        self.places = g.places(grounds, gap_mm / 2, margin_mm, across=across, qualities=qualities)
        self.regions = g.regions(self.places, self.scale) if self.places else None
        self.allowed = self._allowed()
        hulls = self.table.rows.trait[self.table.first, kernels.SIZE] ** 4
        diameters = self.table.rows.trait[self.table.first, kernels.SOFT]
        self.bulk = hulls * diameters
        """Large and long shapes first: the order in which shapes are laid one after another."""

    def _allowed(self) -> NDArray[np.uint8]:
        rows, allowed = self.table.rows, np.zeros((len(self.shapes), len(self.places)), np.uint8)
        for i, shape in enumerate(self.shapes):
            first, count = self.table.first[i], self.table.turns[i]
            box = rows.trait[first : first + count]
            w, h = (box[:, 2] - box[:, 0]) * self.scale, (box[:, 3] - box[:, 1]) * self.scale
            for k, place in enumerate(self.places):
                if (place.across and shape.reach_charge is None) or place.quality not in (None, shape.quality):
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
        return float(self.areas.sum()) > self.room

    def made_by(self, form: int, spot: Spot) -> bool:
        """Whether a row stands for a spot's orientation (free shapes: for its side)."""
        row = self.table.forms[form]
        return row.mirrored == spot.mirrored and (self.shapes_free[form] or same_turn(row.turn_deg, spot.turn_deg))


class Chain:
    """One layout under way; see the kernels for what the arrays hold."""

    def __init__(self, task: Task, seed: int) -> None:
        self.task = task
        n = len(task.shapes)
        table = task.table
        free = bool((table.slot >= 0).any())
        self.rows = kernels.Rows._make(a.copy() for a in table.rows) if free else table.rows
        self.pieces = kernels.Pieces(table.first, table.turns, table.slot, task.allowed.copy())
        assert task.regions is not None
        self.regions = task.regions._replace(box=task.regions.box.copy())
        self.state = _state(n, table, seed)
        self.keep: Keep = np.zeros((n, 5))
        self.wide, self.close = WIDE, CLOSE
        self.arrays = (self.rows, self.pieces, self.regions, self.state)
        self.clear()

    @property
    def effort(self) -> Effort:
        return Effort(int(self.state.work[kernels.EVALUATIONS]), int(self.state.work[kernels.ROUNDS]))

    @property
    def present(self) -> NDArray[np.bool_]:
        return self.state.live.astype(bool)

    @property
    def room(self) -> float:
        """Area that nothing lies on, a hair more."""
        return self.task.room - float(self.task.areas[self.present].sum())

    @property
    def loss(self) -> float:
        return float(kernels.total_loss(self.state.loss, self.state.out))

    def random(self) -> float:
        return float(kernels.uniform(self.state.rng))

    def _work(self, job: kernels.Job) -> float:
        return float(kernels.work(*self.arrays, self.keep, job))

    def insert(self, i: int, tries: int, lean: tuple[float, float] = (1.0, 0.3)) -> bool:
        """Lay a piece where it overlaps nothing, far against the lean."""
        return self._work(kernels.Job(kernels.INSERT, i, tries, lean_x=lean[0], lean_y=lean[1])) < kernels.FAR

    def insert_within_reach(self, i: int, tries: int) -> bool:
        """Lay a piece again, now wholly in a reach; it stays where it is if there is no room."""
        allowed, before = self.pieces.allowed[i].copy(), self.save()
        self.pieces.allowed[i] *= np.array([not place.across for place in self.task.places], np.uint8)
        self.take_off(i)
        found = bool(self.pieces.allowed[i].any()) and self.insert(i, tries)
        self.pieces.allowed[i] = allowed
        if not found:
            self.restore(before)
        return found

    def force(self, i: int) -> None:
        """Lay a piece where it overlaps least."""
        self._work(kernels.Job(kernels.FORCE, i, 60, 0, 0.01))

    def take_off(self, i: int) -> None:
        kernels.take_off(self.state, i)

    def clear(self) -> None:
        """Take all pieces off."""
        for i in range(len(self.task.shapes)):
            self.take_off(i)

    def calm(self) -> None:
        """Forget the weights."""
        self.state.weight.fill(1.0)
        self.state.weight_out.fill(1.0)

    def separating(self, patience: int, strikes: int, floor: float = 0.001) -> Iterator[bool | None]:
        """Move pieces until nothing overlaps (True), or `strikes` times `patience` rounds brought no gain (False).

        Yields None every few hundredths of a second, and the outcome at the end. Every strike goes on from the best
        layout seen, with the weights as they are; it is that layout which stands at the end.
        """
        run, mark = self.state.run, math.inf
        job = kernels.Job(kernels.SEPARATE, 0, self.wide, self.close, floor, patience=patience, most=CHUNK)
        while strikes > 0:
            run[kernels.LEAST] = -1.0
            while True:
                least = self._work(job)
                if least == 0.0 or run[kernels.IDLE] >= patience:
                    break
                yield None
            if least == 0.0:
                yield True
            self.restore(self.keep)
            strikes = strikes if least < 0.98 * mark else strikes - 1
            mark = min(mark, least)
        yield False

    def separate(self, patience: int, stop: Stop, *, strikes: int = 1, floor: float = 0.001) -> bool:
        """Move pieces apart until it is done, in vain, or the stop rule says so; the best layout seen stands."""
        for outcome in self.separating(patience, strikes, floor):
            if outcome is not None:
                return outcome
            if stop(self.effort) >= 1.0:
                self.restore(self.keep)
                return False
        return False

    def disturb(self, keep: Keep) -> None:
        """Lay as saved, but swap two of the larger, unlike pieces, each then where the other lay."""
        self.restore(keep)
        large = [i for i in by_bulk(self.task) if self.state.live[i]]
        large = large[: max(2, len(large) // 2)]
        for _ in range(20 if len(large) > 1 else 0):
            a, b = (large[int(self.random() * len(large))] for _ in range(2))
            allowed = self.task.allowed[a, int(keep[b, 4])] and self.task.allowed[b, int(keep[a, 4])]
            if self.task.kinds[a] != self.task.kinds[b] and allowed:
                swapped = keep.copy()
                swapped[[a, b], :2], swapped[[a, b], 4] = keep[[b, a], :2], keep[[b, a], 4]
                self.restore(swapped)
                return

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

    def lay(self, spots: Sequence[Spot]) -> list[int]:
        """Lay pieces as spots say, if a place of theirs is there; returns the pieces that none of the spots lays."""
        by_id, keep, t = {spot.id: spot for spot in spots}, self.save(), self.task
        for i, shape in enumerate(t.shapes):
            keep[i, 4] = -1.0
            spot = by_id.get(shape.id)
            homes = [] if spot is None else [k for k, p in enumerate(t.places) if p.ground == spot.ground]
            homes = [k for k in homes if t.allowed[i, k]]
            if spot is None or not homes:
                continue
            form = next(f for f in range(t.table.first[i], t.table.first[i] + t.table.turns[i]) if t.made_by(f, spot))
            base = t.table.forms[form]
            angle = math.radians(spot.turn_deg - base.turn_deg) if t.table.slot[i] >= 0 else 0.0
            rx, ry = outlines.turned(np.array(base.outline.reference), spot.turn_deg, spot.mirrored).tolist()
            aside = t.places[homes[0]].aside
            x, y = (spot.x_mm + rx + aside[0]) / t.scale, (spot.y_mm + ry + aside[1]) / t.scale
            keep[i] = x, y, form, angle, homes[0]
        self.restore(keep)
        return np.flatnonzero(keep[:, 4] < 0).tolist()

    def spots_of(self, keep: Keep) -> list[Spot]:
        """Where the pieces of a saved layout lie, in millimetres, each in its ground's own frame."""
        found, t = [], self.task
        for shape, (x, y, form, angle, region) in zip(t.shapes, keep.tolist(), strict=True):
            if region >= 0:
                place = t.places[int(region)]
                at = x * t.scale - place.aside[0], y * t.scale - place.aside[1]
                spot = outlines.spot(shape.id, t.table.forms[int(form)], *at, angle)
                found.append(replace(spot, ground=place.ground, across=place.across))
        return found


def by_bulk(task: Task) -> list[int]:
    """Large and long pieces first."""
    order: list[int] = np.argsort(-task.bulk, kind="stable").tolist()
    return order


def lay_in_order(chain: Chain, order: Sequence[int], tries: int = TRIES) -> list[int]:
    """Lay pieces one after another where they overlap nothing; returns those that found no place. Where one piece
    found none, equal ones are not tried."""
    missing, full = [], set[tuple[bytes, tuple[float, ...] | None]]()
    for i in order:
        kind = (chain.task.kinds[i], chain.task.shapes[i].turns_deg)
        if kind in full or not chain.task.allowed[i].any() or not chain.insert(i, tries):
            missing.append(i)
            full.add(kind)
    return missing


def checked(
    task: Task, spots: Sequence[Spot], effort: Effort, grounds: Sequence[Ground] | None = None
) -> Layout | None:
    """A layout, checked exactly (on grounds other than the task's, if given); None if it breaks a rule."""
    shapes = {shape.id: shape for shape in task.shapes}
    if checks.broken(shapes, spots, grounds or task.grounds, task.gap_mm, task.margin_mm):
        return None
    laid = {spot.id for spot in spots}
    charges = sum(shapes[spot.id].reach_charge or 0.0 for spot in spots if spot.across)
    value = sum(shapes[i].value for i in sorted(laid)) - charges
    missing = tuple(shape.id for shape in task.shapes if shape.id not in laid)
    return Layout(tuple(spots), missing, value, None, effort)


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
        rng=np.random.SeedSequence(seed).generate_state(1, np.uint64).astype(np.uint64),
        work=np.zeros(2, np.int64),
        run=np.zeros(3),
        lane=f32(kernels.LANES),
        near=np.zeros((3, table.rows.edge.shape[2] + 1), np.int64),
        order=np.zeros(n, np.int64),
        other=np.zeros((11, n)),
        core=f32(-(-n // kernels.LANES), 5, kernels.LANES),
        bound=f32(-(-n // kernels.LANES), kernels.LANES),
        meet=np.zeros((3, n + 1), np.int64),
        crowd=np.zeros(2, np.int64),
        best=np.zeros((kernels.KEPT + 1, 6)),
    )
