"""What one drawing unit is in millimetres.

In: the unit a drawing names, its chains, what the person asked for. Out: a factor, and a finding wherever it was
assumed. Source: $INSUNITS, DXF reference.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from nesting.drawing.intake import Intake
from nesting.drawing.shapes import DrawnChain, Finding
from nesting.faults import DrawingFault

MM_PER_UNIT: dict[str, float] = {
    "inch": 25.4,
    "foot": 304.8,
    "mile": 1_609_344.0,
    "mm": 1.0,
    "cm": 10.0,
    "m": 1000.0,
    "km": 1e6,
    "microinch": 25.4e-6,
    "mil": 0.0254,
    "yard": 914.4,
    "angstrom": 1e-7,
    "nm": 1e-6,
    "micron": 1e-3,
    "dm": 100.0,
    "dam": 1e4,
    "hm": 1e5,
    "Gm": 1e12,
    "AU": 149_597_870_700_000.0,
    "light year": 9_460_730_472_580_800_000.0,
    "parsec": 149_597_870_700_000.0 * 648_000 / math.pi,
    "US survey foot": 1_200_000 / 3937,
    "US survey inch": 100_000 / 3937,
    "US survey yard": 3_600_000 / 3937,
    "US survey mile": 5280 * 1_200_000 / 3937,
    "px": 25.4 / 96,
    "pt": 25.4 / 72,
    "pc": 25.4 / 6,
}

UNITS_BY_CODE: dict[int, str] = dict(enumerate(list(MM_PER_UNIT)[:24], start=1))
"""$INSUNITS 1 to 24."""

LEAST_MM, MOST_MM = 1.0, 20_000.0
"""Between these a sign or a part of one is plausible."""


ABSURD = 1e12
"""Coordinates beyond this, or no figures at all, say nothing of the drawing's size."""


def mm_per_unit(named: str | None, extent: float, intake: Intake) -> tuple[float, list[Finding]]:
    """Millimetres per drawing unit and what was assumed: the unit asked for, else the one named, else mm.

    `extent` is the larger side of all that is drawn, in drawing units.
    """
    if intake.units is not None:
        return unit_mm(intake.units) * intake.scale, []
    if named is not None and (extent == 0 or LEAST_MM <= extent * MM_PER_UNIT[named] <= MOST_MM):
        return MM_PER_UNIT[named] * intake.scale, []
    plausible = [unit for unit in ("mm", "inch", "m", "micron") if LEAST_MM <= extent * MM_PER_UNIT[unit] <= MOST_MM]
    unit = plausible[0] if plausible else named or "mm"
    why = (
        "the drawing names no unit" if named is None else f"in {named}, as it says, it would be {_size(extent, named)}"
    )
    text = (
        f"{why}; read as {unit}: {extent * MM_PER_UNIT[unit]:.4g} mm across"
        f" (as mm {_size(extent, 'mm')}, as inches {_size(extent, 'inch')}); say which with `units`"
    )
    return MM_PER_UNIT[unit] * intake.scale, [Finding("units", "", text, True)]


def unit_mm(unit: str) -> float:
    """Millimetres in a unit given by name. DrawingFault if there is none of that name."""
    if unit not in MM_PER_UNIT:
        raise DrawingFault(f"there is no unit `{unit}`", mend=f"one of: {', '.join(MM_PER_UNIT)}")
    return MM_PER_UNIT[unit]


def _size(extent: float, unit: str) -> str:
    return f"{extent * MM_PER_UNIT[unit]:.4g} mm"


def extent_of(chains: Sequence[DrawnChain]) -> float:
    """The larger side of all that is drawn, by its corners."""
    points = [v for chain in chains for v in chain.vertices if abs(v[0]) < ABSURD and abs(v[1]) < ABSURD]
    if not points:
        return 0.0
    xs, ys = [v[0] for v in points], [v[1] for v in points]
    return max(max(xs) - min(xs), max(ys) - min(ys))
