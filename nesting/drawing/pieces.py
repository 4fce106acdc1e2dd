"""The pieces of a job: every entry of `job.toml` read, multiplied and named.

In: a job file and its folder. Out: pieces in their own frame (bounding rectangle from (0, 0)), what each entry demands
and all findings.
A piece's id is its entry's name, for wording the letter, and a running number: readable, and safe as a file name on
any system, where upper and lower case may be the same.
"""

from __future__ import annotations

import hashlib
import itertools
import re
import unicodedata
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from nesting.curves import bounds, moved
from nesting.drawing.fonts import find_font
from nesting.drawing.intake import FILL_IN, Intake
from nesting.drawing.reading import read_drawing
from nesting.drawing.shapes import DrawnShape, Finding
from nesting.drawing.webs import least_web_mm, narrow_places
from nesting.drawing.wording import letter_shapes, set_wording
from nesting.faults import DrawingFault, JobFault, within
from nesting.model import Demand, JobFile, Piece, PieceOrder, Point
from nesting.phrases import counted

MOST_TOLD = 10
"""Refusals named in one message; the rest are counted."""
MOST_PIECES = 100_000
SLACK_MM = 0.1
"""A web of just the least width is wide enough, whatever the last digit."""
MOST_MEASURED = 500
"""Shapes of one entry whose webs are measured."""


def read_order(job_file: JobFile, folder: Path) -> tuple[tuple[Piece, ...], tuple[Demand, ...], tuple[Finding, ...]]:
    """Every entry's shapes, times its quantity, times the job's; what each entry demands, in the job's order; and all
    findings. Drawings and fonts are found from `folder`.

    DrawingFault if an entry cannot be read or has a finding that only a person can mend.
    """
    wanted, findings = _read_entries(job_file, folder)
    pieces = tuple(_named(wanted))
    ids: dict[int, list[str]] = {}
    for one, piece in zip(wanted, pieces, strict=True):
        ids.setdefault(id(one.order), []).append(piece.id)
    demands = (_demand(order, job_file.job.quantity, folder, ids.get(id(order), [])) for order in job_file.piece)
    return pieces, tuple(demands), findings


def _demand(order: PieceOrder, sets: int, folder: Path, ids: list[str]) -> Demand:
    copies = order.quantity * sets
    path = find_font(order.font, folder) if order.wording is not None else folder / (order.drawing or "")
    return Demand(
        name=order.name,
        source=order.drawing or order.wording or "",
        digest=hashlib.sha256(path.read_bytes()).hexdigest(),
        material=order.material,
        colour=order.colour,
        thickness_mm=order.thickness_mm,
        quantity=copies,
        shapes=len(ids) // copies,
        turn=order.turn,
        mirror=order.mirror,
        pieces=tuple(ids),
    )


def _read_entries(job_file: JobFile, folder: Path) -> tuple[list[_Wanted], tuple[Finding, ...]]:
    findings: list[Finding] = []
    wanted: list[_Wanted] = []
    for order in job_file.piece:
        with within(f"piece {order.name}"):
            _refuse_unfilled(order)
            shapes, told = _order_shapes(order, folder)
            with within(_source(order)):
                _refuse(told)
            told = (*told, *_narrow(shapes, order.thickness_mm))
            findings += [replace(f, where=", ".join(filter(None, (_source(order), f.where)))) for f in told]
            copies = order.quantity * job_file.job.quantity
            if len(wanted) + copies * len(shapes) > MOST_PIECES:
                raise DrawingFault(f"more than {MOST_PIECES} pieces", mend="lower `quantity`, or plan in several jobs")
            face = "job" if job_file.job.one_lot else ""
            wanted += [_Wanted(order, shape, copy, face) for copy in range(1, copies + 1) for shape in shapes]
    return wanted, tuple(dict.fromkeys(findings))


def _refuse_unfilled(order: PieceOrder) -> None:
    words = {"material": order.material, "colour": order.colour, "thickness_mm": order.thickness_mm or FILL_IN}
    left = [f"`{key}`" for key, value in words.items() if value == FILL_IN]
    if left:
        raise JobFault(f"still to be filled in: {', '.join(left)}", mend="say what it is cut from")


def _source(order: PieceOrder) -> str:
    wording = order.wording or ""
    return order.drawing or f"wording {wording if len(wording) <= 40 else wording[:39] + '…'!r}"


def _order_shapes(order: PieceOrder, folder: Path) -> tuple[tuple[DrawnShape, ...], tuple[Finding, ...]]:
    if order.wording is not None:
        return _letters(order, folder)
    intake = Intake(order.units, order.scale, order.layer, order.mark_layers, order.ignore_layers, order.text)
    return read_drawing(folder / (order.drawing or ""), intake)


def _letters(order: PieceOrder, folder: Path) -> tuple[tuple[DrawnShape, ...], tuple[Finding, ...]]:
    """The letters of a wording, how far they read, and which of them come in several parts."""
    height = order.height_mm or 0.0
    font = find_font(order.font, folder)
    letters = set_wording(
        order.wording or "",
        height,
        font,
        order.tracking_mm,
        bridge_mm=order.bridge_mm,
        axes=dict(order.font_axes),
    )
    findings = [Finding("reading", "", reading_text(height), True)]
    parted = sorted({letter.text for letter in letters if len(letter.shapes) > 1})
    if parted:
        text = f"dots and accents are pieces of their own in {' '.join(parted)}; `bridge_mm` joins them"
        findings.append(Finding("parts", "", text, True))
    return tuple(letter_shapes(letters)), tuple(findings)


def reading_text(height_mm: float) -> str:
    """How far capitals of this height are read. Figures: a 200th to a 120th of the distance, a 350th at best."""
    near, far, most = (height_mm * share / 1000 for share in (120, 200, 350))
    return f"capitals {height_mm:g} mm high read well from {near:.3g} to {far:.3g} m away, by good eyes to {most:.3g} m"


def _narrow(shapes: Iterable[DrawnShape], thickness_mm: float) -> list[Finding]:
    """One warning for all letters, or for all of a drawing, with webs narrower than the thickness allows; of letters
    another for the counters. A drawing's small holes are meant."""
    least = least_web_mm(thickness_mm)
    places: dict[str, list[tuple[str, Point]]] = {}
    for shape in itertools.islice(shapes, MOST_MEASURED):
        for place in narrow_places(shape, least - SLACK_MM):
            if shape.name or place.what == "web":
                places.setdefault(place.what, []).append((shape.name, place.at_mm))
    return [_narrow_finding(what, found, least) for what, found in places.items()]


def _narrow_finding(what: str, found: Sequence[tuple[str, Point]], least_mm: float) -> Finding:
    names = [name for name in dict.fromkeys(name for name, _ in found) if name]
    of = f"{what}{'s' if len(names) > 1 else ''} of {', '.join(names)}" if names else what
    (_, at), *others = found
    more = f" and {counted(len(others), 'more place')}" if others else ""
    text = f"{of} narrower than {least_mm:g} mm, the least for this thickness, at ({at[0]:.1f}, {at[1]:.1f}){more}"
    return Finding("narrow", "", text, True, at)


def _refuse(findings: Iterable[Finding]) -> None:
    """One message with every finding that only a person can mend."""
    bad = [finding for finding in findings if not finding.mended]
    if bad:
        more = f"; and {len(bad) - MOST_TOLD} more" if len(bad) > MOST_TOLD else ""
        raise DrawingFault(
            "; ".join(map(str, bad[:MOST_TOLD])) + more, mend="mend the drawing there, and read it again"
        )


# ── ids ──────────────────────────────────────────────────────────────────────────────────────────────────────


@dataclass(frozen=True, slots=True)
class _Wanted:
    order: PieceOrder
    shape: DrawnShape
    copy: int
    face: str = ""

    @property
    def stem(self) -> str:
        parts = [self.order.name, *([self.shape.name] if self.shape.name else [])]
        return "-".join(file_safe(part) for part in parts)


def file_safe(text: str) -> str:
    """Letters, digits and hyphens that say as much of the text as they can; another letter becomes its number."""
    plain = "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c))
    words = "".join(c if c.isascii() and c.isalnum() else f"u{ord(c):04x}" if c.isalnum() else " " for c in plain)
    return re.sub(r"\s+", "-", words.strip())[:40].strip("-") or "-".join(f"u{ord(c):04x}" for c in text[:4]) or "piece"


def _named(wanted: list[_Wanted]) -> list[Piece]:
    totals = Counter(one.stem.casefold() for one in wanted)
    given: Counter[str] = Counter()
    pieces = []
    for one in wanted:
        stem = one.stem.casefold()
        given[stem] += 1
        width = len(str(totals[stem]))
        name = f"{one.order.name} {one.shape.name}".strip()
        pieces.append(_piece(one, f"{one.stem}-{given[stem]:0{width}}", name))
    return pieces


def _piece(one: _Wanted, piece_id: str, name: str) -> Piece:
    """The shape as a piece of its order, moved so that its bounding rectangle starts at (0, 0)."""
    order, shape = one.order, one.shape
    x, y, *_ = bounds([shape.outline])
    return Piece(
        id=piece_id,
        name=name,
        copy=one.copy,
        material=order.material,
        colour=order.colour,
        thickness_mm=order.thickness_mm,
        outline=moved(shape.outline, -x, -y),
        holes=tuple(moved(hole, -x, -y) for hole in shape.holes),
        marks=tuple(moved(mark, -x, -y) for mark in shape.marks),
        turn=order.turn,
        mirror=order.mirror,
        one_piece=order.one_piece,
        fixings=order.fixings,
        joint=order.joint,
        strap=order.strap,
        joints_aligned=order.joints_aligned,
        at_mm=(x, y) if order.wording is not None else (0.0, 0.0),
        one_lot=order.one_lot or one.face,
    )
