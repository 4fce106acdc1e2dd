"""What can go wrong in a way a person can mend: what, where, how to mend it.

Raised anywhere below the front desk; caught once, in `cli.main`. Anything that is not a Fault is a bug of ours.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager


class Fault(Exception):
    """What is wrong, the trail of places (outermost first) and how to mend it."""

    exit_code = 2

    def __init__(self, what: str, *, mend: str = "", where: tuple[str, ...] = ()) -> None:
        super().__init__(what)
        self.what = what
        self.mend = mend
        self.where = where

    def __str__(self) -> str:
        lines = [self.what]
        if self.where:
            lines.append("at: " + " > ".join(self.where))
        if self.mend:
            lines.append("mend: " + self.mend)
        return "\n".join(lines)


class DrawingFault(Fault):
    """A drawing or a wording that cannot be turned into pieces."""


class JobFault(Fault):
    """A job or workshop file that cannot be understood."""


class StockFault(Fault):
    """Neither the rack nor the offers can serve a piece."""


class ReachFault(Fault):
    """A piece or a sheet that the machine cannot reach or hold."""


class RackFault(Fault):
    """The rack's ledger refuses: not there, already reserved, not readable."""


class PlanFault(Fault):
    """A plan folder that cannot be read, or that its audit refuses."""


@contextmanager
def within(place: str) -> Iterator[None]:
    """Add `place` to the trail of any fault that passes through."""
    try:
        yield
    except Fault as fault:
        fault.where = (place, *fault.where)
        raise
