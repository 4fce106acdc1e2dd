"""A quote's pages: the customer sees prices and no inner figure, the shop sees every term; hostile names do no harm."""

import dataclasses
import html.parser
from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from pathlib import Path

import pypdfium2
import pytest

from cli.documents import canvas as look
from cli.documents.pictures import pieces_picture
from cli.documents.quote import Quote, customer_steps, inner_steps, write_quote
from nesting import quoting
from nesting.drawing.pieces import read_order
from nesting.model import Extra, Job, JobFile, Piece, PieceOrder, Progress, Quoting
from tests.cli.sample_plan import WORKSHOP, sample_plan


def square(side: float) -> tuple[tuple[float, float, float], ...]:
    return ((0.0, 0.0, 0.0), (side, 0.0, 0.0), (side, side, 0.0), (0.0, side, 0.0))


SQUARE = square(2000.0)
SHOP = dataclasses.replace(WORKSHOP, quoting=Quoting(markup=0.4, tax=0.2, valid_days=14, copies=(1, 10)))


def made(name: str = "Planetarium entrance sign") -> Quote:
    plan = sample_plan()
    orders = (
        PieceOrder("face", "acrylic", "night blue", 5.0, drawing="face.dxf"),
        PieceOrder(name, "acrylic", "night blue", 5.0, wording=f"APT {name}", height_mm=160.0),
    )
    extras = (Extra("delivery", Decimal("30.00")),)
    one = quoting.price(plan, 1, SHOP, extras)
    prices = (one, quoting.scaled(one, 10, SHOP, extras))
    what_if = (("material 10 % dearer", quoting.with_dearer_material(one, 0.1, SHOP)),)
    search = (Progress("choosing sheets", 1, Decimal("60.30"), Decimal("52.10"), "acrylic"),)
    job = JobFile(Job(name, customer="The planetarium"), orders, extras)
    items = (plan.pieces[:1], plan.pieces[1:])
    return Quote(job, SHOP, items, plan, prices, what_if, search, date(2026, 11, 25))


def printed(path: Path) -> str:
    pages = pypdfium2.PdfDocument(path)
    return " ".join(" ".join(page.get_textpage().get_text_bounded() for page in pages).split())


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("quote")
    write_quote(made(), folder)
    return folder


def test_the_customer_sees_prices_and_no_inner_figure(folder):
    quote = made()
    one, ten = quote.prices
    for text in (printed(folder / "quote.pdf"), (folder / "quote.html").read_text(encoding="utf-8").split("<body>")[1]):
        assert all(str(figure) in text for figure in (one.net, one.tax, one.gross, ten.each, ten.net))
        assert "2026-12-09" in text, "14 days from 2026-11-25"
        assert "delivery" in text
        for inner in (
            str(one.cost),
            str(one.markup),
            "mark-up",
            "margin",
            "gap",
            "the merchant",
            str(quote.plan.cost.bound),
        ):
            assert inner not in text


def test_the_shop_sees_every_term_and_tells_mark_up_from_margin(folder):
    one = made().prices[0]
    text = printed(folder / "quote-inner.pdf")
    for line in one.lines:
        assert f"{line.amount:.2f}" in text
    assert f"mark-up 40 % of the cost {one.markup}" in text
    assert f"net price margin 28.6 % of the price {one.net}" in text
    assert "gap 13.6 %" in text


def test_an_item_is_as_large_as_its_own_drawing_though_another_name_begins_alike():
    quote = made()
    face = quote.items[0][0]
    base = dataclasses.replace(face, id="base-1", name="face base", outline=SQUARE)
    order = quote.job.piece[0]
    job = dataclasses.replace(quote.job, piece=(order, dataclasses.replace(order, name="face base")))
    pages = customer_steps(dataclasses.replace(quote, job=job, items=((face,), (base,))))
    own, other = (str(row[1]) for row in pages[0].tables[0].rows)
    assert "2000 × 2000 mm" in other and "2000" not in own


def drawn(pieces: Sequence[Piece]) -> list[tuple[float, float, float]]:
    """Left, right and lower side of each piece as pictured, in widths of the first."""
    paths = [item for item in pieces_picture([pieces]).items if isinstance(item, look.Path)]
    outlines = [path.chains[-1] for path in paths if path.fill == look.NOW_FILL]
    boxes = [(min(x for x, *_ in c), max(x for x, *_ in c), max(y for _, y, _ in c)) for c in outlines]
    wide = boxes[0][1] - boxes[0][0]
    return [(left / wide, right / wide, low / wide) for left, right, low in boxes]


def test_pieces_of_a_drawing_stand_side_by_side_on_one_line():
    shapes = [dataclasses.replace(made().items[0][0], id=f"t-{n}", outline=square(s)) for n, s in enumerate((90, 60))]
    first, second = drawn(shapes)
    assert first[1] < second[0] and first[2] == pytest.approx(second[2])


def test_a_wording_is_pictured_as_it_is_set(tmp_path):
    """Its dots over their letter, a space between its words, lines one below the other."""
    order = PieceOrder("name", "acrylic", "opal", 5.0, wording="ö x\nl", height_mm=100.0)
    pieces, *_ = read_order(JobFile(Job("name"), (order,)), tmp_path)
    assert len(pieces) == 5
    spots = dict(zip([piece.id for piece in pieces], drawn(pieces), strict=True))
    body, *dots = sorted((spots[piece.id] for piece in pieces[:3]), key=lambda spot: spot[0] - spot[1])
    assert all(body[0] < left and right < body[1] and low < body[2] for left, right, low in dots)
    x, below = (spots[piece.id] for piece in pieces[3:])
    assert x[0] - body[1] > 0.25 * (body[1] - body[0]), "a space"
    assert (
        x[2] == pytest.approx(body[2], abs=0.05 * (body[1] - body[0])) and below[2] > 1.5 * (body[1] - body[0]) + x[2]
    )


def test_the_chart_of_the_search_shows_the_one_that_the_plan_came_of():
    """A shape that may be split or not is planned both ways, one after another; the whole one costs less."""
    quote = made()
    (stock, *_) = {str(sheet.stock) for sheet in quote.plan.sheets}
    cents = [line.amount for line in quote.plan.cost.lines if line.what.startswith("sheet ")]
    laid, bound = sum(cents), Decimal("5.00")
    whole = [Progress("choosing sheets", n, laid + 10 - 5 * n, bound, stock) for n in (1, 2)]
    split = [Progress("choosing sheets", n, laid + 90, bound / 2, stock) for n in (1, 2, 3)]
    for search in ((*whole, *split), (*split, *whole)):
        chart = inner_steps(dataclasses.replace(quote, search=search))[1].figures[-1]
        assert stock in chart.alt
        drawn = [item for item in chart.items if isinstance(item, look.Path) and item.stroke == look.NOW_LINE]
        assert [len(path.chains[0]) for path in drawn] == [2], "two rounds, not five"


def test_prices_that_no_runs_of_a_plan_give_are_called_estimates():
    def notes(planned_copies: int) -> str:
        one, ten = made().prices
        prices = (one, dataclasses.replace(ten, planned_copies=planned_copies))
        return " ".join(customer_steps(dataclasses.replace(made(), prices=prices))[0].notes)

    assert "Prices for 10 copies are estimates" in notes(4)
    assert "estimates" not in notes(5), "ten copies are two runs of a plan for five"


def test_an_extra_is_charged_as_asked_whatever_it_is_called():
    """Named like a term of the cost, it is neither multiplied with the copies nor dearer with the material."""
    once = (Extra("material handling", Decimal("10.00")), Extra("cutting", Decimal("7.00")))
    bare, one = quoting.price(sample_plan(), 1, SHOP), quoting.price(sample_plan(), 1, SHOP, once)
    assert quoting.scaled(one, 10, SHOP, once).cost == quoting.scaled(bare, 10, SHOP).cost + 17
    dearer = quoting.with_dearer_material(one, 0.1, SHOP).cost
    assert dearer == quoting.with_dearer_material(bare, 0.1, SHOP).cost + 17


def test_terms_add_up_to_the_cost():
    terms = inner_steps(made())[0].tables[0]
    totals = terms.totals()
    assert totals is not None
    assert totals[-1] == made().prices[0].cost


def test_hostile_names_stay_names(tmp_path):
    write_quote(made('<script>alert("x")</script>'), tmp_path)
    tags: list[str] = []
    parser = html.parser.HTMLParser()
    parser.handle_starttag = lambda tag, attrs: tags.append(tag)  # type: ignore[method-assign]
    parser.feed((tmp_path / "quote.html").read_text(encoding="utf-8"))
    assert "script" not in tags
    assert '<script>alert("x")</script>' in printed(tmp_path / "quote.pdf")


def test_the_same_quote_gives_the_same_bytes(folder, tmp_path):
    write_quote(made(), tmp_path)
    for path in folder.iterdir():
        assert path.read_bytes() == (tmp_path / path.name).read_bytes()
