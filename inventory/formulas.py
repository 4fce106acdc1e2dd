"""Cells that a spreadsheet would run as a formula, defused by an apostrophe; the import takes it off again. Pure."""

from __future__ import annotations

FORMULA = ("=", "+", "-", "@")


def defused(cell: str) -> str:
    """The cell as text that no spreadsheet takes for a formula.

    >>> defused("=1+1"), defused("opal")
    ("'=1+1", 'opal')
    """
    return f"'{cell}" if _runs(cell) or undefused(cell) != cell else cell


def undefused(cell: str) -> str:
    """What was defused, as it was.

    >>> undefused("'=1+1"), undefused("'opal'")
    ('=1+1', "'opal'")
    """
    return cell[1:] if cell.startswith("'") and _runs(cell.lstrip("'")) else cell


def _runs(cell: str) -> bool:
    return cell.startswith(("\t", "\r")) or cell.lstrip().startswith(FORMULA)
