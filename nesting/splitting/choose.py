"""The choice of segments: fewest, then least harm, mirrored where the piece is, at one height where asked.

In: Columns over Cells, for one piece or a group of neighbours. Out: the Columns chosen. Pure.
Method: set partitioning by OR-Tools CP-SAT; numbers as in docs/model.md.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from ortools.sat.python import cp_model

from nesting.solving import NoAnswer, solved
from nesting.splitting.columns import Column

EFFORT = 3.0
EVEN = 0.5
"""Harm of each millimetre of stroke that a segment is short of a fair share."""
HEIGHT = 1000
"""Tenths of a millimetre of harm for each height that a group's joints lie at."""
ASKEW = 3000
"""Tenths of a millimetre of harm for a joint that lies at no common height."""


@dataclass(frozen=True, slots=True)
class Choice:
    """What may be chosen for one piece.

    `stroke_mm` is how wide its strokes are. `twins` says for each column which is its mirror image, `heights` for each
    level edge at which common height it lies.
    """

    cells: int
    area_mm2: float
    stroke_mm: float
    columns: tuple[Column, ...]
    twins: Mapping[int, int]
    heights: Mapping[int, int]


@dataclass(frozen=True, slots=True)
class Fewest:
    """How many segments the chords allow, proven or not, and whether so many can be had mirrored."""

    segments: int
    proven: bool
    mirrored: bool


def fewest(choice: Choice) -> Fewest:
    """Raises NoAnswer if the columns do not make up the piece."""
    model, used = _covering(choice)
    model.minimize(sum(used))
    solver = solved(model, EFFORT, linear=2)
    count, least = round(solver.objective_value), solver.best_objective_bound
    return Fewest(count, least > count - 1 + 1e-6, bool(choice.twins) and _can_mirror(choice, count))


def _can_mirror(choice: Choice, count: int) -> bool:
    model, used = _covering(choice)
    model.add(sum(used) == count)
    _mirror(model, choice, used)
    try:
        solved(model, EFFORT, linear=2)
    except NoAnswer:
        return False
    return True


def least_harm(choices: Sequence[Choice], counts: Sequence[Fewest]) -> list[tuple[Column, ...]]:
    """For each piece, its columns; all pieces of a group at once, so that they share heights."""
    model = cp_model.CpModel()
    every = []
    cost: list[cp_model.LinearExprT] = []
    for choice, count in zip(choices, counts, strict=True):
        _, used = _covering(choice, model)
        model.add(sum(used) == count.segments)
        if count.mirrored:
            _mirror(model, choice, used)
        cost += [harm * use for harm, use in zip(_harms(choice, count.segments), used, strict=True)]
        every.append(used)
    cost += _heights(model, choices, every)
    model.minimize(sum(cost))  # (S1) the least harm of the fewest segments
    solver = solved(model, 2 * EFFORT, linear=2)
    return [
        tuple(column for column, use in zip(choice.columns, used, strict=True) if solver.value(use))
        for choice, used in zip(choices, every, strict=True)
    ]


def _harms(choice: Choice, segments: int) -> list[int]:
    """Of each column: its joints', and what it is short of a fair share, as a length of stroke."""
    fair = choice.area_mm2 / segments
    short = (max(0.0, fair - column.area) / choice.stroke_mm for column in choice.columns)
    return [column.harm + round(10 * EVEN * by) for column, by in zip(choice.columns, short, strict=True)]


def _covering(choice: Choice, model: cp_model.CpModel | None = None) -> tuple[cp_model.CpModel, list[cp_model.IntVar]]:
    model = model or cp_model.CpModel()
    used = [model.new_bool_var("") for _ in choice.columns]
    holding = defaultdict(list)
    for column, use in zip(choice.columns, used, strict=True):
        for cell in column.cells:
            holding[cell].append(use)
    for cell in range(choice.cells):
        model.add_exactly_one(holding[cell])  # (S2) each cell lies in one segment
    return model, used


def _mirror(model: cp_model.CpModel, choice: Choice, used: Sequence[cp_model.IntVar]) -> None:
    """(S6) a segment and its mirror image go together; one whose image is no segment is out."""
    for number, use in enumerate(used):
        twin = choice.twins.get(number)
        if twin is None:
            model.add(use == 0)
        elif twin > number:
            model.add(use == used[twin])


def _heights(
    model: cp_model.CpModel, choices: Sequence[Choice], every: Sequence[Sequence[cp_model.IntVar]]
) -> list[cp_model.LinearExprT]:
    """(S7) each height at which a joint of the group lies costs once; a joint at none costs each time."""
    lies = {height: model.new_bool_var("") for choice in choices for height in choice.heights.values()}
    cost: list[cp_model.LinearExprT] = [HEIGHT * here for here in lies.values()]
    for choice, used in zip(choices, every, strict=True):
        if not choice.heights:
            continue
        for column, use in zip(choice.columns, used, strict=True):
            askew = sum(edge not in choice.heights for edge in column.edges)
            if askew:
                cost.append(ASKEW // 2 * askew * use)
            for height in {choice.heights[edge] for edge in column.edges if edge in choice.heights}:
                model.add_implication(use, lies[height])
    return cost
