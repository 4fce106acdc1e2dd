"""Numbers and lists in words: what every message and page says the same way. Pure."""

from __future__ import annotations

from collections.abc import Sequence


def counted(number: int, one: str, many: str = "") -> str:
    """So many of something; `many` where it is not just one with an s.

    >>> counted(1, "turn"), counted(2, "turn"), counted(2, "pass", "passes")
    ('1 turn', '2 turns', '2 passes')
    """
    return f"{number} {one if number == 1 else many or one + 's'}"


def listed(parts: Sequence[str]) -> str:
    """The parts one after another, "" for none.

    >>> listed(["a"]), listed(["a", "b", "c"])
    ('a', 'a, b and c')
    """
    return f"{', '.join(parts[:-1])} and {parts[-1]}" if len(parts) > 1 else "".join(parts)
