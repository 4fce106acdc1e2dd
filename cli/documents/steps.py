"""The work pack as a list of steps: what to do, the pictures and tables to do it by, in the order of the work.

In: a Plan and the Workshop. Out: `Step`s of plain words, `Picture`s and `Table`s, which page and print place.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import shapely
from shapely import Polygon

from cli.documents import pictures, rows, states, words
from cli.documents.assembly import assembly_steps
from cli.documents.pass_steps import check_table, lying, pass_step, turn_step
from cli.documents.rows import Cell, Column, Table
from cli.documents.step import Step
from cli.documents.words import mm, plain
from nesting.assigning.edges import NAMES
from nesting.costing import money
from nesting.hazards import is_danger, weightiest_first
from nesting.model import Leftover, Pass, Plan, PlannedSheet, Point, Trim, Workshop
from nesting.phrases import counted, listed
from nesting.preferring import either_way_words
from nesting.timing import machine_minutes

WHY = 300
"""Characters of a sheet's reason, at most."""
LIFT_ALONE_KG = 15.0
"""Above this a sheet is for two people: common practice, no source."""


def steps(plan: Plan, workshop: Workshop) -> list[Step]:
    """The whole pack, cover first."""
    return [
        _cover(plan, workshop),
        *_to_mind(plan),
        *(step for sheet in plan.sheets for step in _sheet_steps(plan, workshop, sheet)),
        *_lists(plan, workshop),
    ]


def _sheet_steps(plan: Plan, workshop: Workshop, sheet: PlannedSheet) -> Iterator[Step]:
    if sheet.placements:
        yield _fetch(plan, workshop, sheet)
    for trim in sheet.trims:
        yield _trim(plan, workshop, sheet, trim)
    last: dict[str, Pass] = {}
    for run in sheet.passes:
        before = last.get(run.blank)
        if before:
            yield turn_step(plan, sheet, before, run)
        yield pass_step(plan, sheet, run)
        last[run.blank] = run
    if any(left.keep for left in sheet.leftovers):
        yield _back(plan, sheet)


# ── cover ────────────────────────────────────────────────────────────────────────────────────────────────────


def _cover(plan: Plan, workshop: Workshop) -> Step:
    job = plan.job
    runs = [run for sheet in plan.sheets for run in sheet.passes]
    bought = sum(sheet.source.offer is not None for sheet in plan.sheets)
    facts = [
        ("due", plain(job.due)),
        ("quantity", str(job.quantity)),
        ("machine", plain(plan.machine.name, 30)),
        ("its reach", words.size(*plan.machine.travel_mm)),
        ("pieces", str(len(plan.pieces))),
        ("sheets", f"{len(plan.sheets)}, {bought} to buy" if bought else f"{len(plan.sheets)}, none to buy"),
        ("trim cuts", str(sum(len(sheet.trims) for sheet in plan.sheets))),
        ("passes", str(len(runs))),
        ("turns and slides", str(sum(run.turn_before != "none" for run in runs))),
        ("machine running", f"about {machine_minutes(plan):.0f} min"),
        ("cost", words.money(plan.cost.total, plan.cost.currency)),
    ]
    totals = rows.rounded(
        "totals", "At a glance", (Column("what"), Column("how much")), tuple(f for f in facts if f[1])
    )
    return Step(
        key="cover",
        kind="Work pack",
        title=plain(job.name, 120),
        lead=f"{f'For {plain(job.customer)}. ' if job.customer.strip() else ''}From fetching the sheets to putting the "
        "rest back, one step a page. Do them in order and tick them off.",
        todo=("Every sheet of the list is at hand, its label read and its thickness measured.",),
        figures=(pictures.contact_picture(plan),),
        tables=(totals, _sheets_to_fetch(plan, workshop)),
        notes=(*_notes_in_this_job(plan), *_reading(plan)),
        cautions=(*_in_this_job(plan), *_cautions(plan)),
        notes_go_on=True,
    )


MOST_WARNINGS, MOST_CHARACTERS = 4, 700
"""On the cover, beside the dangers, which are all there; where there are more, the next page has them all."""
MOST_NOTES = 4


def _to_mind(plan: Plan) -> Iterator[Step]:
    """All that there is to say, where the cover does not hold it."""
    said = weightiest_first(plan.warnings)
    if len(_on_cover(said)) < len(said) or len(plan.notes) > MOST_NOTES:
        yield Step(
            key="warnings",
            kind="Work pack · before you begin",
            title=TO_MIND,
            lead="What the drawings and the plan gave cause to say, the gravest first.",
            cautions=tuple(f"{plain(warning, WHOLE)}." for warning in said),
            notes=tuple(f"{plain(note, WHOLE)}." for note in dict.fromkeys(plan.notes)),
        )


TO_MIND = "To mind in this job"
WHOLE = 2000


def _on_cover(said: Sequence[str]) -> list[str]:
    """The dangers, and as many of the others as there is room for; each whole, or not at all."""
    shown: list[str] = []
    for warning in said:
        room = len(shown) < MOST_WARNINGS and sum(map(len, (*shown, warning))) <= MOST_CHARACTERS
        if not (room or is_danger(warning)):
            break
        shown.append(warning)
    return shown


def _in_this_job(plan: Plan) -> Iterator[str]:
    said = weightiest_first(plan.warnings)
    shown = _on_cover(said)
    yield from (f"In this job: {plain(warning, WHOLE)}." for warning in shown)
    if len(shown) < len(said):
        yield f"In this job: {len(said) - len(shown)} more to mind, on the next page: {TO_MIND}."


def _notes_in_this_job(plan: Plan) -> Iterator[str]:
    notes = list(dict.fromkeys(plan.notes))
    yield from (f"{plain(note, WHOLE)}." for note in notes[:MOST_NOTES])
    if len(notes) > MOST_NOTES:
        yield f"{len(notes) - MOST_NOTES} more to know: {TO_MIND}."


def _reading(plan: Plan) -> Iterator[str]:
    """How pictures, tables and drawings are to be read: what is so on every page is told once."""
    yield "The drawings to load lie in the same folder as this pack. Their names begin with the sheet and the blank."
    yield (
        "They hold the nominal outline, without kerf: let the machine's software shift the path by half the kerf, "
        "outwards round outlines and inwards in holes."
    )
    yield "Pictures of a sheet show its face; pictures of the bed show what you see from the front of the machine."
    yield f"Coordinates: {words.axis_words(plan.machine)}"
    yield (
        "A plain number is a piece, as in the cut list. A number in a diamond is a trim cut; J is "
        "a join of two passes, L a line-up mark, E a point on the edge of the blank."
    )
    yield "A, B, C and D name the four edges of a blank. Write them on its masking film: they tell which way it lies."
    if any(run.joins for sheet in plan.sheets for run in sheet.passes):
        over = plan.machine.join_overlap_mm
        yield (
            "At a join two passes meet; its step is what lining up by hand usually leaves (root mean square)."
            + (f" The later pass runs {mm(over)} mm on over it: the drawing holds that." if over else "")
        )


def _sheets_to_fetch(plan: Plan, workshop: Workshop) -> Table:
    """Sheets that are just alike, such as new ones of one offer, on one line."""
    alike: dict[tuple[Cell, ...], list[int]] = {}
    for number, sheet in enumerate(plan.sheets):
        mass = rows.mass_kg(workshop, sheet) or ""
        like = (words.source(sheet), _place(workshop, sheet), words.stock(sheet), _bounds_words(sheet), mass)
        alike.setdefault(like, []).append(number)
    columns = (
        Column("sheet"),
        Column("take"),
        Column("from"),
        Column("material"),
        Column("size", "mm"),
        Column("each", "kg", 1),
    )
    table = [
        (
            ", ".join(words.runs(found, lambda number: plain(plan.sheets[number].id))),
            f"{len(found)} × {source}" if len(found) > 1 else source,
            *others,
        )
        for (source, *others), found in alike.items()
    ]
    return rows.rounded("sheets", "Sheets to fetch", columns, table)


def _place(workshop: Workshop, sheet: PlannedSheet) -> str:
    if sheet.place:
        return plain(sheet.place)
    supplier = next((offer.supplier for offer in workshop.offer if offer.id == sheet.source.offer), "")
    return plain(supplier) or "place not noted"


def _bounds_words(sheet: PlannedSheet) -> str:
    x0, y0, x1, y1 = states.sheet_shape(sheet).bounds
    return words.size(x1 - x0, y1 - y0).removesuffix(" mm")


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
        f"Fetch {words.source(sheet)} ({_place(workshop, sheet)}) and read its label: "
        f"{words.stock(sheet)}{_lot(plan, sheet)}.",
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
        lead=f"{words.stock(sheet)}, {words.size(x1 - x0, y1 - y0)}. For {counted(len(sheet.placements), 'piece')}.",
        todo=tuple(todo),
        figures=(pictures.sheet_picture(plan, sheet),),
        tables=(_on_sheet(plan, sheet),),
        notes=(f"Why this sheet: {plain(sheet.why, WHY)}.",) if sheet.why else (),
        cautions=tuple(cautions),
    )


def _lot(plan: Plan, sheet: PlannedSheet) -> str:
    """What the label must say of the lot, where pieces of one face lie on the sheet."""
    if not any(plan.piece(spot.piece).one_lot for spot in sheet.placements):
        return ""
    return f", lot {plain(sheet.lot) or 'unknown'}" if sheet.source.offer is None else ", the lot of all of this order"


def _on_sheet(plan: Plan, sheet: PlannedSheet) -> Table:
    alike: dict[tuple[str, str, str], list[int]] = {}
    tags = rows.numbers(plan)
    for at in sorted(sheet.placements, key=lambda at: tags[at.piece]):
        runs = " + ".join(str(run.order) for run in states.passes_of(sheet, at.piece))
        alike.setdefault((plain(plan.piece(at.piece).name), plain(at.blank), runs), []).append(tags[at.piece])
    columns = (Column("numbers"), Column("piece"), Column("how many"), Column("blank"), Column("pass"))
    table = [
        (", ".join(words.runs(found)), name, len(found), blank, runs) for (name, blank, runs), found in alike.items()
    ]
    return rows.rounded("on_sheet", "Pieces on this sheet", columns, table)


def _trim(plan: Plan, workshop: Workshop, sheet: PlannedSheet, trim: Trim) -> Step:
    name = plain(sheet.id)
    part = states.part_cut(states.parts_before(sheet, trim), trim)
    figures = [pictures.trim_picture(sheet, trim)]
    checks: list[Point] = []
    if trim.method == "machine":
        checks = states.check_points(plan.machine, states.bed_shape(part, trim))
        figures.append(pictures.trim_bed_picture(plan, sheet, trim, checks))
    points = check_table(checks)
    return Step(
        key=f"{name}-trim{trim.order}",
        kind=f"Sheet {name} · trim {trim.order} of {len(sheet.trims)}",
        title=_trim_title(part, trim),
        lead=f"One straight cut, from edge to edge: {plain(trim.measure, 200)}.",
        todo=tuple(_trim_todo(plan, workshop, sheet, trim, part)),
        figures=tuple(figures),
        tables=(points,) if points else (),
        notes=(
            f"Sheet frame: from {words.point(trim.from_mm)} to {words.point(trim.to_mm)} (mm from the lower left).",
        ),
        cautions=("Gloves and eye protection: the edge is sharp and may splinter.",),
    )


TRIM_TITLES = {"machine": "Cut on the machine", "saw": "Saw", "snap": "Score and snap"}


def _trim_title(part: Polygon, trim: Trim) -> str:
    """An edge that is made true by name; another cut by its distance from the left or the lower edge of the part."""
    how = TRIM_TITLES[trim.method]
    if trim.edge:
        return f"Make the {NAMES[trim.edge]} edge true: {how[0].lower()}{how[1:]}"
    (ax, ay), (bx, by) = trim.from_mm, trim.to_mm
    x0, y0, _, _ = part.bounds
    return f"{how} at {mm(float(ax - x0 if abs(ax - bx) < abs(ay - by) else ay - y0))} mm"


def _trim_todo(plan: Plan, workshop: Workshop, sheet: PlannedSheet, trim: Trim, part: Polygon) -> Iterator[str]:
    if trim.edge:
        yield "This edge is as the factory cut it. Mark the cut along a straight edge, never from both ends."
        if trim.order > 1:
            yield "Hold the square against an edge already trimmed."
    else:
        yield "Mark the cut as measured in the picture, at both edges. Measure twice."
    if trim.method == "machine":
        bounds = states.bed_shape(part, trim).bounds
        yield f"Lay it on the table as in the second picture: {lying(plan.machine, trim, bounds)}."
        yield "Support what hangs out. With the pointer at E1, E2 and so on it stands on the edge of the sheet."
        idle = words.IDLE[plan.machine.kind]
        yield f"Load {plain(trim.file, 80)}." if trim.file else "Set the machine to run the line."
        yield f"Run it once {idle}: it lies on your mark."
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
    if trim.edge:
        yield "Check the new edge with a straight edge and a square. The strip is waste."
    else:
        yield f"Check both parts: measures as pictured, corners square. Write {plain(sheet.id)} and its blank on each."


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
            _usable(left).removesuffix(" mm"),
            shapely.Polygon(left.outline_mm, left.holes_mm).area / 1e6,
            money(left.credit),
        )
        for number, left in enumerate(kept, start=1)
    )
    return Step(
        key=f"{name}-back",
        kind=f"Sheet {name} · back on the rack",
        title=f"Put {counted(len(kept), 'leftover')} back on the rack"
        if sheet.placements
        else "Put the sheet on the rack",
        lead="Everything else of this sheet is scrap." if sheet.placements else OVER,
        todo=(
            f"Write on each: {words.stock(sheet)}; {words.source(sheet)}; this job; which face is up; its thickness.",
            *(f"Leftover {n}, {_usable(left)}: on the rack, its place noted." for n, left in enumerate(kept, start=1)),
        ),
        figures=(pictures.leftover_picture(plan, sheet),),
        tables=(rows.rounded("leftovers", "To keep", columns, table),),
        notes=("Loose corners that may break are trimmed off first; the rectangle in the picture stays.",),
    )


OVER = "Nothing is cut from it: it is bought because the supplier's order must be so large, and kept as it comes."


def _usable(left: Leftover) -> str:
    x0, y0, x1, y1 = left.usable_mm
    return words.size(x1 - x0, y1 - y0)


def _lists(plan: Plan, workshop: Workshop) -> Iterator[Step]:
    yield Step(
        key="pieces",
        kind="Lists",
        title="Cut list",
        lead="What each number is, and where it comes from. Count them before you clear the bench.",
        todo=("Every piece is there, numbered and sound.",),
        tables=(_to_count(plan),),
    )
    yield from assembly_steps(plan)
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
            f"{plan.cost.gap_percent:.1f} % of this plan's cost lies above that.",
            *(f"{plain(either_way_words(one, plan.cost.currency), 400)}." for one in plan.either_way),
            "Book it: `halfturn rack accept` before a sheet is taken, `halfturn rack finish` when all is back.",
        ),
    )


def _to_count(plan: Plan) -> Table:
    """The cut list with copies that come out of the same passes on one line."""
    table = _only(rows.cut_list(plan), "no.", "piece", "part of", "width", "height", "sheet", "pass")
    alike: dict[tuple[Cell, ...], list[int]] = {}
    for number, *what in table.rows:
        alike.setdefault(tuple(what), []).append(int(number))
    numbers, piece, *others = table.columns
    lines = [(", ".join(words.runs(found)), what[0], len(found), *what[1:]) for what, found in alike.items()]
    columns = (replace(numbers, head="numbers"), piece, Column("how many"), *others)
    return Table(table.name, table.title, columns, tuple(lines))


def _only(table: Table, *heads: str) -> Table:
    """The table with these columns alone."""
    kept = [next(i for i, column in enumerate(table.columns) if column.head == head) for head in heads]
    columns = tuple(table.columns[i] for i in kept)
    return Table(table.name, table.title, columns, tuple(tuple(row[i] for i in kept) for row in table.rows))
