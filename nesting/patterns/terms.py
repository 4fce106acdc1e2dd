"""What the pattern solver is asked and what it answers; sides in whole units of length.

A cut's width is allowed for by adding it to each rectangle and once to the sheet, so that all solving is without it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Ints = npt.NDArray[np.int64]
Size = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Want:
    """A rectangle worth `value` each time it is freed, at most `most` times (None: no limit); `turn`: also turned."""

    size: Size
    value: int
    most: int | None = None
    turn: bool = False


@dataclass(frozen=True, slots=True)
class Part:
    """A part of the sheet: corner and sides. It is a wanted rectangle, or cut in two at `at` along `axis` (0: the cut
    runs upright), or waste. `turned`: the wanted rectangle lies with its sides swapped."""

    corner: Size
    size: Size
    want: int | None = None
    turned: bool = False
    axis: int | None = None
    at: int = 0
    parts: tuple[Part, ...] = ()

    def freed(self) -> Iterator[Part]:
        """The wanted rectangles, in the order in which the cuts free them."""
        if self.want is not None:
            yield self
        for part in self.parts:
            yield from part.freed()


@dataclass(frozen=True, slots=True)
class Pattern:
    """The best pattern found; no pattern is worth more than `bound`."""

    value: int
    bound: int
    root: Part

    @property
    def proven(self) -> bool:
        """Whether it is the best there is."""
        return self.value == self.bound


@dataclass(frozen=True, slots=True)
class Form:
    """A wanted rectangle as it may lie; sides with the cut's width."""

    want: int
    turned: bool
    width: int
    depth: int
    value: int


@dataclass(frozen=True, slots=True)
class Task:
    """The question, with the cut's width added to all sides; `xs`, `ys` are the sums that sides can make."""

    size: Size
    cut: int
    wants: tuple[Want, ...]
    forms: tuple[Form, ...]
    xs: Ints
    ys: Ints

    @classmethod
    def of(cls, size: Size, wants: Sequence[Want], cut: int) -> Task:
        width, depth = size[0] + cut, size[1] + cut
        forms = [
            Form(number, turned, sides[0] + cut, sides[1] + cut, want.value)
            for number, want in enumerate(wants)
            for turned in ((False, True) if want.turn and want.size[0] != want.size[1] else (False,))
            for sides in [want.size[::-1] if turned else want.size]
        ]
        forms = [form for form in forms if form.width <= width and form.depth <= depth and form.value > 0]
        most = [want.most for want in wants]
        xs = _sums([(form.width, most[form.want]) for form in forms], width)
        ys = _sums([(form.depth, most[form.want]) for form in forms], depth)
        return cls((width, depth), cut, tuple(wants), tuple(forms), xs, ys)

    def fit(self, want: Want) -> int:
        """How many there can be at most, by area."""
        return self.size[0] * self.size[1] // ((want.size[0] + self.cut) * (want.size[1] + self.cut))

    def whole(self, root: Part) -> Part:
        """A tree in sides with the cut's width, told in true sides and levels."""
        (x, y), (width, depth) = root.corner, root.size
        parts = tuple(self.whole(part) for part in root.parts)
        return Part((x, y), (width - self.cut, depth - self.cut), root.want, root.turned, root.axis, root.at, parts)


def _sums(sides: Sequence[tuple[int, int | None]], longest: int) -> Ints:
    """0, all sums of sides up to the longest, each as often as it may be used, and the longest itself."""
    sums = {0}
    for side, most in sides:
        for _ in range(min(longest // side, longest if most is None else most)):
            more = {at + side for at in sums if at + side <= longest} - sums
            if not more:
                break
            sums |= more
    return np.array(sorted(sums | {longest}), dtype=np.int64)


def floor(points: Ints, length: int) -> int:
    """Index of the greatest point up to a length."""
    return int(np.searchsorted(points, length, side="right")) - 1


def moved(corner: Size, axis: int, by: int) -> Size:
    """The corner moved along an axis."""
    return (corner[0] + by, corner[1]) if axis == 0 else (corner[0], corner[1] + by)


def cut_in_two(size: Size, axis: int, at: int) -> tuple[Size, Size]:
    """The sides of the two parts of a rectangle cut across an axis."""
    if axis == 0:
        return (at, size[1]), (size[0] - at, size[1])
    return (size[0], at), (size[0], size[1] - at)


def floors(points: Ints, lengths: Ints) -> Ints:
    """For each length the index of the greatest point up to it."""
    return np.searchsorted(points, lengths, side="right") - 1
