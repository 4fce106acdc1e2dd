"""One step of the work pack: what a page of it holds."""

from __future__ import annotations

from dataclasses import dataclass

from cli.documents.canvas import Picture
from cli.documents.rows import Table

NARROW = 48
"""Characters across a table that may stand beside a picture."""


@dataclass(frozen=True, slots=True)
class Step:
    """One page: `todo` are the lines to tick off, `notes` what to know, `cautions` what can hurt.

    Where print does not hold all on one page, tables go on to the next, or the notes if `notes_go_on`.
    """

    key: str
    kind: str
    title: str
    lead: str
    todo: tuple[str, ...] = ()
    figures: tuple[Picture, ...] = ()
    tables: tuple[Table, ...] = ()
    notes: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    notes_go_on: bool = False

    @property
    def beside(self) -> tuple[Table, ...]:
        """Narrow tables, which can stand in a column beside a single picture."""
        if len(self.figures) != 1:
            return ()
        return tuple(table for table in self.tables if table.characters <= NARROW)

    @property
    def below(self) -> tuple[Table, ...]:
        return tuple(table for table in self.tables if table not in self.beside)
