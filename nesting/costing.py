"""Costing: every term of a plan's cost as a line of its own, in the shop's money.

In: planned sheets, pieces, machine, rates. Out: CostLines. Pure; Decimal, rounded half up once a line.
The same lines price a layout while it is being chosen and the finished plan, so that the two cannot differ.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from decimal import ROUND_HALF_UP, Decimal

import shapely
from shapely.geometry.base import BaseGeometry

from nesting import curves
from nesting.faults import JobFault
from nesting.model import Chain, CostLine, CuttingFigure, Machine, Piece, PlannedSheet, Rates, StockKey
from nesting.passes import minutes

CENT = Decimal("0.01")


def money(amount: Decimal) -> Decimal:
    """To the cent, half up."""
    return amount.quantize(CENT, ROUND_HALF_UP)


def figure_for(machine: Machine, stock: StockKey) -> CuttingFigure:
    """The machine's cutting figure for a stock key. Raises JobFault where there is none."""
    for figure in machine.cutting:
        if figure.material == stock.material and math.isclose(figure.thickness_mm, stock.thickness_mm):
            return figure
    raise JobFault(
        f"{machine.name} has no cutting figure for {stock.material} {stock.thickness_mm:g} mm",
        mend=f"add one under [[machine.cutting]] of {machine.name} in workshop.toml",
    )


def sheet_lines(sheet: PlannedSheet, machine: Machine, rates: Rates) -> list[CostLine]:
    """What a sheet costs by being chosen and laid out as it is: stock, handling, joins, less the leftovers' credit."""
    what = f"sheet {sheet.id}"
    lines = [CostLine(f"{what}: stock", 1, "sheet", money(sheet.price))]
    for left in sheet.leftovers:
        if left.keep and left.credit:
            lines.append(CostLine(f"{what}: leftover kept", _rect_m2(left.usable_mm), "m²", -left.credit))
    by_blank = [[p for p in sheet.passes if p.blank == blank.id] for blank in sheet.blanks]
    spent = [minutes(passes, machine) for passes in by_blank]
    setups, turns = sum((one for one, _ in spent), Decimal(0)), sum((one for _, one in spent), Decimal(0))
    trims = sum((_trim_minutes(trim.method, machine, rates) for trim in sheet.trims), Decimal(0))
    for name, taken in (("set-up", setups), ("turns", turns), ("trims", trims)):
        if taken:
            lines.append(CostLine(f"{what}: {name}", float(taken), "min", money(taken * rates.labour_per_hour / 60)))
    joins = len({(p.blank, join.number) for p in sheet.passes for join in p.joins})
    if joins:
        lines.append(CostLine(f"{what}: joins", joins, "join", money(joins * rates.join_cost)))
    return lines


def total(lines: Iterable[CostLine]) -> Decimal:
    """Sum of the lines."""
    return sum((line.amount for line in lines), Decimal(0))


def cutting_lines(pieces: Sequence[Piece], machine: Machine, rates: Rates) -> list[CostLine]:
    """Machine time to cut the pieces, and that to mark them, a line each a stock key: the same whatever the layout."""
    lines = []
    for what, seconds_of in (("cutting", cutting_seconds), ("marking", marking_seconds)):
        seconds: dict[StockKey, float] = {}
        for piece in pieces:
            seconds[piece.stock] = seconds.get(piece.stock, 0.0) + seconds_of(piece, machine)
        lines += [
            CostLine(f"{what} {stock}", round(spent / 60, 2), "min", _machine_money(spent, rates))
            for stock, spent in sorted(seconds.items())
            if spent
        ]
    return lines


def cutting_seconds(piece: Piece, machine: Machine) -> float:
    """Contours at the cutting feed with one pierce each."""
    figure = figure_for(machine, piece.stock)
    rings = [piece.outline, *piece.holes]
    cut = math.fsum(curves.length(ring, closed=True) for ring in rings)
    return cut / figure.feed_mm_s + len(rings) * figure.pierce_s


def marking_seconds(piece: Piece, machine: Machine) -> float:
    """Marks at the marking feed."""
    return marked_mm(piece.marks, machine) / machine.mark_feed_mm_s


def marked_mm(marks: Sequence[Chain], machine: Machine) -> float:
    """What the head runs to mark: along the chains, and to and fro over what closed ones enclose if they are filled."""
    along = math.fsum(curves.length(mark, closed=False) for mark in marks)
    return along + (_enclosed_mm2(marks) / machine.fill_spacing_mm if machine.fill_spacing_mm else 0.0)


def _enclosed_mm2(marks: Sequence[Chain]) -> float:
    """Area within the closed chains; of one inside another, only what lies between the two."""
    closed = [curves.polygon(mark[:-1]) for mark in marks if len(mark) > 2 and mark[0][:2] == mark[-1][:2]]
    enclosed: BaseGeometry = shapely.Polygon()
    for ring in closed:
        enclosed = enclosed.symmetric_difference(ring)
    return float(enclosed.area)


def joint_lines(pieces: Sequence[Piece], rates: Rates) -> list[CostLine]:
    """Making good the joints between segments."""
    joints = {joint.label for piece in pieces for joint in piece.joints}
    if not joints:
        return []
    return [CostLine("joints between segments", len(joints), "joint", money(len(joints) * rates.joint_cost))]


def masses_kg(sheets: Sequence[PlannedSheet], densities: Mapping[str, float]) -> dict[str, float]:
    """Mass of each sheet as it comes, kilograms: area · thickness · density; sheets of unknown density are left out."""
    return {
        sheet.id: mass_kg(sheet_area_mm2(sheet), sheet.thickness_mm, densities[sheet.material])
        for sheet in sheets
        if sheet.material in densities
    }


def mass_kg(area_mm2: float, thickness_mm: float, density_kg_m3: float) -> float:
    """Kilograms. Density of acrylic 1190 kg/m3 by ISO 1183."""
    return area_mm2 * thickness_mm * 1e-9 * density_kg_m3


def _trim_minutes(method: str, machine: Machine, rates: Rates) -> Decimal:
    return Decimal(str(machine.trim_min if method == "machine" else rates.saw_trim_min))


def _machine_money(seconds: float, rates: Rates) -> Decimal:
    return money(Decimal(str(round(seconds, 6))) * rates.machine_per_hour / 3600)


def _rect_m2(rect: tuple[float, float, float, float]) -> float:
    return round((rect[2] - rect[0]) * (rect[3] - rect[1]) / 1e6, 4)


def sheet_area_mm2(sheet: PlannedSheet) -> float:
    """Of the sheet as it comes, less its holes."""
    outline, *holes = (curves.ring_of(points) for points in (sheet.outline_mm, *sheet.holes_mm))
    return abs(curves.signed_area(outline)) - math.fsum(abs(curves.signed_area(hole)) for hole in holes)
