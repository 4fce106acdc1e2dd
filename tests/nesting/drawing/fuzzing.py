"""Drawings nobody should send: made at random and mutated, read, and judged.

`python tests/nesting/drawing/fuzzing.py 2000` reads that many and prints what became of them; a number after it is the
first seed. Each must be read in under 5 s, end in shapes or a Fault, and no accepted drawing may overlap itself. Then
one of twenty thousand entities is read, and the processor time told.
"""

from __future__ import annotations

import io
import itertools
import math
import random
import signal
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

import ezdxf
import shapely
from shapely.geometry import Polygon

from nesting.drawing.fitting import dense
from nesting.drawing.reading import read_drawing
from nesting.drawing.shapes import DrawnShape
from nesting.faults import DrawingFault

DEMO = Path(__file__).parents[3] / "demo_data" / "drawings"
LONGEST_S = 5
WILD = ["nan", "inf", "-inf", "1e300", "-1e300", "0", "-1", "", "9" * 400, "1e-300", "\x00", "é", "0x1F", "None", "1e6"]


# ── drawings ─────────────────────────────────────────────────────────────────────────────────────────────────


def drawing(seed: int) -> tuple[str, bytes]:
    """A file's suffix and its bytes, the same for the same seed."""
    chance = random.Random(seed)
    make = chance.choice([random_dxf, random_dxf, random_svg, random_svg, demo_dxf])
    suffix, content = make(chance)
    if chance.random() < 0.7:
        for _ in range(chance.choice([1, 1, 2, 5, 20])):
            content = chance.choice([flipped, cut, wild_line, line_gone, line_twice, chunk_repeated])(chance, content)
    return suffix, content


def demo_dxf(chance: random.Random) -> tuple[str, bytes]:
    return ".dxf", chance.choice(sorted(DEMO.glob("*.dxf"))).read_bytes()


def random_dxf(chance: random.Random) -> tuple[str, bytes]:
    document = ezdxf.new(chance.choice(["R12", "R2000", "R2010", "R2018"]))
    document.units = chance.choice([0, 1, 4, 4, 4, 6])
    block = document.blocks.new("PART")
    for _ in range(chance.randint(0, 4)):
        add_entity(chance, block, document.dxfversion == "AC1009")
    space = document.modelspace()
    for _ in range(chance.randint(0, 25)):
        add_entity(chance, space, document.dxfversion == "AC1009")
    for _ in range(chance.randint(0, 3)):
        scale = {k: chance.choice([1, -1, 2, 0.5, 0, 1e-9, 3.7]) for k in ("xscale", "yscale", "zscale")}
        count = {"row_count": chance.choice([1, 1, 3]), "column_count": chance.choice([1, 1, 2]), "row_spacing": 200}
        space.add_blockref("PART", point(chance), dxfattribs={**scale, **count, "rotation": chance.uniform(0, 360)})
    out = io.StringIO()
    document.write(out)
    return ".dxf", out.getvalue().encode("utf-8", "surrogateescape")


def add_entity(chance: random.Random, space, r12: bool) -> None:
    look = {"layer": chance.choice(["0", "CUT", "ENGRAVE", "NOTES"])}
    if chance.random() < 0.1:
        look["extrusion"] = chance.choice([(0, 0, -1), (1, 0, 0), (0.3, 0.2, 0.9)])
    x, y = point(chance)
    kind = chance.choice("LLSSCAPPEHTB")
    if kind == "L":
        space.add_line((x, y), point(chance), look)
    elif kind == "S":
        w, h, gap = chance.uniform(1, 80), chance.uniform(1, 80), chance.choice([0, 0.01, 0.3, 0.7])
        corners = [(x, y), (x + w, y), (x + w, y + h), (x, y + h), (x, y + gap)]
        for a, b in itertools.pairwise(corners):
            space.add_line(a, b, look)
    elif kind == "C":
        space.add_circle((x, y), chance.choice([0, 1e-9, 5, 30, 30, 200]), look)
    elif kind == "A":
        space.add_arc((x, y), chance.uniform(0, 60), chance.uniform(-400, 400), chance.uniform(-400, 400), True, look)
    elif kind == "P":
        points = [(*point(chance), chance.choice([0, 0, 0, 0.4, -0.7, 1, 3])) for _ in range(chance.randint(0, 9))]
        draw = space.add_polyline2d if r12 else space.add_lwpolyline
        draw(points, format="xyb", close=chance.random() < 0.7, dxfattribs=look)
    elif r12:
        space.add_text("SIGN", dxfattribs=look)
    elif kind == "E":
        space.add_ellipse((x, y), (chance.uniform(1, 60), 5), chance.uniform(0.01, 1), 0, chance.uniform(0, 7), look)
    elif kind == "H":
        hatch = space.add_hatch(dxfattribs=look)
        hatch.paths.add_polyline_path([point(chance) for _ in range(chance.randint(0, 6))])
    elif kind == "T":
        space.add_text("SIGN", dxfattribs=look)
    else:
        space.add_open_spline([point(chance) for _ in range(chance.randint(4, 8))], dxfattribs=look)


def point(chance: random.Random) -> tuple[float, float]:
    """Often on a coarse raster, so that lines meet, run along each other and cross at corners."""
    step = chance.choice([1, 20, 20, 20])
    return step * chance.randint(-200 // step, 200 // step), step * chance.randint(-200 // step, 200 // step)


def random_svg(chance: random.Random) -> tuple[str, bytes]:
    page = chance.choice(
        ['width="400mm" height="400mm" viewBox="-200 -200 400 400"', "", 'viewBox="0 0 9 9" width="1in"']
    )
    body = "\n".join(svg_figure(chance) for _ in range(chance.randint(0, 20)))
    style = "<style>.a{fill:none} g .b{fill-rule:evenodd} .c{display:none}</style>"
    return ".svg", f'<svg xmlns="http://www.w3.org/2000/svg" \n{page}>\n{style}\n{body}\n</svg>'.encode()


def svg_figure(chance: random.Random) -> str:
    n = lambda: f"{chance.choice([chance.uniform(-200, 200), chance.randint(-10, 10) * 20]):.4g}"  # noqa: E731
    look = f'class="{chance.choice("aabbcd")}" stroke="{chance.choice(["red", "none"])}" id="f{chance.randint(0, 9)}"'
    if chance.random() < 0.2:
        turn = chance.choice(
            ["rotate(30)", "scale(-1 2)", "skewX(20)", "matrix(1 0 0 1 9 9)", "scale(0)", "rotate(nan)"]
        )
        look += f' transform="{turn}"'
    commands = "".join(
        f"{c}{' '.join(n() for _ in range(COUNT[c.upper()]))}"
        if c.upper() != "A"
        else f"{c}{n()} {n()} 30 1 0 {n()} {n()}"
        for c in (chance.choice("LlHhVvCcSsQqTtAaZzMm") for _ in range(chance.randint(0, 12)))
    )
    return chance.choice(
        [
            f'<path {look} d="M{n()} {n()}{commands}"/>',
            f'<path {look} d="M{n()} {n()}{commands}z"/>',
            f'<rect {look} x="{n()}" y="{n()}" width="{n()}" height="{n()}" rx="{n()}"/>',
            f'<circle {look} cx="{n()}" cy="{n()}" r="{n()}"/>',
            f'<ellipse {look} cx="{n()}" cy="{n()}" rx="{n()}" ry="{n()}"/>',
            f'<polygon {look} points="{" ".join(n() for _ in range(chance.randint(0, 11)))}"/>',
            f'<line {look} x1="{n()}" y2="{n()}"/>',
            f'<g {look}><use href="#f{chance.randint(0, 9)}" x="{n()}"/></g>',
        ]
    )


COUNT = {"L": 2, "H": 1, "V": 1, "C": 6, "S": 4, "Q": 4, "T": 2, "Z": 0, "M": 2}


def crowd_dxf(path: Path, count: int) -> None:
    """As many figures, no two alike: circles, polylines with an arc, ellipses, closed splines, a quarter each."""
    chance = random.Random(count)
    document = ezdxf.new("R2010", units=4)
    space = document.modelspace()
    for k in range(count):
        x, y = 60.0 * (k % 150), 60.0 * (k // 150)
        if k % 4 == 0:
            space.add_circle((x, y), chance.uniform(5, 20))
        elif k % 4 == 1:
            corners = [(x, y), (x + chance.uniform(10, 40), y, 0.3), (x + 20, y + chance.uniform(10, 40))]
            space.add_lwpolyline(corners, format="xyb", close=True)
        elif k % 4 == 2:
            space.add_ellipse((x, y), (chance.uniform(10, 20), chance.uniform(-8, 8)), chance.uniform(0.3, 0.9))
        else:
            reach = [(chance.uniform(12, 22), math.tau * i / 6) for i in range(6)]
            space.add_spline().set_closed([(x + r * math.cos(a), y + r * math.sin(a), 0) for r, a in reach])
    document.saveas(path)


# ── damage ───────────────────────────────────────────────────────────────────────────────────────────────────


def flipped(chance: random.Random, content: bytes) -> bytes:
    changed = bytearray(content)
    for _ in range(chance.choice([1, 3, 30])):
        if changed:
            changed[chance.randrange(len(changed))] = chance.randrange(256)
    return bytes(changed)


def cut(chance: random.Random, content: bytes) -> bytes:
    return content[: chance.randrange(len(content) + 1)]


def wild_line(chance: random.Random, content: bytes) -> bytes:
    lines = content.split(b"\n")
    lines[chance.randrange(len(lines))] = chance.choice(WILD).encode()
    return b"\n".join(lines)


def line_gone(chance: random.Random, content: bytes) -> bytes:
    lines = content.split(b"\n")
    del lines[chance.randrange(len(lines))]
    return b"\n".join(lines)


def line_twice(chance: random.Random, content: bytes) -> bytes:
    lines = content.split(b"\n")
    k = chance.randrange(len(lines))
    return b"\n".join([*lines[:k], lines[k], *lines[k:]])


def chunk_repeated(chance: random.Random, content: bytes) -> bytes:
    start = chance.randrange(len(content) + 1)
    return content[:start] + content[start : start + 400] * chance.choice([1, 2, 9]) + content[start:]


# ── judgement ────────────────────────────────────────────────────────────────────────────────────────────────


def judged(path: Path) -> str:
    """`refused`, `to mend` or `accepted`; AssertionError if an accepted drawing overlaps itself."""
    try:
        shapes, findings = read_drawing(path)
    except DrawingFault as fault:
        assert fault.what and fault.mend, fault
        return "refused"
    if any(not finding.mended for finding in findings):
        return "to mend"
    assert shapes
    areas = [area_of(shape) for shape in shapes]
    assert all(area.is_valid and area.area > 0 for area in areas), [shapely.is_valid_reason(area) for area in areas]
    assert sum(area.area for area in areas) <= shapely.union_all(areas).area + 0.1 * len(areas), "pieces overlap"
    return "accepted"


def area_of(shape: DrawnShape) -> Polygon:
    return Polygon(dense(shape.outline, True, 0.005), [dense(hole, True, 0.005) for hole in shape.holes])


def sweep(first: int, count: int) -> int:
    """Judge many; how many went wrong."""
    became: Counter[str] = Counter()
    slowest = (0.0, -1)
    wrong = 0
    for seed in range(first, first + count):
        suffix, content = drawing(seed)
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / f"fuzz{suffix}"
            path.write_bytes(content)
            start = time.perf_counter()
            signal.alarm(4 * LONGEST_S)
            try:
                became[judged(path)] += 1
            except BaseException as error:
                if isinstance(error, KeyboardInterrupt):
                    raise
                wrong += 1
                print(f"seed {seed}: {type(error).__name__}: {str(error)[:200]}", flush=True)
            signal.alarm(0)
            slowest = max(slowest, (time.perf_counter() - start, seed))
    print(f"{count} drawings: {dict(became)}, wrong {wrong}, slowest {slowest[0]:.2f} s (seed {slowest[1]})")
    return wrong + (slowest[0] > LONGEST_S)


def crowd(count: int) -> int:
    """Read a drawing of so many entities and tell how long that takes; whether it was too long."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "crowd.dxf"
        crowd_dxf(path, count)
        start = time.process_time()
        shapes, findings = read_drawing(path)
        taken = time.process_time() - start
    print(f"{count} entities: {len(shapes)} shapes, {len(findings)} findings in {taken:.2f} s of processor time")
    return int(taken > LONGEST_S or len(shapes) != count)


if __name__ == "__main__":
    signal.signal(signal.SIGALRM, lambda *_: (_ for _ in ()).throw(TimeoutError("hangs")))
    arguments = [int(word) for word in sys.argv[1:]]
    wrong = sweep(arguments[1] if len(arguments) > 1 else 0, arguments[0] if arguments else 2000)
    sys.exit(bool(wrong + crowd(20_000)))
