"""Files that appear together: written into a fresh folder beside their place, moved in when all are there.

In: the folder that people asked for. Out: it, with the new files in it, or untouched.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from nesting.faults import PlanFault


@contextmanager
def written_whole(out: Path) -> Iterator[Path]:
    """A folder to write into; its files replace those of the same name in `out` once the block is done.

    Raises PlanFault where the disk refuses; `out` is then as it was.
    """
    with _fresh(out) as fresh:
        yield fresh
        out.mkdir(exist_ok=True)
        for path in sorted(fresh.iterdir()):
            path.replace(out / path.name)


@contextmanager
def written_file(out: Path) -> Iterator[Path]:
    """A file to write; it takes the place of `out` once the block is done. Raises PlanFault where the disk refuses."""
    with _fresh(out) as fresh:
        yield fresh / out.name
        (fresh / out.name).replace(out)


@contextmanager
def replaced_whole(out: Path) -> Iterator[Path]:
    """A folder to write into; it takes the place of `out` once the block is done.

    Raises PlanFault where the disk refuses; `out` is then as it was.
    """
    with _fresh(out) as fresh:
        yield fresh
        os.chmod(fresh, 0o755)
        # The old folder is moved aside first, so that no moment shows a mixture of old and new.
        old = fresh.with_name(fresh.name + "-old")
        if out.exists():
            out.rename(old)
        fresh.rename(out)
        shutil.rmtree(old, ignore_errors=True)


@contextmanager
def _fresh(out: Path) -> Iterator[Path]:
    fresh: Path | None = None
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        fresh = Path(tempfile.mkdtemp(prefix=f".{out.name}-", dir=out.parent))
        yield fresh
    except OSError as error:
        raise PlanFault(
            f"nothing can be written there: {error.strerror}",
            mend="make room or choose another folder",
            where=(str(out),),
        ) from None
    finally:
        if fresh is not None:
            shutil.rmtree(fresh, ignore_errors=True)
