"""A plan made by hand for the documents' tests: a big face in two passes, letters and stars on an offcut.

Made up for this project. The face: 560 x 720 mm, its blank 590 x 740 mm from a 1100 x 610 mm sheet, on a machine with
a travel of 600 x 400 mm.
"""

from __future__ import annotations

import dataclasses
import math
from decimal import Decimal
from pathlib import Path

from nesting.model import (
    Blank,
    Cost,
    CostLine,
    CuttingFigure,
    Distance,
    Job,
    Join,
    Leftover,
    LineUp,
    LineUpMark,
    Machine,
    Material,
    Offer,
    Pass,
    Piece,
    Placement,
    Plan,
    PlannedSheet,
    Point,
    Rates,
    Rect,
    Ring,
    Source,
    Trim,
    Workshop,
)
from nesting.passes.cuts import cuts_of
from nesting.passes.holding import frame_of, spare, stops
from nesting.passes.joins import shares_of
from nesting.passes.reach import Reach
from nesting.placing import Laid, lay

MACHINE = Machine(
    name="small laser",
    kind="laser",
    travel_mm=(600.0, 400.0),
    table_mm=(620.0, 420.0),
    cutting=(
        CuttingFigure("acrylic", 5.0, kerf_mm=0.17, feed_mm_s=7.6, pierce_s=1.0, power_percent=90.0),
        CuttingFigure("acrylic", 10.0, kerf_mm=0.25, feed_mm_s=3.8, pierce_s=2.0, power_percent=100.0),
    ),
    open_front=True,
)
WORKSHOP = Workshop(
    name="Signs by the canal",
    rates=Rates("EUR", machine_per_hour=Decimal("45.00"), labour_per_hour=Decimal("30.00")),
    machine=(MACHINE,),
    material=(Material("acrylic", 1190.0),),
    offer=(Offer("A5-1100", "acrylic", "night blue", 5.0, 1100.0, 610.0, Decimal("30.20"), "the merchant"),),
)

# A circle of 360 mm with a bite out of it: horns at x = 560.
_HORN = math.sqrt(360.0**2 - 200.0**2)
CRESCENT: Ring = (
    (560.0, 360.0 + _HORN, math.tan((math.tau - 2 * math.atan2(_HORN, 200.0)) / 4)),
    (560.0, 360.0 - _HORN, -310.0 / _HORN),
)
LETTER_A: Ring = (
    (0, 0, 0),
    (28, 0, 0),
    (44, 45, 0),
    (106, 45, 0),
    (122, 0, 0),
    (150, 0, 0),
    (90, 160, 0),
    (60, 160, 0),
)
COUNTER_A: Ring = ((53, 70, 0), (75, 130, 0), (97, 70, 0))
LETTER_P: Ring = ((0, 0, 0), (30, 0, 0), (30, 60, 0), (70, 60, 1), (70, 160, 0), (0, 160, 0))
COUNTER_P: Ring = ((30, 85, 0), (30, 135, 0), (70, 135, -1), (70, 85, 0))
LETTER_T: Ring = (
    (45, 0, 0),
    (75, 0, 0),
    (75, 130, 0),
    (120, 130, 0),
    (120, 160, 0),
    (0, 160, 0),
    (0, 130, 0),
    (45, 130, 0),
)
STAR: Ring = tuple(
    (r * math.cos(a), r * math.sin(a), 0.0)
    for i in range(10)
    for r, a in [(20.0 if i % 2 == 0 else 8.5, math.pi / 2 + i * math.pi / 5)]
)
JOIN_X = 370.0
"""Where the two passes over the face meet, sheet frame."""
REGIONS: tuple[Rect, ...] = ((JOIN_X, 0.0, 730.0, 590.0), (10.0, 0.0, JOIN_X, 590.0))
FACE_SPOT = Placement("face-1", "B1", 730.0, 15.0, 90.0)


def _piece(name: str, copy: int, outline: Ring, *holes: Ring, thickness_mm: float = 5.0) -> Piece:
    return Piece(f"{name}-{copy}", name, copy, "acrylic", "night blue", thickness_mm, outline, holes)


def _pieces() -> list[Piece]:
    return [
        _piece("face", 1, CRESCENT),
        _piece("A", 1, LETTER_A, COUNTER_A),
        _piece("P", 1, LETTER_P, COUNTER_P),
        _piece("T", 1, LETTER_T),
        *(_piece("star", i, STAR) for i in range(1, 7)),
    ]


FACE_JOINS: tuple[tuple[int, Point], ...] = ((1, (JOIN_X, 15.0)), (2, (JOIN_X, 265.0)))
"""Where the placed crescent (quarter turn, then 730, 15) crosses the join line: its outer and its inner arc."""


def _bed(sheet: Point, turn_deg: int, shift: Point) -> Point:
    x, y = {90: (-sheet[1], sheet[0]), 270: (sheet[1], -sheet[0])}[turn_deg]
    return x + shift[0], y + shift[1]


def _face_pass(order: int, turn_deg: int, shift: Point) -> Pass:
    joins = tuple(Join(n, "face-1", at, _bed(at, turn_deg, shift), 0.11) for n, at in FACE_JOINS)
    marks = [(1, (JOIN_X, 6.0)), (2, (JOIN_X, 582.0))]
    lineup = tuple(LineUpMark(n, at, _bed(at, turn_deg, shift), cut_here=order == 1) for n, at in marks)
    before = "none" if order == 1 else "half"
    file = f"S1-B1-pass{order}.dxf"
    face = lay(_piece("face", 1, CRESCENT), FACE_SPOT)
    shares = tuple(share for k, share in shares_of(face, REGIONS) if k == order - 1)
    apart = (LineUp(1, "marks", 0.19, (Distance("L1", "L2", 576.0),)),) if order == 2 else ()
    reach = Reach(turn_deg, shift, REGIONS[order - 1], 0.0)
    run = Pass(order, "B1", turn_deg, shift, before, file, (), ("face-1",), shares, joins, lineup, apart)
    return _held(run, {"face-1": face}, reach, (0.0, 0.0, 740.0, 590.0))


def _held(run: Pass, laid: dict[str, Laid], reach: Reach, blank: Rect) -> Pass:
    frame = frame_of(run, cuts_of([run], run, laid, MACHINE))
    assert frame
    return dataclasses.replace(run, frame_mm=frame, spare_mm=spare(MACHINE, frame), stops=stops(MACHINE, blank, reach))


def bought_sheet() -> PlannedSheet:
    trims = (
        Trim(
            1,
            (740.0, 0.0),
            (740.0, 610.0),
            "machine",
            "740 mm from the left end",
            uncut_ends_mm=(5.0, 5.0),
            turn_deg=90,
            shift_mm=(605.0, -690.0),
            file="S1-trim1.dxf",
        ),
        Trim(2, (0.0, 590.0), (740.0, 590.0), "saw", "590 mm from the long edge"),
    )
    leftovers = (
        Leftover(
            ((740, 0), (1100, 0), (1100, 610), (740, 610)), (), True, (740.0, 0.0, 1100.0, 610.0), Decimal("5.49")
        ),
        Leftover(((0, 593), (740, 593), (740, 610), (0, 610)), (), False, (0.0, 593.0, 740.0, 610.0)),
    )
    return PlannedSheet(
        id="S1",
        source=Source(offer="A5-1100"),
        material="acrylic",
        colour="night blue",
        thickness_mm=5.0,
        outline_mm=((0.0, 0.0), (1100.0, 0.0), (1100.0, 610.0), (0.0, 610.0)),
        holes_mm=(),
        price=Decimal("30.20"),
        place="",
        trims=trims,
        blanks=(Blank("B1", (0.0, 0.0, 740.0, 590.0)),),
        placements=(FACE_SPOT,),
        passes=(_face_pass(1, 90, (595.0, -330.0)), _face_pass(2, 270, (5.0, 410.0))),
        leftovers=leftovers,
    )


def offcut_sheet() -> PlannedSheet:
    letters = [("A-1", 12.0, 12.0), ("P-1", 175.0, 12.0), ("T-1", 16.0, 200.0)]
    stars = [(87.0, 102.0), (330.0, 40.0), (330.0, 90.0), (330.0, 140.0), (210.0, 300.0), (260.0, 300.0)]
    placements = [Placement(piece, "B2", x, y, 0.0) for piece, x, y in letters]
    placements += [Placement(f"star-{i + 1}", "B2", x, y, 0.0) for i, (x, y) in enumerate(stars)]
    whole = ("star-1", "A-1", "P-1", "T-1", *(f"star-{i}" for i in range(2, 7)))
    outline: tuple[Point, ...] = ((0, 0), (580, 0), (580, 170), (300, 190), (300, 390), (0, 390))
    run = Pass(1, "B2", 0, (10.0, 5.0), "none", "S2-B2-pass1.dxf", whole)
    blank = (0.0, 0.0, 580.0, 390.0)
    laid = {spot.piece: lay(next(one for one in _pieces() if one.id == spot.piece), spot) for spot in placements}
    return PlannedSheet(
        id="S2",
        source=Source(stock_id="R-0117"),
        material="acrylic",
        colour="night blue",
        thickness_mm=5.0,
        outline_mm=outline,
        holes_mm=(((180, 210), (230, 210), (230, 260), (180, 260)),),
        price=Decimal("7.20"),
        place="rack 2, slot C",
        trims=(),
        blanks=(Blank("B2", (0.0, 0.0, 580.0, 390.0)),),
        placements=tuple(placements),
        passes=(_held(run, laid, Reach(0, run.shift_mm, blank, 0.0), blank),),
        leftovers=(
            Leftover(
                ((360, 0), (580, 0), (580, 170), (360, 185.7)), (), True, (360.0, 0.0, 580.0, 170.0), Decimal("1.10")
            ),
        ),
    )


def sample_plan(**names: str) -> Plan:
    """The plan; `names` replaces piece names (`face="<script>"`) and, as `job` and `customer`, the job's own."""
    renamed = [
        Piece(p.id, names.get(p.name, p.name), p.copy, p.material, p.colour, p.thickness_mm, p.outline, p.holes)
        for p in _pieces()
    ]
    lines = (
        CostLine("sheets bought", 1, "sheet", Decimal("30.20")),
        CostLine("offcuts used", 1, "offcut", Decimal("7.20")),
        CostLine("credit for leftovers", 2, "offcut", Decimal("-6.59")),
        CostLine("set-up", 3, "pass", Decimal("9.00")),
        CostLine("turns", 1, "turn", Decimal("2.25")),
        CostLine("cutting", 21.4, "min", Decimal("16.05")),
    )
    return Plan(
        job=Job(names.get("job", "Planetarium entrance sign"), "small laser", names.get("customer", "The planetarium")),
        seed=7,
        effort=40,
        machine=MACHINE,
        pieces=tuple(renamed),
        sheets=(bought_sheet(), offcut_sheet()),
        cost=Cost("EUR", lines, Decimal("58.11"), Decimal("52.10"), 13.6),
        warnings=("sheet S1 is 10 mm wider than the travel: its trim leaves uncut ends to snap by hand",),
    )


def hostile_plan() -> Plan:
    """The sample with names that try to break out of a page, a cell or a line."""
    return sample_plan(
        job='<script>alert("job")</script> & "sons"',
        customer='=HYPERLINK("http://x")',
        face="x" * 300,
        A="=2+5",
        P="שלט כניסה",
        T="\u202egnp.exe \x07\x00 🚀",
        star="<img src=x onerror=alert(1)>",
    )


def write(folder: Path, plan: Plan | None = None) -> Path:
    from cli.documents import write_documents

    folder.mkdir(parents=True, exist_ok=True)
    write_documents(plan or sample_plan(), folder, WORKSHOP)
    return folder
