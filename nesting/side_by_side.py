"""Work that shares nothing, two at a time: the stock keys of a plan.

In: what to do, for which, and what asks to stop. Out: what came of each, in order. While a master is solved or the last
of a few sheets is filled, the threads of one search leave a core idle; another stock key has use for it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence, Sized
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from threading import Lock
from typing import TypeVar

Of = TypeVar("Of")
Made = TypeVar("Made")

AT_ONCE = 2


@dataclass(frozen=True, slots=True)
class _Either:
    """Holds something once one of the two does."""

    one: Sized
    other: Sized

    def __len__(self) -> int:
        return len(self.one) + len(self.other)


def side_by_side(work: Callable[[Of, Sized], Made], of: Sequence[Of], stop: Sized) -> list[Made]:
    """`work` done for each, told what asks it to stop. Of several that fail the first is raised, whichever failed
    sooner; then, or on Ctrl-C, those under way are asked to stop, and no further ones are begun."""
    failed: list[bool] = []
    with ThreadPoolExecutor(AT_ONCE) as threads:
        begun = [threads.submit(work, one, _Either(stop, failed)) for one in of]
        try:
            return [one.result() for one in begun]
        except BaseException:
            failed.append(True)
            threads.shutdown(wait=False, cancel_futures=True)
            raise


def in_turn(told: Callable[[Of], None]) -> Callable[[Of], None]:
    """The same, for several threads: what one of them tells is heard out before the next."""
    lock = Lock()

    def tell(what: Of) -> None:
        with lock:
            told(what)

    return tell
