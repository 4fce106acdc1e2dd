"""Trim patterns are worth what trying out every cut says, and their cuts can be made."""

from __future__ import annotations

import functools
from collections import Counter

from hypothesis import example, given, settings
from hypothesis import strategies as st

from nesting.patterns import Part, Want, best_pattern

WANTS = st.lists(
    st.builds(
        Want,
        st.tuples(st.integers(1, 5), st.integers(1, 5)),
        st.integers(1, 9),
        st.one_of(st.none(), st.integers(1, 2)),
        st.booleans(),
    ),
    min_size=1,
    max_size=3,
)


def most_by_trying(size: tuple[int, int], wants: list[Want], cut: int, stages: int) -> int:
    """The value of the best pattern, every cut at every whole length being tried."""

    @functools.cache
    def freed(width: int, depth: int, axis: int, left: int) -> frozenset[tuple[int, ...]]:
        found = {(0,) * len(wants)}
        for number, want in enumerate(wants):
            if (width, depth) in ({want.size, want.size[::-1]} if want.turn else {want.size}):
                found.add(tuple(int(n == number) for n in range(len(wants))))
        if left == 0:
            return frozenset(found)
        found |= freed(width, depth, 1 - axis, left - 1)
        for at in range(1, (width, depth)[axis]):
            rest = max(0, (width, depth)[axis] - at - cut)
            low, high = ((at, depth), (rest, depth)) if axis == 0 else ((width, at), (width, rest))
            others = freed(*high, axis, left) if rest else {(0,) * len(wants)}
            for one in freed(*low, 1 - axis, left - 1):
                for other in others:
                    both = tuple(a + b for a, b in zip(one, other, strict=True))
                    if all(w.most is None or n <= w.most for n, w in zip(both, wants, strict=True)):
                        found.add(both)
        return frozenset(found)

    ways = freed(*size, 0, stages) | freed(*size, 1, stages)
    return max(sum(n * want.value for n, want in zip(way, wants, strict=True)) for way in ways)


def check_cuts(part: Part, wants: list[Want], cut: int) -> None:
    """Each cut runs inside its part, its parts fill it but for the cut's width, and what is freed has its size."""
    if part.want is not None:
        size = wants[part.want].size
        assert part.size == (size[::-1] if part.turned else size) and not part.parts
        assert not part.turned or wants[part.want].turn
    if part.axis is None:
        return
    low, high = part.parts
    along, across = part.axis, 1 - part.axis
    assert low.corner == part.corner and high.corner[across] == part.corner[across]
    assert high.corner[along] == part.at + cut == part.corner[along] + low.size[along] + cut
    assert low.size[along] + cut + high.size[along] == part.size[along]
    assert low.size[across] == high.size[across] == part.size[across]
    for each in part.parts:
        check_cuts(each, wants, cut)


def stages_of(part: Part, axis: int | None = None) -> int:
    """Changes of direction on the way from the sheet to what is freed, plus one."""
    if part.axis is None or not any(True for _ in part.freed()):
        return 0
    return max(stages_of(each, part.axis) for each in part.parts) + (part.axis != axis)


@settings(max_examples=60)
@example((3, 3), [Want((2, 2), 1), Want((1, 1), 1, most=1)], 0, 2)  # each of two strips trimmed by itself
@example((2, 6), [Want((1, 3), 1), Want((1, 3), 1), Want((2, 2), 3, most=2)], 0, 1)  # what is left promises less
@given(st.tuples(st.integers(2, 6), st.integers(2, 6)), WANTS, st.integers(0, 1), st.sampled_from([1, 2, 3, None]))
def test_the_best_pattern_is_worth_what_trying_all_cuts_says(size, wants, cut, stages):
    pattern = best_pattern(size, wants, cut=cut, stages=stages)
    assert pattern.proven and pattern.value == most_by_trying(size, wants, cut, stages or 8)
    freed = Counter(part.want for part in pattern.root.freed())
    assert sum(n * wants[number].value for number, n in freed.items()) == pattern.value
    assert all(wants[number].most is None or n <= wants[number].most for number, n in freed.items())
    check_cuts(pattern.root, wants, cut)
    assert stages is None or stages_of(pattern.root) <= stages


def test_a_pattern_worth_too_little_is_not_looked_for():
    wants = [Want((3, 3), 9, most=1), Want((2, 2), 4, most=1)]
    assert best_pattern((4, 8), wants, least=13).value == 13
    assert best_pattern((4, 8), wants, least=14).value < 14
    assert best_pattern((4, 8), wants, least=14).bound == 13


def test_the_saw_takes_its_width_from_a_sheet_halved():
    """1220 halved with a kerf of 3 gives 608.5 twice, not 610 (trade figures): in half millimetres."""
    assert best_pattern((2440, 1220), [Want((1217, 1220), 1)], cut=6).value == 2
    assert best_pattern((2440, 1220), [Want((1218, 1220), 1)], cut=6).value == 1
