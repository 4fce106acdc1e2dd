"""Sound plan folders made by hand: a crescent cut in two passes, letters round a counter, an L-shaped offcut.

Nothing here comes from the planner: lists of what lies where, and a small writer that draws the passes from them.
"""

from __future__ import annotations

import copy
import itertools
import math
from collections import Counter
from typing import Any

from shapely.geometry import Polygon, box

from tests.nesting.audit.folder import Entity, PlanFolder, place, point_at, split_at_level, to_bed

Ring = list[list[float]]

MACHINE = {
    "name": "small laser",
    "kind": "laser",
    "travel_mm": [600.0, 400.0],
    "table_mm": [620.0, 400.0],
    "open_front": True,
    "open_back": False,
    "gap_mm": 3.0,
    "margin_mm": 5.0,
    "lineup_error_mm": 0.15,
}
WHITE = {"material": "acrylic", "colour": "white", "thickness_mm": 10.0}
BLUE = {"material": "acrylic", "colour": "blue", "thickness_mm": 5.0}


def circle(x: float, y: float, radius: float) -> Ring:
    return [[x - radius, y, 1.0], [x + radius, y, 1.0]]


def rectangle(width: float, depth: float) -> Ring:
    return [[0, 0, 0.0], [width, 0, 0.0], [width, depth, 0.0], [0, depth, 0.0]]


def rounded(width: float, depth: float, radius: float) -> Ring:
    """A rectangle with rounded corners, its origin at its lower left."""
    quarter = math.tan(math.pi / 8)
    w, d, r = width, depth, radius
    return [
        [r, 0, 0.0], [w - r, 0, quarter], [w, r, 0.0], [w, d - r, quarter],
        [w - r, d, 0.0], [r, d, quarter], [0, d - r, 0.0], [0, r, quarter],
    ]  # fmt: skip


def star(points: int, outer: float, inner: float) -> Ring:
    radii = [outer, inner] * points
    turn = math.pi / points
    return [[r * math.cos(i * turn), r * math.sin(i * turn), 0.0] for i, r in enumerate(radii)]


def crescent(height: float) -> Ring:
    """Two arcs from tip to tip: the outer bow and the inner one, concave."""
    return [[0, 0, 0.7], [0, height, -0.35]]


def piece(piece_id: str, stock: dict[str, Any], outline: Ring, **more: Any) -> dict[str, Any]:
    base = {"id": piece_id, "name": piece_id, "copy": 1, **stock, "outline": outline, "holes": [], "marks": []}
    rest = {"turn": "any", "mirror": False, "one_piece": True, "fixings": [], "segment_of": None, "joints": []}
    return {**base, **rest, **more}


def spot(piece_id: str, blank: str, x: float, y: float, turn: float = 0.0, mirrored: bool = False) -> dict[str, Any]:
    return {"piece": piece_id, "blank": blank, "x_mm": x, "y_mm": y, "turn_deg": turn, "mirrored": mirrored}


def held(turn: int, x: float, y: float) -> dict[str, Any]:
    return {"turn_deg": turn, "shift_mm": [x, y]}


# ── drawing passes from a layout ─────────────────────────────────────────────────────────────────────────────


def contours_of(plan: dict[str, Any], placement: dict[str, Any]) -> list[tuple[str, Ring, bool]]:
    """Marks, holes, outline of a placed piece, in cutting order, sheet frame: (layer, vertices, closed)."""
    one = next(p for p in plan["pieces"] if p["id"] == placement["piece"])
    listed = [("MARK", mark, False) for mark in one["marks"]]
    listed += [("CUT", ring, True) for ring in (*one["holes"], one["outline"])]
    return [(layer, place(ring, placement), closed) for layer, ring, closed in listed]


def cross(x: float, y: float) -> list[Ring]:
    return [[[x - 3, y, 0.0], [x + 3, y, 0.0]], [[x, y - 3, 0.0], [x, y + 3, 0.0]]]


def draw_pass(plan: dict[str, Any], sheet: dict[str, Any], run: dict[str, Any], level: float | None) -> list[Entity]:
    """The pass's drawing; of `part` pieces what lies above `level` in a pass not turned, below it in a turned one."""
    spots = {p["piece"]: p for p in sheet["placements"]}
    drawn = []
    run["shares"] = []
    shared: list[Ring] = []
    for name in run["whole"]:
        for layer, ring, closed in contours_of(plan, spots[name]):
            drawn.append(Entity(layer, to_bed(ring, run), closed))
    for name in run["part"]:
        counted: dict[str, int] = {}
        for layer, ring, closed in contours_of(plan, spots[name]):
            kind = "mark" if layer == "MARK" else "hole"
            counted[kind] = number = counted.get(kind, 0) + 1
            holes = len(next(p for p in plan["pieces"] if p["id"] == name)["holes"])
            named = ("outline", 1) if kind == "hole" and number > holes else (kind, number)
            sides = split_at_level(ring, level, closed)
            for above, chain in sides:
                if above == (run["turn_deg"] == 0):
                    whole = closed and len(sides) == 1
                    drawn.append(Entity(layer, to_bed(chain[:-1] if whole else chain, run), whole))
                    share = {"piece": name, "kind": named[0], "number": named[1]}
                    run["shares"].append({**share, "start_mm": 0.0, "end_mm": length(chain)})
                    shared += [chain] if layer == "CUT" else []
    for mark in run["lineup"]:
        layer = "LINEUP" if mark["cut_here"] else "NOTE_FIND"
        drawn += [Entity(layer, to_bed(line, run)) for line in cross(*mark["sheet_mm"])]
    blank = next(b for b in sheet["blanks"] if b["id"] == run["blank"])
    hold(plan, run, blank["rect_mm"], drawn)
    for lined in run["lines_up"]:
        marks = [mark["sheet_mm"] for mark in run["lineup"]]
        lined["worst_mm"] = max(mismatch([p.real, p.imag], marks) for chain in shared for p in along(chain))
    for ring in edges(sheet, blank["rect_mm"]):
        drawn.append(Entity("NOTE_SHEET", to_bed(ring, run), True))
    x, y = plan["machine"]["travel_mm"]
    drawn.append(Entity("NOTE_REACH", [[a, b, 0.0] for a, b in ((0, 0), (x, 0), (x, y), (0, y))], True))
    return drawn


def length(chain: Ring) -> float:
    """Radius times sweep of each arc, chord of each line."""
    total = 0.0
    for (ax, ay, bulge), (bx, by, _) in itertools.pairwise(chain):
        chord = math.dist((ax, ay), (bx, by))
        total += chord * (1 + bulge**2) / abs(bulge) * math.atan(abs(bulge)) if bulge else chord
    return total


def along(chain: Ring) -> list[complex]:
    """Points close together on a chain."""
    return [
        point_at(complex(*a[:2]), complex(*b[:2]), a[2], k / 512)
        for a, b in itertools.pairwise(chain)
        for k in range(513)
    ]


def hold(plan: dict[str, Any], run: dict[str, Any], rect: list[float], drawn: list[Entity]) -> None:
    """The frame of what is drawn to be run, what the travel leaves round it, and the edges to hold against."""
    points = [
        point
        for entity in drawn
        if not entity.layer.startswith("NOTE")
        for point in along([*entity.vertices, *entity.vertices[: int(entity.closed)]])
    ]
    xs, ys = [p.real for p in points], [p.imag for p in points]
    x, y = plan["machine"]["travel_mm"]
    run["frame_mm"] = [min(xs), min(ys), max(xs), max(ys)]
    run["spare_mm"] = [min(xs), x - max(xs), min(ys), y - max(ys)]
    x0, y0, x1, y1 = rect
    corners = to_bed([[x0, y0], [x1, y1]], run)
    letter = {0: ("D", "C"), 180: ("B", "A")}[run["turn_deg"]]
    back = max(corner[1] for corner in corners)
    run["stops"] = [{"edge": letter[0], "side": "left", "at_mm": min(corner[0] for corner in corners)}]
    run["stops"] += [{"edge": letter[1], "side": "back", "at_mm": back}] if back <= y else []


def edges(sheet: dict[str, Any], rect: list[float]) -> list[Ring]:
    inside = Polygon(sheet["outline_mm"], sheet["holes_mm"]).intersection(box(*rect))
    return [[[x, y, 0.0] for x, y in ring.coords[:-1]] for ring in (inside.exterior, *inside.interiors)]


def join_points(plan: dict[str, Any], sheet: dict[str, Any], piece_id: str, level: float) -> list[list[float]]:
    placement = next(p for p in sheet["placements"] if p["piece"] == piece_id)
    points = []
    for layer, ring, closed in contours_of(plan, placement):
        sides = split_at_level(ring, level, closed)
        if layer == "CUT" and len(sides) > 1:
            points += [chain[0][:2] for _, chain in sides]
    return points


def two_passes(
    plan: dict[str, Any], sheet: dict[str, Any], blank: dict[str, Any], level: float, marks: list[list[float]]
) -> list[dict[str, Any]]:
    """A blank deeper than the travel: its far part first, then a half turn and the near part."""
    x0, y0, x1, y1 = blank["rect_mm"]
    poses = [held(0, -x0, 400.0 - y1), held(180, x1, 400.0 + y0)]
    reach = [(y1 - 400.0, y1), (y0, y0 + 400.0)]
    names = {0: [], 1: [], "part": []}
    for placement in (p for p in sheet["placements"] if p["blank"] == blank["id"]):
        ys = [y for _, ring, closed in contours_of(plan, placement) for y in spread(ring, closed)]
        home = next((k for k in (0, 1) if reach[k][0] <= min(ys) and max(ys) <= reach[k][1]), "part")
        names[home].append(placement["piece"])
    joins = [(name, at) for name in names["part"] for at in join_points(plan, sheet, name, level)]
    runs = []
    for k, pose in enumerate(poses):
        listed = [
            {
                "number": n,
                "piece": name,
                "sheet_mm": at,
                "bed_mm": to_bed([at], pose)[0],
                "mismatch_mm": mismatch(at, marks),
            }
            for n, (name, at) in enumerate(joins, 1)
        ]
        lineup = [
            {"number": n, "sheet_mm": at, "bed_mm": to_bed([at], pose)[0], "cut_here": k == 0}
            for n, at in enumerate(marks, 1)
        ]
        runs.append({
            "order": k + 1, "blank": blank["id"], **pose, "turn_before": "half" if k else "none",
            "file": f"{sheet['id']}-{blank['id']}-pass{k + 1}.dxf",
            "whole": names[k], "part": names["part"], "joins": listed, "lineup": lineup,
            "lines_up": lines_up(joins, marks) if k else [],
        })  # fmt: skip
    return runs


def lines_up(joins: list[tuple[str, list[float]]], marks: list[list[float]]) -> list[dict[str, Any]]:
    """The second pass on the first: by its two marks, else by the two joins farthest apart."""
    if not joins:
        return []
    if marks:
        return [{"with_pass": 1, "by": "marks", "distances": [{"start": "L1", "end": "L2", "mm": math.dist(*marks)}]}]
    numbered = [(f"J{n}", at) for n, (_, at) in enumerate(joins, 1)]
    (a, here), (b, there) = max(itertools.combinations(numbered, 2), key=lambda pair: math.dist(pair[0][1], pair[1][1]))
    return [{"with_pass": 1, "by": "joins", "distances": [{"start": a, "end": b, "mm": math.dist(here, there)}]}]


def mismatch(at: list[float], marks: list[list[float]]) -> float:
    """Two marks d apart: s sqrt(1 + 2 r^2 / d^2) at r from their middle; none: s."""
    if not marks:
        return MACHINE["lineup_error_mm"]
    one, other = (complex(*mark) for mark in marks)
    away = abs(complex(*at) - (one + other) / 2)
    return MACHINE["lineup_error_mm"] * math.sqrt(1 + 2 * (away / abs(one - other)) ** 2)


def spread(ring: Ring, closed: bool) -> list[float]:
    """Heights along a ring, fine enough to see which pass holds it."""
    found = []
    for i in range(len(ring) if closed else len(ring) - 1):
        (ax, ay, bulge), (bx, by, _) = ring[i], ring[(i + 1) % len(ring)]
        found += [point_at(complex(ax, ay), complex(bx, by), bulge, k / 64).imag for k in range(65)]
    return found


def one_pass(sheet: dict[str, Any], blank: str, pose: dict[str, Any], names: list[str]) -> dict[str, Any]:
    return {
        "order": 1, "blank": blank, **pose, "turn_before": "none", "file": f"{sheet['id']}-{blank}-pass1.dxf",
        "whole": names, "part": [], "joins": [], "lineup": [], "lines_up": [],
    }  # fmt: skip


def sheet_of(sheet_id: str, source: dict[str, str], stock: dict[str, Any], outline: Any) -> dict[str, Any]:
    return {
        "id": sheet_id, "source": {"stock_id": None, "offer": None, **source}, **stock, "outline_mm": outline,
        "holes_mm": [], "price": "80.00", "place": "", "trims": [], "blanks": [], "placements": [], "passes": [],
        "leftovers": [],
    }  # fmt: skip


def _by_stock(sheets: list[dict[str, Any]]) -> list[dict[str, Any]]:
    counts = Counter((s["material"], s["colour"], s["thickness_mm"]) for s in sheets)
    return [
        {
            "material": m,
            "colour": c,
            "thickness_mm": t,
            "cost": f"{80 * n}.00",
            "bound": f"{80 * n}.00",
            "gap_percent": 0.0,
        }
        for (m, c, t), n in sorted(counts.items())
    ]


def plan_of(pieces: list[dict[str, Any]], sheets: list[dict[str, Any]]) -> dict[str, Any]:
    lines = [{"what": f"sheet {s['id']}: stock", "quantity": 1, "unit": "sheet", "amount": s["price"]} for s in sheets]
    total = f"{80 * len(sheets)}.00"
    cost = {
        "currency": "EUR", "lines": lines, "total": total, "bound": total, "gap_percent": 0.0,
        "by_stock": _by_stock(sheets),
    }  # fmt: skip
    return {
        "format": "halfturn-plan/1", "job": {"name": "planetarium"}, "seed": 1, "effort": 1, "machine": dict(MACHINE),
        "pieces": pieces, "sheets": sheets, "cost": cost, "warnings": [], "demands": demands_of(pieces),
        "splits": splits_of(pieces),
    }  # fmt: skip


def splits_of(pieces: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The rail, 300 long, of two halves side by side; the second is turned by half."""
    halves = [one for one in pieces if one["segment_of"] == "rail"]
    if not halves:
        return []
    parent = piece("rail", WHITE, rectangle(300, 40))
    seats = [
        {"piece": halves[0]["id"], "x_mm": 0.0, "y_mm": 0.0, "turn_deg": 0.0},
        {"piece": halves[1]["id"], "x_mm": 300.0, "y_mm": 40.0, "turn_deg": 180.0},
    ]
    return [{"parent": parent, "seats": seats, "at_least": 2, "why": "too long", "clearance_mm": 0.0, "straps": []}]


def demands_of(pieces: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """One demand for each name, a split piece by its parent's."""
    found: dict[str, dict[str, Any]] = {}
    for one in pieces:
        name = one["segment_of"] or one["name"]
        as_asked = {key: one[key] for key in ("material", "colour", "thickness_mm", "turn", "mirror")}
        demand = found.setdefault(name, {"name": name, **as_asked, "pieces": []})
        if (one["segment_of"] or one["id"]) not in demand["pieces"]:
            demand["pieces"].append(one["segment_of"] or one["id"])
    drawn = {"source": "face.dxf", "digest": "0" * 64, "shapes": 1}
    return [{**demand, **drawn, "quantity": len(demand["pieces"])} for demand in found.values()]


# ── the planetarium's entrance sign, by hand ─────────────────────────────────────────────────────────────────


def entrance_sign() -> PlanFolder:
    """Two sheets: 1220 x 610 sawn and trimmed to two blanks, one of them turned; an L-shaped offcut with a hole."""
    big = sheet_of("S1", {"offer": "white-10"}, WHITE, [[0, 0], [1220, 0], [1220, 610], [0, 610]])
    small = sheet_of("S2", {"stock_id": "R7"}, BLUE, [[0, 0], [500, 0], [500, 200], [250, 200], [250, 390], [0, 390]])
    small["holes_mm"] = [[[100, 100], [140, 100], [140, 140], [100, 140]]]
    plan = plan_of(_white_pieces() + _blue_pieces(), [big, small])
    drawings = {**_white_sheet(plan, big), **_blue_sheet(plan, small)}
    _credited(plan["cost"], "S1", 10)
    return PlanFolder(copy.deepcopy(plan), drawings)


def _credited(cost: dict[str, Any], sheet: str, amount: int) -> None:
    """What a leftover brings back, off the total, the bound and its stock key's share."""
    line = {"what": f"sheet {sheet}: leftover kept", "quantity": 0.19, "unit": "m2", "amount": f"-{amount}.00"}
    cost["lines"].append(line)
    share = next(one for one in cost["by_stock"] if one["colour"] == WHITE["colour"])
    for one, keys in ((cost, ("total", "bound")), (share, ("cost", "bound"))):
        for key in keys:
            one[key] = f"{float(one[key]) - amount:.2f}"


def _white_pieces() -> list[dict[str, Any]]:
    face = [circle(120, 150, 8), circle(120, 375, 8)]
    mark = [[[110, 260, 0.0], [130, 300, 0.2], [140, 340, 0.0]]]
    counter = [circle(70, 70, 40)]
    stars = [piece(f"star-{n}", WHITE, star(5, 20, 9), name="star", copy=n, mirror=True) for n in (1, 2, 3)]
    rail = rectangle(150, 40)
    joint = [{"label": "A", "start_mm": [150, 0], "end_mm": [150, 40]}]
    other = [{"label": "A", "start_mm": [150, 0], "end_mm": [150, 40]}]
    return [
        piece("moon", WHITE, crescent(520), holes=face, marks=mark, turn="none"),
        piece("O", WHITE, circle(70, 70, 65), holes=counter, turn="half"),
        piece("bar", WHITE, rounded(300, 60, 12), holes=[circle(30, 30, 5), circle(270, 30, 5)], turn="half"),
        *stars,
        piece("rail/1", WHITE, rail, name="rail 1", segment_of="rail", joints=joint),
        piece("rail/2", WHITE, rail, name="rail 2", segment_of="rail", joints=other),
    ]


def _white_sheet(plan: dict[str, Any], sheet: dict[str, Any]) -> dict[str, list[Entity]]:
    b1, b2 = {"id": "b1", "rect_mm": [0, 0, 600, 610]}, {"id": "b2", "rect_mm": [603, 0, 1220, 300]}
    sheet["blanks"] = [b1, b2]
    sheet["placements"] = [
        spot("moon", "b1", 30, 45),
        spot("star-1", "b1", 470, 470, 30, mirrored=True),
        spot("O", "b1", 540, 540, 180),
        spot("star-2", "b1", 400, 100, 90),
        spot("bar", "b2", 650, 20),
        spot("star-3", "b2", 1000, 60, 12.5),
        spot("rail/1", "b2", 700, 120, 0),
        spot("rail/2", "b2", 1000, 100, 90),
    ]
    saw = {"order": 1, "from_mm": [600, 0], "to_mm": [600, 610], "method": "saw", "measure": "600 from the left"}
    trim_pose = held(0, -603 - 8.5, -210)
    machine = {"order": 2, "from_mm": [603, 300], "to_mm": [1220, 300], "method": "machine", "measure": "300 up"}
    sheet["trims"] = [
        {**saw, "uncut_ends_mm": [0, 0], **held(0, 0, 0), "file": None, "kerf_mm": 3.0},
        {**machine, "uncut_ends_mm": [8.5, 8.5], **trim_pose, "file": "S1-trim2.dxf", "kerf_mm": 0.0},
    ]
    turned = two_passes(plan, sheet, b1, 305.0, [[20, 300], [580, 330]])
    flat = one_pass(sheet, "b2", held(0, -603 - 8.5, 0), ["bar", "star-3", "rail/1", "rail/2"])
    sheet["passes"] = [*turned, flat]
    sheet["leftovers"] = [
        {
            "outline_mm": [[603.2, 300.2], [1220, 300.2], [1220, 610], [603.2, 610]],
            "holes_mm": [], "keep": True, "usable_mm": [604, 301, 1219, 609], "credit": "10.00",
        }
    ]  # fmt: skip
    drawings = {run["file"]: draw_pass(plan, sheet, run, 305.0) for run in sheet["passes"]}
    drawings["S1-trim2.dxf"] = [Entity("CUT", to_bed([[611.5, 300, 0.0], [1211.5, 300, 0.0]], trim_pose))]
    return drawings


def _blue_pieces() -> list[dict[str, Any]]:
    return [
        piece("plate", BLUE, rounded(220, 70, 20), turn="half"),
        piece("sun", BLUE, star(9, 45, 25), holes=[circle(0, 0, 6)], marks=[[[-12, 0, 0.5], [0, 14, 0.0]]]),
        piece("dial", BLUE, circle(0, 0, 40), holes=[star(4, 20, 8)]),
    ]


def _blue_sheet(plan: dict[str, Any], sheet: dict[str, Any]) -> dict[str, list[Entity]]:
    sheet["blanks"] = [{"id": "b1", "rect_mm": [0, 0, 500, 390]}]
    sheet["placements"] = [
        spot("plate", "b1", 480, 90, 180),
        spot("sun", "b1", 60, 330, 7.0),
        spot("dial", "b1", 160, 250, 33.0),
    ]
    sheet["passes"] = [one_pass(sheet, "b1", held(0, 0, 0), ["plate", "sun", "dial"])]
    return {run["file"]: draw_pass(plan, sheet, run, None) for run in sheet["passes"]}
