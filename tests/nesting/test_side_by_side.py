"""Stock keys are searched two at a time: what comes of it does not depend on which is done sooner."""

from __future__ import annotations

from collections.abc import Sized
from threading import Barrier, Event

import pytest

from nesting.side_by_side import in_turn, side_by_side

PATIENCE_S = 30


def test_what_comes_of_each_is_told_in_order_whichever_is_done_sooner():
    done = {name: Event() for name in "ab"}

    def work(name: str, stop: Sized) -> str:
        if name == "a":
            assert done["b"].wait(PATIENCE_S)
        done[name].set()
        return name.upper()

    assert side_by_side(work, ["a", "b"], ()) == ["A", "B"]


def test_of_several_that_fail_the_first_is_raised_though_it_fails_later():
    failed = Event()

    def work(name: str, stop: Sized) -> None:
        if name == "first":
            assert failed.wait(PATIENCE_S)
        else:
            failed.set()
        raise ValueError(name)

    with pytest.raises(ValueError, match="first"):
        side_by_side(work, ["first", "second", "third"], ())


def test_where_one_fails_the_other_is_asked_to_stop():
    together = Barrier(2)
    asked: list[bool] = []

    def work(number: int, stop: Sized) -> None:
        together.wait(PATIENCE_S)
        if number == 0:
            raise ValueError
        # Looks as a search does, again and again, but not for ever.
        asked.append(any(stop for _ in range(10**8)))

    with pytest.raises(ValueError):
        side_by_side(work, [0, 1], ())
    assert asked == [True]


def test_what_asks_a_plan_to_stop_asks_all_its_searches():
    asked: list[bool] = []

    def work(number: int, stop: Sized) -> bool:
        asked.append(True)
        return bool(stop)

    assert side_by_side(work, [0, 1, 2], asked) == [True, True, True]


def test_what_is_told_is_heard_out_one_after_another():
    heard, within = list[int](), list[bool]()

    def hear(number: int) -> None:
        within.append(True)
        heard.append(len(within))
        within.pop()

    tell = in_turn(hear)
    side_by_side(lambda number, stop: [tell(number) for _ in range(500)], [0, 1], ())
    assert heard == [1] * 1000
