"""The command run as `cli.main.run` would, in this process: starting one anew takes longer than what is tested."""

from __future__ import annotations

import contextlib
import io
import sys
from dataclasses import dataclass
from pathlib import Path

from cli import main


@dataclass(frozen=True)
class Told:
    """Exit code, and what stands on stdout and stderr."""

    returncode: int
    stdout: str
    stderr: str


def halfturn(*words: str | Path) -> Told:
    """Type `halfturn WORDS`. Whatever is no answer (a traceback) comes through."""
    out, err = io.StringIO(), io.StringIO()
    argv, sys.argv = sys.argv, ["halfturn", *map(str, words)]
    code = 0
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            main.run()
    except SystemExit as end:
        code = int(end.code or 0)
    finally:
        sys.argv = argv
    return Told(code, out.getvalue(), err.getvalue())
