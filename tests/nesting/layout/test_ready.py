"""What is compiled ahead is what kernels then ask for: of other types it would be compiled in vain, and once more."""

from numba import int64, typeof
from shapely.geometry import box

from nesting.layout import Ground, Shape, kernels, ready
from nesting.layout.search import Chain, Task


def test_what_two_pieces_lose_is_compiled_for_the_types_of_a_chain() -> None:
    chain = Chain(Task([Shape("square", box(0, 0, 10, 10))], [Ground(box(0, 0, 30, 30))], 0.0, 0.0), 1)
    rows, state = chain.rows, chain.state
    arrays = (rows.circle, rows.edge, rows.trait)
    arrays += (state.other, state.core, state.bound, state.meet, state.crowd, state.near, state.lane)
    assert (*map(typeof, arrays), int64, *(typeof(0.0),) * 3) == ready.CONFLICT
    code = kernels.conflict.py_func.__code__
    assert len(ready.CONFLICT) == code.co_argcount
