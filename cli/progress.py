"""Progress on stderr: the step, the best cost so far and the bound; one line that moves on a terminal."""

from __future__ import annotations

import shutil
from types import TracebackType
from typing import TYPE_CHECKING, TextIO

if TYPE_CHECKING:
    from nesting.model import Progress


class Ticker:
    """Shows each step; on a terminal it overwrites its line, elsewhere it prints a line a step."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        self._moves = stream.isatty()
        self._last = ""

    def __enter__(self) -> Ticker:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        if self._moves and self._last:
            self._stream.write("\r" + " " * len(self._last) + "\r")
            self._stream.flush()

    def step(self, text: str) -> None:
        """Say what is being done now."""
        if self._moves:
            # A line that wraps could not be overwritten.
            text = text[: shutil.get_terminal_size().columns - 1]
            self._stream.write("\r" + text.ljust(len(self._last)))
            self._last = text
        else:
            self._stream.write(text + "\n")
        self._stream.flush()

    def watch(self, progress: Progress) -> None:
        """The watcher handed to the planner."""
        text = ", ".join(part for part in (progress.step, progress.note) if part)
        if progress.rounds:
            text += f", round {progress.rounds}"
        if progress.best is not None:
            text += f": {progress.best}, bound {progress.bound}"
        self.step(text)
