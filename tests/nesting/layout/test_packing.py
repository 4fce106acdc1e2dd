"""One room packed exactly, against looking at every place of every set; and what it says when it has to stop early."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from nesting.layout.packing import Room

KINDS = st.lists(
    st.tuples(st.integers(1, 5), st.integers(1, 5), st.integers(1, 2), st.booleans(), st.integers(0, 9)),
    min_size=1,
    max_size=3,
)


def goes_in(sides, room, taken=frozenset()):
    """Whether rectangles, each told as the ways it may lie, go into a room: the first of them at every place."""
    if not sides:
        return True
    for w, d in sides[0]:
        for x, y in itertools.product(range(room[0] - w + 1), range(room[1] - d + 1)):
            cells = set(itertools.product(range(x, x + w), range(y, y + d)))
            if not cells & taken and goes_in(sides[1:], room, taken | cells):
                return True
    return False


def most_worth(kinds, room):
    """The worth of the best set, by trying all of them."""
    best = 0
    for counts in itertools.product(*(range(n + 1) for _, _, n, _, _ in kinds)):
        worth = sum(count * kind[4] for count, kind in zip(counts, kinds, strict=True))
        area = sum(count * kind[0] * kind[1] for count, kind in zip(counts, kinds, strict=True))
        if worth > best and area <= room[0] * room[1]:
            ways = [
                [(w, d), (d, w)] if turn else [(w, d)]
                for count, (w, d, _, turn, _) in zip(counts, kinds, strict=True)
                for _ in range(count)
            ]
            best = worth if goes_in(ways, room) else best
    return best


def room_of(kinds, room):
    return Room([kind[:2] for kind in kinds], [kind[2] for kind in kinds], [kind[3] for kind in kinds], room)


@settings(max_examples=60)
@given(KINDS, st.tuples(st.integers(3, 6), st.integers(3, 6)))
@example([(1, 4, 1, False, 1)], (4, 3))  # deeper than the room
@example([(3, 1, 2, False, 3), (1, 3, 2, False, 3), (2, 2, 1, False, 4)], (4, 4))  # four round one, no straight cut
def test_the_best_set_is_that_of_trying_all(kinds, room):
    packed = room_of(kinds, room).most_valuable([kind[4] for kind in kinds], 0, 10**7)
    assert packed.proven and packed.most == most_worth(kinds, room)
    covered = set()
    for kind, x, y, turned in packed.spots:
        w, d = kinds[kind][1::-1] if turned else kinds[kind][:2]
        assert kinds[kind][3] or not turned
        cells = set(itertools.product(range(x, x + w), range(y, y + d)))
        assert not cells & covered and x + w <= room[0] and y + d <= room[1]
        covered |= cells
    assert sum(kinds[kind][4] for kind, *_ in packed.spots) == packed.most


@settings(max_examples=25)
@given(KINDS, st.integers(0, 400))
def test_stopped_early_it_tells_no_less_than_there_is(kinds, work):
    packed = room_of(kinds, (5, 5)).most_valuable([kind[4] for kind in kinds], 0, work)
    found = sum(kinds[kind][4] for kind, *_ in packed.spots)
    assert found <= most_worth(kinds, (5, 5)) <= packed.most


def test_asked_for_more_than_there_is_it_says_so_and_asked_again_it_knows():
    room = Room([(6, 6), (4, 4)], [2, 3], [False, False], (10, 10))
    assert room.most_valuable([36, 16], 200, 10**6).spots == ()
    first, again = (room.most_valuable([36, 16], 0, 10**6) for _ in range(2))
    assert (
        (first.counts, first.most) == (again.counts, again.most) == ((1, 3), 84)
    )  # 6 and 4 side by side, corner by corner
    assert again.work < first.work
    assert room.most_valuable([36, 16], 0, 10**6, copies=[0, 2]).counts == (0, 2)
    assert room.most_valuable([36, 16], 0, 10**6).counts == (1, 3)


@pytest.mark.parametrize("scale", [1, 1_000_000])
def test_large_numbers_are_told_apart_as_small_ones_are(scale):
    # Four metres and more in thousandths of a millimetre: areas no longer go into the product with a worth.
    room = Room([(3 * scale + 1, 2 * scale), (2 * scale, 2 * scale)], [2, 4], [False] * 2, (5 * scale, 4 * scale))
    packed = room.most_valuable([600_000, 400_000], 0, 10**6)
    assert packed.proven and packed.most == 1_600_000
