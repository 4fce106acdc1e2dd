"""Getting ready: compile the kernels once for an installation, so that the first plan need not wait for it.

In: nothing. Out: the compiled kernels in numba's cache beside their source. Takes half a minute the first time, a
fraction of a second afterwards. `python -m nesting.layout.ready` does it as a part of setting up.
"""

import shapely

from nesting.layout import rectangles
from nesting.layout.fill import fill
from nesting.layout.terms import Ground, Shape, after_evaluations


def get_ready() -> None:
    """Lay two squares: all kernels that a plan needs are compiled, or read from the cache, by it."""
    square = shapely.box(0, 0, 10, 10)
    shapes = [Shape("whole", square), Shape("shared", square, (0.0, 90.0), reach_charge=0.0)]
    ground = Ground(shapely.box(0, 0, 30, 30), (shapely.box(0, 0, 30, 20), shapely.box(0, 10, 30, 30)))
    fill(shapes, ground, gap_mm=1.0, margin_mm=1.0, stop=after_evaluations(2000), seed=1)
    rectangles.fill(shapes[:1], ground, gap_mm=1.0, margin_mm=1.0, work=100, seed=1)
    for answer in (rectangles.share_out, rectangles.lay_all):
        answer([shapes[0]], [rectangles.Bin((ground,), 1.0)], gap_mm=1.0, margin_mm=1.0, work=100, seed=1)


if __name__ == "__main__":
    get_ready()
