"""Benchmark instances: read, ask the engine in millimetres, write the answer in the instance's own unit.

In: instance files (strip, bins, sheets, rectangles; format beside the files). Out: shapes and grounds scaled so that
a mean item is 100 mm square, and layout files.
"""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import shapely
from shapely.errors import ShapelyError
from shapely.geometry import Polygon, box

from nesting.faults import DrawingFault, within
from nesting.layout.terms import Ground, Shape, Spot

MEAN_MM = 100.0


@dataclass(frozen=True, slots=True)
class Sheet:
    """One entry of `bins` or `sheets`; quantity None: any number."""

    ground: Ground
    quantity: int | None
    cost: float


@dataclass(frozen=True, slots=True)
class Instance:
    """An instance in millimetres; `unit_mm` is the factor from its own unit. Shape ids are item id, `#`, copy."""

    name: str
    goal: str
    unit_mm: float
    shapes: tuple[Shape, ...]
    width_mm: float | None
    sheets: tuple[Sheet, ...]
    guillotine: bool
    raw: dict[str, Any]

    @property
    def item_area_mm2(self) -> float:
        return float(sum(shape.polygon.area for shape in self.shapes))

    def published(self, what: str) -> float | None:
        """Density in per cent: `best`, or `mean` of many runs."""
        if what == "best":
            density = (self.raw.get("best_published") or {}).get("density_percent")
            return None if density is None else float(density)
        means = [entry for entry in self.raw.get("other_published") or [] if "mean of" in entry.get("what", "")]
        return float(means[0]["density_percent"]) if means else self.published("best")


def read(path: Path, grow: float = 1.0) -> Instance:
    """Read an instance file; its sheets so many times longer and wider than it says. Raises DrawingFault."""
    with within(str(path)):
        try:
            raw = json.loads(path.read_text(encoding="utf-8"), parse_constant=_no_number)
            return _instance(raw if grow == 1.0 else _grown(raw, grow))
        except (OSError, ArithmeticError, LookupError, TypeError, ValueError, ShapelyError) as fault:
            raise DrawingFault(f"this is no instance that can be read ({type(fault).__name__}: {fault})") from fault


def _no_number(constant: str) -> float:
    raise ValueError(f"{constant} is no number")


def _instance(raw: dict[str, Any]) -> Instance:
    items = raw["items"]
    polygons = [_polygon(item) for item in items]
    count = sum(_most(item) for item in items)
    area = sum(polygon.area * _most(item) for polygon, item in zip(polygons, items, strict=True))
    unit = MEAN_MM / math.sqrt(area / count)
    shapes = [
        replace(shape, id=f"{item['id']}#{copy}")
        for item, polygon in zip(items, polygons, strict=True)
        for shape in [_shape(item, scaled_by(polygon, unit), raw)]
        for copy in range(_most(item))
    ]
    sheets = [
        Sheet(_ground(entry, unit), entry.get("quantity"), float(1.0 if entry.get("cost") is None else entry["cost"]))
        for entry in raw.get("sheets", raw.get("bins", []))
    ]
    width = float(raw["width"]) * unit if raw["kind"] == "strip" else None
    goal = str(raw.get("goal", "least length" if raw["kind"] == "strip" else "least cost"))
    return Instance(raw["name"], goal, unit, tuple(shapes), width, tuple(sheets), bool(raw.get("guillotine")), raw)


def _grown(raw: dict[str, Any], grow: float) -> dict[str, Any]:
    """The same with all sheets longer and wider; a strip whose least length is known becomes one sheet of it."""
    length = (raw.get("known_optimum") or {}).get("length")
    if raw["kind"] == "strip":
        if length is None:
            return raw | {"width": raw["width"] * grow}
        strip = {"id": "strip", "length": length, "height": raw["width"], "quantity": 1, "cost": 1}
        raw = raw | {"kind": "bins", "goal": "least cost", "bins": [strip], "bounds": {"of": "bins", "lower": 1}}
    entries = "sheets" if "sheets" in raw else "bins"
    return raw | {entries: [_grown_sheet(entry, grow) for entry in raw[entries]]}


def _grown_sheet(entry: dict[str, Any], grow: float) -> dict[str, Any]:
    def larger(value: Any) -> Any:
        return [larger(part) for part in value] if isinstance(value, list) else value * grow

    measures = ("length", "width", "height", "outline", "holes", "defects")
    zones = [zone | {"outline": larger(zone["outline"])} for zone in entry.get("zones", [])]
    return entry | {key: larger(entry[key]) for key in measures if key in entry} | ({"zones": zones} if zones else {})


def _most(item: dict[str, Any]) -> int:
    return int(item.get("quantity_max", item["quantity"]))


def _shape(item: dict[str, Any], polygon: Polygon, raw: dict[str, Any]) -> Shape:
    value = item.get("value")
    # A part of an item that asks for more than the rest is taken to ask it for the whole.
    qualities = [item.get("min_quality", math.inf), *(zone["quality"] for zone in item.get("zones", []))]
    return Shape(
        str(item["id"]),
        polygon,
        _turns(item, raw),
        bool(item.get("mirror")),
        float(polygon.area if value is None else value),
        quality=float(max(qualities)),
    )


def _polygon(item: dict[str, Any]) -> Polygon:
    if "outline" in item:
        polygon = Polygon(item["outline"], item.get("holes") or [])
        if not polygon.is_valid:
            raise DrawingFault(
                f"no outline to cut along: {shapely.is_valid_reason(polygon)}",
                where=(f"item {item['id']}",),
                mend="let no edges cross or touch",
            )
        return polygon
    return box(0.0, 0.0, float(item["length"]), float(item["height"]))


def _turns(item: dict[str, Any], raw: dict[str, Any]) -> tuple[float, ...] | None:
    turns = item.get("allowed_rotations", [0.0, 90.0] if raw.get("turn") else [0.0])
    return None if turns == "any" else tuple(float(turn) for turn in turns)


def scaled_by(polygon: shapely.Geometry, unit: float) -> Polygon:
    """Larger or smaller about its origin."""
    scaled = shapely.transform(polygon, lambda points: points * unit)
    assert isinstance(scaled, Polygon)
    return scaled


def _ground(entry: dict[str, Any], unit: float) -> Ground:
    if "outline" in entry:
        outline = Polygon(entry["outline"])
    else:
        outline = box(0.0, 0.0, float(entry["width"] if "width" in entry else entry["length"]), float(entry["height"]))
    barred = [Polygon(ring) for ring in [*entry.get("holes", []), *entry.get("defects", [])]]
    zones = [(scaled_by(Polygon(zone["outline"]), unit), float(zone["quality"])) for zone in entry.get("zones", [])]
    return Ground(scaled_by(outline, unit), (), tuple(scaled_by(ring, unit) for ring in barred), tuple(zones))


def written(instance: Instance, spots: Sequence[Spot], addresses: Sequence[tuple[int, int]] = ((0, 0),)) -> str:
    """A layout file; `addresses` tells entry and copy of each ground that spots refer to."""
    placements = [
        {
            "item": spot.id.rsplit("#", 1)[0],
            "sheet": list(addresses[spot.ground]),
            "x": spot.x_mm / instance.unit_mm,
            "y": spot.y_mm / instance.unit_mm,
            "rotation": spot.turn_deg,
            "mirrored": spot.mirrored,
        }
        for spot in spots
    ]
    return json.dumps({"instance": instance.name, "placements": placements}, indent=1)
