"""Linear programs: what one more of each demand costs, and of each limit. What goes wrong in a solver is told."""

from __future__ import annotations

import pytest
from ortools.sat.python import cp_model

from nesting.solving import relaxed, tried


def test_a_limit_on_the_cheap_one_is_worth_the_difference() -> None:
    # Derived: two are wanted; of those that cost 1 there is one, of those that cost 3 any number. One more wanted costs
    # 3, one more of the cheap ones saves 2.
    mix = relaxed([[1], [1]], [1.0, 3.0], [2], [([0], 1)])
    assert (mix.duals, mix.limit_duals) == (pytest.approx((3.0,)), pytest.approx((-2.0,)))
    assert (mix.uses, mix.cost) == (pytest.approx((1.0, 1.0)), pytest.approx(4.0))


def test_what_goes_wrong_in_a_solver_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object) -> None:
        raise MemoryError("no room for the model")

    monkeypatch.setattr(cp_model.CpSolver, "solve", fail)
    with pytest.raises(MemoryError, match="no room"):
        tried(cp_model.CpModel(), 1.0)
