"""Records as what JSON holds: by the names of their fields, numbers rounded to a nanometre, money as decimal strings.

In: records, and whatever they are made of. Out: dictionaries, lists, strings and numbers. Pure.
"""

from __future__ import annotations

from dataclasses import fields, is_dataclass
from datetime import date
from decimal import Decimal
from enum import Enum
from pathlib import PurePath
from typing import Any


def plain(value: Any) -> Any:
    """The value for `json.dumps`; the same value gives the same.

    >>> plain({"size": (1.00000000001, Decimal("2.50")), "on": date(2026, 3, 1)})
    {'size': [1.0, '2.50'], 'on': '2026-03-01'}
    """
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, dict):
        return {str(key): plain(one) for key, one in value.items()}
    if isinstance(value, tuple | list):
        return [plain(one) for one in value]
    if isinstance(value, float):
        return round(value, 6) + 0.0
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Enum):
        return value.value
    return str(value) if isinstance(value, Decimal | PurePath) else value
