"""Pieces made of squares: what they fill without waste they are laid on, with gaps, round holes and in one another."""

from __future__ import annotations

import _thread
import signal
from threading import Event
from types import SimpleNamespace

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from ortools.sat.python import cp_model
from shapely.geometry import Polygon, box

from nesting.layout import Ground, Shape, after_evaluations, fit
from nesting.layout.lattice import spots_on_lattice
from nesting.layout.search import Task
from tests.nesting.layout.judging import assert_valid

QUARTERS = (0.0, 90.0, 180.0, 270.0)
ELL = Polygon([(0, 0), (2, 0), (2, 1), (1, 1), (1, 2), (0, 2)])


def laid(shapes: list[Shape], ground: Ground, gap_mm: float = 0.0, margin_mm: float = 0.0) -> None:
    layout = fit(shapes, ground, gap_mm=gap_mm, margin_mm=margin_mm, stop=after_evaluations(400_000), seed=1)
    assert layout is not None
    assert_valid(layout, shapes, ground, gap_mm, margin_mm)


@st.composite
def cut_up(draw: st.DrawFn) -> tuple[int, int, list[Polygon]]:
    """A rectangle of whole squares, each square given to one of a few neighbours that have grown so far."""
    columns, rows, parts = draw(st.integers(2, 5)), draw(st.integers(2, 4)), draw(st.integers(2, 4))
    cells = [(x, y) for x in range(columns) for y in range(rows)]
    owner = {cell: n for n, cell in enumerate(draw(st.permutations(cells))[:parts])}
    while len(owner) < len(cells):
        edge = [c for c in cells if c not in owner and any(abs(c[0] - x) + abs(c[1] - y) == 1 for x, y in owner)]
        cell = draw(st.sampled_from(edge))
        owner[cell] = draw(
            st.sampled_from([n for o, n in owner.items() if abs(o[0] - cell[0]) + abs(o[1] - cell[1]) == 1])
        )
    squares = [[box(x, y, x + 1, y + 1) for (x, y), n in owner.items() if n == part] for part in range(parts)]
    return columns, rows, [shapely.simplify(shapely.union_all(part), 0.0) for part in squares]


@settings(max_examples=40)
@given(cut_up(), st.sampled_from([0.0, 2.5]), st.sampled_from([0.0, 4.0]), st.floats(5.0, 80.0))
def test_what_a_sheet_was_cut_into_along_a_lattice_fits_it_again(cut, gap_mm, margin_mm, module_mm) -> None:
    columns, rows, parts = cut
    sides = [shapely.transform(part, lambda xy: xy * module_mm) for part in parts]
    shapes = [Shape(str(n), side.buffer(-gap_mm / 2, join_style="mitre"), QUARTERS) for n, side in enumerate(sides)]
    more = margin_mm - gap_mm / 2
    laid(shapes, Ground(box(-more, -more, columns * module_mm + more, rows * module_mm + more)), gap_mm, margin_mm)


def test_round_a_hole_that_leaves_more_room_than_the_lattice_needs() -> None:
    # Golomb (1954), American Mathematical Monthly 61, 675-682: L-trominoes fill a square of 2^n with one cell missing.
    sheet = shapely.transform(box(0, 0, 4, 4).difference(box(1, 2, 2, 3)), lambda xy: xy * 1.02)
    laid([Shape(str(n), ELL, QUARTERS) for n in range(5)], Ground(sheet))


def test_in_the_hole_of_another_piece() -> None:
    frame = Polygon([(0, 0), (5, 0), (5, 4), (0, 4)], [[(1, 1), (4, 1), (4, 3), (1, 3)]])
    laid([Shape("frame", frame), Shape("a", ELL, QUARTERS), Shape("b", ELL, QUARTERS)], Ground(box(0, 0, 5, 4)))


def test_some_on_one_sheet_and_some_on_another() -> None:
    shapes = [Shape(str(n), ELL, QUARTERS) for n in range(6)]
    grounds = [Ground(box(0, 0, 3, 2)), Ground(box(0, 0, 6, 2))]
    layout = fit(shapes, grounds, stop=after_evaluations(400_000), seed=1)
    assert layout is not None
    assert sorted(spot.ground for spot in layout.spots) == [0, 0, 1, 1, 1, 1]


def test_pieces_that_share_no_lattice_or_too_fine_a_one_have_none() -> None:
    sheet = [Ground(box(0, 0, 300, 200))]
    aslant = [Shape("a", box(0, 0, 10, 10)), Shape("b", Polygon([(0, 0), (10, 0), (0, 10)]))]
    fine = [Shape("a", box(0, 0, 10, 10)), Shape("b", box(0, 0, 10.01, 7.003))]
    for shapes in (aslant, fine):
        assert spots_on_lattice(Task(shapes, sheet, 0.0, 0.0)) == []


class Endless:
    """A solver that is interrupted while it runs, and searches on until it is told to stop."""

    told = Event()

    def __init__(self) -> None:
        self.parameters = SimpleNamespace()
        self.told.clear()

    def solve(self, model: cp_model.CpModel) -> cp_model.CpSolverStatus:
        _thread.interrupt_main()
        assert self.told.wait(timeout=30)
        return cp_model.UNKNOWN

    def stop_search(self) -> None:
        self.told.set()


def test_ctrl_c_ends_the_search_on_a_lattice_and_is_not_taken_for_an_answer(monkeypatch) -> None:
    task = Task([Shape(str(n), ELL, QUARTERS) for n in range(4)], [Ground(box(0, 0, 4, 3))], 0.0, 0.0)
    # Started in the background, a process ignores Ctrl-C.
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        with monkeypatch.context() as patched, pytest.raises(KeyboardInterrupt):
            patched.setattr(cp_model, "CpSolver", Endless)
            spots_on_lattice(task)
    finally:
        signal.signal(signal.SIGINT, before)
    assert Endless.told.is_set()
    assert len(spots_on_lattice(task)) == 4
