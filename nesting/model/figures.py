"""What a figure or a word in a file may be, whatever record it is in.

In: a record as it is made. Out: ValueError naming the key, what it may be, and nothing else.
"""

from __future__ import annotations

from dataclasses import fields
from decimal import Decimal
from typing import Any

LONGEST_MM = 100_000.0
"""No sheet, bed or letter is longer than 100 m."""
THICKNESS_MM = (0.01, 1000.0)
MINUTES = (0.0, 10_000.0)
MOST_MONEY = Decimal(10_000_000)
"""No price or rate of a sign shop is higher."""


def check_range(record: Any, low: float, high: float, *names: str) -> None:
    """Each of these fields, a number or a point, must lie from `low` to `high`; a field that is None is left alone."""
    for name in names:
        value = getattr(record, name)
        numbers = value if isinstance(value, tuple) else () if value is None else (value,)
        if not all(low <= number <= high for number in numbers):
            raise ValueError(f"`{name}` must be from {low:,.10g} to {high:,.10g}")


def check_words(record: Any, *, but: str = "") -> None:
    """Every text of the record must be printable: one that is not could steer a terminal. `but` may have any lines."""
    for f in fields(record):
        value = getattr(record, f.name)
        if isinstance(value, str) and f.name != but and not value.isprintable():
            raise ValueError(f"`{f.name}` has characters that cannot be printed")
