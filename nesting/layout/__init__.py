"""The true-shape nesting engine: lay outlines with holes on any ground, as densely as can be found.

Three questions: `fit` (does the whole set fit?), `fill` (the most valuable subset that fits), `strip` (the shortest
strip that holds all); `stock.cheapest` asks for the cheapest sheets that hold all. Every layout returned has passed an
exact check. Rooms, from the data to the answer: `terms` (what is asked and answered), `outlines` and `grounds` (shapes
and sheets for the kernels), `kernels` (evaluation and moves, compiled), `search` (one layout under way), `fit`, `fill`,
`strip` with `compaction`, `stock` with `asked` and `dealing` (outer loops), `lattice` (pieces made of squares, by exact
search), `checks` (the exact check). Faster, where all is upright rectangles: `rectangles`,
and `packing` for one sheet exactly. `bench`, `growth`, `instances` and `guillotine` measure, `ready` compiles.
"""

from nesting.layout.fill import fill
from nesting.layout.fit import fit
from nesting.layout.strip import strip
from nesting.layout.terms import (
    QUIET,
    TOLERANCE_MM,
    Effort,
    Ground,
    Layout,
    Quiet,
    Shape,
    Spot,
    Stop,
    Watch,
    after_evaluations,
    first_of,
)

__all__ = [
    "QUIET",
    "TOLERANCE_MM",
    "Effort",
    "Ground",
    "Layout",
    "Quiet",
    "Shape",
    "Spot",
    "Stop",
    "Watch",
    "after_evaluations",
    "fill",
    "first_of",
    "fit",
    "strip",
]
