"""What the audit says: one check, one sentence, one worst figure.

In: readings (a figure and its place) or flaws (a place and words) from the rules. Out: Checks, for the front desk.
Method: a check passes if every reading keeps its limit; it reports the reading that is nearest to it, or furthest past.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

SLACK = 0.01
"""Rounding forgiven in a least distance, mm."""


@dataclass(frozen=True, slots=True)
class Check:
    """One thing proven or refuted: its worst figure (None if there was nothing to measure), where that is, in words."""

    name: str
    ok: bool
    worst: float | None
    unit: str
    where: str
    words: str


@dataclass(frozen=True, slots=True)
class Reading:
    """A measured figure, the place it was measured at, and what it stands for."""

    value: float
    where: str
    words: str = ""


@dataclass(frozen=True, slots=True)
class Flaw:
    """Something that is wrong and has no measure."""

    where: str
    words: str


def at_most(name: str, limit: float, unit: str, readings: Iterable[Reading], rule: str) -> Check:
    """Every reading must be at most `limit`; `rule` says in words what that means."""
    return _measured(name, limit, unit, list(readings), rule, "at most", 1.0)


def at_least(name: str, limit: float, unit: str, readings: Iterable[Reading], rule: str) -> Check:
    """Every reading must be at least `limit`, rounding (SLACK) forgiven; `rule` says in words what that means."""
    return _measured(name, limit, unit, list(readings), rule, "at least", -1.0, SLACK)


def none_wrong(name: str, flaws: Iterable[Flaw], rule: str) -> Check:
    """There must be no flaw; the first is named and the others counted."""
    found = list(flaws)
    if not found:
        return Check(name, True, 0.0, "wrong", "", rule)
    more = f" (and {len(found) - 1} more)" if len(found) > 1 else ""
    return Check(name, False, float(len(found)), "wrong", found[0].where, found[0].words + more)


def _measured(
    name: str, limit: float, unit: str, readings: list[Reading], rule: str, asked: str, sense: float, slack: float = 0.0
) -> Check:
    if not readings:
        return Check(name, True, None, unit, "", f"{rule}: nothing to measure")
    worst = max(readings, key=lambda reading: sense * reading.value)
    failing = sum(sense * (reading.value - limit) > slack for reading in readings)
    said = f"{worst.words}; " if failing and worst.words else ""
    more = f" (and {failing - 1} more)" if failing > 1 else ""
    words = f"{said}{rule}: {worst.value:.3f} {unit}, {asked} {limit:g}{more}"
    return Check(name, not failing, worst.value, unit, worst.where, words)
