"""How long a pass takes: a replay of what the head runs, in cutting order.

In: a pass and its cuts. Out: lengths in mm, pierces, seconds. Pure.
Method: contours and line-up marks at the cutting feed with one pierce each, marks (and the lines that fill them) at
the marking feed, straight rapid moves between them from the datum corner on; speeding up and slowing down is left out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from nesting import curves
from nesting.costing import figure_for, marked_mm
from nesting.model import CuttingFigure, Machine, Pass, Plan
from nesting.passes.cuts import Cut, cross, cuts_of, laid_on, to_bed


@dataclass(frozen=True, slots=True)
class RunTime:
    """What the head does in one pass."""

    cut_mm: float
    marked_mm: float
    rapid_mm: float
    pierces: int
    seconds: float

    @property
    def minutes(self) -> float:
        return self.seconds / 60


def run_time(machine: Machine, figure: CuttingFigure, run: Pass, cuts: Sequence[Cut]) -> RunTime:
    """Replay one pass: line-up marks, marks, then the cuts in their order."""
    lineup = [arm for mark in run.lineup if mark.cut_here for arm in cross(mark.sheet_mm)]
    lines = [(stretch, False) for stretch in lineup]
    # The drawing runs all marks before any cut.
    lines += sorted(((cut.stretch, cut.kind == "mark") for cut in cuts), key=lambda line: not line[1])
    cut_mm = rapid_mm = 0.0
    head = (0.0, 0.0)
    for stretch, marked in lines:
        bed = to_bed(run, stretch.vertices)
        rapid_mm += math.dist(head, bed[0][:2])
        head = bed[0][:2] if stretch.closed else bed[-1][:2]
        if not marked:
            cut_mm += curves.length(bed, stretch.closed)
    marking_mm = marked_mm([stretch.vertices for stretch, marked in lines if marked], machine)
    pierces = sum(not marked for _, marked in lines)
    seconds = cut_mm / figure.feed_mm_s + pierces * figure.pierce_s
    seconds += marking_mm / machine.mark_feed_mm_s + rapid_mm / machine.rapid_mm_s
    return RunTime(cut_mm, marking_mm, rapid_mm, pierces, seconds)


def machine_minutes(plan: Plan) -> float:
    """Minutes the machine runs for the whole plan, set-up, turns and trims left out."""
    pieces = {piece.id: piece for piece in plan.pieces}
    seconds = 0.0
    for sheet in plan.sheets:
        figure, laid = figure_for(plan.machine, sheet.stock), laid_on(sheet, pieces)
        for run in sheet.passes:
            seconds += run_time(plan.machine, figure, run, cuts_of(sheet.passes, run, laid, plan.machine)).seconds
    return seconds / 60
