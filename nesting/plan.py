"""The pipeline: pieces, stock and a machine in; a plan out. Read it from top to bottom.

In: pieces as read, the workshop, the rack's free offcuts, seed and effort. Out: Plan. Pure: no files, no clock.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence, Sized
from dataclasses import dataclass, replace
from decimal import Decimal

from nesting import costing, curves
from nesting.assigning.bound import lower_bound
from nesting.assigning.columns import Kind, Shop, blank_sizes, kinds_of
from nesting.assigning.copies import with_copies
from nesting.assigning.cut_to_size import sized
from nesting.assigning.edges import edge_trims_offered, rooms, sound
from nesting.assigning.lots import choose_lots
from nesting.assigning.reasons import explained
from nesting.assigning.search import Answer, Search, Watcher, cost_cents
from nesting.assigning.sharper import sharper_bound
from nesting.assigning.stock import Candidate, candidates, check_stock, sheet_words, shortages
from nesting.faults import JobFault, StockFault, within
from nesting.hazards import refuse_under_a_beam
from nesting.model import (
    Cost,
    Demand,
    Job,
    Join,
    Machine,
    Offcut,
    Piece,
    Plan,
    PlannedSheet,
    Progress,
    Rates,
    Split,
    StockCost,
    StockKey,
    Turn,
    Workshop,
)
from nesting.passes.limits import refuse_beyond_reach
from nesting.passes.overhang import overhang_warnings
from nesting.preferring import cheaper_way
from nesting.side_by_side import in_turn, side_by_side
from nesting.splitting import Question, Splitting, split_all
from nesting.splitting.moving import expansion_per_k, gap_mm, split_warnings

FILL_EVALUATIONS = 300_000
"""Effort of the true-shape engine for one blank while sheets are compared: positions tried."""


@dataclass(frozen=True, slots=True)
class Request:
    """All that a plan depends on; without demands, each piece demands itself.

    Where the rack does not count (a quote is on new sheets alone), faults do not speak of it.
    """

    job: Job
    pieces: tuple[Piece, ...]
    workshop: Workshop
    rack: tuple[Offcut, ...]
    seed: int = 1
    effort: int = 8
    notes: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    demands: tuple[Demand, ...] = ()
    rack_counts: bool = True


def make_plan(request: Request, watch: Watcher = lambda progress: None, stop: Sized = ()) -> Plan:
    """The cheapest plan found; sooner, and said so in its warnings, once `stop` holds something.

    Shapes that are better left in one piece (`one_piece = "prefer"`) are planned both ways, one after another.
    Raises a Fault that names the piece, the measure lacking and the mend.
    """

    heard = in_turn(watch)

    def planned(pieces: tuple[Piece, ...]) -> Plan:
        return _plan(replace(request, pieces=pieces), heard, stop)

    return cheaper_way(request.pieces, planned)


def _plan(request: Request, watch: Watcher, stop: Sized) -> Plan:
    machine = machine_of(request.job, request.workshop)
    _check_stock(request.pieces, request, machine)
    splittings = split_oversize(request, machine)
    pieces = tuple(piece for splitting in splittings for piece in splitting.segments)
    # Straps may be of a stock that no piece of the job asks for.
    _check_stock([piece for piece in pieces if piece.segment_of is not None], request, machine)
    shop = Shop(machine, request.workshop.rates, request.seed, FILL_EVALUATIONS)

    def chosen(stock: StockKey, stop: Sized) -> _Chosen:
        with within(str(stock)):
            return _choose(stock, pieces, request, shop, watch, stop)

    choices = side_by_side(chosen, sorted({piece.stock for piece in pieces}), stop)
    sheets: list[PlannedSheet] = []
    for choice in choices:
        with within(str(choice.stock)):
            sheets.extend(choice.sheets(len(sheets) + 1))
    bounds = {choice.stock: choice.bound for choice in choices}
    cost = _cost(pieces, sheets, bounds, machine, request)
    hurried = ["stopped on request before all effort was spent"] if stop else []
    hanging = overhang_warnings(sheets, machine, request.workshop.material)
    short = shortages(request.workshop.offer, (piece.stock for piece in pieces))
    splits = _with_gaps((splitting.split for splitting in splittings if splitting.split), pieces, request)
    warnings = (
        *request.warnings,
        *short,
        *_warnings(sheets),
        *edge_trims_offered(sheets, pieces, request.workshop, request.rack),
        *hanging,
        *_steps(sheets, request.job.max_mismatch_mm),
        *split_warnings(splits, machine, request.workshop.material, request.job.temperature_span_k),
        *hurried,
    )
    demands = request.demands or tuple(map(_demand, request.pieces))
    return Plan(
        request.job,
        request.seed,
        request.effort,
        machine,
        pieces,
        tuple(sheets),
        cost,
        warnings,
        demands,
        splits,
        notes=request.notes,
    )


def _with_gaps(splits: Iterable[Split], pieces: Sequence[Piece], request: Request) -> tuple[Split, ...]:
    by_id = {piece.id: piece for piece in pieces}
    span, materials = request.job.temperature_span_k, request.workshop.material
    return tuple(
        replace(split, gap_mm=gap_mm(split, by_id, expansion_per_k(split.parent.material, materials), span))
        for split in splits
    )


def _check_stock(pieces: Sequence[Piece], request: Request, machine: Machine) -> None:
    """Raises the Fault of the first piece that may not be cut here, or of which there is no sheet or cutting figure."""
    for piece in pieces:
        refuse_under_a_beam(machine, piece.stock)
        costing.figure_for(machine, piece.stock)
    rack = request.rack if request.rack_counts else None
    check_stock(pieces, rack, request.workshop.offer, machine.margin_mm)


def _demand(piece: Piece) -> Demand:
    stock = piece.material, piece.colour, piece.thickness_mm
    return Demand(piece.name, "", "", *stock, 1, 1, piece.turn, piece.mirror, (piece.id,))


def machine_of(job: Job, workshop: Workshop) -> Machine:
    """The machine that the job names; the only one where it names none."""
    for machine in workshop.machine:
        if machine.name == job.machine or (not job.machine and len(workshop.machine) == 1):
            return machine
    known = ", ".join(machine.name for machine in workshop.machine) or "none"
    raise JobFault(
        f"the job asks for machine `{job.machine}`, the workshop has: {known}",
        mend="set `machine` under [job] to one of these",
    )


def _machine_for(stock: StockKey, machine: Machine, request: Request) -> Machine:
    """The machine as it serves one stock key: nothing lies face down unless both faces are known to be alike.

    Marks are made on the face: where a piece has any, its stock is never laid face down.
    """
    alike = any(material.name == stock.material and material.faces_alike for material in request.workshop.material)
    faced = any(cut.faces for cut in request.rack if cut.stock == stock)
    marked = any(piece.marks for piece in request.pieces if piece.stock == stock)
    return replace(machine, face_down=machine.face_down and alike and not faced and not marked)


def split_oversize(request: Request, machine: Machine) -> list[Splitting]:
    """Pieces that may be split and are too big for one pass become segments; the others must be within reach."""
    questions, rates = [], request.workshop.rates
    for piece in request.pieces:
        with within(f"piece {piece.id}"):
            found = candidates(piece.stock, request.rack, request.workshop.offer)
            if piece.one_piece is not False:
                refuse_beyond_reach(piece, _machine_for(piece.stock, machine, request))
                _check_sheets(piece, found, machine, rates)
                questions.append(Question(piece, ()))
            else:
                kerf = costing.figure_for(machine, piece.stock).kerf_mm
                questions.append(Question(piece, tuple(dict.fromkeys(rooms(found, machine, rates))), kerf))
    return split_all(questions)


def _check_sheets(piece: Piece, found: Sequence[Candidate], machine: Machine, rates: Rates) -> None:
    width, depth = (side + 2 * machine.margin_mm for side in _size(piece))
    for candidate in found:
        x0, y0, x1, y1 = sound(candidate, machine, rates).bounds
        ways = [(width, depth), (depth, width)] if piece.turn is Turn.ANY else [(width, depth)]
        if any(across <= x1 - x0 and along <= y1 - y0 for across, along in ways):
            return
    needed = sheet_words(piece, machine.margin_mm)
    raise StockFault(
        f"{piece.name} lies on no sheet of {piece.stock}: with its margins it needs {needed}",
        mend=f"put a sheet of at least {needed} on offer, or allow the piece to be split",
    )


def _size(piece: Piece) -> tuple[float, float]:
    x0, y0, x1, y1 = curves.bounds([piece.outline])
    return x1 - x0, y1 - y0


@dataclass(frozen=True, slots=True)
class _Chosen:
    """What was chosen for one stock key, for which kinds, of which candidates; no choice costs less than `bound`."""

    stock: StockKey
    shop: Shop
    kinds: Sequence[Kind]
    found: Sequence[Candidate]
    answer: Answer
    bound: Decimal

    def sheets(self, first: int) -> list[PlannedSheet]:
        """Numbered from `first`, each with the reason for it."""
        numbered = with_copies(self.answer.columns, self.kinds, self.shop, first)
        return explained(numbered, self.answer, self.found, self.shop.rates)


def _choose(
    stock: StockKey, pieces: Sequence[Piece], request: Request, shop: Shop, watch: Watcher, stop: Sized
) -> _Chosen:
    listed = candidates(stock, request.rack, request.workshop.offer)
    shop = replace(shop, machine=_machine_for(stock, shop.machine, request))
    kinds = kinds_of((piece for piece in pieces if piece.stock == stock), shop.machine)
    watch(Progress("bounding the cost", note=str(stock)))
    least = lower_bound(listed, kinds, shop)
    found = sized(listed, blank_sizes(kinds, shop.machine), shop.machine, shop.rates)
    answer = choose_lots(found, kinds, shop, Search(request.effort, least, watch, stop))
    reached = Decimal(cost_cents(answer.columns)) / 100
    if reached > least and not stop:

        def tell(bound: Decimal) -> None:
            watch(Progress("bounding the cost more sharply", 0, reached, bound, str(stock)))

        tell(least)
        least = sharper_bound(listed, kinds, shop, answer.known, least, reached, request.effort, stop, tell)
    return _Chosen(stock, shop, kinds, found, answer, least)


def _cost(
    pieces: Sequence[Piece],
    sheets: Sequence[PlannedSheet],
    bounds: Mapping[StockKey, Decimal],
    machine: Machine,
    request: Request,
) -> Cost:
    """All lines; the bound takes in what no layout changes: cutting, marking, joints."""
    rates = request.workshop.rates
    fixed = [*costing.cutting_lines(pieces, machine, rates), *costing.joint_lines(pieces, rates)]
    lines = [line for sheet in sheets for line in costing.sheet_lines(sheet, machine, rates)] + fixed
    total = costing.total(lines)
    least = sum(bounds.values(), Decimal(0)) + costing.total(fixed)
    by_stock = [_stock_cost(stock, bound, pieces, sheets, machine, rates) for stock, bound in bounds.items()]
    return Cost(rates.currency, tuple(lines), total, least, _gap_percent(total, least), tuple(by_stock))


def _stock_cost(
    stock: StockKey,
    bound: Decimal,
    pieces: Sequence[Piece],
    sheets: Sequence[PlannedSheet],
    machine: Machine,
    rates: Rates,
) -> StockCost:
    own = [piece for piece in pieces if piece.stock == stock]
    fixed = costing.total([*costing.cutting_lines(own, machine, rates), *costing.joint_lines(own, rates)])
    laid = [line for sheet in sheets if sheet.stock == stock for line in costing.sheet_lines(sheet, machine, rates)]
    cost, least = costing.total(laid) + fixed, bound + fixed
    return StockCost(stock.material, stock.colour, stock.thickness_mm, cost, least, _gap_percent(cost, least))


def _gap_percent(cost: Decimal, least: Decimal) -> float:
    return round(float((cost - least) / cost * 100), 2) if cost > 0 else 0.0


def _warnings(sheets: Sequence[PlannedSheet]) -> list[str]:
    found = []
    for sheet in sheets:
        for run in sheet.passes:
            for lined in (lined for lined in run.lines_up if lined.by != "marks"):
                passes = f"passes {lined.with_pass} and {run.order}"
                found.append(f"{sheet.id}-{run.blank}: {_UNMARKED[lined.by].format(passes=passes)}")
    return found


_UNMARKED = {
    "joins": "no waste holds line-up marks that {passes} both reach; line up on the ends of the cuts at the joins",
    "edge": "what {passes} both reach holds no line-up mark; line up on the sheet's edge against a stop",
}


def _steps(sheets: Sequence[PlannedSheet], limit_mm: float | None) -> list[str]:
    """For each sheet and piece joined with more of a step to expect than the job allows: where, how much, the mend."""
    worst: dict[tuple[str, str], Join] = {}
    for sheet in sheets:
        for join in (join for run in sheet.passes for join in run.joins):
            known = worst.setdefault((sheet.id, join.piece), join)
            if join.mismatch_mm > known.mismatch_mm:
                worst[sheet.id, join.piece] = join
    return [
        f"sheet {sheet}, piece {piece}: a step of {join.mismatch_mm:.2f} mm is to be expected at join {join.number}, "
        f"the job allows {limit_mm:.2f} mm: put a larger sheet on offer, so that line-up marks lie farther apart, or "
        "allow the piece to be split (one_piece = false)"
        for (sheet, piece), join in sorted(worst.items())
        if limit_mm is not None and join.mismatch_mm > limit_mm
    ]
