"""Quotes against figures worked by hand: mark-up and margin, tax, shares of a sheet, mass."""

import dataclasses
from decimal import Decimal

import pytest

from nesting import costing, quoting
from nesting.model import CostLine, Extra, Material, Quoting, Workshop
from tests.cli.sample_plan import WORKSHOP, sample_plan


def shop(**figures) -> Workshop:
    return dataclasses.replace(WORKSHOP, quoting=Quoting(**figures))


def priced(cost: str, **figures) -> quoting.Price:
    """A price whose cost is one line."""
    known = quoting.Price(1, 1, (CostLine("material: all", 1, "", Decimal(cost)),), Decimal(0), Decimal(0), 0.0)
    return quoting.with_dearer_material(known, 0.0, shop(**figures))


def test_mark_up_is_not_margin():
    # Derived: mark-up 40 % on 100 is 140.00, a margin of 28.57 %; a margin of 40 % is 166.67, a mark-up of 66.67 %.
    marked_up = priced("100", markup=0.4)
    assert marked_up.net == Decimal("140.00")
    assert marked_up.margin == pytest.approx(0.2857, abs=5e-5)
    with_margin = priced("100", markup=2 / 3)
    assert with_margin.net == Decimal("166.67")
    assert with_margin.margin == pytest.approx(0.4, abs=5e-5)


def test_worked_example_from_cost_to_total():
    # Derived: cost 100.48, margin 40 % 167.47, tax 20 % 33.49, total 200.96; Decimal, half up, once a line.
    price = priced("100.48", markup=2 / 3, tax=0.2)
    assert (price.net, price.tax, price.gross) == (Decimal("167.47"), Decimal("33.49"), Decimal("200.96"))


def test_waste_divides_the_area():
    # Derived: 1 m2 of pieces at 20 % waste charges 1.25 m2, not 1.20.
    plan = sample_plan()
    area = sum(line.quantity for line in quoting.price(plan, 1, shop(material="share", waste=0.0)).lines[:1])
    wasted = sum(line.quantity for line in quoting.price(plan, 1, shop(material="share", waste=0.2)).lines[:1])
    assert wasted / area == pytest.approx(1.25, abs=1e-3)


def test_whole_sheets_are_charged_less_what_goes_back():
    # Derived: sheets at 30.20 and 7.20, leftovers credited with 5.49 and 1.10, make 30.81. To charge whole sheets, less
    # what goes back on the rack, is common practice, no source.
    material = quoting.price(sample_plan(), 1, shop(material="sheets")).lines[0]
    assert material.amount == Decimal("30.20") + Decimal("7.20") - Decimal("5.49") - Decimal("1.10")


def test_marking_stands_beside_cutting():
    # Derived: a mark of 6000 mm at 100 mm/s takes a minute; at 45.00 an hour that is 0.75.
    plan = sample_plan()
    piece = dataclasses.replace(plan.pieces[0], marks=(((0.0, 0.0, 0.0), (6000.0, 0.0, 0.0)),))
    rates = dataclasses.replace(WORKSHOP.rates, machine_per_hour=Decimal("45.00"))
    lines = tuple(costing.cutting_lines([piece], plan.machine, rates))
    marked = dataclasses.replace(plan, cost=dataclasses.replace(plan.cost, lines=lines))
    terms = {line.what: line for line in quoting.price(marked, 1, shop()).lines}
    assert {"cutting", "marking", "moves between cuts"} <= set(terms)
    assert (terms["marking"].quantity, terms["marking"].amount) == (1.0, Decimal("0.75"))


def test_mass_is_that_of_the_pieces():
    # ISO 1183 density 1.19 g/cm3: a piece of 1000 x 1000 x 10 mm has 11.9 kg.
    plate = dataclasses.replace(
        sample_plan().pieces[0],
        outline=((0.0, 0.0, 0.0), (1000.0, 0.0, 0.0), (1000.0, 1000.0, 0.0), (0.0, 1000.0, 0.0)),
        thickness_mm=10.0,
    )
    assert quoting.pieces_kg([plate], shop()) == pytest.approx(11.9)
    assert quoting.pieces_kg([plate], dataclasses.replace(shop(), material=(Material("wood", 700.0),))) == 0.0


def test_extras_of_the_job_are_counted_once_and_those_of_each_copy_for_each():
    # Derived: 50.00 once and 4.00 for each of ten copies are 50.00 and 40.00; the rest is ten times that of one copy.
    extras = (Extra("drawing", Decimal("50.00")), Extra("box", Decimal("4.00"), each_copy=True))
    one = quoting.price(sample_plan(), 1, shop(), extras)
    ten = quoting.scaled(one, 10, shop(), extras)
    amounts = {line.what: line.amount for line in ten.lines}
    assert (amounts["drawing"], amounts["box"]) == (Decimal("50.00"), Decimal("40.00"))
    assert ten.cost == (one.cost - Decimal("50.00")) * 10 + Decimal("50.00")
    assert (ten.copies, ten.planned_copies) == (10, 1)


def test_finishing_and_freight_are_lines_of_their_own():
    # Derived: freight is the mass at 1.00 a kg. To charge edges by the metre and carriage by mass is common practice,
    # no source.
    plain = quoting.price(sample_plan(), 1, shop())
    full = quoting.price(sample_plan(), 1, shop(finishing_per_m=Decimal("2.00"), freight_per_kg=Decimal("1.00")))
    added = {line.what: line for line in full.lines if line.what not in {known.what for known in plain.lines}}
    assert set(added) == {"finishing of edges", "freight"}
    assert added["freight"].amount == pytest.approx(Decimal(str(round(full.mass_kg, 3))), abs=Decimal("0.01"))
