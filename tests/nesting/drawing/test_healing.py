"""Joining ends: the same pieces come out however a drawing's lines are shuffled, turned round or split."""

from __future__ import annotations

import itertools
import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nesting import curves
from nesting.drawing.assembling import assembled
from nesting.drawing.intake import Intake
from nesting.drawing.shapes import DrawnChain
from nesting.model import Ring

SLOT: Ring = ((0, 0, 0), (30, 0, 1), (30, 10, 0), (0, 10, 1))


def star(x: float, y: float, radius: float, corners: int) -> Ring:
    turns = [k * math.pi / corners for k in range(2 * corners)]
    return tuple(
        (x + radius * (1 - k % 2 / 2) * math.cos(t), y + radius * (1 - k % 2 / 2) * math.sin(t), 0.1 * (k % 3 - 1))
        for k, t in enumerate(turns)
    )


def loose(rings: list[Ring], seed: int, jitter: float) -> list[DrawnChain]:
    """Every segment a chain of its own, in any order, either way round, its ends off by up to `jitter`."""
    chance = random.Random(seed)
    parts = [segment for ring in rings for segment in curves.segments(ring, closed=True)]
    chance.shuffle(parts)
    chains = []
    for part in parts:
        a, b = ([c + chance.uniform(-jitter, jitter) / 3 for c in p] for p in (part.a, part.b))
        chain = ((*a, part.bulge), (*b, 0.0))
        chains.append(DrawnChain(curves.reversed_chain(chain) if chance.random() < 0.5 else chain, False, "CUT"))
    return chains


@given(st.integers(0, 10**6), st.integers(1, 5), st.sampled_from([0.0, 0.01, 0.04]))
def test_shuffled_lines_give_the_pieces_they_were(seed, count, jitter):
    rings = [star(300 * k, 0, 100, 4 + k) for k in range(count)] + [star(0, 0, 30, 5)]
    shapes, findings = assembled(loose(rings, seed, jitter), (), Intake())
    assert findings == ()
    assert len(shapes) == count and sum(len(shape.holes) for shape in shapes) == 1
    wanted = sorted(abs(curves.signed_area(ring)) for ring in rings)
    found = sorted(abs(curves.signed_area(ring)) for shape in shapes for ring in (shape.outline, *shape.holes))
    assert found == pytest.approx(wanted, abs=1e-6 if jitter == 0 else 600 * jitter)


@given(st.integers(0, 10**6))
def test_doubles_change_nothing(seed):
    chains = loose([SLOT], seed, 0.0)
    shapes, findings = assembled([*chains, *chains, *loose([SLOT], seed + 1, 0.01)], (), Intake())
    assert [curves.signed_area(shape.outline) for shape in shapes] == pytest.approx([300 + math.pi * 25], abs=0.5)
    assert [finding.code for finding in findings] == ["doubles"]
    assert findings[0].text.endswith(": 8")


def test_nested_rings_become_outer_hole_island_and_so_on():
    rings = [((-r, 0.0, 1.0), (r, 0.0, 1.0)) for r in (90.0, 10.0, 70.0, 30.0, 50.0)]
    shapes, _ = assembled([DrawnChain(ring, True, "CUT") for ring in rings], (), Intake())
    radii = [(s.outline[1][0], [hole[0][0] for hole in s.holes]) for s in shapes]
    assert [(abs(r), [abs(h) for h in holes]) for r, holes in radii] == [(90, [70]), (10, []), (50, [30])]


def test_joined_ends_do_not_depend_on_the_order_of_the_lines():
    corners = [(0.0, 0.0), (100.0, 0.0), (100.0, 60.0), (0.0, 60.0), (0.0, 0.3)]
    lines = [DrawnChain(((*a, 0.0), (*b, 0.0)), False, "CUT") for a, b in itertools.pairwise(corners)]
    for order in itertools.permutations(lines):
        (shape,), (told,) = assembled(order, (), Intake())
        assert curves.signed_area(shape.outline) == pytest.approx(6000)
        assert told.code == "joined" and "0.300 mm" in told.text


def test_sides_too_short_to_cut_are_dropped_and_counted():
    ring = (
        (0.0, 0.0, 0.0),
        (50.0, 0.0, 0.0),
        (50.0, 0.004, 0.0),
        (50.0, 50.0, 0.0),
        (0.0, 50.0, 0.0),
        (0.0, 50.0, 0.0),
    )
    (shape,), (told,) = assembled([DrawnChain(ring, True, "CUT")], (), Intake())
    assert len(shape.outline) == 4
    assert told.text == "sides shorter than 0.01 mm were dropped: 1"
