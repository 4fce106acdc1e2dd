"""A plan folder held in memory: `plan.json` as plain data, each drawing as plain chains, so that both can be damaged.

Shares no code with the planner or the audit: points are complex numbers, drawings are written and read by ezdxf alone.
"""

from __future__ import annotations

import itertools
import json
import math
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import ezdxf

NOTES = ("NOTE_SHEET", "NOTE_REACH", "NOTE_FIND")
LAYERS = ("CUT", "MARK", "LINEUP", *NOTES)


@dataclass
class Entity:
    """A light polyline: layer, vertices [x, y, bulge] in the bed frame, closed or not."""

    layer: str
    vertices: list[list[float]]
    closed: bool = False


@dataclass
class PlanFolder:
    """All that a plan folder holds that the audit reads."""

    plan: dict[str, Any]
    drawings: dict[str, list[Entity]]
    units: dict[str, int] = field(default_factory=dict)
    frozen: set[tuple[str, str]] = field(default_factory=set)
    raw: dict[str, bytes] = field(default_factory=dict)

    def write(self, folder: Path) -> Path:
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "plan.json").write_text(json.dumps(self.plan), encoding="utf-8")
        for name, entities in self.drawings.items():
            self._document(name, entities).saveas(folder / name)
        for name, content in self.raw.items():
            (folder / name).write_bytes(content)
        return folder

    def _document(self, name: str, entities: list[Entity]) -> ezdxf.document.Drawing:
        document = ezdxf.new("R2010", units=self.units.get(name, 4))
        for layer in LAYERS:
            document.layers.add(layer)
            if (name, layer) in self.frozen:
                document.layers.get(layer).freeze()
        for entity in entities:
            document.modelspace().add_lwpolyline(
                entity.vertices, format="xyb", close=entity.closed, dxfattribs={"layer": entity.layer}
            )
        return document

    # ── looking round ────────────────────────────────────────────────────────────────────────────────────────

    def runs(self) -> list[tuple[dict[str, Any], dict[str, Any]]]:
        """Every pass with its sheet."""
        return [(sheet, run) for sheet in self.plan["sheets"] for run in sheet["passes"]]

    def piece(self, piece_id: str) -> dict[str, Any]:
        return next(piece for piece in self.plan["pieces"] if piece["id"] == piece_id)

    def cuts(self, layer: str = "CUT") -> list[tuple[str, int]]:
        """Places (file, index) of all entities of a layer in pass drawings."""
        files = [run["file"] for _, run in self.runs()]
        return [(f, i) for f in files for i, entity in enumerate(self.drawings[f]) if entity.layer == layer]


def load(folder: Path) -> PlanFolder:
    """A folder that the planner wrote."""
    plan = json.loads((folder / "plan.json").read_text(encoding="utf-8"))
    drawings = {path.name: _entities(path) for path in sorted(folder.glob("*.dxf"))}
    return PlanFolder(plan, drawings)


def _entities(path: Path) -> list[Entity]:
    found = []
    for entity in ezdxf.readfile(path).modelspace():
        layer = entity.dxf.layer
        if layer in NOTES:
            continue
        if entity.dxftype() == "LINE":
            ends = [[*list(end)[:2], 0.0] for end in (entity.dxf.start, entity.dxf.end)]
            found.append(Entity(layer, ends))
        else:
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
    """Cut a ring or chain where it crosses y = level, at most once a segment: (above, open chain) in order round it."""
    pieces: list[tuple[bool, list[list[float]]]] = []
    count = len(ring) if closed else len(ring) - 1
    for i in range(count):
        (ax, ay, bulge), (bx, by, _) = ring[i], ring[(i + 1) % len(ring)]
        a, b = complex(ax, ay), complex(bx, by)
        stops = [0.0, 1.0]
        if (ay - level) * (by - level) < 0:
            stops = [0.0, _crossing(a, b, bulge, level), 1.0]
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


def _crossing(a: complex, b: complex, bulge: float, level: float) -> float:
    low, high = 0.0, 1.0
    for _ in range(60):
        middle = (low + high) / 2
        if (point_at(a, b, bulge, middle).imag - level) * (a.imag - level) > 0:
            low = middle
        else:
            high = middle
    return (low + high) / 2
