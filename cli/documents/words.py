"""Figures and names as words: one way to print a millimetre, a sum of money, a name from outside.

In: numbers and strings of a plan. Out: short plain text, safe in a page, a cell and a line of print. Pure.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterable
from decimal import Decimal

from nesting import costing
from nesting.model import Machine, Pass, Piece, PlannedSheet, Point
from nesting.passes.holding import SIDES, edge_at
from nesting.phrases import listed

LONGEST = 60


def plain(text: str, longest: int = LONGEST) -> str:
    """A name from outside on one line: no control or direction-changing characters, shortened in the middle.

    >>> plain("a\\x00b\\n\\u202ec")
    'ab c'
    """
    flat = "".join(" " if ch in "\t\n\r" else ch for ch in text)
    kept = "".join(ch for ch in flat if unicodedata.category(ch) not in {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})
    words = " ".join(kept.split())
    if len(words) <= longest:
        return words
    head = longest * 2 // 3
    return f"{words[:head]}…{words[-(longest - head - 1) :]}"


SEAM = re.compile(r"(?<=\w)(?!(?<=\d)-\d)[-_]+(?=\w)")
"""After these a name may go on in the next line; figures with a hyphen between them are a date, or one number."""
NO_BREAK = "\u00a0"


def wrapped(text: str, room: float, width: Callable[[str], float]) -> list[str]:
    """Lines no wider than `room` by `width`: broken at spaces and after hyphens and underscores; inside a word only
    where it alone is wider.

    >>> wrapped("opal-5mm_extra long, 600 × 400 mm", 12, len)
    ['opal-5mm_', 'extra long,', '600 × 400 mm']
    """
    lines: list[str] = []
    line = ""
    for part in re.findall(rf" +|[^ ]*?{SEAM.pattern}|[^ ]+", unbroken(text)):
        if line and width((line + part).rstrip(" ")) > room:
            lines, line = [*lines, line], ""
        while len(part) > 1 and width(part.rstrip(" ")) > room:
            fits = next((n for n in range(len(part) - 1, 1, -1) if width(part[:n]) <= room), 1)
            lines, part = [*lines, part[:fits]], part[fits:]
        line += part if line else part.lstrip(" ")
    return [done.rstrip(" ").replace(NO_BREAK, " ") for done in (*lines, line) if done.strip(" ")] or [""]


def unbroken(text: str) -> str:
    """The text with no-break spaces between the sides of a size, and between a figure and its unit."""
    return re.sub(r" (?=× \d)|(?<=×) (?=\d)|(?<=\d) (?=(?:mm|m|kg|min)\b)", NO_BREAK, text)


def file_name(text: str) -> str:
    """A name from outside as part of a file's name: no separators, no dots in front.

    >>> file_name("../S1 b")
    'S1-b'
    """
    return re.sub(r"[^A-Za-z0-9]+", "-", plain(text)).strip("-") or "unnamed"


def mm(value: float) -> str:
    """Millimetres to a tenth, whole ones without a decimal: 5, 0.2, 1220."""
    return f"{round(value, 1) + 0.0:.1f}".removesuffix(".0")


def size(width_mm: float, height_mm: float) -> str:
    """`600 × 400 mm`."""
    return f"{mm(width_mm)} × {mm(height_mm)} mm"


def point(at: Point) -> str:
    """`12.5, 300`, in mm."""
    return f"{mm(at[0])}, {mm(at[1])}"


def money(amount: Decimal, currency: str) -> str:
    """To the cent, with its currency."""
    return f"{costing.money(amount)} {plain(currency, 8)}"


def ranges(numbers: Iterable[int]) -> str:
    """Piece numbers in words; "" for none.

    >>> ranges([1]), ranges([5, 1, 2, 3, 9])
    ('piece 1', 'pieces 1 to 3, 5 and 9')
    """
    words = runs(numbers)
    if not words:
        return ""
    return f"{'piece' if words[0].isdigit() and len(words) == 1 else 'pieces'} {listed(words)}"


def runs(numbers: Iterable[int], name: Callable[[int], str] = str) -> list[str]:
    """Numbers in words, or the names that go by them, three or more that follow one another as one.

    >>> runs([5, 1, 2, 3, 9, 10])
    ['1 to 3', '5', '9', '10']
    """
    found: list[list[int]] = []
    for number in sorted(numbers):
        if found and found[-1][-1] == number - 1:
            found[-1].append(number)
        else:
            found.append([number])
    return [
        part for run in found for part in ([f"{name(run[0])} to {name(run[-1])}"] if len(run) > 2 else map(name, run))
    ]


def piece_name(piece: Piece) -> str:
    """The piece's name, with its number where there are copies: `star (2)`."""
    return f"{plain(piece.name)} ({piece.copy})" if piece.copy > 1 else plain(piece.name)


def source(sheet: PlannedSheet) -> str:
    """Where the sheet comes from: `offcut R-0117` or `new sheet A5-1220`."""
    if sheet.source.stock_id is not None:
        return f"offcut {plain(sheet.source.stock_id)}"
    if sheet.source.cut_mm is not None:
        return f"panel {size(*sheet.source.cut_mm)} cut from {plain(sheet.source.offer or '')}"
    return f"new sheet {plain(sheet.source.offer or '')}"


def stock(sheet: PlannedSheet | Piece) -> str:
    """`acrylic, opal, 5 mm`."""
    return f"{plain(sheet.material)}, {plain(sheet.colour)}, {mm(sheet.thickness_mm)} mm"


def turn_words(before: Pass, after: Pass) -> str:
    """What the hands do between two passes, told by the lettered edges."""
    front = edge_at("front", before.turn_deg, before.flipped)
    goes = next(side for side in SIDES if edge_at(side, after.turn_deg, after.flipped) == front)
    if after.turn_before == "shift":
        return _slide_words(
            after.shift_mm[0] - before.shift_mm[0], after.shift_mm[1] - before.shift_mm[1], _same_face(after)
        )
    kinds = {"half": "Half turn", "quarter": "Quarter turn", "none": "Leave it as it lies", "flip": "Turn it over"}
    face = f"Face {'down' if after.flipped else 'up'} now" if after.turn_before == "flip" else _same_face(after)
    way = {
        "front": "stays at the front",
        "right": "goes to the right",
        "back": "goes to the back",
        "left": "goes to the left",
    }
    return f"{kinds[after.turn_before]}: edge {front}, which lies at the front now, {way[goes]}. {face}."


def _same_face(run: Pass) -> str:
    return "Face down as before" if run.flipped else "Same face up"


def _slide_words(right: float, back: float, face: str) -> str:
    ways = [(right, "to the right", "to the left"), (back, "towards the back", "towards the front")]
    said = [f"{mm(abs(by))} mm {plus if by > 0 else minus}" for by, plus, minus in ways if abs(by) > 0.05]
    return f"Do not turn it. Slide it {listed(said)}. {face}." if said else "Do not move it."


IDLE = {"laser": "with the beam off", "router": "with the spindle up and still"}
"""How a machine of a kind is run for looking only."""
SET_UP = {"laser": "Focus, feed and power set", "router": "Bit, depth and feed set"}


def axis_words(machine: Machine) -> str:
    """How the coordinates of the tables are to be read."""
    x0, y0, x1, y1 = machine.travel_rect
    return (
        f"x runs to the right, y to the back, in mm; 0, 0 is the {machine.datum} corner of the travel, "
        f"which goes from x {mm(x0)} to {mm(x1)} and from y {mm(y0)} to {mm(y1)}."
    )
