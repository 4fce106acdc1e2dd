"""Machine time of a pass against a figure worked by hand, and against its drawing read back with another library."""

import dataclasses
import itertools
import math

import ezdxf
import ezdxf.path
import pytest

from cli.documents import states
from nesting import costing, curves, timing
from nesting.drawing.pass_drawings import drawings
from nesting.drawing.writing import write_drawing
from nesting.model import Chain, CuttingFigure, Pass, Plan
from nesting.passes.cuts import Cut, Stretch
from tests.cli.sample_plan import MACHINE, WORKSHOP, sample_plan

FIGURE = CuttingFigure("acrylic", 5.0, kerf_mm=0.17, feed_mm_s=6.0, pierce_s=1.0)


def test_circle_of_300_mm_at_6_mm_a_second():
    # Derived: pi 300 / 6 + 1 s to pierce = 158.08 s; the rapid move to its start comes on top.
    circle = Cut("disc", "outline", Stretch(((0.0, 150.0, 1.0), (300.0, 150.0, 1.0)), True))
    run = Pass(1, "B1", 0, (0.0, 0.0), "none", "x.dxf", (0.0, 0.0, 300.0, 300.0), ("disc",))
    spent = timing.run_time(MACHINE, FIGURE, run, [circle])
    assert spent.seconds - spent.rapid_mm / MACHINE.rapid_mm_s == pytest.approx(158.08, abs=0.005)
    assert spent.rapid_mm == pytest.approx(150.0)


def square(side: float) -> Chain:
    return ((0.0, 0.0, 0.0), (side, 0.0, 0.0), (side, side, 0.0), (0.0, side, 0.0), (0.0, 0.0, 0.0))


def test_marking_is_a_term_of_its_own():
    # Derived: two squares of 20 and 10 mm one in the other are 120 mm long; 300 mm2 lie between them, which takes
    # 3000 mm of lines 0.1 mm apart. At 100 mm/s: 1.2 s along them, 31.2 s filled; nothing of it is cutting.
    piece = dataclasses.replace(sample_plan().pieces[0], marks=(square(20.0), square(10.0)))
    plain = dataclasses.replace(piece, marks=())
    filling = dataclasses.replace(MACHINE, fill_spacing_mm=0.1)
    assert costing.marking_seconds(piece, MACHINE) == pytest.approx(1.2)
    assert costing.marking_seconds(piece, filling) == pytest.approx(31.2)
    cut, mark = costing.cutting_lines([piece], filling, WORKSHOP.rates)
    assert [cut] == costing.cutting_lines([plain], filling, WORKSHOP.rates)
    assert mark.what == f"marking {piece.stock}" and mark.quantity == 0.52


def marked_plan() -> Plan:
    """The sample, each piece with a tick of 5 mm in its middle."""
    plan = sample_plan()
    pieces = []
    for piece in plan.pieces:
        x0, y0, x1, y1 = curves.bounds([piece.outline])
        x, y = (x0 + x1) / 2, (y0 + y1) / 2
        pieces.append(dataclasses.replace(piece, marks=(((x, y, 0.0), (x + 5.0, y, 0.0)),)))
    return dataclasses.replace(plan, pieces=tuple(pieces))


@pytest.mark.parametrize("plan", [sample_plan(), marked_plan()], ids=["cuts", "cuts and marks"])
def test_time_agrees_with_the_written_drawings_read_back(tmp_path, plan):
    # Lengths by ezdxf's own paths, flattened to a micrometre; our own replay must agree within 1 %.
    for sheet in plan.sheets:
        for run in sheet.passes:
            write_drawing(tmp_path / run.file, drawings(plan)[run.file])
            chains = [
                (layer, list(ezdxf.path.make_path(entity).flattening(0.001)))
                for layer in ("LINEUP", "MARK", "CUT")
                for entity in ezdxf.readfile(tmp_path / run.file).modelspace().query(f'*[layer=="{layer}"]')
            ]
            seconds, head = 0.0, (0.0, 0.0)
            for layer, chain in chains:
                feed, pierce = (MACHINE.mark_feed_mm_s, 0.0) if layer == "MARK" else (7.6, 1.0)
                seconds += math.dist(head, chain[0].vec2) / MACHINE.rapid_mm_s + pierce
                seconds += sum(a.distance(b) for a, b in itertools.pairwise(chain)) / feed
                head = chain[-1].vec2
            cuts = states.cuts_on(plan, sheet, run.blank)[run.order]
            spent = timing.run_time(MACHINE, MACHINE.cutting[0], run, cuts)
            assert spent.seconds == pytest.approx(seconds, rel=0.01)
            assert spent.pierces == sum(layer != "MARK" for layer, _ in chains)
