"""Overhang: how far a blank hangs out of the machine in a pass, how far it sags there, and whether it would tip.

In: PlannedSheets, Machine, Materials. Out: warnings in words. Pure.
Method: a strip held level at the table's edge bends under its own weight, sag 1.5 rho g L^4 / (E t^2) (cantilever
under a uniform load, short term); it tips once its centre of gravity lies at the edge of the table or beyond.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import shapely
from shapely.geometry import Polygon

from nesting.model import Machine, Material, Pass, PlannedSheet
from nesting.passes.reach import EPS, turned_rect
from nesting.phrases import listed

GRAVITY_M_S2 = 9.81


def sag_mm(overhang_mm: float, thickness_mm: float, density_kg_m3: float, modulus_gpa: float) -> float:
    """How far the free end hangs down, millimetres: the sheet solid, flat, at room temperature."""
    length, thickness = overhang_mm / 1000, thickness_mm / 1000
    return 1000 * 1.5 * density_kg_m3 * GRAVITY_M_S2 * length**4 / (modulus_gpa * 1e9 * thickness**2)


def overhang_warnings(sheets: Sequence[PlannedSheet], machine: Machine, materials: Sequence[Material]) -> list[str]:
    """Where a blank needs support outside the machine: past the machine's `max_sag_mm`, or out of balance; passes that
    need it for the same reasons in one sentence."""
    known = {material.name: material for material in materials}
    needs: dict[tuple[str, str, str], list[str]] = {}
    for sheet in sheets:
        for run in sheet.passes:
            why = "; ".join(_needs(sheet, run, machine, known.get(sheet.material)))
            if why:
                needs.setdefault((sheet.id, run.blank, why), []).append(str(run.order))
    return [_warning(sheet, blank, orders, why) for (sheet, blank, why), orders in needs.items()]


def _warning(sheet: str, blank: str, orders: Sequence[str], why: str) -> str:
    passes = f"{'pass' if len(orders) == 1 else 'passes'} {listed(orders)}"
    support = "support the sheet outside, level with the table, before it is let go"
    return f"sheet {sheet}, blank {blank}, {passes}: {why}: {support}"


def _needs(sheet: PlannedSheet, run: Pass, machine: Machine, material: Material | None) -> Iterator[str]:
    rect = next(blank.rect_mm for blank in sheet.blanks if blank.id == run.blank)
    laid = turned_rect(rect, run.turn_deg, run.flipped)
    front, back = laid[1] + run.shift_mm[1], laid[3] + run.shift_mm[1]
    table_front, table_back = machine.table_rect[1::2]
    over = max(0.0, table_front - front, back - table_back)
    if machine.max_sag_mm is not None and material is not None and material.modulus_gpa is not None:
        sag = sag_mm(over, sheet.thickness_mm, material.density_kg_m3, material.modulus_gpa)
        if sag > machine.max_sag_mm:
            yield f"{over:.0f} mm hang out of the machine and sag by {sag:.1f} mm (limit {machine.max_sag_mm:g} mm)"
    ground = Polygon(sheet.outline_mm, sheet.holes_mm).intersection(shapely.box(*rect))
    x, y = ground.centroid.coords[0]
    balance = turned_rect((x, y, x, y), run.turn_deg, run.flipped)[1] + run.shift_mm[1]
    outside = max(table_front - balance, balance - table_back)
    if outside > -EPS:
        yield f"its balance point lies {abs(outside):.0f} mm outside the edge of the table, it tips"
