"""Published instances of cutting one sheet up by edge-to-edge cuts: their proved optima are met.

cgcut: Christofides and Whitlock (1977), doi 10.1287/opre.25.1.30; gcut: Beasley (1985), doi 10.1057/jors.1985.51; the
optima are those stated in the instance files. hopper_t: Hopper (2000), PhD thesis, Cardiff University.
"""

from __future__ import annotations

from typing import Any

import pytest

from nesting.patterns import Want, best_pattern
from tests.external.rectangle_jobs import read
from tests.instances import ABSENT, RECTANGLES

published = pytest.mark.skipif(not RECTANGLES.is_dir(), reason=ABSENT)


def wants_of(raw: dict[str, Any]) -> list[Want]:
    """Rectangles wanted; worth their area where no value is stated."""
    return [
        Want(
            (item["length"], item["height"]),
            item.get("value", item["length"] * item["height"]),
            item.get("quantity_max", item["quantity"]),
            bool(raw.get("turn")),
        )
        for item in raw["items"]
    ]


@published
@pytest.mark.parametrize("name", ["cgcut1", "cgcut2", "cgcut3", "gcut1", "gcut4", "gcut8", "gcut12"])
def test_the_most_value_from_one_sheet_is_the_proved_optimum(name: str) -> None:
    # Christofides, Whitlock (1977), Operations Research 25, 30-44; Beasley (1985), JORS 36, 297-306: the instances and
    # their optima, found again by exact search and by dynamic programming.
    raw = read(name)
    stock = raw["bins"][0]
    pattern = best_pattern((stock.get("width", stock.get("length")), stock["height"]), wants_of(raw))
    assert pattern.proven and pattern.value == raw["known_optimum"]["value"]


@published
@pytest.mark.parametrize("name", ["hopper_t1a", "hopper_t3b"])
def test_hopper_strips_cannot_be_cut_edge_to_edge_without_waste(name: str) -> None:
    """The files call these strips cut up edge to edge. They are not: no such cuts free all pieces at the full length.

    Without waste every joint of two parts joins equal sides; there are few such parts, and none is the whole strip.
    """
    raw = read(name)
    area = raw["width"] * raw["known_optimum"]["length"]
    pattern = best_pattern((raw["known_optimum"]["length"], raw["width"]), wants_of(raw), least=area)
    assert pattern.value < area and pattern.bound < area


def test_christofides_and_whitlock_1() -> None:
    """The smallest of the three, as a fact: 15 x 10, seven sizes, at most 16 pieces; the optimum is 244."""
    sizes = [(8, 4, 66, 2), (3, 7, 35, 1), (8, 2, 24, 3), (3, 4, 17, 5), (3, 3, 11, 2), (3, 2, 8, 2), (2, 1, 2, 1)]
    pattern = best_pattern((15, 10), [Want((w, h), value, most) for w, h, value, most in sizes])
    assert pattern.proven and pattern.value == 244
