"""The work pack as a list of steps: what to do, the pictures and tables to do it by, in the order of the work.

In: a Plan and the Workshop. Out: `Step`s of plain words, `Picture`s and `Table`s, which page and print place.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import shapely

from cli.documents import pictures, rows, states, words
from cli.documents.canvas import Picture
from cli.documents.rows import Column, Table
from cli.documents.words import count, listed, mm, plain
from nesting.costing import figure_for
from nesting.model import CuttingFigure, Machine, Pass, Plan, PlannedSheet, Trim, Workshop
from nesting.passes.cuts import Cut

LIFT_ALONE_KG = 15.0
"""Above this a sheet is for two people: common practice, no source."""


@dataclass(frozen=True, slots=True)
class Step:
    """One page: `todo` are the lines to tick off, `notes` what to know, `cautions` what can hurt."""

    key: str
    kind: str
    title: str
    lead: str
    todo: tuple[str, ...] = ()
    figures: tuple[Picture, ...] = ()
    tables: tuple[Table, ...] = ()
    notes: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()


def steps(plan: Plan, workshop: Workshop) -> list[Step]:
    """The whole pack, cover first."""
    return [
        _cover(plan, workshop),
        *(step for sheet in plan.sheets for step in _sheet_steps(plan, workshop, sheet)),
        *_lists(plan, workshop),
    ]


def _sheet_steps(plan: Plan, workshop: Workshop, sheet: PlannedSheet) -> Iterator[Step]:
    yield _fetch(plan, workshop, sheet)
    for trim in sheet.trims:
        yield _trim(plan, workshop, sheet, trim)
    last: dict[str, Pass] = {}
    for run in sheet.passes:
        before = last.get(run.blank)
        if before and run.turn_before != "none":
            yield _turn(plan, sheet, before, run)
        yield _pass(plan, sheet, run, states.cuts_on(plan, sheet, run.blank))
        last[run.blank] = run
    if any(left.keep for left in sheet.leftovers):
        yield _back(plan, sheet)


# ── cover ────────────────────────────────────────────────────────────────────────────────────────────────────


def _cover(plan: Plan, workshop: Workshop) -> Step:
    job = plan.job
    runs = [run for sheet in plan.sheets for run in sheet.passes]
    facts = [
        ("customer", plain(job.customer)),
        ("due", plain(job.due)),
        ("quantity", str(job.quantity)),
        ("machine", f"{plain(plan.machine.name)}, reach {words.size(*plan.machine.travel_mm)}"),
        ("pieces", str(len(plan.pieces))),
        ("sheets", str(len(plan.sheets))),
        ("trim cuts", str(sum(len(sheet.trims) for sheet in plan.sheets))),
        ("passes", str(len(runs))),
        ("turns and shifts", str(sum(run.turn_before != "none" for run in runs))),
    ]
    totals = rows.rounded(
        "totals", "At a glance", (Column("what"), Column("how much")), tuple(f for f in facts if f[1])
    )
    return Step(
        key="cover",
        kind="Work pack",
        title=plain(job.name, 120),
        lead="From fetching the sheets to putting the rest back, one step a page. Do them in order and tick them off.",
        todo=("Every sheet of the list is at hand, its label read and its thickness measured.",),
        tables=(totals, _sheets_to_fetch(plan, workshop)),
        notes=(*(f"In this job: {plain(warning, 400)}." for warning in plan.warnings), *READING),
        cautions=_cautions(plan),
    )


READING = (
    "Pictures of a sheet show its face; pictures of the bed show what you see from the front of the machine.",
    "A plain number is a piece, as in the piece list. A diamond is a join in a pass, or the order of a trim cut. "
    "L and a number is a line-up mark.",
    "A, B, C and D name the four edges of a blank. Write them on its masking film: they tell which way it lies.",
)


def _sheets_to_fetch(plan: Plan, workshop: Workshop) -> Table:
    columns = (
        Column("sheet"),
        Column("take"),
        Column("from"),
        Column("material"),
        Column("size", "mm"),
        Column("mass", "kg", 1),
    )
    table = [
        (
            plain(sheet.id),
            words.source(sheet),
            _place(workshop, sheet),
            words.stock(sheet),
            _bounds_words(sheet),
            rows.mass_kg(workshop, sheet) or "",
        )
        for sheet in plan.sheets
    ]
    return rows.rounded("sheets", "Sheets to fetch", columns, tuple(table))


def _place(workshop: Workshop, sheet: PlannedSheet) -> str:
    if sheet.place:
        return plain(sheet.place)
    supplier = next((offer.supplier for offer in workshop.offer if offer.id == sheet.source.offer), "")
    return plain(supplier) or "place not noted"


def _bounds_words(sheet: PlannedSheet) -> str:
    x0, y0, x1, y1 = states.sheet_shape(sheet).bounds
    return f"{mm(x1 - x0)} × {mm(y1 - y0)}"


def _cautions(plan: Plan) -> tuple[str, ...]:
    return (*(LASER_CAUTIONS if plan.machine.kind == "laser" else ROUTER_CAUTIONS), *ALL_CAUTIONS)


LASER_CAUTIONS = (
    "Fumes: extraction on before the beam and until well after the last cut; let the smoke clear before you open.",
    "Fire: never leave the machine running alone; keep a CO₂ extinguisher and a clear way out at hand.",
    "Beam: lid and interlocks stay as the maker made them. Cut only what its data sheet allows; never PVC or vinyl.",
)
ROUTER_CAUTIONS = (
    "Bit and chips: guards and extraction on, eye and ear protection, hands away until the spindle stands still.",
    "Clamp every part that comes loose, or leave it held until the bit has stopped.",
)
ALL_CAUTIONS = (
    "Hot small parts, sharp edges: let parts cool; gloves for trimming and snapping, glasses whenever you snap.",
    "What hangs out of the machine must be supported level with the table, or it sags, lifts and turns.",
    "Signs over people are fixed by a competent person. Local rules and the maker's manual come before this page.",
)


# ── fetch and trim ───────────────────────────────────────────────────────────────────────────────────────────


def _fetch(plan: Plan, workshop: Workshop, sheet: PlannedSheet) -> Step:
    name = plain(sheet.id)
    x0, y0, x1, y1 = states.sheet_shape(sheet).bounds
    mass = rows.mass_kg(workshop, sheet)
    blanks = "each blank" if len(sheet.blanks) > 1 else "the blank"
    todo = [
        f"Fetch {words.source(sheet)} ({_place(workshop, sheet)}) and read its label: {words.stock(sheet)}.",
        f"Measure it: {words.size(x1 - x0, y1 - y0)} over all, {mm(sheet.thickness_mm)} mm thick. "
        "Smaller or not square: stop and ask.",
        f"Lay it face up as pictured and write A, B, C, D on the film along the four edges of {blanks}.",
        f"Write {name} on it.",
    ]
    cautions = [f"{mass:.0f} kg: lift it with two people."] if mass and mass > LIFT_ALONE_KG else []
    return Step(
        key=f"{name}-fetch",
        kind=f"Sheet {name} · fetch",
        title=f"Fetch {words.source(sheet)}",
        lead=f"{words.stock(sheet)}, {words.size(x1 - x0, y1 - y0)}. For {count(len(sheet.placements), 'piece')}.",
        todo=tuple(todo),
        figures=(pictures.sheet_picture(plan, sheet),),
        tables=(_on_sheet(plan, sheet),),
        cautions=tuple(cautions),
    )


def _on_sheet(plan: Plan, sheet: PlannedSheet) -> Table:
    tags = rows.numbers(plan)
    table = [
        (
            tags[at.piece],
            words.piece_name(plan.piece(at.piece)),
            plain(at.blank),
            " + ".join(str(run.order) for run in states.passes_of(sheet, at.piece)),
        )
        for at in sheet.placements
    ]
    columns = (Column("no."), Column("piece"), Column("blank"), Column("pass"))
    return rows.rounded("on_sheet", "Pieces on this sheet", columns, tuple(sorted(table)))


def _trim(plan: Plan, workshop: Workshop, sheet: PlannedSheet, trim: Trim) -> Step:
    name = plain(sheet.id)
    figures = [pictures.trim_picture(sheet, trim)]
    if trim.method == "machine":
        figures.append(pictures.trim_bed_picture(plan, sheet, trim))
    return Step(
        key=f"{name}-trim{trim.order}",
        kind=f"Sheet {name} · trim {trim.order} of {len(sheet.trims)}",
        title=f"{TRIM_TITLES[trim.method]}: {plain(trim.measure, 200)}",
        lead="One straight cut, from edge to edge of the part in the picture.",
        todo=tuple(_trim_todo(plan, workshop, trim)),
        figures=tuple(figures),
        notes=(
            f"Sheet frame: from {words.point(trim.from_mm)} to {words.point(trim.to_mm)} (mm from the lower left).",
        ),
        cautions=("Gloves and eye protection: the edge is sharp and may splinter.",),
    )


TRIM_TITLES = {"machine": "Cut on the machine", "saw": "Saw", "snap": "Score and snap"}


def _trim_todo(plan: Plan, workshop: Workshop, trim: Trim) -> Iterator[str]:
    yield f"Mark the cut: {plain(trim.measure, 200)}. Measure twice."
    if trim.method == "machine":
        yield "Lay the part on the table as in the second picture, square to the travel; support what hangs out."
        yield (
            f"Load {plain(trim.file or 'the trim drawing', 80)} and run its frame with the beam off."
            if trim.file
            else ("Run the line once with the beam off.")
        )
        yield "Cut, and let it cool."
        ends = [mm(uncut) for uncut in trim.uncut_ends_mm if uncut > 0]
        if ends:
            yield (
                f"The machine does not reach the edges: {listed(ends)} mm stay uncut. Score them on both faces in line "
                "with the cut, bend at the cut over a straight edge until they snap, and scrape them smooth."
            )
    elif trim.method == "saw":
        kerf = mm(workshop.rates.saw_kerf_mm)
        yield f"Set the fence so that the blank keeps its measure; the saw's {kerf} mm fall beyond the line."
        yield "Saw through in one go, film on, and clean the edge."
    else:
        yield "Score along a steel rule, several strokes, to about a third of the thickness."
        yield "Lay the line over a straight edge, scored face up; hold one side down, press the other until it snaps."
    yield "Check the blank: its measure as in the picture, its corners square."


# ── passes ───────────────────────────────────────────────────────────────────────────────────────────────────


def _turn(plan: Plan, sheet: PlannedSheet, before: Pass, after: Pass) -> Step:
    name = plain(sheet.id)
    kinds = {"half": "Half turn", "quarter": "Quarter turn", "shift": "Slide the blank"}
    todo = [
        "Let everything cool. Take out what is loose; leave what is still held by the sheet.",
        words.turn_words(before, after),
        f"Check the letters: {_letters(after)}.",
    ]
    return Step(
        key=f"{name}-turn{after.order}",
        kind=f"Sheet {name} · between pass {before.order} and {after.order}",
        title=kinds[after.turn_before],
        lead="Keep the blank flat and its face up; do not tip it over.",
        todo=tuple(todo),
        figures=(pictures.turn_picture(plan, sheet, before, after),),
    )


def _letters(run: Pass) -> str:
    return listed(
        [f"{words.edge_at(side, run.turn_deg)} {'at the' if side in AT else 'on the'} {side}" for side in words.EDGES]
    )


AT = ("front", "back")


def _pass(plan: Plan, sheet: PlannedSheet, run: Pass, cuts: states.Cuts) -> Step:
    name, blank = plain(sheet.id), plain(run.blank)
    total = sum(other.blank == run.blank for other in sheet.passes)
    figure = figure_for(plan.machine, sheet.stock)
    tables = [
        _frame_table(plan.machine, run, cuts[run.order]),
        _figures_table(figure),
        _joins_table(run),
        _lineup_table(run),
    ]
    return Step(
        key=f"{name}-{blank}-pass{run.order}",
        kind=f"Sheet {name} · blank {blank} · pass {run.order} of {total}",
        title=f"Pass {run.order}: {_pass_title(run)}",
        lead=_lying(plan.machine, sheet, run),
        todo=tuple(_pass_todo(plan, sheet, run)),
        figures=(pictures.pass_picture(plan, sheet, run, cuts),),
        tables=tuple(table for table in tables if table),
        notes=(_order(plan, run), KERF, words.axis_words(plan.machine)),
        cautions=("Extraction on, stay with the machine, extinguisher at hand.",)
        if plan.machine.kind == "laser"
        else (),
    )


KERF = (
    "The drawing holds the nominal outline, without kerf: let the machine's software shift the path by half the kerf "
    "(outwards round outlines, inwards in holes)."
)


def _pass_title(run: Pass) -> str:
    parts = [count(len(run.whole), "piece") + " whole"] if run.whole else []
    parts += [count(len(run.part), "piece") + " in part"] if run.part else []
    return " and ".join(parts) or "nothing to cut"


def _bed_bounds(sheet: PlannedSheet, run: Pass) -> tuple[float, float, float, float]:
    shape = states.blank_shape(sheet, states.blank_of(sheet, run))
    x0, y0, x1, y1 = states.bed_shape(shape, run).bounds
    return x0, y0, x1, y1


def _lying(machine: Machine, sheet: PlannedSheet, run: Pass) -> str:
    """Where the blank lies, by its letters and its distances from the travel's left end and front edge."""
    x0, _, _, y1 = _bed_bounds(sheet, run)
    left = f"{mm(abs(x0))} mm {'right' if x0 >= 0 else 'left'} of the travel's left end"
    gap = y1 - machine.travel_mm[1]
    far = f"{mm(abs(gap))} mm {'behind' if gap >= 0 else 'before'} the travel's far edge"
    return f"Blank {plain(run.blank)} lies with {_letters(run)}. Its left edge is {left}, its far edge {far}."


def _pass_todo(plan: Plan, sheet: PlannedSheet, run: Pass) -> Iterator[str]:
    _, y0, _, _ = _bed_bounds(sheet, run)
    yield "The blank lies face up as pictured, square to the travel; the letters are right."
    if y0 < -1.0:
        yield f"{mm(-y0)} mm hang out at the front: supported level with the table."
    found = [mark for mark in run.lineup if not mark.cut_here]
    if found:
        names = listed([f"L{mark.number}" for mark in found])
        yield f"Line up: bring the pointer to the coordinates of {names} and move the blank until every mark is met."
    yield f"Load {plain(run.file, 80)}."
    yield "Run the frame with the beam off: it stays on the sheet, as in the picture."
    yield "Focus, feed and power set as in the table; a test cut in waste."
    if any(mark.cut_here for mark in run.lineup):
        yield "Cut the line-up marks first, then the pieces in order."
    else:
        yield "Cut, in order."
    if run.part and run.order < max(other.order for other in sheet.passes if other.blank == run.blank):
        yield "Do not lift out or break off the pieces cut in part: the sheet still holds them."
    yield "Let it cool; take out the finished pieces and write their numbers on them."


def _figures_table(figure: CuttingFigure) -> Table:
    columns = (Column("feed", "mm/s", 1), Column("power", "%", 0), Column("pierce", "s", 1), Column("kerf", "mm", 2))
    power = "by test cut" if figure.power_percent is None else figure.power_percent
    row = (figure.feed_mm_s, power, figure.pierce_s, figure.kerf_mm)
    return rows.rounded("figures", "Cutting figures", columns, [row])


def _frame_table(machine: Machine, run: Pass, cuts: Sequence[Cut]) -> Table | None:
    frame = states.cut_frame(run, cuts)
    if frame is None:
        return None
    x0, y0, x1, y1 = frame
    travel_x, travel_y = machine.travel_mm
    columns = (Column("side"), Column("frame at", "mm", 1), Column("to spare in the travel", "mm", 1))
    sides = [("left", x0, x0), ("right", x1, travel_x - x1), ("front", y0, y0), ("back", y1, travel_y - y1)]
    return rows.rounded(
        "frame", "Frame round this pass", columns, tuple((side, at, spare) for side, at, spare in sides)
    )


def _joins_table(run: Pass) -> Table | None:
    columns = (Column("join"), Column("x", "mm", 1), Column("y", "mm", 1), Column("step to expect, up to", "mm", 2))
    table = [(join.number, *join.bed_mm, join.mismatch_mm) for join in run.joins]
    return rows.rounded("joins", "Joins", columns, tuple(sorted(table))) if table else None


def _lineup_table(run: Pass) -> Table | None:
    columns = (Column("mark"), Column("x", "mm", 1), Column("y", "mm", 1), Column("what to do"))
    table = [(f"L{m.number}", *m.bed_mm, "cut it" if m.cut_here else "find it") for m in run.lineup]
    return rows.rounded("lineup", "Line-up marks", columns, tuple(sorted(table))) if table else None


def _order(plan: Plan, run: Pass) -> str:
    tags = rows.numbers(plan)
    order = ", ".join(str(tags[piece]) for piece in (*run.whole, *run.part) if piece in tags)
    return f"Order of cutting, by piece number: {order}. Marks first, and the holes of a piece before its outline."


# ── back to the rack, lists ──────────────────────────────────────────────────────────────────────────────────


def _back(plan: Plan, sheet: PlannedSheet) -> Step:
    name = plain(sheet.id)
    kept = [left for left in sheet.leftovers if left.keep]
    columns = (
        Column("no."),
        Column("largest rectangle", "mm"),
        Column("area", "m²", 3),
        Column("credit", plan.cost.currency, 2),
    )
    table = tuple(
        (
            number,
            f"{mm(left.usable_mm[2] - left.usable_mm[0])} × {mm(left.usable_mm[3] - left.usable_mm[1])}",
            shapely.Polygon(left.outline_mm, left.holes_mm).area / 1e6,
            words.cents(left.credit),
        )
        for number, left in enumerate(kept, start=1)
    )
    marked = f"{words.stock(sheet)}, measured thickness, {words.source(sheet)}, this job, and which face is up"
    return Step(
        key=f"{name}-back",
        kind=f"Sheet {name} · back on the rack",
        title=f"Put {count(len(kept), 'leftover')} back on the rack",
        lead="Everything else of this sheet is scrap.",
        todo=tuple(
            f"Leftover {n}: write on it {marked}; put it on the rack and note the place."
            for n in range(1, len(kept) + 1)
        ),
        figures=(pictures.leftover_picture(plan, sheet),),
        tables=(rows.rounded("leftovers", "To keep", columns, table),),
        notes=("Loose corners that may break are trimmed off first; the rectangle in the picture stays.",),
    )


def _lists(plan: Plan, workshop: Workshop) -> Iterator[Step]:
    yield Step(
        key="pieces",
        kind="Lists",
        title="Piece list",
        lead="What each number is, and where it comes from. Count them before you clear the bench.",
        todo=("Every piece is there, numbered and sound.",),
        tables=(_only(rows.cut_list(plan), "no.", "piece", "copy", "part of", "width", "height", "sheet", "pass"),),
    )
    yield Step(
        key="bill",
        kind="Lists",
        title="Material and cost",
        lead="For the office.",
        tables=(
            _only(
                rows.material_bill(plan, workshop), "sheet", "stock number or offer", "length", "width", "mass", "value"
            ),
            rows.cost_lines(plan),
        ),
        notes=(
            f"No plan can cost less than {words.money(plan.cost.bound, plan.cost.currency)}; "
            f"this one is within {plan.cost.gap_percent:.1f} % of that.",
        ),
    )


def _only(table: Table, *heads: str) -> Table:
    """The table with these columns alone."""
    kept = [next(i for i, column in enumerate(table.columns) if column.head == head) for head in heads]
    columns = tuple(table.columns[i] for i in kept)
    return Table(table.name, table.title, columns, tuple(tuple(row[i] for i in kept) for row in table.rows))
