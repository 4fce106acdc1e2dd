"""The steps at the machine: a pass, and the turn before it.

In: a Plan, one of its sheets, its passes. Out: `Step`s. Coordinates are the bed's, as a person at its front reads them.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence

from cli.documents import pictures, rows, states, words
from cli.documents.rows import Cell, Column, Table
from cli.documents.step import Step
from cli.documents.words import mm, plain, ranges
from nesting import curves
from nesting.costing import figure_for
from nesting.model import CuttingFigure, Machine, Pass, Piece, Plan, PlannedSheet, Point, Rect, Stop, Trim
from nesting.passes.cuts import Cut
from nesting.passes.holding import SIDES, edge_at
from nesting.phrases import counted, listed
from nesting.timing import RunTime, run_time

# ── the turn ─────────────────────────────────────────────────────────────────────────────────────────────────

TURN_TITLES = {
    "half": "Half turn",
    "quarter": "Quarter turn",
    "shift": "Slide the blank",
    "flip": "Turn the blank over",
    "none": "Leave it as it lies",
}


TURN_LEADS = {
    "up": "Keep the blank flat, its face up. Never tip it over.",
    "down": "Keep the blank flat, face down as it lies. Never tip it over.",
    "over": "Both faces of this sheet are alike. Two people turn it over, held at both long edges.",
}


def turn_step(plan: Plan, sheet: PlannedSheet, before: Pass, after: Pass) -> Step:
    """What the hands do between two passes of one blank."""
    name = plain(sheet.id)
    return Step(
        key=f"{name}-{plain(after.blank)}-turn{after.order}",
        kind=f"Sheet {name} · blank {plain(after.blank)} · from pass {before.order} to pass {after.order}",
        title=TURN_TITLES[after.turn_before],
        lead=TURN_LEADS["over" if after.turn_before == "flip" else "down" if after.flipped else "up"],
        todo=(
            "Let everything cool. Take out what is loose; leave what the sheet still holds.",
            words.turn_words(before, after),
            f"Check the letters: {letters(after)}.",
        ),
        figures=(pictures.turn_picture(plan, sheet, before, after),),
    )


def letters(run: Pass | Trim) -> str:
    """`A at the front, B on the right, …`: which edge of the blank lies where."""
    flipped = isinstance(run, Pass) and run.flipped
    return listed([f"{edge_at(side, run.turn_deg, flipped)} {PLACES[side]}" for side in SIDES])


PLACES = {"front": "at the front", "right": "on the right", "back": "at the back", "left": "on the left"}


# ── the pass ─────────────────────────────────────────────────────────────────────────────────────────────────


def pass_step(plan: Plan, sheet: PlannedSheet, run: Pass) -> Step:
    """One run of the machine: how the blank lies, what to load, what to set, what comes loose."""
    name, blank = plain(sheet.id), plain(run.blank)
    cuts = states.cuts_on(plan, sheet, run.blank)
    shape = states.bed_shape(states.blank_shape(sheet, states.blank_of(sheet, run)), run)
    figure = figure_for(plan.machine, sheet.stock)
    spent = run_time(plan.machine, figure, run, cuts[run.order])
    checks = [] if _to_find(run) else states.check_points(plan.machine, shape)
    tables = [
        _settings(plan.machine, figure, spent),
        _frame(run),
        check_table(checks),
        _lineup(run),
        _distances(run),
        _joins(run),
        _order(plan, cuts[run.order]),
    ]
    return Step(
        key=f"{name}-{blank}-pass{run.order}",
        kind=f"Sheet {name} · blank {blank} · pass {run.order} of {_last(sheet, run)}",
        title=f"Pass {run.order}: {_what(plan, run)}",
        lead=f"Blank {blank}: {lying(plan.machine, run, shape.bounds)}.",
        todo=tuple(_todo(plan, sheet, run, cuts[run.order], checks, shape.bounds)),
        figures=(pictures.pass_picture(plan, sheet, run, cuts, checks),),
        tables=tuple(table for table in tables if table),
        notes=(*_notes(plan, run), *_tight(run)),
        cautions=(AT_THE_BEAM,) if plan.machine.kind == "laser" else (AT_THE_BIT,),
    )


AT_THE_BEAM = "Extraction on, stay with the machine, extinguisher at hand."
AT_THE_BIT = "Guard down, extraction on, ears and eyes protected; every loose part clamped."


def _what(plan: Plan, run: Pass) -> str:
    tags = rows.numbers(plan)
    parts = [f"{_named([tags[p] for p in run.whole])} whole"] if run.whole else []
    parts += [f"a share of {_named([tags[p] for p in run.part])}"] if run.part else []
    return " and ".join(parts) or "nothing to cut"


def _named(numbers: Sequence[int]) -> str:
    return ranges(numbers) if len(numbers) <= 3 else f"{len(numbers)} pieces"


def _last(sheet: PlannedSheet, run: Pass) -> int:
    return max(other.order for other in sheet.passes if other.blank == run.blank)


def _to_find(run: Pass) -> list[str]:
    return [f"L{mark.number}" for mark in run.lineup if not mark.cut_here]


def lying(machine: Machine, run: Pass | Trim, bounds: Rect) -> str:
    """How a blank or a sheet lies on the bed: its letters, and where its left and its back edge are."""
    x0, _, _, y1 = bounds
    wall = machine.table_rect[3] - y1
    aside, out = x0 - machine.table_rect[0], machine.travel_rect[0] - x0
    left = f"at x {mm(x0)}"
    if out > NEAR_MM:
        left = f"{mm(out)} mm left of the reach, {mm(aside)} mm from the edge of the table"
    if machine.open_back or wall < -NEAR_MM:
        back = f"its back edge at y {mm(y1)}"
    elif wall < NEAR_MM:
        back = "pushed against the back wall"
    else:
        back = f"its back edge {mm(wall)} mm before the back wall (y {mm(y1)})"
    return f"{letters(run)}; {back}, its left edge {left}"


NEAR_MM = 0.05


def _todo(
    plan: Plan, sheet: PlannedSheet, run: Pass, cuts: Sequence[Cut], checks: Sequence[Point], bounds: Rect
) -> Iterator[str]:
    face = "face down" if run.flipped else "face up"
    yield f"The blank lies flat, {face}, as pictured; the letters are right."
    _, front, _, wall = plan.machine.table_rect
    for side, by in (("front", front - bounds[1]), ("back", bounds[3] - wall)):
        if by > 1.0:
            yield f"{mm(by)} mm hang out at the {side}: supported level with the table."
    yield from _lining_up(plan.machine, run, checks)
    yield f"Load {plain(run.file, 80)}, unmoved. Run {_layers(plan.machine, run, cuts)}; never its NOTE layers."
    yield f"Run the frame {words.IDLE[plan.machine.kind]}: it stays on the sheet, as in the picture."
    yield f"{words.SET_UP[plan.machine.kind]} as in the table; a test cut in scrap of the same material."
    yield "Cut, and stay with it."
    yield from _afterwards(plan, sheet, run)


def _layers(machine: Machine, run: Pass, cuts: Sequence[Cut]) -> str:
    fill = machine.fill_spacing_mm
    mark = f"MARK (what it encloses filled, lines {fill:g} mm apart)" if fill else "MARK"
    used = {
        "LINEUP": any(mark.cut_here for mark in run.lineup),
        mark: any(cut.kind == "mark" for cut in cuts),
        "CUT": any(cut.kind != "mark" for cut in cuts),
    }
    return ", then ".join(layer for layer, there in used.items() if there)


def _lining_up(machine: Machine, run: Pass, checks: Sequence[Point]) -> Iterator[str]:
    """By the marks of the passes before, by the ends of their cuts, against a stop; else by points on the edge."""
    idle, ways = words.IDLE[machine.kind], {lined.by for lined in run.lines_up}
    if run.stops:
        held = [f"edge {stop.edge} {PLACES[stop.side]}, at {_axis(stop)} {mm(stop.at_mm)} mm" for stop in run.stops]
        yield f"Hold it against stops: {listed(held)}."
    if "marks" in ways:
        yield (
            f"Line up: {idle}, bring the pointer to the coordinates of {listed(_to_find(run))}, and move the blank "
            "until each mark lies under it. Clamp, and check again."
        )
    if "joins" in ways:
        yield "Line up: with the pointer at the coordinates of the joins, the ends of the cuts before lie under it."
    if "edge" in ways:
        yield "Line up on the edge: both passes reach just to the joins; the same stop holds the blank both times."
    if checks and not ways:
        names = listed([f"E{n}" for n in range(1, len(checks) + 1)])
        yield f"Set it square: {idle}, bring the pointer to {names}; each lies on the edge of the sheet."


def _axis(stop: Stop) -> str:
    return "x" if stop.side in ("left", "right") else "y"


def _afterwards(plan: Plan, sheet: PlannedSheet, run: Pass) -> Iterator[str]:
    tags = rows.numbers(plan)
    last = {piece: max(p.order for p in states.passes_of(sheet, piece)) for piece in (*run.whole, *run.part)}
    held = ranges([tags[piece] for piece, order in last.items() if order > run.order])
    done = ranges([tags[piece] for piece, order in last.items() if order == run.order])
    if held:
        yield f"Leave {held} in the sheet, neither lifted nor bent: the next pass goes on with it."
    if done:
        yield f"Let it cool; take out {done}, and write its number on each piece."
    if run == sheet.passes[-1] and not any(left.keep for left in sheet.leftovers):
        yield f"Nothing of {plain(sheet.id)} goes back on the rack: what remains is scrap."


SMALL_MM = 50.0
"""Pieces narrower than this may fall between the slats of a bed: common practice, no source."""


def _narrowest(piece: Piece) -> float:
    x0, y0, x1, y1 = curves.bounds([piece.outline])
    return min(x1 - x0, y1 - y0)


# ── tables ───────────────────────────────────────────────────────────────────────────────────────────────────


def _settings(machine: Machine, figure: CuttingFigure, spent: RunTime) -> Table:
    columns = (Column("set"), Column("to"), Column("expect"), Column("about"))
    power = "by test cut" if figure.power_percent is None else f"{figure.power_percent:g} %"
    table = [
        ("feed", f"{figure.feed_mm_s:g} mm/s", "to cut", f"{spent.cut_mm / 1000:.2f} m"),
        ("power", power, "moves", f"{spent.rapid_mm / 1000:.2f} m"),
        ("pierce", f"{figure.pierce_s:g} s", "pierces", str(spent.pierces)),
        ("kerf", f"{figure.kerf_mm:g} mm", "run", f"{spent.minutes:.1f} min"),
    ]
    if spent.marked_mm:
        table.append(("mark at", f"{machine.mark_feed_mm_s:g} mm/s", "to mark", f"{spent.marked_mm / 1000:.2f} m"))
    return rows.rounded("settings", "Settings", columns, table)


def _spare(run: Pass) -> dict[str, float]:
    """Millimetres between the frame of a pass and the end of the travel, side by side; {} if it runs nothing."""
    return dict(zip(("left", "right", "front", "back"), run.spare_mm or (), strict=False))


def _tight(run: Pass) -> Iterator[str]:
    tight = [side for side, left in _spare(run).items() if left < TIGHT_MM]
    if tight:
        yield f"Less than {mm(TIGHT_MM)} mm to spare at the {listed(tight)}: set it with care, watch the frame run."


TIGHT_MM = 1.0


def _frame(run: Pass) -> Table | None:
    if run.frame_mm is None:
        return None
    x0, y0, x1, y1 = run.frame_mm
    columns = (Column("mm"), *(Column(side, "", 1) for side in _spare(run)))
    table: list[tuple[Cell, ...]] = [("at", x0, x1, y0, y1), ("to spare", *_spare(run).values())]
    return rows.rounded("frame", "Frame of this pass", columns, table)


def check_table(points: Sequence[Point]) -> Table | None:
    """The points E1, E2, ... on the edge of the sheet, bed frame; None if there are none."""
    columns = (Column("point"), Column("x", "mm", 1), Column("y", "mm", 1))
    table = [(f"E{number}", *point) for number, point in enumerate(points, start=1)]
    return rows.rounded("checks", "On the edge of the sheet", columns, table) if table else None


def _lineup(run: Pass) -> Table | None:
    columns = (Column("mark"), Column("x", "mm", 1), Column("y", "mm", 1), Column("now"))
    table = [(f"L{m.number}", *m.bed_mm, "cut it" if m.cut_here else "find it") for m in run.lineup]
    return rows.rounded("lineup", "Line-up marks", columns, table) if table else None


def _joins(run: Pass) -> Table | None:
    columns = (Column("join"), Column("x", "mm", 1), Column("y", "mm", 1), Column("step, mm", "", 2))
    table = [(f"J{join.number}", *join.bed_mm, join.mismatch_mm) for join in run.joins]
    return rows.rounded("joins", "Joins", columns, table) if table else None


def _distances(run: Pass) -> Table | None:
    columns = (Column("from"), Column("to"), Column("apart", "mm", 1))
    table = list(dict.fromkeys((at.start, at.end, at.mm) for lined in run.lines_up for at in lined.distances))
    return rows.rounded("distances", "Check with a rule", columns, table) if table else None


def _order(plan: Plan, cuts: Sequence[Cut]) -> Table | None:
    """The cuts numbered as the machine makes them; pieces of which it cuts the same, one after another, on one line."""
    tags = rows.numbers(plan)
    runs = [list(group) for _, group in itertools.groupby((c for c in cuts if c.kind != "mark"), key=lambda c: c.piece)]
    table: list[tuple[Cell, ...]] = []
    done = 0
    for contours, alike in itertools.groupby(runs, key=_contours):
        pieces = [(str(tags[group[0].piece]), len(group)) for group in alike]
        first, done = done + 1, done + sum(many for _, many in pieces)
        told = f"{first}" if first == done else f"{first} to {done}"
        each = f"{contours} of each" if len(pieces) > 1 else contours
        table.append((told, ", ".join(number for number, _ in pieces), each))
    columns = (Column("cut"), Column("pieces in this order", wrap=20), Column("what", wrap=18))
    return rows.rounded("order", "Order of cutting", columns, table) if table else None


def _contours(cuts: Sequence[Cut]) -> str:
    """`2 holes, outline`; what other passes go on with is a share."""
    said = []
    for closed, share in ((True, ""), (False, "share of ")):
        of = [cut.kind for cut in cuts if cut.stretch.closed is closed]
        said += [share + counted(of.count("hole"), "hole")] if "hole" in of else []
        said += [share + ("the outline" if share else "outline")] if "outline" in of else []
    return ", ".join(said)


def _notes(plan: Plan, run: Pass) -> Iterator[str]:
    tags = rows.numbers(plan)
    small = [tags[p] for p in (*run.whole, *run.part) if _narrowest(plan.piece(p)) < SMALL_MM]
    if small:
        yield f"Small and hot: {ranges(small)} may tip or fall between the slats; lay a board below."
    if run.lines_up:
        worst = max(lined.worst_mm for lined in run.lines_up)
        yield f"Anywhere on what this pass cuts of a shared piece, up to {worst:.2f} mm off is to be expected."
