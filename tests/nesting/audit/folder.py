"""A plan folder held in memory: `plan.json` as plain data, each drawing as plain chains, so that both can be damaged.

Shares no code with the planner or the audit: points are complex numbers, drawings are written and read by ezdxf alone.
"""

from __future__ import annotations

import functools
import io
import itertools
import json
import math
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import ezdxf

LAYERS = ("CUT", "MARK", "LINEUP", "NOTE_SHEET", "NOTE_REACH", "NOTE_FIND")


@dataclass
class Entity:
    """A light polyline: layer, vertices [x, y, bulge] in the bed frame, closed or not."""

    layer: str
    vertices: list[list[float]]
    closed: bool = False


@dataclass
class PlanFolder:
    """All that a plan folder holds that the audit reads; `raw` is written over what the drawings would be."""

    plan: dict[str, Any] = field(repr=False)
    drawings: dict[str, list[Entity]] = field(repr=False)
    units: dict[str, int] = field(default_factory=dict)
    frozen: dict[str, str] = field(default_factory=dict)
    raw: dict[str, bytes] = field(default_factory=dict)

    def write(self, folder: Path) -> Path:
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "plan.json").write_text(json.dumps(self.plan), encoding="utf-8")
        for name in self.drawings:
            (folder / name).write_bytes(self.drawing(name))
        for name, content in self.raw.items():
            (folder / name).write_bytes(content)
        return folder

    def drawing(self, name: str) -> bytes:
        entities = tuple(
            (entity.layer, tuple(map(tuple, entity.vertices)), entity.closed) for entity in self.drawings[name]
        )
        return _drawn(entities, self.units.get(name, 4), self.frozen.get(name))

    # ── looking round ────────────────────────────────────────────────────────────────────────────────────────

    def runs(self) -> list[tuple[dict[str, Any], dict[str, Any]]]:
        """Every pass with its sheet."""
        return [(sheet, run) for sheet in self.plan["sheets"] for run in sheet["passes"]]

    def piece(self, piece_id: str) -> dict[str, Any]:
        return next(piece for piece in self.plan["pieces"] if piece["id"] == piece_id)

    def placement(self, piece_id: str) -> dict[str, Any]:
        return next(p for sheet in self.plan["sheets"] for p in sheet["placements"] if p["piece"] == piece_id)

    def on(self, layer: str, keep: Callable[[Entity], bool] = lambda entity: True) -> list[Entity]:
        """Entities of one layer in the pass drawings that the test asks for."""
        files = [run["file"] for _, run in self.runs()]
        return [entity for name in files for entity in self.drawings[name] if entity.layer == layer and keep(entity)]

    def contours(self, piece_id: str) -> list[list[list[float]]]:
        """Outline, then holes, of a piece where it lies, sheet frame."""
        one, placement = self.piece(piece_id), self.placement(piece_id)
        return [place(ring, placement) for ring in (one["outline"], *one["holes"])]

    def drawn(self, piece_id: str) -> list[Entity]:
        """The entities of a piece that one pass cuts whole: outline first, then holes, then marks."""
        one, placement = self.piece(piece_id), self.placement(piece_id)
        run = next(run for _, run in self.runs() if piece_id in run["whole"])
        found = []
        for layer, ring in [("CUT", r) for r in (one["outline"], *one["holes"])] + [("MARK", m) for m in one["marks"]]:
            start = to_bed(place(ring, placement), run)[0]
            found.append(next(e for e in self.drawings[run["file"]] if e.layer == layer and _passes(e, start)))
        return found

    def move(self, piece_id: str, dx: float, dy: float) -> None:
        """Move a whole piece on its sheet, in the plan and in its drawing alike."""
        run = next(run for _, run in self.runs() if piece_id in run["whole"])
        turn = {0: 1, 90: 1j, 180: -1, 270: -1j}[run["turn_deg"]]
        step = complex(dx, dy) * turn
        for entity in self.drawn(piece_id):
            entity.vertices = [[x + step.real, y + step.imag, bulge] for x, y, bulge in entity.vertices]
        placement = self.placement(piece_id)
        placement["x_mm"] += dx
        placement["y_mm"] += dy


def _passes(entity: Entity, point: list[float]) -> bool:
    return any(math.dist(vertex[:2], point[:2]) < 1e-3 for vertex in entity.vertices)


@functools.lru_cache(maxsize=256)
def _drawn(entities: tuple[tuple[str, Any, bool], ...], units: int, frozen: str | None) -> bytes:
    document = ezdxf.new("R2010", units=units)
    for layer in LAYERS:
        document.layers.add(layer)
    if frozen:
        document.layers.get(frozen).freeze()
    for layer, vertices, closed in entities:
        document.modelspace().add_lwpolyline(vertices, format="xyb", close=closed, dxfattribs={"layer": layer})
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue().encode("utf-8")


def load(folder: Path) -> PlanFolder:
    """A folder that the planner wrote."""
    plan = json.loads((folder / "plan.json").read_text(encoding="utf-8"))
    drawings = {path.name: _entities(path) for path in sorted(folder.glob("*.dxf"))}
    return PlanFolder(plan, drawings)


def _entities(path: Path) -> list[Entity]:
    found = []
    for entity in ezdxf.readfile(path).modelspace():
        layer = entity.dxf.layer
        if entity.dxftype() == "LINE":
            ends = [[*list(end)[:2], 0.0] for end in (entity.dxf.start, entity.dxf.end)]
            found.append(Entity(layer, ends))
        elif entity.dxftype() == "LWPOLYLINE":
            found.append(Entity(layer, [list(v) for v in entity.get_points("xyb")], entity.closed))
    return found


# ── geometry of the tests ────────────────────────────────────────────────────────────────────────────────────


def place(ring: list[list[float]], spot: dict[str, Any]) -> list[list[float]]:
    """Piece frame to sheet frame."""
    turn = complex(math.cos(math.radians(spot["turn_deg"])), math.sin(math.radians(spot["turn_deg"])))
    moved = []
    for x, y, bulge in ring:
        z = complex(-x, y) if spot["mirrored"] else complex(x, y)
        z = z * turn + complex(spot["x_mm"], spot["y_mm"])
        moved.append([z.real, z.imag, -bulge if spot["mirrored"] else bulge])
    return moved


def to_bed(vertices: list[list[float]], held: dict[str, Any]) -> list[list[float]]:
    """Sheet frame to bed frame; also for points without bulge."""
    turn = {0: 1, 90: 1j, 180: -1, 270: -1j}[held["turn_deg"]]
    moved = []
    for vertex in vertices:
        z = complex(*vertex[:2]) * turn + complex(*held["shift_mm"])
        moved.append([z.real, z.imag, *vertex[2:]])
    return moved


def point_at(a: complex, b: complex, bulge: float, share: float) -> complex:
    """The point at a share of an arc's sweep, by its centre."""
    if bulge == 0:
        return a + share * (b - a)
    centre = (a + b) / 2 + 1j * (b - a) * (1 - bulge**2) / (4 * bulge)
    sweep = 4 * math.atan(bulge) * share
    return centre + (a - centre) * complex(math.cos(sweep), math.sin(sweep))


def split_at_level(ring: list[list[float]], level: float, closed: bool = True) -> list[tuple[bool, list[list[float]]]]:
    """Cut a ring or chain wherever it crosses y = level: (above, open chain) in order round it."""
    pieces: list[tuple[bool, list[list[float]]]] = []
    count = len(ring) if closed else len(ring) - 1
    for i in range(count):
        (ax, ay, bulge), (bx, by, _) = ring[i], ring[(i + 1) % len(ring)]
        a, b = complex(ax, ay), complex(bx, by)
        stops = [0.0, *_crossings(a, b, bulge, level), 1.0]
        for t0, t1 in itertools.pairwise(stops):
            start, end = point_at(a, b, bulge, t0), point_at(a, b, bulge, t1)
            above = point_at(a, b, bulge, (t0 + t1) / 2).imag > level
            part = math.tan(math.atan(bulge) * (t1 - t0))
            if pieces and pieces[-1][0] == above:
                pieces[-1][1][-1:] = [[start.real, start.imag, part], [end.real, end.imag, 0.0]]
            else:
                pieces.append((above, [[start.real, start.imag, part], [end.real, end.imag, 0.0]]))
    if closed and len(pieces) > 1 and pieces[0][0] == pieces[-1][0]:
        above, last = pieces.pop()
        pieces[0] = (above, last[:-1] + pieces[0][1])
    return pieces


def _crossings(a: complex, b: complex, bulge: float, level: float) -> list[float]:
    """Shares of the sweep where the segment crosses the level, by halving what is left of each sixteenth that does."""
    found = []
    for k in range(16):
        low, high = k / 16, (k + 1) / 16
        above, ends_above = (point_at(a, b, bulge, share).imag > level for share in (low, high))
        if above != ends_above:
            for _ in range(60):
                middle = (low + high) / 2
                if (point_at(a, b, bulge, middle).imag > level) == above:
                    low = middle
                else:
                    high = middle
            found.append((low + high) / 2)
    return found
