"""Linear programs: what one more of each demand costs, and of each limit."""

from __future__ import annotations

import pytest

from nesting.solving import relaxed


def test_a_limit_on_the_cheap_one_is_worth_the_difference() -> None:
    # Derived: two are wanted; of those that cost 1 there is one, of those that cost 3 any number. One more wanted costs
    # 3, one more of the cheap ones saves 2.
    mix = relaxed([[1], [1]], [1.0, 3.0], [2], [([0], 1)])
    assert (mix.duals, mix.limit_duals) == (pytest.approx((3.0,)), pytest.approx((-2.0,)))
    assert (mix.uses, mix.cost) == (pytest.approx((1.0, 1.0)), pytest.approx(4.0))
