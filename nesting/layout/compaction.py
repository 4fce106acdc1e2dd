"""All pieces of a strip slide at once until none can give way: linear programs over convex parts.

In: a chain whose pieces lie apart. Out: the same chain, its strip as short as sliding makes it, or as it was.

Two convex parts lie apart if an edge of one has the other wholly beyond it. While pieces slide without turning, holding
to that edge is a linear constraint, so how far all can go together is a linear program; solved again from where it
leads, with the edges that part them best there, it ends where no small slide of any pieces shortens the strip. Li,
Milenkovic (1995), Compaction and separation algorithms for non-convex polygons, EJOR 84, 539-561; with searches:
Gomes, Oliveira (2006), EJOR 171, 811-829. Convex parts: Hertel, Mehlhorn (1983), doi 10.1007/3-540-12689-9_105.
"""

from __future__ import annotations

import math
from contextlib import suppress
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import shapely
from numpy.typing import NDArray

from nesting.layout import compaction_kernels, kernels
from nesting.layout.outlines import Form, Outline, Table, turned
from nesting.layout.search import Chain
from nesting.solving import NoAnswer, optimum

if TYPE_CHECKING:
    from ortools.linear_solver import linear_solver_pb2

F64 = NDArray[np.float64]

TRUST = 0.05
"""How far a piece may slide at once, in the engine's scale (a mean piece has area 1)."""
CLEAR = 1e-6
"""How far parts are kept apart, so that the solver's tolerance does not make them overlap."""
PROGRAMS = 12
"""Linear programs at most, one from where another led."""
WORTH = 2e-5
"""The share by which a program has to shorten the strip for another to follow."""
CLOSE = 1e3
"""What it costs in a program that parts stay closer than that, against the same length of strip."""
LEFTWARD = 1e-5
"""What a piece's place to the right costs: pieces that are in nobody's way go left as well."""
CHARGE = 20
"""A program's rows are counted as so many evaluations each: they take as long."""


class Parts:
    """The convex parts of every form of a table, about its reference point."""

    def __init__(self, table: Table) -> None:
        self.of = [_parts(form, table.scale) for form in table.forms]
        self.table = table

    def laid(self, chain: Chain) -> compaction_kernels.Parts:
        """The parts of every piece as it is turned; row k of `first` is piece k."""
        state, slot = chain.state, self.table.slot
        mine = [self.of[state.base[i] if slot[i] >= 0 else state.row[i]] for i in range(len(slot))]
        for i in np.flatnonzero(slot >= 0).tolist():
            mine[i] = _boxed([_spun(ring, float(state.angle[i])) for ring in mine[i].rings])
        sizes = np.concatenate([[0], np.cumsum(np.concatenate([part.sizes for part in mine]))])
        return compaction_kernels.Parts(
            np.concatenate([part.vertex for part in mine]),
            np.concatenate([part.edge for part in mine]),
            np.concatenate([part.box for part in mine]),
            sizes.astype(np.int64),
            np.concatenate([[0], np.cumsum([len(part.rings) for part in mine])]).astype(np.int64),
        )


@dataclass(frozen=True, slots=True)
class _Form:
    """Rings of convex parts, and as in compaction_kernels.Parts: vertices, edges, boxes; numbers of vertices."""

    rings: list[F64]
    vertex: F64
    edge: F64
    box: F64
    sizes: list[int]


def _parts(form: Form, scale: float) -> _Form:
    rings = [turned(ring, form.turn_deg, form.mirrored) / scale for ring in convex_parts(form.outline)]
    return _boxed([ring[::-1] if form.mirrored else ring for ring in rings])


def _boxed(rings: list[F64]) -> _Form:
    return _Form(
        rings,
        np.concatenate(rings),
        np.concatenate([_edges(ring) for ring in rings]),
        np.array([(*ring.min(axis=0), *ring.max(axis=0)) for ring in rings]),
        [len(ring) for ring in rings],
    )


def _spun(ring: F64, angle: float) -> F64:
    c, s = math.cos(angle), math.sin(angle)
    return np.stack((c * ring[:, 0] - s * ring[:, 1], s * ring[:, 0] + c * ring[:, 1]), axis=-1)


def _edges(ring: F64) -> F64:
    step = np.roll(ring, -1, axis=0) - ring
    normal = np.stack((step[:, 1], -step[:, 0]), axis=-1) / np.hypot(step[:, 0], step[:, 1])[:, None]
    return np.column_stack((normal, (normal @ ring.T).max(axis=1)))


@lru_cache(maxsize=4096)
def convex_parts(outline: Outline) -> list[F64]:
    """Rings, counter-clockwise, of convex polygons that make up an outline: triangles, joined where it stays convex."""
    triangles = shapely.constrained_delaunay_triangles(outline.polygon).geoms
    points: dict[tuple[float, float], int] = {}
    rings: list[list[int]] = []
    for triangle in triangles:
        corners = shapely.get_coordinates(shapely.orient_polygons(triangle))[:-1].tolist()
        rings.append([points.setdefault((x, y), len(points)) for x, y in corners])
    at = np.array(list(points))
    return [at[ring] for ring in _joined(rings, at)]


def _joined(rings: list[list[int]], at: F64) -> list[list[int]]:
    """Triangles joined across common edges, long edges first, where both ends stay convex."""
    home = {(a, b): k for k, ring in enumerate(rings) for a, b in zip(ring, ring[1:] + ring[:1], strict=True)}
    inner = sorted(
        ((a, b) for a, b in home if a < b and (b, a) in home),
        key=lambda edge: (-float(np.hypot(*(at[edge[0]] - at[edge[1]]))), edge),
    )
    whole: dict[int, list[int]] = dict(enumerate(rings))
    for a, b in inner:
        one, other = home[a, b], home[b, a]
        if one == other:
            continue
        p, q = _from(whole[one], b), _from(whole[other], a)  # p: b ... a, q: a ... b
        ring = p[:-1] + q[:-1]
        if _convex(at, p[-2], a, q[1]) and _convex(at, q[-2], b, p[1]):
            whole[one] = ring
            for edge in pairwise(q):
                home[edge] = one
            del whole[other]
    return list(whole.values())


def _from(ring: list[int], corner: int) -> list[int]:
    """A ring's corners from the one given."""
    k = ring.index(corner)
    return ring[k:] + ring[:k]


def _convex(at: F64, before: int, corner: int, after: int) -> bool:
    (ax, ay), (bx, by) = at[corner] - at[before], at[after] - at[corner]
    return bool(ax * by - ay * bx >= 0.0)


def compact(chain: Chain, parts: Parts) -> bool:
    """Slide everything until the strip gets no shorter; whether it is shorter then. If not, all is as it was."""
    before, region = chain.save(), chain.regions.box[0]
    length, start = float(region[2]), _extent(chain)
    laid, extent = parts.laid(chain), start
    for _ in range(PROGRAMS):
        _slide(chain, laid)
        longer, extent = extent, _extent(chain)
        if extent > longer * (1.0 - WORTH):
            break
    region[2] = extent
    if extent < start and chain.remeasure() == 0.0:
        return True
    region[2] = length
    chain.restore(before)
    return False


def _extent(chain: Chain) -> float:
    return float(chain.state.box[:, kernels.X1].max())


def _slide(chain: Chain, laid: compaction_kernels.Parts) -> None:
    """One program, and the pieces where it says: where they are, if it has no answer."""
    state, n = chain.state, len(chain.state.x)
    near = np.empty((64 * n, 5))
    while (found := compaction_kernels.partings(laid, state.x, state.y, state.box, TRUST, near)) > len(near):
        near = np.empty((found, 5))
    state.work[kernels.EVALUATIONS] += CHARGE * found
    with suppress(NoAnswer):
        slid = np.array(optimum(_model(chain, near[:found]))[1 : 1 + 2 * n])
        state.x[:] += slid[:n]
        state.y[:] += slid[n:]
        state.box[:, [kernels.X0, kernels.X1]] += slid[:n, None]
        state.box[:, [kernels.Y0, kernels.Y1]] += slid[n:, None]


def _model(chain: Chain, near: F64) -> linear_solver_pb2.MPModelProto:
    """Variables: the strip's length, how far each piece slides along x and along y, and by how much parts that are too
    close stay so."""
    from ortools.linear_solver import linear_solver_pb2

    box, (x0, y0, _, y1) = chain.state.box, chain.regions.box[0, :4].tolist()
    n, model = len(box), linear_solver_pb2.MPModelProto()
    add = model.variable.add
    add(lower_bound=0.0, upper_bound=math.inf, objective_coefficient=1.0)
    for low in np.clip(x0 - box[:, 0], -TRUST, TRUST).tolist():
        add(lower_bound=low, upper_bound=TRUST, objective_coefficient=LEFTWARD)
    lows, highs = np.clip(y0 - box[:, 1], -TRUST, TRUST), np.clip(y1 - box[:, 3], -TRUST, TRUST)
    for low, high in zip(lows.tolist(), np.maximum(lows, highs).tolist(), strict=True):
        add(lower_bound=low, upper_bound=high)
    hold = model.constraint.add
    for i, right in enumerate(box[:, 2].tolist()):
        hold(lower_bound=right, upper_bound=math.inf, var_index=(0, 1 + i), coefficient=(1.0, -1.0))
    for i, j, nx, ny, apart in near.tolist():
        one, other = 1 + int(i), 1 + int(j)
        at, by, least = [one, other, n + one, n + other], [-nx, nx, -ny, ny], min(0.0, CLEAR - apart)
        if apart < CLEAR / 2:
            at.append(len(model.variable))
            by.append(1.0)
            add(lower_bound=0.0, upper_bound=math.inf, objective_coefficient=CLOSE)
            least = CLEAR - apart
        hold(lower_bound=least, upper_bound=math.inf, var_index=at, coefficient=by)
    return model
