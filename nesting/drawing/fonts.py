"""Which font file a name means: a file in the job's folder, or a font installed on this computer.

In: a name or path as written in a job, the job's folder. Out: a path. Fonts are matched by file name first, then by
the full name the font gives itself; case, spaces and hyphens do not count.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from pathlib import Path

from fontTools.ttLib import TTFont, TTLibError

from nesting.faults import DrawingFault

SHIPPED = Path(__file__).parent / "fonts"
DEFAULT_FONT = SHIPPED / "DejaVuSans-Bold.ttf"
SUFFIXES = frozenset({".ttf", ".otf", ".ttc", ".otc"})
MOST_FONTS = 5000
FULL_NAME = 4
"""Name id of the full name, OpenType `name` table."""


def find_font(name: str | None, folder: Path) -> Path:
    """The file of a font. DrawingFault if there is none of that name."""
    if not name:
        return DEFAULT_FONT
    if Path(name).suffix.lower() in SUFFIXES:
        path = folder / name
        if path.is_file():
            return path
    wanted = _key(Path(name).stem if Path(name).suffix.lower() in SUFFIXES else name)
    installed = list(_installed())
    for path in installed:
        if _key(path.stem) == wanted:
            return path
    for path in installed:
        if wanted in _full_names(path):
            return path
    raise DrawingFault(
        f"there is no font {name}", mend="give a font file beside the job, or the name of an installed font"
    )


def _key(name: str) -> str:
    return re.sub(r"[\s_-]+", "", name).casefold()


def _installed() -> Iterator[Path]:
    """Font files, the shipped ones first, then in the folders where systems keep them."""
    yield from sorted(SHIPPED.glob("*.ttf"))
    home = Path.home()
    folders = [
        home / ".fonts",
        home / ".local/share/fonts",
        home / "Library/Fonts",
        home / "AppData/Local/Microsoft/Windows/Fonts",
        Path(os.environ.get("WINDIR", "C:/Windows")) / "Fonts",
        Path("/usr/local/share/fonts"),
        Path("/usr/share/fonts"),
        Path("/Library/Fonts"),
        Path("/System/Library/Fonts"),
    ]
    found = (path for folder in folders if folder.is_dir() for path in sorted(folder.rglob("*")))
    fonts = (path for path in found if path.suffix.lower() in SUFFIXES)
    for _, path in zip(range(MOST_FONTS), fonts, strict=False):
        yield path


def _full_names(path: Path) -> set[str]:
    try:
        with TTFont(path, fontNumber=0, lazy=True) as font:
            return {_key(record.toUnicode()) for record in font["name"].names if record.nameID == FULL_NAME}
    except (TTLibError, OSError, KeyError, ValueError, AssertionError):
        return set()
