"""Machine time of a pass against a figure worked by hand, and against its drawing read back with another library."""

import itertools
import math

import ezdxf
import ezdxf.path
import pytest

from cli.documents import states
from nesting import timing
from nesting.drawing.pass_drawings import drawings
from nesting.drawing.writing import write_drawing
from nesting.model import CuttingFigure, Pass
from nesting.passes.cuts import Cut
from nesting.passes.joins import Stretch
from tests.cli.sample_plan import MACHINE, sample_plan

FIGURE = CuttingFigure("acrylic", 5.0, kerf_mm=0.17, feed_mm_s=6.0, pierce_s=1.0)


def test_circle_of_300_mm_at_6_mm_a_second():
    # Derived: pi 300 / 6 + 1 s to pierce = 158.08 s; the rapid move to its start comes on top.
    circle = Cut("disc", "outline", Stretch(((0.0, 150.0, 1.0), (300.0, 150.0, 1.0)), True))
    run = Pass(1, "B1", 0, (0.0, 0.0), "none", "x.dxf", (0.0, 0.0, 300.0, 300.0), ("disc",))
    spent = timing.run_time(MACHINE, FIGURE, run, [circle])
    assert spent.seconds - spent.rapid_mm / MACHINE.rapid_mm_s == pytest.approx(158.08, abs=0.005)
    assert spent.rapid_mm == pytest.approx(150.0)


def test_time_agrees_with_the_written_drawings_read_back(tmp_path):
    # Lengths by ezdxf's own paths, flattened to a micrometre; our own replay must agree within 1 %.
    plan = sample_plan()
    for sheet in plan.sheets:
        for run in sheet.passes:
            write_drawing(tmp_path / run.file, drawings(plan)[run.file])
            chains = [
                list(ezdxf.path.make_path(entity).flattening(0.001))
                for layer in ("LINEUP", "CUT")
                for entity in ezdxf.readfile(tmp_path / run.file).modelspace().query(f'*[layer=="{layer}"]')
            ]
            seconds, head = 0.0, (0.0, 0.0)
            for chain in chains:
                seconds += math.dist(head, chain[0].vec2) / MACHINE.rapid_mm_s + 1.0
                seconds += sum(a.distance(b) for a, b in itertools.pairwise(chain)) / 7.6
                head = chain[-1].vec2
            cuts = states.cuts_on(plan, sheet, run.blank)[run.order]
            spent = timing.run_time(MACHINE, MACHINE.cutting[0], run, cuts)
            assert spent.seconds == pytest.approx(seconds, rel=0.01)
            assert spent.pierces == len(chains)
