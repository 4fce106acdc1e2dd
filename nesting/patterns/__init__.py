"""Trim patterns: which rectangles to free from a sheet by straight cuts, edge to edge of what they cut.

In: a sheet's sides and the rectangles wanted, in whole units of length, with a value each; the width that a cut takes
away; how many stages of cuts are allowed (all cuts of a stage run the same way). Out: a Pattern: its value, the tree of
cuts, and a bound on the value of any pattern. Pure. Rooms: `terms` (what is asked and answered), `tables` (quantities
without limits), `building` (limited ones).
"""

from __future__ import annotations

from collections.abc import Sequence

from nesting.patterns.building import Builder
from nesting.patterns.tables import Tables
from nesting.patterns.terms import Part, Pattern, Size, Task, Want

__all__ = ["Part", "Pattern", "Size", "Want", "best_pattern"]

NODES = 60_000
"""Rectangles built up before the search for a proof ends."""


def best_pattern(
    size: Size,
    wants: Sequence[Want],
    *,
    cut: int = 0,
    stages: int | None = None,
    least: int = 1,
    nodes: int = NODES,
) -> Pattern:
    """The most valuable pattern. `cut` is the width a cut takes away; `stages` None: any number.

    Where quantities are limited, at most `nodes` rectangles are built; with more the pattern could reach its bound.
    Patterns worth less than `least` need not be looked for then: only part of them, or nothing, may be found.
    """
    task = Task.of(size, wants, cut)
    tables = Tables.of(task, stages)
    if all(want.most is None or want.most >= task.fit(want) for want in wants):
        value = int(tables.best(tables.depth)[-1, -1])
        return Pattern(value, value, task.whole(tables.tree(task)))
    return Builder(task, tables, stages, least).run(nodes)
