"""Columns: one way to use one sheet — trims, blanks, placements, passes, leftovers — with its price.

In: a candidate sheet, the pieces still wanted, machine, rates. Out: Columns whose layouts the true-shape engine has
proven. A recipe says how the sheet comes onto the bed; the sheet is then filled blank by blank, and only the trims that
free a blank in use are made.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

import shapely
from shapely.geometry import Polygon

from nesting import costing, curves
from nesting.assigning.blanks import Cutting, Freed, cut_up, free_blank, free_next
from nesting.assigning.cut_to_size import drawn_in
from nesting.assigning.edges import edge_trims, relied_on, sound
from nesting.assigning.leftovers import leftovers
from nesting.assigning.stock import Candidate
from nesting.faults import ReachFault
from nesting.layout import Ground, Layout, Shape, Spot, after_evaluations, fill, rectangles
from nesting.model import Blank, Edge, Machine, Pass, Piece, Placement, PlannedSheet, Point, Rates, Rect, Trim, Turn
from nesting.passes import plan_passes
from nesting.passes.reach import EPS, Reach, holds, reaches
from nesting.placing import lay

TURNS = {Turn.ANY: (0.0, 90.0, 180.0, 270.0), Turn.HALF: (0.0, 180.0), Turn.NONE: (0.0,)}
RECTANGLES_SHARE = 0.3
"""Of the effort for one blank, what rectangles need."""
BOXY = 0.7
"""Pieces that fill so much of their bounding rectangles are laid by these, too."""
ROOM_MM = 0.5
"""A blank for one oversize piece is this much larger than the piece and its margins."""
BAND_MM = 20.0
"""What both passes must reach of a blank with shared contours, to hold line-up marks and to leave joins a choice."""


@dataclass(frozen=True, slots=True)
class Kind:
    """Pieces alike in all but their copy number: what is wanted, and how many."""

    name: str
    pieces: tuple[Piece, ...]
    polygon: Polygon
    whole_in_one_pass: bool
    """Whether some single pass can hold it."""
    lot: str = ""
    """The lot that all pieces of its face are to come from; "" if any will do."""

    @property
    def sample(self) -> Piece:
        return self.pieces[0]


@dataclass(frozen=True, slots=True)
class Recipe:
    """How a sheet comes onto the bed: whole (`size` None), in blanks of at most `size`, or cut up by a pattern of
    trims into blanks of several sizes; in one pass or several; with which factory edges trimmed first."""

    size: Point | None
    one_pass: bool
    cutting: Cutting | None = None
    edges: tuple[Edge, ...] = ()


Way = tuple[Candidate, Recipe]
"""A sheet, and how it comes onto the bed."""


@dataclass(frozen=True, slots=True)
class Column:
    """One proven way to use one candidate: `counts` of each kind, `cents` by `costing.sheet_lines`.

    `spare` are the parts of the sheet that no blank was freed from; a sheet that stays as it comes has no recipe."""

    candidate: Candidate
    counts: tuple[int, ...]
    sheet: PlannedSheet
    spare: tuple[Rect, ...]
    cents: int
    recipe: Recipe | None = None


def most_valuable(shapes: Sequence[Shape], ground: Ground, shop: Shop) -> Layout:
    """The most valuable layout found; rectangles by the faster way."""
    gap, margin = shop.machine.gap_mm, shop.machine.margin_mm
    if rectangles.are_rectangles(shapes, [ground]):
        work = round(RECTANGLES_SHARE * shop.evaluations)
        layout = rectangles.fill(shapes, ground, gap_mm=gap, margin_mm=margin, work=work, seed=shop.seed)
        if layout is not None:
            return layout
    stop = after_evaluations(shop.evaluations)
    return fill(shapes, ground, gap_mm=gap, margin_mm=margin, stop=stop, seed=shop.seed, thorough=False)


def as_boxes(shapes: Sequence[Shape], ground: Ground, shop: Shop) -> Layout:
    """The most valuable layout found of the shapes' bounding rectangles; nothing laid where they cannot lie upright."""
    boxes = [replace(shape, polygon=shapely.box(*shape.polygon.bounds)) for shape in shapes]
    gap, margin, work = shop.machine.gap_mm, shop.machine.margin_mm, round(RECTANGLES_SHARE * shop.evaluations)
    upright = rectangles.are_rectangles(boxes, [ground])
    found = rectangles.fill(boxes, ground, gap_mm=gap, margin_mm=margin, work=work, seed=shop.seed) if upright else None
    return found or Layout((), tuple(shape.id for shape in shapes))


def are_boxy(kinds: Sequence[Kind], counts: Sequence[int]) -> bool:
    """Whether so many of each kind fill their bounding rectangles well, yet are not all rectangles themselves."""
    solid = [Polygon(kind.polygon.exterior).area for kind in kinds]
    boxes = [shapely.box(*kind.polygon.bounds).area for kind in kinds]
    filled, room = (sum(area * n for area, n in zip(areas, counts, strict=True)) for areas in (solid, boxes))
    return BOXY * room <= filled < 0.999 * room


@dataclass(frozen=True, slots=True)
class Shop:
    """What stays the same while sheets are chosen; `fill` lays pieces on a ground, those of most value if not all."""

    machine: Machine
    rates: Rates
    seed: int
    evaluations: int
    fill: Callable[[Sequence[Shape], Ground, Shop], Layout] = most_valuable

    @property
    def setup_cost(self) -> float:
        """Money for setting up one blank."""
        return float(Decimal(str(self.machine.setup_min)) * self.rates.labour_per_hour / 60)


def kinds_of(pieces: Iterable[Piece], machine: Machine) -> tuple[Kind, ...]:
    """Group pieces by shape and allowed turns, largest first."""
    groups: dict[tuple[object, ...], list[Piece]] = {}
    for piece in pieces:
        key = (piece.outline, piece.holes, piece.marks, piece.turn, piece.mirror, piece.one_lot)
        groups.setdefault(key, []).append(piece)
    kinds = [
        Kind(
            group[0].name,
            tuple(group),
            curves.polygon(group[0].outline, group[0].holes),
            _one_pass_holds(group[0], machine),
        )
        for group in groups.values()
    ]
    return tuple(sorted(kinds, key=lambda kind: (-kind.polygon.area, kind.sample.id)))


def _one_pass_holds(piece: Piece, machine: Machine) -> bool:
    x0, y0, x1, y1 = curves.bounds([piece.outline])
    long, short = max(x1 - x0, y1 - y0), min(x1 - x0, y1 - y0)
    return long <= max(machine.travel_mm) and short <= min(machine.travel_mm)


def recipes(candidate: Candidate, kinds: Sequence[Kind], machine: Machine, rates: Rates) -> tuple[Recipe, ...]:
    """The ways worth trying to bring this sheet onto the bed, none twice, none with a trim that it does not need."""
    x0, y0, x1, y1 = candidate.rect
    full = x1 - x0, y1 - y0
    found: list[Recipe] = []
    if candidate.cut is not None:
        return tuple(Recipe(full, one_pass) for one_pass in _pass_options(machine, candidate.rect))
    if reaches(machine, candidate.rect):
        found += [Recipe(None, one_pass) for one_pass in _pass_options(machine, candidate.rect)]
    for across, along in blank_sizes(kinds, machine):
        size = min(across, full[0]), min(along, full[1])
        one_trim = [way for way in ((size[0], full[1]), (full[0], size[1])) if way != full and _lies(machine, way)]
        both_trims = [size] if size != full and _lies(machine, size) else []
        if one_trim and both_trims:
            # Trimmed both ways it may lie where more of it is reached: turned by a quarter, say.
            least = min(_unreached_mm2(machine, way) for way in one_trim)
            both_trims = both_trims if _unreached_mm2(machine, size) < least - 1.0 else []
        for way in one_trim + both_trims:
            found += [Recipe(way, one_pass) for one_pass in _pass_options(machine, (0.0, 0.0, *way))]
    sizes = tuple(size for size in blank_sizes(kinds, machine) if _lies(machine, size))
    cutting = cut_up(candidate.rect, sizes, machine, rates, candidate.stock.thickness_mm)
    mixed = [] if cutting is None else [Recipe((x1 - x0, y1 - y0), False, cutting)]
    return (*dict.fromkeys(found), *mixed)


def _lies(machine: Machine, size: Point) -> bool:
    return bool(reaches(machine, (0.0, 0.0, *size)))


def _unreached_mm2(machine: Machine, size: Point) -> float:
    """What no pass reaches of a blank of that size."""
    boxes = [shapely.box(*reach.rect_mm) for reach in reaches(machine, (0.0, 0.0, *size))]
    return size[0] * size[1] - float(shapely.union_all(boxes).area)


def _pass_options(machine: Machine, blank: Rect) -> tuple[bool, ...]:
    inner = _inset(blank, machine.margin_mm)
    single = any(holds(reach.rect_mm, inner) for reach in reaches(machine, blank))
    return (True,) if single else (True, False)


def blank_sizes(kinds: Sequence[Kind], machine: Machine) -> list[Point]:
    """Blank sizes worth trying: one full bed, the bed a half turn reaches, and just enough for each oversize piece."""
    travel_x, travel_y = machine.travel_mm
    band = 0.0 if all(kind.whole_in_one_pass for kind in kinds) else BAND_MM
    deep = 2 * travel_y - band if machine.open_front or machine.open_back else travel_y
    sizes = []
    for kind in kinds:
        if not kind.whole_in_one_pass:
            # First, as between equals the smaller blank hangs out less; to the millimetre where no room can be had.
            x0, y0, x1, y1 = kind.polygon.bounds
            for room in (2 * machine.margin_mm + ROOM_MM, 2 * machine.margin_mm):
                sizes.append((_up(x1 - x0 + room), _up(y1 - y0 + room)))
    sizes += [(travel_x, travel_y), (travel_x, deep)]
    return [way for size in sizes for way in (size, size[::-1])]


def _up(length: float) -> float:
    """To the next whole millimetre: trims are measured with a rule."""
    return float(-(-length // 1))


def _inset(rect: Rect, by: float) -> Rect:
    return rect[0] + by, rect[1] + by, rect[2] - by, rect[3] - by


Layer = Callable[[Rect, Freed, Sequence[int], str], Sequence[Placement] | None]
"""Lays pieces on the blank freed from a part, the blank's name and how many are still wanted being told. None: the part
is best left whole; none laid: the blank is not needed, but what lies beyond it is."""


def build_column(
    candidate: Candidate,
    recipe: Recipe,
    kinds: Sequence[Kind],
    wanted: Sequence[int],
    values: Sequence[float],
    shop: Shop,
) -> Column | None:
    """Fill the candidate by the recipe with the most valuable of the pieces still wanted; None if nothing fits.

    Factory edges that it turns out to rely on are trimmed first, where the shop asks for that."""

    def lay_most_valuable(part: Rect, freed: Freed, left: Sequence[int], name: str) -> Sequence[Placement] | None:
        return (_fill(freed, candidate, recipe, kinds, left, values, shop, name) or None) if any(left) else None

    column = _assembled(candidate, recipe, kinds, wanted, shop, lay_most_valuable)
    relied = _relied_on(column, shop)
    if not relied:
        return column
    # What is cut up by a pattern of trims fills the sheet as it comes.
    trued = replace(recipe, edges=(*recipe.edges, *relied))
    return None if recipe.cutting else build_column(candidate, trued, kinds, wanted, values, shop)


def _relied_on(column: Column | None, shop: Shop) -> tuple[Edge, ...]:
    """Edges that would have to be trimmed, and are not."""
    return relied_on(column.sheet, column.candidate.doubtful) if column and shop.rates.trims_edges else ()


def column_of(
    candidate: Candidate, recipe: Recipe, kinds: Sequence[Kind], spots: Sequence[Placement], shop: Shop
) -> Column | None:
    """The column in which pieces lie where the spots say, whatever blank they name; None where that is not to be."""
    pieces = {piece.id: piece for kind in kinds for piece in kind.pieces}
    middles = [(spot, lay(pieces[spot.piece], spot).solid.envelope.centroid) for spot in spots]

    def lay_as_told(part: Rect, freed: Freed, left: Sequence[int], name: str) -> Sequence[Placement] | None:
        if not any(shapely.box(*part).contains(middle) for _, middle in middles):
            return None
        return [replace(spot, blank=name) for spot, middle in middles if shapely.box(*freed.blank).contains(middle)]

    column = _assembled(candidate, recipe, kinds, [len(kind.pieces) for kind in kinds], shop, lay_as_told)
    return None if _relied_on(column, shop) else column


def _assembled(
    candidate: Candidate, recipe: Recipe, kinds: Sequence[Kind], wanted: Sequence[int], shop: Shop, layer: Layer
) -> Column | None:
    """Blank by blank: free it, have pieces laid on it, go on with the parts that remain.

    (M5) pieces whose face is to come from another lot are not wanted, and left out where they are laid all the same."""
    barred = {piece.id for kind in kinds if kind.lot not in ("", candidate.lot_name) for piece in kind.pieces}
    wanted = [0 if kind.sample.id in barred else want for kind, want in zip(kinds, wanted, strict=True)]
    counts = [0] * len(kinds)
    spots: list[Placement] = []
    blanks: list[Blank] = []
    trued, first = _trued(candidate, recipe, shop)
    trims = list(first)
    parts = [trued]
    spare: list[Rect] = []
    while parts:
        part = parts.pop(0)
        left = [want - count for want, count in zip(wanted, counts, strict=True)]
        freed = _free(part, recipe, shop, candidate, len(trims))
        name = f"b{len(blanks) + 1}"
        laid = layer(part, freed, left, name) if freed else None
        if laid is None or freed is None:
            spare.append(part)
            continue
        laid = [spot for spot in laid if spot.piece not in barred]
        trims.extend(freed.trims)
        parts.extend(freed.rest)
        if not laid:
            spare.append(freed.blank)
            continue
        blanks.append(Blank(name, freed.blank))
        spots.extend(laid)
        taken = Counter(spot.piece for spot in laid)
        counts = [n + sum(taken[piece.id] for piece in kind.pieces) for n, kind in zip(counts, kinds, strict=True)]
    if not spots:
        return None
    pieces = {piece.id: piece for kind in kinds for piece in kind.pieces}
    if candidate.cut is not None:
        candidate, spots = drawn_in(candidate, spots, pieces, _beside(candidate, recipe, shop))
        trued, first = _trued(candidate, recipe, shop)
        trims, blanks = list(first), [replace(blank, rect_mm=trued) for blank in blanks]
    try:
        sheet = finish_sheet(candidate, candidate.id, trims, blanks, spots, spare, pieces, shop)
    except ReachFault:
        # Between two passes of a blank a hair may be left that neither reaches.
        return None
    return Column(candidate, tuple(counts), sheet, tuple(spare), cents_of(sheet, shop), recipe)


def _trued(candidate: Candidate, recipe: Recipe, shop: Shop) -> tuple[Rect, tuple[Trim, ...]]:
    """The sheet's rectangle once its edges are trimmed as the recipe says, and those trims."""
    return edge_trims(candidate.rect, recipe.edges, shop.machine, shop.rates)


def _beside(candidate: Candidate, recipe: Recipe, shop: Shop) -> Rect:
    """What a panel cut to size must have beside its pieces: left, below, right, above."""
    x0, y0, x1, y1 = _trued(candidate, recipe, shop)[0]
    a0, b0, a1, b1 = sound(candidate, shop.machine, shop.rates).bounds
    sides = max(x0, a0), max(y0, b0), candidate.rect[2] - min(x1, a1), candidate.rect[3] - min(y1, b1)
    left, below, right, above = (side + shop.machine.margin_mm for side in sides)
    return left, below, right, above


def blanks_of(candidate: Candidate, recipe: Recipe, shop: Shop) -> list[Rect]:
    """All blanks that the recipe frees from the candidate, one after another."""
    parts, found = [_trued(candidate, recipe, shop)[0]], []
    while parts:
        freed = _free(parts.pop(0), recipe, shop, candidate, 0)
        if freed is not None:
            found.append(freed.blank)
            parts.extend(freed.rest)
    return found


def _free(part: Rect, recipe: Recipe, shop: Shop, candidate: Candidate, done: int) -> Freed | None:
    """The next blank of a part: the part itself where no size is asked for or it fits anyway; None if it never lies."""
    thickness = candidate.stock.thickness_mm
    if recipe.cutting is not None:
        cutting = recipe.cutting.part(part)
        return free_next(cutting, shop.machine, shop.rates, thickness, done + 1) if cutting else None
    width, depth = part[2] - part[0], part[3] - part[1]
    if recipe.size is None or (width <= recipe.size[0] and depth <= recipe.size[1]):
        return Freed(part, (), ()) if reaches(shop.machine, part) else None
    return free_blank(part, recipe.size, shop.machine, shop.rates, thickness, done + 1)


def _fill(
    freed: Freed,
    candidate: Candidate,
    recipe: Recipe,
    kinds: Sequence[Kind],
    left: Sequence[int],
    values: Sequence[float],
    shop: Shop,
    blank: str,
) -> list[Placement]:
    ground = ground_of(candidate, freed.blank, recipe.one_pass, shop)
    if ground is None:
        return []
    layout = shop.fill(shapes_of(kinds, left, values), ground, shop)
    return [placed(spot, blank) for spot in layout.spots]


def placed(spot: Spot, blank: str = "") -> Placement:
    """The engine's spot on a blank, to the nanometre."""
    return Placement(spot.id, blank, round(spot.x_mm, 6), round(spot.y_mm, 6), spot.turn_deg, spot.mirrored)


def shapes_of(kinds: Sequence[Kind], counts: Sequence[int], values: Sequence[float]) -> list[Shape]:
    """So many of each kind, as the layout engine knows them."""
    return [
        Shape(
            id=piece.id,
            polygon=kind.polygon,
            turns_deg=TURNS[piece.turn],
            mirror=piece.mirror,
            value=value,
            reach_charge=None if kind.whole_in_one_pass else 0.0,
        )
        for kind, count, value in zip(kinds, counts, values, strict=True)
        for piece in kind.pieces[:count]
    ]


def ground_of(candidate: Candidate, blank: Rect, one_pass: bool, shop: Shop) -> Ground | None:
    """Where pieces may lie: the blank, as far as passes reach (their outer edges need no margin)."""
    machine, sheet = shop.machine, sound(candidate, shop.machine, shop.rates)
    found = reaches(machine, blank)
    if one_pass:
        found = (max(found, key=lambda reach: (_area(reach), -reach.turn_deg)),)
    area = _largest(sheet.intersection(shapely.box(*blank)))
    if area is None or any(holds(reach.rect_mm, _inset(blank, machine.margin_mm)) for reach in found):
        return None if area is None else Ground(area)
    boxes = tuple(shapely.box(*_within_kerf(reach.rect_mm, blank, machine)) for reach in found)
    reached = boxes if one_pass else [shapely.box(*reach.rect_mm) for reach in found]
    area = _largest(area.intersection(shapely.union_all(reached).buffer(machine.margin_mm, join_style="mitre")))
    return None if area is None else Ground(area, reaches=boxes)


def _within_kerf(reach: Rect, blank: Rect, machine: Machine) -> Rect:
    """A reach less half the largest kerf where it ends inside the blank: there the path runs outside the outline."""
    half = max(figure.kerf_mm for figure in machine.cutting) / 2
    low = [edge if edge < end + EPS else edge + half for edge, end in zip(reach[:2], blank[:2], strict=True)]
    high = [edge if edge > end - EPS else edge - half for edge, end in zip(reach[2:], blank[2:], strict=True)]
    return low[0], low[1], high[0], high[1]


def _area(reach: Reach) -> float:
    x0, y0, x1, y1 = reach.rect_mm
    return (x1 - x0) * (y1 - y0)


def _largest(shape: shapely.Geometry) -> Polygon | None:
    parts = [part for part in curves.polygons(shape) if part.area > 0]
    return max(parts, key=lambda part: part.area, default=None)


def finish_sheet(
    candidate: Candidate,
    sheet_id: str,
    trims: Sequence[Trim],
    blanks: Sequence[Blank],
    spots: Sequence[Placement],
    spare: Sequence[Rect],
    pieces: Mapping[str, Piece],
    shop: Shop,
) -> PlannedSheet:
    """Passes and leftovers of a laid-out sheet; `spare` are the parts that no blank was freed from."""
    laid = [lay(pieces[spot.piece], spot) for spot in spots]
    passes: list[Pass] = []
    for blank in blanks:
        on_blank = [one for one in laid if one.blank == blank.id]
        passes.extend(plan_passes(sheet_id, candidate.polygon, blank, on_blank, shop.machine, shop.rates))
    areas = [candidate.polygon.intersection(shapely.box(*rect)) for rect in (*(b.rect_mm for b in blanks), *spare)]
    parts = [part for area in areas if (part := _largest(area)) is not None]
    kerf = costing.figure_for(shop.machine, candidate.stock).kerf_mm
    return replace(
        candidate.sheet(sheet_id, leftovers(parts, laid, kerf, candidate.price_per_mm2, shop.rates)),
        trims=tuple(_named(trim, sheet_id) for trim in trims),
        blanks=tuple(blanks),
        placements=tuple(spots),
        passes=tuple(passes),
        both_faces_alike=shop.machine.face_down,
    )


def cents_of(sheet: PlannedSheet, shop: Shop) -> int:
    """What the sheet costs, cut as planned."""
    return int(costing.total(costing.sheet_lines(sheet, shop.machine, shop.rates)) * 100)


def _named(trim: Trim, sheet_id: str) -> Trim:
    return replace(trim, file=f"{sheet_id}-trim{trim.order}.dxf") if trim.method == "machine" else trim
