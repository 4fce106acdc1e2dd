"""What a drawing holds, as words and as a picture with each finding's place circled and numbered.

In: an Inspection. Out: lines for the terminal, a Picture. Numbers count the findings in the order they are listed.
"""

from __future__ import annotations

from collections.abc import Sequence

from cli.documents.canvas import EDGE, LATER, NOW, SHEET, Canvas, Picture, Stroke, disc
from nesting.curves import bounds
from nesting.drawing.inspecting import Inspection
from nesting.drawing.shapes import DrawnChain, Finding
from nesting.model import Point, Rect
from nesting.phrases import counted

DRAWN = Stroke(0.8, LATER, (3.0, 2.0))
MARKED = Stroke(0.9, NOW, (1.0, 1.5))
CIRCLE = Stroke(2.0, LATER)
WIDTH = 720.0
MOST_CIRCLES = 60
MOST_LINES = 40
MOST_CHAINS = 5000


def inspection_lines(name: str, inspection: Inspection) -> list[str]:
    """What is in the drawing, what was done, what is left to mend."""
    return [
        *_head(name, inspection),
        *_layer_lines(inspection),
        *_size_lines(inspection),
        *_finding_lines(inspection),
    ]


def _head(name: str, inspection: Inspection) -> list[str]:
    box = inspection.bounds_mm
    if box is None:
        return [f"{name}: no pieces"]
    wide, high = box[2] - box[0], box[3] - box[1]
    size = f"{wide:.1f} x {high:.1f} mm over all ({wide / 25.4:.2f} x {high / 25.4:.2f} in)"
    return [f"{name}: {counted(len(inspection.shapes), 'piece')}, {size}"]


def _layer_lines(inspection: Inspection) -> list[str]:
    roles = {"cut": "cut", "mark": "marked, not cut", "ignore": "left out"}
    found = [
        f"  {layer.name or '(no layer)'}: {roles[layer.role]}; "
        f"{counted(layer.chains, 'line or curve', 'lines or curves')}, {counted(layer.shapes, 'piece')}"
        for layer in inspection.layers
    ]
    return ["layers", *_cut_short(found)] if found else []


def _size_lines(inspection: Inspection) -> list[str]:
    found = []
    for one in inspection.sizes:
        more = [counted(one.holes, "hole")] if one.holes else []
        more += [counted(one.marks, "mark")] if one.marks else []
        more += [f"{one.area_mm2 / 100:.1f} cm2"]
        found.append(f"  {one.count} x  {one.width_mm:.1f} x {one.height_mm:.1f} mm; {', '.join(more)}")
    return ["pieces", *_cut_short(found)] if found else []


def _finding_lines(inspection: Inspection) -> list[str]:
    if not inspection.findings:
        return ["nothing to mend"]
    numbered = [
        f"  {number} {'TO MEND' if not finding.mended else 'LEFT OUT' if finding.is_omission else 'done'}: {finding}"
        for number, finding in enumerate(inspection.findings, start=1)
    ]
    return ["found", *_cut_short(numbered), _verdict(inspection.findings)]


def _verdict(findings: Sequence[Finding]) -> str:
    left = sum(not finding.mended for finding in findings)
    if left:
        return f"to mend before it can be cut: {left}"
    omitted = any(finding.is_omission for finding in findings)
    return "ready to cut, without what is left out: see that nothing of it is wanted" if omitted else "ready to cut"


def _cut_short(lines: list[str]) -> list[str]:
    return lines if len(lines) <= MOST_LINES else [*lines[:MOST_LINES], f"  and {len(lines) - MOST_LINES} more"]


# ── the picture ──────────────────────────────────────────────────────────────────────────────────────────────


def inspection_picture(name: str, inspection: Inspection) -> Picture:
    """Pieces filled, lines that became no piece dashed, findings circled and numbered."""
    paper = Canvas(_world(inspection), width=WIDTH, left=24.0, right=24.0, top=24.0, bottom=24.0)
    loose = [chain for chain in inspection.chains if _is_drawable(chain)][:MOST_CHAINS]
    shapes = inspection.shapes[:MOST_CHAINS]
    for shape in shapes:
        paper.chains([shape.outline, *shape.holes], True, None, SHEET)
    for chain in loose:
        paper.chains([chain.vertices], chain.closed, DRAWN)
    for shape in shapes:
        paper.chains([shape.outline, *shape.holes], True, EDGE)
        paper.chains(shape.marks, False, MARKED)
    places = [(k, f.at_mm) for k, f in enumerate(inspection.findings, start=1) if f.at_mm is not None]
    for number, place in places[:MOST_CIRCLES]:
        _circle(paper, number, place)
    legend: list[tuple[str, Stroke | str]] = [("piece", SHEET), ("mark", MARKED), ("as drawn", DRAWN)]
    legend.append(("finding, numbered as listed", CIRCLE))
    text = f"{name}: {counted(len(inspection.shapes), 'piece')}, {counted(len(inspection.findings), 'finding')}"
    return paper.finish(text, legend)


def _world(inspection: Inspection) -> Rect:
    boxes = [bounds([chain.vertices], chain.closed) for chain in inspection.chains if _is_drawable(chain)]
    if not boxes:
        return 0.0, 0.0, 100.0, 100.0
    x0, y0, x1, y1 = (list(side) for side in zip(*boxes, strict=True))
    return min(x0), min(y0), max(x1), max(y1)


def _is_drawable(chain: DrawnChain) -> bool:
    return len(chain.vertices) > 1 and all(abs(c) < 1e6 for vertex in chain.vertices for c in vertex)


def _circle(paper: Canvas, number: int, place: Point) -> None:
    x, y = paper.at(*place)
    paper.items.append(disc(x, y, 11.0, CIRCLE))
    paper.words(x + 13.0, y - 9.0, str(number), 12.0, anchor="start", bold=True, colour=LATER)
