"""The master problem: the cheapest columns that together hold all pieces.

In: Columns and the number wanted of each kind. Out: columns to use; or what each kind is worth to the current answer.
Column selection after Gilmore and Gomory (1961), doi 10.1287/opre.9.6.849; whole numbers by OR-Tools CP-SAT, duals by
its linear solver. The numbers (M1) to (M4) and (M6) are those of docs/model.md.
"""

from __future__ import annotations

import operator
from collections.abc import Sequence

from ortools.sat.python import cp_model

from nesting.assigning.columns import Column
from nesting.solving import NoAnswer, relaxed, solved

EFFORT = 1.0
FIRST = 0.1
"""Effort for an answer to begin with: what it costs tells which columns a cheaper one can be made of."""


def cheapest(
    columns: Sequence[Column], wanted: Sequence[int], known: Sequence[Column] | None = None
) -> list[Column] | None:
    """The cheapest columns that hold at least what is wanted, an offer's as often as used; None if none do.

    `known`, an answer from these columns or others, is returned where none that costs less was found.
    """
    if known is None:
        known = _chosen(columns, wanted, FIRST)
        if known is None:
            return _chosen(columns, wanted, EFFORT)
    below = sum(column.cents for column in known)
    return _chosen(_promising(columns, wanted, below), wanted, EFFORT, below) or list(known)


def _promising(columns: Sequence[Column], wanted: Sequence[int], below: int) -> list[Column]:
    """The columns that an answer for less than `below` cents can have: by the duals of (M2), any with another of them
    costs so much at least (reduced cost fixing)."""
    duals = worth(columns, wanted)
    if duals is None:
        return list(columns)
    worths = [max(0.0, dual) for dual in duals]
    over = [c.cents - sum(map(operator.mul, c.counts, worths)) for c in columns]
    gains: dict[str, float] = {}
    for column, cents in zip(columns, over, strict=True):
        if column.candidate.once:
            gains[column.candidate.id] = min(gains.get(column.candidate.id, 0.0), cents)
    least = sum(map(operator.mul, wanted, worths)) + sum(gains.values())
    return [
        column
        for column, cents in zip(columns, over, strict=True)
        if least + cents - gains.get(column.candidate.id, 0.0) <= below - 0.5
    ]


def _chosen(
    columns: Sequence[Column], wanted: Sequence[int], effort: float, below: int | None = None
) -> list[Column] | None:
    """The cheapest of these columns, for less than `below`; None if none were found."""
    most = max([sum(wanted), *(c.candidate.least for c in columns)])
    model = cp_model.CpModel()
    use = [model.new_int_var(0, 1 if c.candidate.once else most, f"use_{k}") for k, c in enumerate(columns)]
    for kind, demand in enumerate(wanted):
        model.add(sum(c.counts[kind] * var for c, var in zip(columns, use, strict=True)) >= demand)  # (M2)
    for offcut in sorted({c.candidate.id for c in columns if c.candidate.once}):
        model.add(sum(v for c, v in zip(columns, use, strict=True) if c.candidate.id == offcut) <= 1)  # (M3)
    _keep_to_orders(model, columns, use, most)  # (M4)
    _keep_to_supply(model, columns, use)  # (M6)
    if below is not None:
        model.add(sum(c.cents * var for c, var in zip(columns, use, strict=True)) <= below - 1)
    # (M1) money; a thousandth of a cent a sheet breaks ties towards fewer sheets, then towards earlier columns.
    model.minimize(sum((c.cents * 1000 + 1) * var for c, var in zip(columns, use, strict=True)))
    try:
        solver = solved(model, effort, linear=2)
    except NoAnswer:
        return None
    return [c for c, var in zip(columns, use, strict=True) for _ in range(solver.value(var))]


def _keep_to_orders(
    model: cp_model.CpModel, columns: Sequence[Column], use: Sequence[cp_model.IntVar], cap: int
) -> None:
    """(M4) all sheets of an offer are bought at one of its prices, as many as an order at that price is of."""
    bound = {c.candidate.id for c in columns if not (c.candidate.once or c.candidate.any_number or c.candidate.cut)}
    for offer in sorted(bound):
        sizes: dict[tuple[int, int], list[cp_model.IntVar]] = {}
        for column, var in zip(columns, use, strict=True):
            if column.candidate.id == offer:
                size = column.candidate.least, min(cap, column.candidate.most or cap)
                sizes.setdefault(size, []).append(var)
        chosen = [model.new_bool_var(f"order_{offer}_{least}") for least, _ in sizes]
        for ((least, most), bought), order in zip(sizes.items(), chosen, strict=True):
            model.add(sum(bought) >= least * order)
            model.add(sum(bought) <= most * order)
        model.add_at_most_one(chosen)


SHEET = 1_000_000
"""A supplier's sheet, in the units that panels are counted in."""


def _keep_to_supply(model: cp_model.CpModel, columns: Sequence[Column], use: Sequence[cp_model.IntVar]) -> None:
    """(M6) panels cut to size and whole sheets come from the sheets that the supplier has."""
    supplies = {c.candidate.source.offer: c.candidate.supply for c in columns if c.candidate.supply is not None}
    for offer, supply in supplies.items():
        taken = [
            (SHEET // supply.panels_of_one(c.candidate.source.cut_mm) if c.candidate.source.cut_mm else SHEET) * var
            for c, var in zip(columns, use, strict=True)
            if c.candidate.source.offer == offer
        ]
        model.add(sum(taken) <= SHEET * supply.sheets)


def worth(columns: Sequence[Column], wanted: Sequence[int]) -> list[float] | None:
    """Dual values of (M2) in the relaxed master: cents that one more of each kind costs; None if it has no answer."""
    offcuts = sorted({c.candidate.id for c in columns if c.candidate.once})
    once = [([k for k, c in enumerate(columns) if c.candidate.id == offcut], 1) for offcut in offcuts]
    try:
        return list(relaxed([c.counts for c in columns], [c.cents for c in columns], wanted, once).duals)
    except NoAnswer:
        return None
