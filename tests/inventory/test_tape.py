"""A tape's sides and diagonals give the outline back, and tell when they cannot be true."""

from __future__ import annotations

import itertools
import math
from string import ascii_uppercase

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.tape import from_tape
from nesting.faults import RackFault

Corners = list[tuple[float, float]]


def taped(corners: Corners, *extra: str) -> str:
    """What a person who measures every side and everything from A writes down."""
    count = len(corners)
    pairs = {tuple(sorted((n, (n + 1) % count))) for n in range(count)} | {(0, n) for n in range(1, count)}
    pairs |= {tuple(sorted(ascii_uppercase.index(letter) for letter in word)) for word in extra}
    words = (
        f"{ascii_uppercase[a]}{ascii_uppercase[b]}={math.dist(corners[a], corners[b]):.3f}" for a, b in sorted(pairs)
    )
    return " ".join(words)


@st.composite
def quadrilaterals(draw: st.DrawFn) -> Corners:
    """Four corners near those of a rectangle, with A at the origin and B to its right."""
    width, height = draw(st.floats(200, 3000)), draw(st.floats(200, 2000))
    lean = st.floats(-60, 60)
    return [(0, 0), (width, 0), (width + draw(lean), height + draw(lean)), (draw(lean), height + draw(lean))]


@given(quadrilaterals(), st.booleans())
def test_four_corners_come_back(corners: Corners, both: bool) -> None:
    found = from_tape(taped(corners, *(["BD"] if both else [])))
    assert all(math.dist(a, b) < 0.1 for a, b in zip(found.outline_mm, corners, strict=True))
    assert found.off_mm < 0.01


def test_an_l_is_measured_from_its_inner_corner() -> None:
    shape: Corners = [(0, 0), (300, 0), (300, 200), (-300, 200), (-300, -400), (0, -400)]
    found = from_tape(taped(shape))
    assert found.outline_mm == pytest.approx([pytest.approx(corner, abs=0.02) for corner in shape])
    assert found.out_of_square_mm_per_m < 0.05


def test_a_further_diagonal_spreads_a_small_error_and_tells_it() -> None:
    found = from_tape("AB=600 BC=400 CD=600 DA=400 AC=721.1 BD=722.6")
    assert 0 < found.off_mm < 1.5
    lengths = [math.dist(*pair) for pair in itertools.pairwise(found.outline_mm)]
    assert lengths == pytest.approx([600, 400, 600], abs=1)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("AB=600 BC=400 CD=600 DA=400 AC=721 BD=760", "BD disagrees"),
        ("AB=600 BC=400 CA=1100", "do not meet"),
        ("AB=600 BC=400 CD=600 DA=400", "not enough was measured: AC"),
        ("AB=600", "three corners"),
        ("", "three corners"),
        ("AB=600 BC=x", "no measurement"),
        ("AA=600", "no measurement"),
        ("AB=nan", "no measurement"),
        ("AB=1e9", "no measurement"),
        ("AB=6.0.0", "no measurement"),
    ],
)
def test_what_cannot_be_is_told(text: str, told: str) -> None:
    with pytest.raises(RackFault, match=told):
        from_tape(text)
