"""`halfturn quote`: what a job would cost and what to ask for it, before any commitment.

In: a job file (wording alone will do) and the workshop; the rack is left out, as nothing is reserved for a quote.
Out: the customer's page and the shop's, and a few lines on stdout.
"""

from __future__ import annotations

import dataclasses
import sys
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cli.as_json import JsonOption, echo_json
from cli.options import SEED_MAX, WorkshopOption, workshop_folder
from cli.planning import asked_to_stop, notes_and_warnings
from cli.progress import Ticker
from cli.whole_folder import written_whole
from nesting.faults import JobFault, within
from nesting.phrases import counted

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from cli.documents.quote import Quote
    from nesting.drawing.shapes import Finding
    from nesting.model import JobFile, Piece, Plan, Progress, Workshop
    from nesting.quoting import Price

STOPPED = "stopped on request before all effort was spent: more effort may find a lower price"
LOWER = 0.9
DEARER = 0.1


def quote(
    job: Annotated[Path, typer.Argument(help="The job file; wording alone will do, without any drawing.")],
    out: Annotated[Path, typer.Option("--out", help="Folder for the quote; an older quote there is replaced.")],
    workshop: WorkshopOption = None,
    effort: Annotated[
        int, typer.Option("--effort", min=1, help="Rounds of improvement for each material, colour and thickness.")
    ] = 2,
    seed: Annotated[int, typer.Option("--seed", min=0, max=SEED_MAX, help="Same inputs and seed, same quote.")] = 1,
    most: Annotated[
        int, typer.Option("--plan-up-to", metavar="PIECES", help="Copies are planned together up to so many pieces.")
    ] = 120,
    day: Annotated[str, typer.Option("--date", help="Date of the quote, YYYY-MM-DD; else today.")] = "",
    as_json: JsonOption = False,
) -> None:
    """Price a job on new sheets: a page for the customer, and an inner page with every term."""
    from cli.documents.quote import write_quote
    from nesting.toml_files import read_job, read_workshop

    on = _date(day)
    with Ticker(sys.stderr) as ticker:
        ticker.step("reading")
        shop = read_workshop(workshop_folder(workshop) / "workshop.toml")
        order = read_job(job)
        with asked_to_stop("a quote by the best plan so far") as stop:
            made = _quoted(Estimator(ticker, effort, seed, most, shop, order, job, stop), on)
        ticker.step("writing")
        with written_whole(out) as fresh:
            write_quote(made, fresh)
    if as_json:
        echo_json("quote", **_told(made))
        return
    for line in summary(made, out):
        typer.echo(line)


def _told(made: Quote) -> dict[str, object]:
    """The quote's figures for another program; `lines` are the terms of the cost."""
    return {
        "job": made.job.job.name,
        "currency": made.shop.rates.currency,
        "valid_until": made.until,
        "stopped": made.stopped,
        "notes": made.plan.notes,
        "warnings": made.plan.warnings,
        "prices": [_price(price) for price in made.prices],
        "what_if": [{"what": what, **_price(price)} for what, price in made.what_if],
    }


def _price(price: Price) -> dict[str, object]:
    keys = ("copies", "planned_copies", "lines", "cost", "markup", "net", "tax", "gross", "each", "mass_kg")
    return {key: getattr(price, key) for key in keys}


def _date(text: str) -> date:
    try:
        return date.fromisoformat(text) if text else datetime.now(UTC).date()
    except ValueError:
        raise typer.BadParameter("give the date as YYYY-MM-DD", param_hint="--date") from None


@dataclasses.dataclass(slots=True)
class Estimator:
    """Plans copies of a job on new sheets alone, and remembers how the last search went.

    Once `stop` holds something the plan under way is the best so far, and no further one is begun.
    """

    ticker: Ticker
    effort: int
    seed: int
    most_pieces: int
    shop: Workshop
    job: JobFile
    path: Path
    stop: list[bool]
    seen: list[Progress] = dataclasses.field(default_factory=list)

    def read(self, job: JobFile, copies: int) -> tuple[tuple[tuple[Piece, ...], ...], tuple[Finding, ...]]:
        """The pieces of so many copies, entry by entry, and what their drawings and wordings gave cause to say."""
        from nesting.drawing.pieces import read_order

        many = dataclasses.replace(job, job=dataclasses.replace(job.job, quantity=copies))
        pieces, demands, findings = read_order(many, self.path.parent)
        by_id = {piece.id: piece for piece in pieces}
        return tuple(tuple(by_id[one] for one in demand.pieces) for demand in demands), findings

    def planned(self, job: JobFile, copies: int) -> tuple[Plan, Price]:
        from nesting.plan import Request, make_plan
        from nesting.quoting import price

        self.seen.clear()
        items, findings = self.read(job, copies)
        pieces = tuple(piece for item in items for piece in item)
        said = notes_and_warnings(findings)
        request = Request(job.job, pieces, self.shop, (), self.seed, self.effort, *said, rack_counts=False)
        with within("a quote, which counts on new sheets alone, whatever the rack holds"):
            plan = make_plan(request, self._watch, self.stop)
        return plan, price(plan, copies, self.shop, job.extra)

    def _watch(self, progress: Progress) -> None:
        self.seen.append(progress)
        self.ticker.watch(progress)


def _quoted(estimator: Estimator, on: date) -> Quote:
    from cli.documents.quote import Quote

    job, shop = estimator.job, estimator.shop
    one, _ = estimator.read(job, 1)
    if not any(one):
        raise JobFault("there is nothing to cut in this job", mend="check its drawings", where=(str(estimator.path),))
    fewest, *more = sorted({*shop.quoting.copies, *([job.job.quantity] if job.job.quantity > 1 else [])})
    plan, first = estimator.planned(job, fewest)
    search = tuple(estimator.seen)
    prices = (first, *_further(estimator, first, more, sum(map(len, one))))
    what_if = tuple(_what_ifs(estimator, first))
    return Quote(job, shop, one, plan, prices, what_if, search, on, bool(estimator.stop))


def _further(estimator: Estimator, first: Price, more: Sequence[int], pieces_each: int) -> Iterator[Price]:
    """More copies: the plan so far made again, or all planned together where they are few enough and it is cheaper."""
    from nesting.quoting import scaled

    known = first
    for copies in more:
        known = scaled(known, copies, estimator.shop, estimator.job.extra)
        if copies * pieces_each <= estimator.most_pieces and not estimator.stop:
            _, together = estimator.planned(estimator.job, copies)
            known = min(known, together, key=lambda price: price.cost)
        yield known


def _what_ifs(estimator: Estimator, first: Price) -> Iterator[tuple[str, Price]]:
    """Material a tenth dearer; letters a tenth lower, planned anew and therefore only where there is time."""
    from nesting.quoting import with_dearer_material

    yield f"material {DEARER:.0%} dearer", with_dearer_material(first, DEARER, estimator.shop)
    if not estimator.stop and any(order.height_mm is not None for order in estimator.job.piece):
        _, lower = estimator.planned(_lower(estimator.job), first.copies)
        if not estimator.stop:
            yield f"letters {1 - LOWER:.0%} lower", lower


def _lower(job: JobFile) -> JobFile:
    lowered = tuple(
        dataclasses.replace(order, height_mm=order.height_mm * LOWER) if order.height_mm is not None else order
        for order in job.piece
    )
    return dataclasses.replace(job, piece=lowered)


def summary(made: Quote, out: Path) -> Iterator[str]:
    """What the estimator wants to see at once."""
    currency = made.shop.rates.currency
    pieces = counted(sum(map(len, made.items)), "piece")
    yield f"{made.job.job.name}: {pieces} a copy, valid until {made.until:%Y-%m-%d}"
    for price in made.prices:
        basis = "" if price.planned_copies == price.copies else f", by a plan for {price.planned_copies}"
        yield (
            f"  {price.copies:>4} x {price.each} {currency} net: {price.net} net, {price.gross} to pay "
            f"(cost {price.cost}, margin {price.margin:.1%}{basis})"
        )
    for what, price in made.what_if:
        yield f"  if {what}: {price.net} net"
    yield from (f"note: {note}" for note in made.plan.notes)
    yield from (f"warning: {warning}" for warning in made.plan.warnings)
    if made.stopped:
        yield STOPPED
    yield f"files: {out}/ (quote.html for the customer, quote-inner.html for the shop)"
