"""The quote: a page for the customer, without the shop's inner figures, and a page for the shop with every term.

In: a `Quote`. Out: two HTML and two PDF files in a folder that the caller moves into place.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path

from cli.documents import canvas as look
from cli.documents import page, pdf, pictures, rows
from cli.documents.canvas import Picture, Stroke
from cli.documents.charts import Series, chart
from cli.documents.rows import Cell, Column, Table
from cli.documents.step import Step
from cli.documents.words import mm, money, plain, size
from nesting import curves
from nesting.model import CostLine, JobFile, Piece, PieceOrder, Plan, Progress, Workshop
from nesting.phrases import counted, listed
from nesting.quoting import Price


@dataclass(frozen=True, slots=True)
class Quote:
    """All that the pages show. `plan` is for the fewest copies; `items` are the pieces that one copy has of each entry
    of the job, in its order; `stopped` if the search was stopped before all effort was spent."""

    job: JobFile
    shop: Workshop
    items: tuple[tuple[Piece, ...], ...]
    plan: Plan
    prices: tuple[Price, ...]
    what_if: tuple[tuple[str, Price], ...]
    search: tuple[Progress, ...]
    on: date
    stopped: bool = False

    @property
    def until(self) -> date:
        return self.on + timedelta(days=self.shop.quoting.valid_days)


def write_quote(quote: Quote, folder: Path) -> None:
    """`quote.html` and `.pdf` for the customer, `quote-inner.html` and `.pdf` for the shop."""
    for name, steps in (("quote", customer_steps(quote)), ("quote-inner", inner_steps(quote))):
        (folder / f"{name}.html").write_text(page.html(quote, steps, "quote"), encoding="utf-8", newline="\n")
        (folder / f"{name}.pdf").write_bytes(pdf.write_pdf(steps))


# ── the customer's page ──────────────────────────────────────────────────────────────────────────────────────


def customer_steps(quote: Quote) -> list[Step]:
    """The one page that the customer is sent."""
    job, shop = quote.job.job, quote.shop
    to = f"For {plain(job.customer)}. " if job.customer else ""
    heavy = f"One copy weighs about {quote.prices[0].mass_kg / quote.prices[0].copies:.1f} kg. "
    return [
        Step(
            key="quote",
            kind=f"Quote · {plain(shop.name)}",
            title=plain(job.name, 120),
            lead=f"{to}Quoted on {quote.on:%Y-%m-%d}, valid until {quote.until:%Y-%m-%d}.",
            figures=(_picture(quote),),
            tables=(_what_you_get(quote), _prices(quote)),
            notes=(
                f"{heavy}Prices in {plain(shop.rates.currency, 8)}.",
                *_estimated(quote),
                *(f"With it: {plain(extra.what, 120)}." for extra in quote.job.extra),
                "Sizes are nominal. Plastics grow and shrink with heat and damp; fixings must leave them room.",
                "Fixing is not part of this quote unless it is named. What hangs over people is fixed by a competent "
                "person, by local rules.",
            ),
        )
    ]


def _picture(quote: Quote) -> Picture:
    """One of each piece."""
    return pictures.pieces_picture([[piece for piece in item if piece.copy == 1] for item in quote.items])


def _estimated(quote: Quote) -> list[str]:
    guessed = [str(p.copies) for p in quote.prices if p.estimated]
    return [f"Prices for {listed(guessed)} copies are estimates, to be confirmed before an order."] if guessed else []


def _what_you_get(quote: Quote) -> Table:
    columns = (Column("item"), Column("what"), Column("material"), Column("quantity"))
    table = [
        (
            plain(order.name),
            _order_words(order, item),
            f"{plain(order.material)}, {plain(order.colour)}, {mm(order.thickness_mm)} mm",
            order.quantity,
        )
        for order, item in zip(quote.job.piece, quote.items, strict=True)
    ]
    return rows.rounded("items", "What you get", columns, table)


def _order_words(order: PieceOrder, item: Sequence[Piece]) -> str:
    if order.wording is not None and order.height_mm is not None:
        return f"“{plain(order.wording)}”, capitals {mm(order.height_mm)} mm high"
    boxes = [curves.bounds([piece.outline]) for piece in item]
    if not boxes:
        return "to your drawing"
    x0, y0, x1, y1 = max(boxes, key=lambda box: (box[2] - box[0]) * (box[3] - box[1]))
    return f"to your drawing, {size(x1 - x0, y1 - y0)}"


def _prices(quote: Quote) -> Table:
    currency, tax = plain(quote.shop.rates.currency, 8), quote.shop.quoting.tax
    columns = (
        Column("copies"),
        Column("each, net", currency, 2),
        Column("net", currency, 2),
        Column(f"tax {tax * 100:g} %", currency, 2),
        Column("to pay", currency, 2),
    )
    return rows.rounded("prices", "Price", columns, [(p.copies, p.each, p.net, p.tax, p.gross) for p in quote.prices])


# ── the shop's page ──────────────────────────────────────────────────────────────────────────────────────────


def inner_steps(quote: Quote) -> list[Step]:
    """Every term of the cost, from cost to price; copies and what if."""
    first = quote.prices[0]
    kind = f"Inner page, not for the customer · {quote.on:%Y-%m-%d}"
    return [
        Step(
            key="terms",
            kind=kind,
            title=plain(quote.job.job.name, 120),
            lead=f"The cost of {counted(first.copies, 'copy', 'copies')}, term by term, and what becomes of it.",
            tables=(_terms(quote, first), _from_cost_to_price(quote, first)),
            notes=(
                _bound_words(quote),
                MATERIAL_WORDS[quote.shop.quoting.material],
                *(["The search was stopped on request before all effort was spent."] if quote.stopped else []),
                *(f"{plain(said, 400)}." for said in dict.fromkeys((*quote.plan.warnings, *quote.plan.notes))),
            ),
        ),
        Step(
            key="copies",
            kind=kind,
            title="Copies, and what if",
            lead="Where fewer copies were planned than quoted, their plan is run several times.",
            figures=_charts(quote),
            tables=(_copies(quote), _what_ifs(quote)),
        ),
    ]


MATERIAL_WORDS = {
    "sheets": "Material is charged by whole sheets, less the credit for leftovers that go back on the rack.",
    "share": "Material is charged by the pieces' share of the sheets: their area divided by (1 - waste).",
}


def _terms(quote: Quote, price: Price) -> Table:
    columns = (
        Column("what"),
        Column("quantity", "", 2),
        Column("unit"),
        Column("amount", _currency(quote), 2, total=True),
    )
    table: list[tuple[Cell, ...]] = [_term(line) for line in price.lines]
    return rows.rounded("terms", "Cost", columns, table)


def _term(line: CostLine) -> tuple[Cell, ...]:
    return plain(line.what), float(line.quantity), plain(line.unit), line.amount


def _currency(quote: Quote) -> str:
    return plain(quote.shop.rates.currency, 8)


def _from_cost_to_price(quote: Quote, price: Price) -> Table:
    quoting, currency = quote.shop.quoting, _currency(quote)
    table = [
        ("cost", "", price.cost),
        ("mark-up", f"{quoting.markup * 100:g} % of the cost", price.markup),
        ("net price", f"margin {price.margin * 100:.1f} % of the price", price.net),
        ("tax", f"{quoting.tax * 100:g} % of the net price", price.tax),
        ("to pay", f"mass {price.mass_kg:.2f} kg", price.gross),
    ]
    return rows.rounded(
        "price", "From cost to price", (Column("what"), Column("how"), Column("amount", currency, 2)), table
    )


def _bound_words(quote: Quote) -> str:
    cost = quote.plan.cost
    return (
        f"The plan behind it costs {money(cost.total, cost.currency)} before moves, finishing, freight and extras; "
        f"no plan can cost less than {money(cost.bound, cost.currency)} (gap {cost.gap_percent:.1f} %)."
    )


def _copies(quote: Quote) -> Table:
    currency = _currency(quote)
    columns = (
        Column("copies"),
        Column("planned for"),
        Column("cost", currency, 2),
        Column("cost each", currency, 2),
        Column("net each", currency, 2),
        Column("mass", "kg", 1),
    )
    table = [
        (p.copies, p.planned_copies, p.cost, (p.cost / p.copies).quantize(Decimal("0.01")), p.each, p.mass_kg)
        for p in quote.prices
    ]
    return rows.rounded("copies", "Copies", columns, table)


def _what_ifs(quote: Quote) -> Table:
    first, currency = quote.prices[0], _currency(quote)
    columns = (
        Column("what if"),
        Column("cost", currency, 2),
        Column("net", currency, 2),
        Column("change", currency, 2),
    )
    table: list[tuple[Cell, ...]] = [("as quoted", first.cost, first.net, Decimal("0.00"))]
    table += [(plain(what), price.cost, price.net, price.net - first.net) for what, price in quote.what_if]
    return rows.rounded("what_if", "What if", columns, table)


def _charts(quote: Quote) -> tuple[Picture, ...]:
    """Net price of one copy against copies; cost against rounds of search. A single point is no chart."""
    made = []
    if len(quote.prices) > 1:
        each = _series("each", [(float(p.copies), p.each) for p in quote.prices], look.NOW_LINE)
        made.append(chart([each], "copies", f"net each, {_currency(quote)}", "Net price of one copy against copies"))
    stock, rounds = _rounds(quote)
    if len(rounds) > 1:
        best = _series("best", [(float(i), best) for i, (best, _) in enumerate(rounds, 1)], look.NOW_LINE)
        bound = _series("bound", [(float(i), bound) for i, (_, bound) in enumerate(rounds, 1)], look.LATER_LINE)
        title = f"Cost of the sheets of {plain(stock)} against rounds of search"
        made.append(chart([best, bound], "rounds of search", f"{plain(stock)}, {_currency(quote)}", title))
    return tuple(made)


Rounds = list[tuple[Decimal, Decimal]]
"""Best cost and bound after each round of one search."""


def _rounds(quote: Quote) -> tuple[str, Rounds]:
    """The search for the stock key whose sheets cost most, and that key; of several searches (a shape that may be split
    or not is planned both ways) the one that the plan came of."""
    laid: dict[str, Decimal] = {}
    for sheet in quote.plan.sheets:
        own = [line.amount for line in quote.plan.cost.lines if line.what.startswith(f"sheet {sheet.id}: ")]
        laid[str(sheet.stock)] = laid.get(str(sheet.stock), Decimal(0)) + sum(own)
    searches: dict[str, list[Rounds]] = {stock: [] for stock in laid}
    for told in quote.search:
        if told.note in searches and told.rounds and told.best is not None and told.bound is not None:
            if told.rounds == 1 or not searches[told.note]:
                searches[told.note].append([])
            searches[told.note][-1].append((told.best, told.bound))
    stock = max((stock for stock in laid if searches[stock]), key=lambda stock: laid[stock], default="")
    return stock, min(searches.get(stock, ()), key=lambda rounds: abs(rounds[-1][0] - laid[stock]), default=[])


def _series(name: str, points: Sequence[tuple[float, Decimal]], stroke: Stroke) -> Series:
    return Series(name, tuple((x, float(y)) for x, y in points), stroke)
