"""Damages: each makes a sound plan folder unsound in one way, and names the check that must see it.

They work on any plan folder, made by hand or by the planner; `NotHere` says that a folder has nothing to damage so.
"""

from __future__ import annotations

import cmath
import copy
import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from tests.nesting.audit.folder import Entity, PlanFolder, point_at, to_bed


class NotHere(Exception):
    """This folder has nothing that could be damaged so."""


@dataclass(frozen=True)
class Damage:
    """`harm` changes a folder; the check `caught_by` must then fail."""

    name: str
    caught_by: str
    harm: Callable[[PlanFolder], None]


DAMAGES: list[Damage] = []


def damage(caught_by: str) -> Callable[[Callable[[PlanFolder], None]], Callable[[PlanFolder], None]]:
    def enter(harm: Callable[[PlanFolder], None]) -> Callable[[PlanFolder], None]:
        DAMAGES.append(Damage(harm.__name__.replace("_", " "), caught_by, harm))
        return harm

    return enter


def first(found: Any) -> Any:
    """The first of what is found; NotHere if there is none."""
    for one in found:
        return one
    raise NotHere


# ── what to damage ───────────────────────────────────────────────────────────────────────────────────────────


def whole_piece(folder: PlanFolder, keep: Callable[[dict[str, Any]], bool] = lambda piece: True) -> dict[str, Any]:
    names = [name for _, run in folder.runs() for name in run["whole"]]
    return first(piece for piece in folder.plan["pieces"] if piece["id"] in names and keep(piece))


def with_joins(folder: PlanFolder) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """A sheet and its passes that share a contour."""
    return first((s, runs) for s in folder.plan["sheets"] if len(runs := [r for r in s["passes"] if r["joins"]]) > 1)


def joined(folder: PlanFolder) -> Entity:
    """A chain that begins at a join with a line or arc of some length."""
    _, runs = with_joins(folder)
    return first(e for e in folder.drawings[runs[0]["file"]] if e.layer == "CUT" and not e.closed)


def with_lineup(folder: PlanFolder, cut_here: bool) -> tuple[dict[str, Any], dict[str, Any]]:
    """A pass and one of its line-up marks."""
    return first((r, m) for _, r in folder.runs() for m in r["lineup"] if m["cut_here"] is cut_here)


def trimmed(folder: PlanFolder, *methods: str) -> dict[str, Any]:
    return first(t for s in folder.plan["sheets"] for t in s["trims"] if not methods or t["method"] in methods)


def leftover(folder: PlanFolder) -> tuple[dict[str, Any], dict[str, Any]]:
    return first((s, left) for s in folder.plan["sheets"] for left in s["leftovers"])


def shift(entity: Entity, dx: float, dy: float) -> None:
    entity.vertices = [[x + dx, y + dy, bulge] for x, y, bulge in entity.vertices]


def has_arc(entity: Entity) -> bool:
    return any(abs(bulge) > 0.05 for _, _, bulge in entity.vertices)


def first_arc(entity: Entity) -> list[float]:
    return first(vertex for vertex in entity.vertices if abs(vertex[2]) > 0.05)


def cut(folder: PlanFolder, keep: Callable[[Entity], bool] = lambda entity: True) -> Entity:
    return first(folder.on("CUT", keep))


def file_of(folder: PlanFolder, entity: Entity) -> str:
    return next(name for name, entities in folder.drawings.items() if any(e is entity for e in entities))


# ── placements and pieces ────────────────────────────────────────────────────────────────────────────────────


@damage("cut lines")
def placement_shifted_by_0_3_mm(folder: PlanFolder) -> None:
    folder.plan["sheets"][0]["placements"][0]["x_mm"] += 0.3


@damage("cut lines")
def placement_turned_by_a_fifth_of_a_degree(folder: PlanFolder) -> None:
    folder.placement(whole_piece(folder, lambda p: len(p["outline"]) > 4)["id"])["turn_deg"] += 0.2


@damage("cut lines")
def placement_mirrored(folder: PlanFolder) -> None:
    placement = folder.placement(whole_piece(folder, lambda p: p["outline"][0][0] >= 0)["id"])
    placement["mirrored"] = not placement["mirrored"]


@damage("quantities")
def placement_dropped(folder: PlanFolder) -> None:
    folder.plan["sheets"][0]["placements"].pop()


@damage("coverage")
def placement_added_but_not_cut(folder: PlanFolder) -> None:
    extra = copy.deepcopy(whole_piece(folder))
    placement = copy.deepcopy(folder.placement(extra["id"]))
    extra["id"] = placement["piece"] = "extra"
    folder.plan["pieces"].append(extra)
    folder.plan["sheets"][0]["placements"].append({**placement, "blank": folder.plan["sheets"][0]["blanks"][0]["id"]})


@damage("quantities")
def placement_twice(folder: PlanFolder) -> None:
    placements = folder.plan["sheets"][0]["placements"]
    placements.append(dict(placements[0]))


@damage("references")
def placement_of_an_unknown_piece(folder: PlanFolder) -> None:
    folder.plan["sheets"][0]["placements"][0]["piece"] = "nobody"


@damage("references")
def placement_on_an_unknown_blank(folder: PlanFolder) -> None:
    folder.plan["sheets"][0]["placements"][0]["blank"] = "b99"


@damage("blanks hold")
def placement_on_the_wrong_blank(folder: PlanFolder) -> None:
    sheet = first(s for s in folder.plan["sheets"] if len(s["blanks"]) > 1)
    placement = sheet["placements"][0]
    placement["blank"] = first(b["id"] for b in sheet["blanks"] if b["id"] != placement["blank"])


@damage("references")
def piece_id_twice(folder: PlanFolder) -> None:
    folder.plan["pieces"][1]["id"] = folder.plan["pieces"][0]["id"]


@damage("quantities")
def copy_left_out(folder: PlanFolder) -> None:
    piece = first(p for p in folder.plan["pieces"] if p["copy"] == 2 and p["segment_of"] is None)
    piece["copy"] = 7


def _last_copy(folder: PlanFolder) -> tuple[dict[str, Any], dict[str, Any]]:
    """The demand for some copies and the last of its pieces."""
    demand = first(d for d in folder.plan["demands"] if len(d["pieces"]) > 1)
    return demand, folder.piece(demand["pieces"][-1])


@damage("demands")
def last_copy_forgotten_without_a_trace(folder: PlanFolder) -> None:
    _, piece = _last_copy(folder)
    folder.plan["pieces"].remove(piece)
    for sheet in folder.plan["sheets"]:
        sheet["placements"] = [p for p in sheet["placements"] if p["piece"] != piece["id"]]


@damage("demands")
def demand_shortened_with_the_last_copy(folder: PlanFolder) -> None:
    demand, _ = _last_copy(folder)
    last_copy_forgotten_without_a_trace(folder)
    demand["pieces"].pop()


@damage("demands")
def demand_forgotten(folder: PlanFolder) -> None:
    folder.plan["demands"].pop()


@damage("demands")
def all_demands_forgotten(folder: PlanFolder) -> None:
    del folder.plan["demands"]


@damage("demands")
def demanded_twice(folder: PlanFolder) -> None:
    demand = folder.plan["demands"][0]
    demand["pieces"].append(demand["pieces"][0])
    demand["quantity"] += 1


@damage("demands")
def more_copies_demanded(folder: PlanFolder) -> None:
    folder.plan["demands"][0]["quantity"] += 1


@damage("demands")
def turn_loosened_beyond_the_demand(folder: PlanFolder) -> None:
    piece = first(p for p in folder.plan["pieces"] if p["turn"] != "any")
    piece["turn"] = "any"


@damage("demands")
def mirror_allowed_beyond_the_demand(folder: PlanFolder) -> None:
    piece = first(p for p in folder.plan["pieces"] if not p["mirror"])
    piece["mirror"] = True


@damage("demands")
def piece_and_sheet_of_another_colour_than_demanded(folder: PlanFolder) -> None:
    sheet = folder.plan["sheets"][0]
    sheet["colour"] = "moss"
    for placement in sheet["placements"]:
        folder.piece(placement["piece"])["colour"] = "moss"


@damage("turns")
def turned_against_the_grain(folder: PlanFolder) -> None:
    placements = [p for s in folder.plan["sheets"] for p in s["placements"]]
    folder.piece(first(p["piece"] for p in placements if p["turn_deg"] % 360 != 0))["turn"] = "none"


@damage("turns")
def quarter_turned_though_only_half_turns_are_allowed(folder: PlanFolder) -> None:
    placements = [p for s in folder.plan["sheets"] for p in s["placements"]]
    folder.piece(first(p["piece"] for p in placements if p["turn_deg"] % 180 != 0))["turn"] = "half"


@damage("turns")
def mirrored_where_the_faces_differ(folder: PlanFolder) -> None:
    placements = [p for s in folder.plan["sheets"] for p in s["placements"]]
    folder.piece(first(p["piece"] for p in placements if p["mirrored"]))["mirror"] = False


@damage("stock")
def sheet_of_another_colour(folder: PlanFolder) -> None:
    folder.plan["sheets"][0]["colour"] = "opal"


@damage("stock")
def sheet_of_another_thickness(folder: PlanFolder) -> None:
    folder.plan["sheets"][0]["thickness_mm"] += 2.0


@damage("stock")
def offcut_used_twice(folder: PlanFolder) -> None:
    for sheet in folder.plan["sheets"][:2]:
        sheet["source"] = {"stock_id": "R1", "offer": None}


@damage("stock")
def sheet_from_nowhere(folder: PlanFolder) -> None:
    folder.plan["sheets"][0]["source"] = {"stock_id": None, "offer": None}


@damage("drawn pieces")
def outline_that_crosses_itself(folder: PlanFolder) -> None:
    outline = whole_piece(folder, lambda p: len(p["outline"]) >= 8)["outline"]
    outline[1], outline[4] = outline[4], outline[1]


@damage("drawn pieces")
def hole_outside_its_outline(folder: PlanFolder) -> None:
    piece = whole_piece(folder, lambda p: len(p["holes"]) > 0)
    piece["holes"][0] = [[x + 1e4, y, bulge] for x, y, bulge in piece["holes"][0]]


@damage("joints")
def joint_without_a_partner(folder: PlanFolder) -> None:
    first(p for p in folder.plan["pieces"] if p["joints"])["joints"].pop()


@damage("joints")
def joint_longer_on_one_side(folder: PlanFolder) -> None:
    first(p for p in folder.plan["pieces"] if p["joints"])["joints"][0]["end_mm"][1] += 1.0


# ── room ─────────────────────────────────────────────────────────────────────────────────────────────────────


def room_between(folder: PlanFolder) -> tuple[dict[str, Any], str, str]:
    """Two pieces cut whole in one pass, the first not in a hole of the second."""
    return first((s, *run["whole"][:2]) for s, run in folder.runs() if len(run["whole"]) > 1)


@damage("gaps")
def piece_moved_onto_its_neighbour(folder: PlanFolder) -> None:
    _, mover, other = room_between(folder)
    (ax, ay, _), (bx, by, _) = folder.contours(mover)[0][0], folder.contours(other)[0][0]
    folder.move(mover, bx - ax, by - ay)


@damage("gaps")
def gap_asked_for_wider_than_left(folder: PlanFolder) -> None:
    folder.plan["machine"]["gap_mm"] = 25.0


@damage("margin")
def piece_moved_into_the_margin(folder: PlanFolder) -> None:
    margin = folder.plan["machine"]["margin_mm"]
    if margin < 1.0:
        raise NotHere
    _, mover, _ = room_between(folder)
    left = min(x for x, _, _ in folder.contours(mover)[0])
    folder.move(mover, margin / 2 - left, 0.0)


@damage("margin")
def piece_moved_off_the_sheet(folder: PlanFolder) -> None:
    folder.move(whole_piece(folder)["id"], -3000.0, 0.0)


@damage("sheet holes")
def hole_of_the_sheet_under_a_piece(folder: PlanFolder) -> None:
    sheet = folder.plan["sheets"][0]
    corners = [v for p in sheet["placements"] for v in folder.contours(p["piece"])[0]]
    x, y, _ = first(v for v in corners if v[0] > 4 and v[1] > 4)
    sheet["holes_mm"].append([[x - 2, y - 2], [x + 2, y - 2], [x + 2, y + 2], [x - 2, y + 2]])


@damage("blanks hold")
def blank_smaller_than_its_pieces(folder: PlanFolder) -> None:
    sheet, _ = first((s, r) for s, r in folder.runs() if len(r["whole"]) > 0)
    x0, y0, x1, y1 = sheet["blanks"][0]["rect_mm"]
    sheet["blanks"][0]["rect_mm"] = [x0, y0, (x0 + x1) / 2, (y0 + y1) / 2]


@damage("blanks hold")
def blanks_that_overlap(folder: PlanFolder) -> None:
    sheet = folder.plan["sheets"][0]
    x0, y0, x1, y1 = sheet["blanks"][0]["rect_mm"]
    sheet["blanks"].append({"id": "extra", "rect_mm": [x0 + 1, y0 + 1, x1, y1]})


# ── contours in the drawings ─────────────────────────────────────────────────────────────────────────────────


@damage("cut lines")
def contour_shifted_by_0_3_mm(folder: PlanFolder) -> None:
    shift(cut(folder), 0.3, 0.0)


@damage("cut lines")
def arc_replaced_by_its_chord(folder: PlanFolder) -> None:
    first_arc(cut(folder, has_arc))[2] = 0.0


@damage("cut lines")
def last_arc_of_a_contour_straightened(folder: PlanFolder) -> None:
    cut(folder, lambda e: e.closed and abs(e.vertices[-1][2]) > 0.05).vertices[-1][2] = 0.0


@damage("cut lines")
def arc_bulging_the_wrong_way(folder: PlanFolder) -> None:
    first_arc(cut(folder, has_arc))[2] *= -1.0


@damage("cut lines")
def arc_a_tenth_of_a_millimetre_too_flat(folder: PlanFolder) -> None:
    entity = cut(folder, has_arc)
    arc = first_arc(entity)
    after = entity.vertices[(entity.vertices.index(arc) + 1) % len(entity.vertices)]
    arc[2] -= math.copysign(0.2 / math.dist(arc[:2], after[:2]), arc[2])


@damage("cut lines")
def corner_left_out(folder: PlanFolder) -> None:
    cut(folder, lambda e: e.closed and len(e.vertices) > 6).vertices.pop(3)


@damage("cut lines")
def stray_line(folder: PlanFolder) -> None:
    folder.drawings[folder.runs()[0][1]["file"]].append(Entity("CUT", [[10.0, 10.0, 0.0], [25.0, 10.0, 0.0]]))


@damage("coverage")
def hole_not_cut(folder: PlanFolder) -> None:
    hole = folder.drawn(whole_piece(folder, lambda p: len(p["holes"]) > 0)["id"])[1]
    entities = folder.drawings[file_of(folder, hole)]
    entities[:] = [entity for entity in entities if entity is not hole]


@damage("coverage")
def contour_cut_twice(folder: PlanFolder) -> None:
    entity = cut(folder)
    folder.drawings[file_of(folder, entity)].append(copy.deepcopy(entity))


@damage("coverage")
def contour_run_back_over_itself(folder: PlanFolder) -> None:
    entity = cut(folder, lambda e: e.closed and not has_arc(e))
    folder.drawings[file_of(folder, entity)].append(Entity("CUT", entity.vertices[2::-1]))


@damage("coverage")
def contour_cut_again_in_the_next_pass(folder: PlanFolder) -> None:
    _, runs = with_joins(folder)
    name = first(name for run in runs for name in run["whole"])
    home = next(run for run in runs if name in run["whole"])
    other = next(run for run in runs if run is not home)
    rings = folder.contours(name)
    folder.drawings[other["file"]].insert(0, Entity("CUT", to_bed(rings[0], other), True))


@damage("coverage")
def contour_left_open(folder: PlanFolder) -> None:
    cut(folder, lambda e: e.closed).closed = False


@damage("coverage")
def all_of_a_pass_not_cut(folder: PlanFolder) -> None:
    run = folder.runs()[0][1]
    folder.drawings[run["file"]] = [e for e in folder.drawings[run["file"]] if e.layer != "CUT"]


@damage("cut lines")
def pass_drawn_from_the_wrong_corner(folder: PlanFolder) -> None:
    for entity in folder.drawings[folder.runs()[0][1]["file"]]:
        entity.vertices = [[600.0 - x, 400.0 - y, bulge] for x, y, bulge in entity.vertices]


@damage("cut lines")
def pass_drawn_mirrored(folder: PlanFolder) -> None:
    for entity in folder.drawings[folder.runs()[0][1]["file"]]:
        entity.vertices = [[600.0 - x, y, -bulge] for x, y, bulge in entity.vertices]


@damage("cut lines")
def pass_drawn_in_inches(folder: PlanFolder) -> None:
    for entity in folder.drawings[folder.runs()[0][1]["file"]]:
        entity.vertices = [[x / 25.4, y / 25.4, bulge] for x, y, bulge in entity.vertices]


@damage("cut lines")
def drawings_of_two_passes_swapped(folder: PlanFolder) -> None:
    _, (one, other, *_) = with_joins(folder)
    files = folder.drawings
    files[one["file"]], files[other["file"]] = files[other["file"]], files[one["file"]]


@damage("coverage")
def cut_moved_to_a_layer_that_is_not_run(folder: PlanFolder) -> None:
    cut(folder).layer = "NOTE_SHEET"


@damage("cut lines")
def two_unlike_pieces_in_each_other_s_place(folder: PlanFolder) -> None:
    placements = [p for sheet in folder.plan["sheets"] for p in sheet["placements"]]
    one, other = first(
        (a, b)
        for a in placements
        for b in placements
        if a["blank"] == b["blank"]
        and len(folder.piece(a["piece"])["outline"]) < len(folder.piece(b["piece"])["outline"])
    )
    one["piece"], other["piece"] = other["piece"], one["piece"]


@damage("cut lines")
def circle_0_03_mm_too_large(folder: PlanFolder) -> None:
    entity = cut(folder, lambda e: len(e.vertices) == 2 and e.closed and has_arc(e))
    middle = sum(complex(*vertex[:2]) for vertex in entity.vertices) / 2
    for vertex in entity.vertices:
        away = complex(*vertex[:2]) - middle
        vertex[:2] = [(middle + away * (1 + 0.03 / abs(away))).real, (middle + away * (1 + 0.03 / abs(away))).imag]


@damage("cut lines")
def corner_with_x_and_y_exchanged(folder: PlanFolder) -> None:
    vertex = cut(folder, lambda e: abs(e.vertices[0][0] - e.vertices[0][1]) > 1.0).vertices[0]
    vertex[0], vertex[1] = vertex[1], vertex[0]


@damage("cut lines")
def pass_said_to_be_face_down(folder: PlanFolder) -> None:
    first(run for _, run in folder.runs() if run["whole"])["flipped"] = True


@damage("coverage")
def contour_run_a_second_time_the_other_way(folder: PlanFolder) -> None:
    entity = cut(folder, lambda e: e.closed and not has_arc(e))
    folder.drawings[file_of(folder, entity)].append(Entity("CUT", entity.vertices[::-1], True))


# ── marks ────────────────────────────────────────────────────────────────────────────────────────────────────


@damage("marks")
def mark_left_out(folder: PlanFolder) -> None:
    mark = first(folder.on("MARK"))
    entities = folder.drawings[file_of(folder, mark)]
    entities[:] = [entity for entity in entities if entity is not mark]


@damage("marks")
def mark_shifted_by_0_3_mm(folder: PlanFolder) -> None:
    shift(first(folder.on("MARK")), 0.3, 0.0)


@damage("marks")
def mark_burnt_twice(folder: PlanFolder) -> None:
    mark = first(folder.on("MARK"))
    folder.drawings[file_of(folder, mark)].append(copy.deepcopy(mark))


@damage("cut lines")
def mark_cut_through(folder: PlanFolder) -> None:
    first(folder.on("MARK")).layer = "CUT"


# ── joins ────────────────────────────────────────────────────────────────────────────────────────────────────


def shorten(entity: Entity, by_mm: float) -> None:
    """Take a length off the beginning of a chain, along its first line or arc."""
    (x0, y0, bulge), (x1, y1, _) = entity.vertices[:2]
    a, b = complex(x0, y0), complex(x1, y1)
    half = 2 * math.atan(bulge)
    share = by_mm / (abs(b - a) * (half / math.sin(half) if bulge else 1.0))
    start = point_at(a, b, bulge, share)
    entity.vertices[0] = [start.real, start.imag, math.tan(half / 2 * (1 - share))]


def heading(entity: Entity) -> complex:
    """Direction in which a chain sets out."""
    (x0, y0, bulge), (x1, y1, _) = entity.vertices[:2]
    along = complex(x1 - x0, y1 - y0) * cmath.exp(-2j * math.atan(bulge))
    return along / abs(along)


@damage("joins meet")
def join_open_by_0_05_mm(folder: PlanFolder) -> None:
    shorten(joined(folder), 0.05)


@damage("coverage")
def join_overlapping_by_half_a_millimetre(folder: PlanFolder) -> None:
    shorten(joined(folder), -0.5)


@damage("joins meet")
def join_stepped_by_0_018_mm(folder: PlanFolder) -> None:
    entity = joined(folder)
    aside = 0.018j * heading(entity)
    shorten(entity, 1e-3)
    x, y, _ = entity.vertices[0]
    entity.vertices.insert(0, [x + aside.real, y + aside.imag, 0.0])


@damage("joins listed")
def join_missing_from_one_list(folder: PlanFolder) -> None:
    with_joins(folder)[1][0]["joins"].pop()


@damage("joins listed")
def join_listed_where_none_is(folder: PlanFolder) -> None:
    for run in with_joins(folder)[1]:
        run["joins"][0]["sheet_mm"][0] += 1.0


@damage("joins listed")
def join_with_wrong_bed_coordinates(folder: PlanFolder) -> None:
    with_joins(folder)[1][1]["joins"][0]["bed_mm"][1] += 1.0


@damage("joins listed")
def join_numbers_mixed_up(folder: PlanFolder) -> None:
    joins = with_joins(folder)[1][1]["joins"]
    joins[0]["number"], joins[1]["number"] = joins[1]["number"], joins[0]["number"]


@damage("joins lined up")
def passes_that_meet_without_marks_or_warning(folder: PlanFolder) -> None:
    if folder.plan["warnings"]:
        raise NotHere
    for run in with_joins(folder)[1]:
        del run["lineup"][1:]


@damage("joins lined up")
def passes_without_marks_excused_by_a_warning_of_something_else(folder: PlanFolder) -> None:
    passes_that_meet_without_marks_or_warning(folder)
    sheet, runs = with_joins(folder)
    folder.plan["warnings"] = [f"{sheet['id']}-{runs[0]['blank']}: the blank hangs out of the machine"]


@damage("mismatch")
def mismatch_told_too_small(folder: PlanFolder) -> None:
    with_joins(folder)[1][0]["joins"][0]["mismatch_mm"] -= 0.05


# ── passes ───────────────────────────────────────────────────────────────────────────────────────────────────


@damage("cut lines")
def pass_shift_off_by_0_3_mm(folder: PlanFolder) -> None:
    folder.runs()[0][1]["shift_mm"][0] += 0.3


@damage("cut lines")
def half_turn_forgotten(folder: PlanFolder) -> None:
    first(run for _, run in folder.runs() if run["turn_deg"] == 180)["turn_deg"] = 0


@damage("cut lines")
def turned_about_the_wrong_corner(folder: PlanFolder) -> None:
    _, run = first((s, r) for s, r in folder.runs() if r["turn_deg"] == 180)
    run["shift_mm"] = [run["shift_mm"][0], run["shift_mm"][1] + 10.0]


@damage("cut lines")
def poses_of_two_passes_swapped(folder: PlanFolder) -> None:
    _, (one, other, *_) = with_joins(folder)
    for key in ("turn_deg", "shift_mm"):
        one[key], other[key] = other[key], one[key]


def slide(folder: PlanFolder, run: dict[str, Any], dx: float, dy: float) -> None:
    """Move a pass on the bed, drawing and all."""
    run["shift_mm"] = [run["shift_mm"][0] + dx, run["shift_mm"][1] + dy]
    for entity in folder.drawings[run["file"]]:
        if entity.layer != "NOTE_REACH":
            shift(entity, dx, dy)
    for listed in (*run["joins"], *run["lineup"]):
        listed["bed_mm"] = [listed["bed_mm"][0] + dx, listed["bed_mm"][1] + dy]


@damage("travel")
def pass_slid_out_of_reach(folder: PlanFolder) -> None:
    slide(folder, folder.runs()[0][1], -400.0, 0.0)


@damage("table")
def pass_slid_into_the_side(folder: PlanFolder) -> None:
    slide(folder, folder.runs()[0][1], -30.0, 0.0)


@damage("table")
def pass_slid_into_the_back_wall(folder: PlanFolder) -> None:
    if folder.plan["machine"]["open_back"]:
        raise NotHere
    slide(folder, folder.runs()[0][1], 0.0, folder.plan["machine"]["table_mm"][1])


@damage("table")
def front_of_the_machine_closed(folder: PlanFolder) -> None:
    with_joins(folder)
    folder.plan["machine"]["open_front"] = False


@damage("travel")
def smaller_machine(folder: PlanFolder) -> None:
    reached = max(x for entity in folder.on("CUT") for x, _, _ in entity.vertices)
    folder.plan["machine"]["travel_mm"][0] = reached - 1.0


@damage("notes")
def blank_noted_a_millimetre_off(folder: PlanFolder) -> None:
    shift(first(e for e in folder.on("NOTE_SHEET") if e.closed), 1.0, 0.0)


@damage("notes")
def travel_not_noted(folder: PlanFolder) -> None:
    entities = folder.drawings[folder.runs()[0][1]["file"]]
    entities[:] = [entity for entity in entities if entity.layer != "NOTE_REACH"]


@damage("notes")
def mark_to_find_noted_a_millimetre_off(folder: PlanFolder) -> None:
    shift(first(folder.on("NOTE_FIND")), 1.0, 0.0)


@damage("notes")
def mark_to_find_not_noted(folder: PlanFolder) -> None:
    run, _ = with_lineup(folder, cut_here=False)
    entities = folder.drawings[run["file"]]
    entities[:] = [entity for entity in entities if entity.layer != "NOTE_FIND"]


@damage("pass lists")
def turn_before_the_pass_not_told(folder: PlanFolder) -> None:
    first(run for _, run in folder.runs() if run["turn_before"] == "half")["turn_before"] = "shift"


@damage("pass lists")
def shared_piece_listed_as_whole(folder: PlanFolder) -> None:
    run = with_joins(folder)[1][0]
    run["whole"].append(run["part"].pop())


@damage("pass lists")
def piece_missing_from_a_pass_list(folder: PlanFolder) -> None:
    first(run for _, run in folder.runs() if run["whole"])["whole"].pop()


@damage("references")
def two_passes_of_one_number(folder: PlanFolder) -> None:
    for run in with_joins(folder)[1]:
        run["order"] = 1


@damage("pass lists")
def pieces_of_two_passes_listed_the_other_way_round(folder: PlanFolder) -> None:
    one, other = first(
        (a, b) for _, a in folder.runs() for _, b in folder.runs() if a["whole"] and a["whole"] != b["whole"]
    )
    one["whole"], other["whole"] = other["whole"], one["whole"]


@damage("line-up marks")
def order_of_two_passes_swapped(folder: PlanFolder) -> None:
    if folder.plan["warnings"]:
        raise NotHere
    _, (one, other, *_) = with_joins(folder)
    one["order"], other["order"] = other["order"], one["order"]


# ── cutting order ────────────────────────────────────────────────────────────────────────────────────────────


@damage("cut order")
def outline_before_its_hole(folder: PlanFolder) -> None:
    outline, hole = folder.drawn(whole_piece(folder, lambda p: len(p["holes"]) > 0)["id"])[:2]
    entities = folder.drawings[file_of(folder, outline)]
    i, j = (next(k for k, e in enumerate(entities) if e is one) for one in (outline, hole))
    entities[i], entities[j] = entities[j], entities[i]


@damage("cut order")
def piece_in_a_counter_after_the_counter(folder: PlanFolder) -> None:
    names = [(run, name) for _, run in folder.runs() for name in run["whole"]]
    for run, guest in names:
        for other, host in names:
            if run is other and guest != host and _in_a_hole(folder, guest, host):
                entities = folder.drawings[run["file"]]
                late = folder.drawn(guest)[0]
                entities[:] = [entity for entity in entities if entity is not late] + [late]
                return
    raise NotHere


def _in_a_hole(folder: PlanFolder, guest: str, host: str) -> bool:
    x, y, _ = folder.contours(guest)[0][0]
    for hole in folder.contours(host)[1:]:
        xs, ys = [v[0] for v in hole], [v[1] for v in hole]
        half = (max(xs) - min(xs)) / 2
        if min(xs) < x < max(xs) and min(ys) - half < y < max(ys) + half:
            return True
    return False


@damage("cut order")
def outline_of_a_shared_piece_closed_before_its_hole(folder: PlanFolder) -> None:
    """The passes run the other way round, so that a hole is cut after its outline has closed."""
    _, runs = with_joins(folder)
    name = first(name for name in runs[-1]["part"] if folder.piece(name)["holes"])
    start = folder.contours(name)[1][0]
    for run in runs:
        at = to_bed([start], run)[0]
        entities = folder.drawings[run["file"]]
        for hole in [
            e for e in entities if e.layer == "CUT" and e.closed and math.dist(e.vertices[0][:2], at[:2]) < 0.01
        ]:
            entities[:] = [entity for entity in entities if entity is not hole]
    last = folder.drawings[runs[-1]["file"]]
    last.append(Entity("CUT", to_bed(folder.contours(name)[1], runs[-1]), True))


@damage("cut order")
def drawing_turned_end_for_end(folder: PlanFolder) -> None:
    """The same contours, the last one first."""
    piece = whole_piece(folder, lambda p: len(p["holes"]) > 0)
    folder.drawings[file_of(folder, folder.drawn(piece["id"])[0])].reverse()


# ── line-up marks ────────────────────────────────────────────────────────────────────────────────────────────


@damage("line-up marks")
def line_up_mark_with_wrong_bed_coordinates(folder: PlanFolder) -> None:
    with_lineup(folder, cut_here=False)[1]["bed_mm"][0] += 1.0


@damage("line-up marks")
def line_up_mark_not_cut(folder: PlanFolder) -> None:
    run, _ = with_lineup(folder, cut_here=True)
    entities = folder.drawings[run["file"]]
    entities[:] = [entity for entity in entities if entity.layer != "LINEUP"]


@damage("line-up marks")
def line_up_mark_cut_a_millimetre_off(folder: PlanFolder) -> None:
    shift(first(folder.on("LINEUP")), 1.0, 1.0)


@damage("line-up marks")
def line_up_mark_cut_again(folder: PlanFolder) -> None:
    run, mark = with_lineup(folder, cut_here=False)
    x, y = mark["bed_mm"]
    folder.drawings[run["file"]].append(Entity("LINEUP", [[x - 3, y, 0.0], [x + 3, y, 0.0]]))


@damage("line-up marks")
def line_up_mark_listed_as_cut_in_both_passes(folder: PlanFolder) -> None:
    with_lineup(folder, cut_here=False)[1]["cut_here"] = True


@damage("line-up marks")
def line_up_mark_never_found_again(folder: PlanFolder) -> None:
    run, _ = with_lineup(folder, cut_here=False)
    run["lineup"].pop()


def move_line_up_mark(folder: PlanFolder, x: float, y: float) -> None:
    """Put mark and arms of it elsewhere on the sheet, in all lists and drawings alike."""
    run, mark = with_lineup(folder, cut_here=True)
    sheet = next(s for s, r in folder.runs() if r is run)
    old = list(mark["bed_mm"])
    for other in sheet["passes"]:
        for listed in other["lineup"]:
            if other["blank"] == run["blank"] and listed["number"] == mark["number"]:
                listed["sheet_mm"] = [x, y]
                listed["bed_mm"] = to_bed([[x, y]], other)[0]
    for entity in folder.drawings[run["file"]]:
        if entity.layer == "LINEUP" and all(math.dist(v[:2], old) < 20.0 for v in entity.vertices):
            shift(entity, mark["bed_mm"][0] - old[0], mark["bed_mm"][1] - old[1])


@damage("line-up marks")
def line_up_mark_at_two_places(folder: PlanFolder) -> None:
    run, mark = with_lineup(folder, cut_here=False)
    mark["sheet_mm"] = [mark["sheet_mm"][0] + 2.0, mark["sheet_mm"][1]]
    mark["bed_mm"] = to_bed([mark["sheet_mm"]], run)[0]


@damage("line-up in waste")
def line_up_mark_in_a_piece(folder: PlanFolder) -> None:
    run, _ = with_lineup(folder, cut_here=True)
    x, y, _ = folder.contours(first([*run["part"], *run["whole"]]))[0][0]
    move_line_up_mark(folder, x, y)


@damage("line-up in reach")
def line_up_mark_that_a_later_pass_cannot_reach(folder: PlanFolder) -> None:
    run, _ = with_lineup(folder, cut_here=True)
    sheet = next(s for s, r in folder.runs() if r is run)
    blank = next(b for b in sheet["blanks"] if b["id"] == run["blank"])
    x0, y0, x1, y1 = blank["rect_mm"]
    far = first((x, y) for x in (x0 + 10, x1 - 10) for y in (y0 + 10, y1 - 10) if 3 < to_bed([[x, y]], run)[0][1] < 397)
    move_line_up_mark(folder, *far)


@damage("marks")
def line_up_mark_engraved_instead_of_cut(folder: PlanFolder) -> None:
    first(folder.on("LINEUP")).layer = "MARK"


@damage("line-up marks")
def two_line_up_marks_of_one_number(folder: PlanFolder) -> None:
    run = first(run for _, run in folder.runs() if len(run["lineup"]) > 1)
    run["lineup"][1]["number"] = run["lineup"][0]["number"]


@damage("joins lined up")
def passes_that_meet_and_do_not_say_by_what_they_are_lined_up(folder: PlanFolder) -> None:
    first(run for _, run in folder.runs() if run["lines_up"])["lines_up"].pop()


@damage("joins lined up")
def lined_up_by_joins_though_there_are_marks(folder: PlanFolder) -> None:
    lined = first(lined for _, run in folder.runs() for lined in run["lines_up"] if lined["by"] == "marks")
    lined["by"] = "joins"


@damage("joins lined up")
def warned_of_another_blank_alone(folder: PlanFolder) -> None:
    """A warning that names the sheet and the blank is no excuse: it must say which passes lack their marks."""
    sheet, runs = with_joins(folder)
    for run in runs:
        run["lineup"] = []
        for lined in run["lines_up"]:
            lined.update(by="joins")
    folder.plan["warnings"] = [f"{sheet['id']}-{runs[0]['blank']}: support the sheet outside"]


@damage("joins lined up")
def lined_up_on_a_pass_it_does_not_meet(folder: PlanFolder) -> None:
    run = first(run for _, run in folder.runs() if run["lines_up"])
    run["lines_up"].append({**run["lines_up"][0], "with_pass": 7})


@damage("mismatch")
def worst_displacement_told_too_small(folder: PlanFolder) -> None:
    first(lined for _, run in folder.runs() for lined in run["lines_up"])["worst_mm"] -= 0.05


@damage("rule distances")
def distance_to_check_a_millimetre_off(folder: PlanFolder) -> None:
    first(at for _, run in folder.runs() for lined in run["lines_up"] for at in lined["distances"])["mm"] += 1.0


@damage("rule distances")
def distance_from_a_mark_that_is_none(folder: PlanFolder) -> None:
    first(at for _, run in folder.runs() for lined in run["lines_up"] for at in lined["distances"])["start"] = "L99"


@damage("rule distances")
def no_distance_to_check(folder: PlanFolder) -> None:
    first(lined for _, run in folder.runs() for lined in run["lines_up"])["distances"] = []


@damage("frames")
def frame_a_millimetre_short(folder: PlanFolder) -> None:
    folder.runs()[0][1]["frame_mm"][2] -= 1.0


@damage("frames")
def more_to_spare_than_there_is(folder: PlanFolder) -> None:
    folder.runs()[0][1]["spare_mm"][0] += 1.0


@damage("frames")
def frame_left_out(folder: PlanFolder) -> None:
    del folder.runs()[0][1]["frame_mm"]


@damage("stops")
def stop_at_the_wrong_edge(folder: PlanFolder) -> None:
    stop = folder.runs()[0][1]["stops"][0]
    stop["edge"] = "D" if stop["edge"] == "B" else "B"


@damage("stops")
def stop_a_millimetre_off(folder: PlanFolder) -> None:
    folder.runs()[0][1]["stops"][0]["at_mm"] += 1.0


@damage("stops")
def held_by_an_edge_that_hangs_out(folder: PlanFolder) -> None:
    run, out = first((run, out) for _, run in folder.runs() if (out := _out_at_the_front(folder, run)) > 1.0)
    letter = {0: "A", 90: "D", 180: "C", 270: "B"}[run["turn_deg"]]
    run["stops"].append({"edge": letter, "side": "front", "at_mm": -out})


def _out_at_the_front(folder: PlanFolder, run: dict[str, Any]) -> float:
    sheet = next(s for s, r in folder.runs() if r is run)
    x0, y0, x1, y1 = next(b for b in sheet["blanks"] if b["id"] == run["blank"])["rect_mm"]
    return -min(y for _, y in to_bed([[x0, y0], [x1, y1]], run))


@damage("stops")
def nothing_to_hold_against(folder: PlanFolder) -> None:
    folder.runs()[0][1]["stops"] = []


@damage("shares")
def share_of_a_contour_told_too_long(folder: PlanFolder) -> None:
    first(share for _, run in folder.runs() for share in run["shares"])["end_mm"] += 5.0


@damage("shares")
def share_of_a_contour_left_out(folder: PlanFolder) -> None:
    first(run for _, run in folder.runs() if run["shares"])["shares"].pop()


# ── files ────────────────────────────────────────────────────────────────────────────────────────────────────


@damage("files")
def drawing_missing(folder: PlanFolder) -> None:
    del folder.drawings[folder.runs()[0][1]["file"]]


@damage("files")
def drawing_too_many(folder: PlanFolder) -> None:
    folder.drawings["S9-b1-pass1.dxf"] = []


@damage("files")
def drawing_that_says_inches(folder: PlanFolder) -> None:
    folder.units[folder.runs()[0][1]["file"]] = 1


@damage("files")
def layer_frozen(folder: PlanFolder) -> None:
    folder.frozen[folder.runs()[0][1]["file"]] = "CUT"


@damage("files")
def line_on_a_layer_of_its_own(folder: PlanFolder) -> None:
    entities = folder.drawings[folder.runs()[0][1]["file"]]
    entities.append(Entity("0", [[10.0, 10.0, 0.0], [20.0, 10.0, 0.0]]))


@damage("files")
def drawing_cut_short(folder: PlanFolder) -> None:
    name = folder.runs()[0][1]["file"]
    content = folder.drawing(name)
    folder.raw[name] = content[: len(content) // 2]


@damage("files")
def drawing_that_is_none(folder: PlanFolder) -> None:
    folder.raw[folder.runs()[0][1]["file"]] = b"\x89PNG\r\n\x1a\n" * 50


@damage("files")
def one_drawing_for_two_passes(folder: PlanFolder) -> None:
    folder.runs()[1][1]["file"] = folder.runs()[0][1]["file"]


@damage("files")
def drawing_without_a_unit(folder: PlanFolder) -> None:
    folder.units[folder.runs()[0][1]["file"]] = 0


# ── trims and leftovers ──────────────────────────────────────────────────────────────────────────────────────


@damage("trims edge to edge")
def trim_that_stops_short(folder: PlanFolder) -> None:
    trim = trimmed(folder)
    trim["to_mm"] = [a + 0.99 * (b - a) for a, b in zip(trim["from_mm"], trim["to_mm"], strict=True)]


@damage("trims edge to edge")
def trims_in_the_wrong_order(folder: PlanFolder) -> None:
    """A cut that ends at an earlier one is made before it."""
    pairs = [(a, b) for s in folder.plan["sheets"] for a in s["trims"] for b in s["trims"] if a["order"] < b["order"]]
    one, other = first((a, b) for a, b in pairs if _ends_at(b, a))
    one["order"], other["order"] = other["order"], one["order"]


def _ends_at(trim: dict[str, Any], earlier: dict[str, Any]) -> bool:
    axis = 0 if earlier["from_mm"][0] == earlier["to_mm"][0] else 1
    low, high = sorted(end[1 - axis] for end in (earlier["from_mm"], earlier["to_mm"]))
    level = earlier["from_mm"][axis]
    return any(
        0 <= end[axis] - level <= earlier["kerf_mm"] and low + 1 < end[1 - axis] < high - 1
        for end in (trim["from_mm"], trim["to_mm"])
    )


@damage("blanks freed")
def trim_left_out(folder: PlanFolder) -> None:
    first(s for s in folder.plan["sheets"] if s["trims"])["trims"].pop()


@damage("blanks freed")
def trim_two_millimetres_off(folder: PlanFolder) -> None:
    trim = trimmed(folder)
    axis = 0 if trim["from_mm"][0] == trim["to_mm"][0] else 1
    for key in ("from_mm", "to_mm"):
        trim[key][axis] += 2.0


@damage("blanks freed")
def trim_0_3_mm_off(folder: PlanFolder) -> None:
    trim = trimmed(folder)
    axis = 0 if trim["from_mm"][0] == trim["to_mm"][0] else 1
    for key in ("from_mm", "to_mm"):
        trim[key][axis] += 0.3


@damage("blanks freed")
def blank_said_to_reach_a_millimetre_further(folder: PlanFolder) -> None:
    sheet = first(s for s in folder.plan["sheets"] if s["trims"])
    sheet["blanks"][0]["rect_mm"][2] += 1.0


@damage("blanks freed")
def sheet_said_to_be_wider_than_its_blank(folder: PlanFolder) -> None:
    sheet = first(s for s in folder.plan["sheets"] if not s["trims"] and len(s["blanks"]) == 1)
    right = max(x for x, _ in sheet["outline_mm"])
    sheet["outline_mm"] = [[x + 40.0 * (x == right), y] for x, y in sheet["outline_mm"]]


@damage("trims in order")
def trim_through_a_piece(folder: PlanFolder) -> None:
    sheet = first(s for s in folder.plan["sheets"] if s["trims"])
    trim = sheet["trims"][0]
    axis = 0 if trim["from_mm"][0] == trim["to_mm"][0] else 1
    ring = folder.contours(sheet["placements"][0]["piece"])[0]
    level = (min(v[axis] for v in ring) + max(v[axis] for v in ring)) / 2
    for key in ("from_mm", "to_mm"):
        trim[key][axis] = level


@damage("trims in order")
def trim_made_twice(folder: PlanFolder) -> None:
    sheet = first(s for s in folder.plan["sheets"] if s["trims"])
    sheet["trims"].append({**copy.deepcopy(sheet["trims"][0]), "order": 99, "file": None, "method": "saw"})


@damage("blanks freed")
def saw_wider_than_planned(folder: PlanFolder) -> None:
    def bites(trim: dict[str, Any], rect: list[float]) -> bool:
        axis = 0 if trim["from_mm"][0] == trim["to_mm"][0] else 1
        return abs(trim["from_mm"][axis] + trim["kerf_mm"] - rect[axis]) < 0.01

    sheets = folder.plan["sheets"]
    cuts = [(trim, blank["rect_mm"]) for s in sheets for trim in s["trims"] for blank in s["blanks"]]
    first(trim for trim, rect in cuts if bites(trim, rect))["kerf_mm"] += 5.0


@damage("leftovers")
def leftover_into_the_saw_cut(folder: PlanFolder) -> None:
    sheet, left = first((s, left) for s in folder.plan["sheets"] for left in s["leftovers"] if s["trims"])
    xs, ys = [x for x, _ in left["outline_mm"]], [y for _, y in left["outline_mm"]]
    for trim in sheet["trims"]:
        axis = 0 if trim["from_mm"][0] == trim["to_mm"][0] else 1
        low = (min(xs), min(ys))[axis]
        if 0 <= low - trim["from_mm"][axis] - trim["kerf_mm"] < 1.0 and trim["kerf_mm"] > 1.0:
            trim["kerf_mm"] += 5.0
            return
    raise NotHere


@damage("machine trims")
def machine_trim_drawn_half_a_millimetre_off(folder: PlanFolder) -> None:
    line = first(e for e in folder.drawings[trimmed(folder, "machine")["file"]] if e.layer == "CUT")
    shift(line, 0.5, 0.5)


@damage("machine trims")
def uncut_ends_told_wrong(folder: PlanFolder) -> None:
    trim = trimmed(folder, "machine")
    trim["uncut_ends_mm"] = [trim["uncut_ends_mm"][0] + 3.0, trim["uncut_ends_mm"][1]]


@damage("trim table")
def machine_trim_laid_off_the_table(folder: PlanFolder) -> None:
    trim = trimmed(folder, "machine")
    away = folder.plan["machine"]["table_mm"][0]
    trim["shift_mm"] = [trim["shift_mm"][0] + away, trim["shift_mm"][1]]
    for entity in folder.drawings[trim["file"]]:
        shift(entity, away, 0.0)


@damage("leftovers")
def leftover_over_a_piece(folder: PlanFolder) -> None:
    sheet, left = leftover(folder)
    x, y, _ = folder.contours(sheet["placements"][0]["piece"])[0][0]
    left["outline_mm"] = [[x - 50, y - 50], [x + 50, y - 50], [x + 50, y + 50], [x - 50, y + 50]]
    left["usable_mm"] = [x - 40, y - 40, x + 40, y + 40]


@damage("leftovers")
def leftover_a_millimetre_larger_all_round(folder: PlanFolder) -> None:
    _, left = leftover(folder)
    xs, ys = zip(*left["outline_mm"], strict=True)
    x, y = sum(xs) / len(xs), sum(ys) / len(ys)
    left["outline_mm"] = [[a + math.copysign(1.0, a - x), b + math.copysign(1.0, b - y)] for a, b in left["outline_mm"]]


@damage("leftovers")
def leftover_beyond_the_sheet(folder: PlanFolder) -> None:
    _, left = leftover(folder)
    left["outline_mm"] = [[x + 2.0, y] for x, y in left["outline_mm"]]


@damage("leftovers")
def leftover_twice(folder: PlanFolder) -> None:
    sheet, left = leftover(folder)
    sheet["leftovers"].append(copy.deepcopy(left))


@damage("leftovers")
def leftover_less_usable_than_said(folder: PlanFolder) -> None:
    _, left = leftover(folder)
    left["usable_mm"][0] -= 20.0


@damage("leftovers")
def scrap_credited(folder: PlanFolder) -> None:
    _, left = leftover(folder)
    left.update(keep=False, credit="10.00")


@damage("leftovers")
def leftover_that_crosses_itself(folder: PlanFolder) -> None:
    _, left = leftover(folder)
    left["outline_mm"][0], left["outline_mm"][1] = left["outline_mm"][1], left["outline_mm"][0]


@damage("leftovers")
def leftover_with_nothing_usable(folder: PlanFolder) -> None:
    _, left = leftover(folder)
    left["usable_mm"][2] = left["usable_mm"][0]


@damage("leftovers")
def leftover_across_a_trim(folder: PlanFolder) -> None:
    sheet, left = leftover(folder)
    if not sheet["trims"]:
        raise NotHere
    (x0, y0), (x1, y1) = sheet["trims"][0]["from_mm"], sheet["trims"][0]["to_mm"]
    x, y = (x0 + x1) / 2, (y0 + y1) / 2
    left["outline_mm"] = [[x - 5, y - 5], [x + 5, y - 5], [x + 5, y + 5], [x - 5, y + 5]]
    left["usable_mm"] = [x - 4, y - 4, x + 4, y + 4]


@damage("machine trims")
def machine_trim_without_a_drawing(folder: PlanFolder) -> None:
    trim = trimmed(folder, "machine")
    del folder.drawings[trim["file"]]
    trim["file"] = None


@damage("machine trims")
def hand_trim_with_uncut_ends(folder: PlanFolder) -> None:
    trimmed(folder, "saw", "snap")["uncut_ends_mm"] = [5.0, 5.0]


@damage("machine trims")
def machine_trim_drawn_in_two_cuts(folder: PlanFolder) -> None:
    entities = folder.drawings[trimmed(folder, "machine")["file"]]
    entities.append(copy.deepcopy(first(e for e in entities if e.layer == "CUT")))


@damage("trims edge to edge")
def trim_of_no_length(folder: PlanFolder) -> None:
    trim = trimmed(folder)
    trim["from_mm"] = trim["to_mm"] = [(a + b) / 2 for a, b in zip(trim["from_mm"], trim["to_mm"], strict=True)]


# ── money ────────────────────────────────────────────────────────────────────────────────────────────────────


@damage("cost")
def cost_line_a_cent_off(folder: PlanFolder) -> None:
    line = folder.plan["cost"]["lines"][0]
    line["amount"] = str(round(float(line["amount"]) + 0.01, 2))


@damage("cost")
def cost_line_left_out(folder: PlanFolder) -> None:
    folder.plan["cost"]["lines"].pop()


@damage("cost")
def bound_above_the_total(folder: PlanFolder) -> None:
    folder.plan["cost"]["bound"] = str(round(float(folder.plan["cost"]["total"]) + 1.0, 2))


@damage("cost")
def cost_of_a_stock_key_told_too_low(folder: PlanFolder) -> None:
    share = first(iter(folder.plan["cost"].get("by_stock", [])))
    share["cost"] = str(round(float(share["cost"]) - 1.0, 2))


@damage("cost")
def gap_told_wrong(folder: PlanFolder) -> None:
    folder.plan["cost"]["gap_percent"] += 3.0


@damage("cost")
def sheet_dearer_than_its_cost_line(folder: PlanFolder) -> None:
    sheet = folder.plan["sheets"][0]
    sheet["price"] = str(round(float(sheet["price"]) + 5.0, 2))


@damage("cost")
def leftover_said_to_bring_back_more(folder: PlanFolder) -> None:
    _, left = first((s, left) for s in folder.plan["sheets"] for left in s["leftovers"] if left["keep"])
    left["credit"] = str(round(float(left["credit"]) + 1.0, 2))


# ── buying ───────────────────────────────────────────────────────────────────────────────────────────────────


def alike(folder: PlanFolder) -> list[dict[str, Any]]:
    """Two sheets of one offer; a second one is made of any other sheet."""
    first_bought, other = first(
        (a, b) for a in folder.plan["sheets"] if a["source"]["offer"] for b in folder.plan["sheets"] if b is not a
    )
    other["source"] = dict(first_bought["source"])
    return [first_bought, other]


@damage("orders")
def one_sheet_of_an_order_at_another_price(folder: PlanFolder) -> None:
    _, other = alike(folder)
    other["price"] = str(round(float(other["price"]) + 1.0, 2))


@damage("orders")
def one_sheet_of_an_order_of_another_size(folder: PlanFolder) -> None:
    one, other = alike(folder)
    other["price"] = one["price"]
    other["outline_mm"] = [[x + 40.0 * (x > 0), y] for x, y in one["outline_mm"]]


@damage("next best")
def next_best_below_the_plan(folder: PlanFolder) -> None:
    folder.plan["sheets"][0]["next_best"] = {"instead": [], "extra": "-0.01"}


@damage("next best")
def sheet_replaced_by_itself(folder: PlanFolder) -> None:
    sheet = folder.plan["sheets"][0]
    sheet["next_best"] = {"instead": [sheet["source"]], "extra": "1.00"}


@damage("next best")
def sheet_replaced_by_an_offcut_in_use(folder: PlanFolder) -> None:
    used = first(s for s in folder.plan["sheets"] if s["source"]["stock_id"])
    folder.plan["sheets"][0]["next_best"] = {"instead": [used["source"]], "extra": "1.00"}


@damage("lots")
def face_from_two_lots(folder: PlanFolder) -> None:
    one, other = first((a, b) for a in folder.plan["sheets"] for b in folder.plan["sheets"] if a is not b)
    pieces = [folder.piece(first(spot["piece"] for spot in sheet["placements"])) for sheet in (one, other)]
    for piece in pieces:
        piece["one_lot"] = "front"
        piece["thickness_mm"], piece["material"], piece["colour"] = 5.0, "acrylic", "opal"


@damage("lots")
def face_from_two_lots_on_record(folder: PlanFolder) -> None:
    one, other = first((a, b) for a in folder.plan["sheets"] for b in folder.plan["sheets"] if a is not b)
    face_from_two_lots(folder)
    one["lot"], other["lot"] = "L1", "L2"


# ── segments ─────────────────────────────────────────────────────────────────────────────────────────────────


def split_of(folder: PlanFolder) -> dict[str, Any]:
    return first(folder.plan.get("splits", []))


@damage("segments add up")
def seat_moved_by_a_tenth(folder: PlanFolder) -> None:
    split_of(folder)["seats"][0]["x_mm"] += 0.1


@damage("segments add up")
def seat_turned_by_a_tenth_of_a_degree(folder: PlanFolder) -> None:
    split_of(folder)["seats"][0]["turn_deg"] += 0.1


@damage("segments meet")
def joint_told_beside_its_place(folder: PlanFolder) -> None:
    name = split_of(folder)["seats"][0]["piece"]
    joint = first(piece for piece in folder.plan["pieces"] if piece["id"] == name)["joints"][0]
    for end in (joint["start_mm"], joint["end_mm"]):
        end[0] += 0.5


@damage("segments add up")
def parent_larger_than_its_segments(folder: PlanFolder) -> None:
    outline = split_of(folder)["parent"]["outline"]
    outline[0] = [outline[0][0] - 2.0, outline[0][1] - 2.0, outline[0][2]]


@damage("segments")
def seat_forgotten(folder: PlanFolder) -> None:
    split_of(folder)["seats"].pop()


@damage("segments")
def split_forgotten(folder: PlanFolder) -> None:
    folder.plan["splits"].remove(split_of(folder))


@damage("segments")
def fewer_segments_than_are_said_to_be_needed(folder: PlanFolder) -> None:
    split_of(folder)["at_least"] = 99


@damage("orders")
def panel_ordered_smaller_than_it_is_counted_on(folder: PlanFolder) -> None:
    sheet = first(s for s in folder.plan["sheets"] if s["source"]["offer"])
    sheet["source"]["cut_mm"] = [max(x for x, _ in sheet["outline_mm"]) - 1.0, 5000.0]
