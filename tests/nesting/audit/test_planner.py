"""What the planner makes for all sorts of machines and stock passes the audit; damaged, it does not."""

from __future__ import annotations

import copy
import math
import random
from decimal import Decimal
from pathlib import Path

import pytest

from nesting.audit import audit_plan
from nesting.faults import PlanFault
from nesting.model import CuttingFigure, Job, Machine, Offcut, Offer, Piece, Rates, Ring, Turn, Workshop
from tests.nesting.audit.damages import DAMAGES, NotHere
from tests.nesting.audit.folder import load

planning = pytest.importorskip("nesting.plan")


def circle(x: float, y: float, radius: float, bulge: float = 1.0) -> Ring:
    return ((x - radius, y, bulge), (x + radius, y, bulge))


def blob(dice: random.Random, radius: float) -> Ring:
    count = dice.randint(6, 9)
    reach = [radius * dice.uniform(0.6, 0.9) for _ in range(count)]
    turns = [math.tau * i / count for i in range(count)]
    bulges = [dice.choice([0.0, 0.1, -0.1]) for _ in range(count)]
    return tuple((r * math.cos(t), r * math.sin(t), b) for r, t, b in zip(reach, turns, bulges, strict=True))


def request(seed: int) -> object:
    """A machine, a rack with an L and a kite, offers, and pieces of which some are deeper than the travel."""
    dice = random.Random(seed)
    travel = dice.choice([(600.0, 400.0), (500.0, 300.0), (400.0, 400.0)])
    stock = ("acrylic", "white", dice.choice([3.0, 5.0, 10.0]))
    machine = Machine(
        "laser", "laser", travel, (travel[0] + dice.choice([0.0, 20.0]), travel[1]),
        (CuttingFigure("acrylic", stock[2], 0.2, 8.0, 1.0),), open_front=True, open_back=dice.random() < 0.4,
        gap_mm=dice.choice([0.0, 2.0, 5.0]), margin_mm=dice.choice([0.0, 5.0, 8.0]),
    )  # fmt: skip
    rack = (
        Offcut("R1", *stock, ((0, 0), (500, 0), (500, 200), (250, 200), (250, 390), (0, 390)), book_value=Decimal(9)),
        Offcut("R2", *stock, ((0, 0), (420, 0), (350, 260), (40, 300)), book_value=Decimal(4)),
    )
    offers = tuple(Offer(f"o{x}", *stock, x, y, Decimal(p)) for x, y, p in ((1220.0, 610.0, 60), (600.0, 400.0, 25)))
    rates = Rates("EUR", Decimal(45), Decimal(36), keep_mm=(100.0, 150.0))
    workshop = Workshop("workshop", rates, (machine,), (), offers)
    return planning.Request(Job("job"), tuple(_pieces(dice, stock, travel[1])), workshop, rack, seed=1, effort=1)


def _pieces(dice: random.Random, stock: tuple[str, str, float], depth: float) -> list[Piece]:
    tall, radius = depth * dice.uniform(1.1, 1.4), dice.uniform(20, 60)
    moon: Ring = ((0.0, 0.0, 0.5), (0.0, tall, -0.3))
    mark = ((0.17 * tall, 0.4 * tall, 0.0), (0.19 * tall, 0.56 * tall, 0.0))
    rail: Ring = ((0, 0, 0), (900.0, 0, 0), (900.0, 60.0, 0), (0, 60.0, 0))
    shapes = [
        ("moon", 1, moon, {"holes": (circle(0.2 * tall, 0.5 * tall, 6.0, -1.0),), "marks": (mark,)}),
        ("rail", 1, rail, {"one_piece": False, "joint": dice.choice(["butt", "keyed", "strap"])}),
        ("ring", 2, circle(0, 0, 90.0), {"holes": (circle(0, 0, 60.0, -1.0),)}),
        ("blob", dice.randint(1, 4), blob(dice, radius), {"mirror": True, "turn": dice.choice(list(Turn))}),
    ]
    return [
        Piece(f"{name}-{copy}", name, copy, *stock, outline, **more)  # type: ignore[arg-type]
        for name, count, outline, more in shapes
        for copy in range(1, count + 1)
    ]


@pytest.mark.parametrize("seed", range(6))
def test_a_plan_passes_its_audit_and_damaged_it_does_not(seed: int, tmp_path: Path) -> None:
    from nesting.drawing.pass_drawings import drawings
    from nesting.drawing.writing import write_drawing
    from nesting.plan_file import plan_text

    plan = planning.make_plan(request(seed))
    folder = tmp_path / "plan"
    folder.mkdir()
    (folder / "plan.json").write_text(plan_text(plan), encoding="utf-8")
    for name, layers in drawings(plan).items():
        write_drawing(folder / name, layers)
    assert [check for check in audit_plan(folder) if not check.ok] == []
    sound = load(folder)
    for damage in random.Random(seed).sample(DAMAGES, 12):
        harmed = copy.deepcopy(sound)
        try:
            damage.harm(harmed)
            failed = {c.name for c in audit_plan(harmed.write(tmp_path / damage.name)) if not c.ok}
            assert damage.caught_by in failed, f"{damage.name}: failed instead {sorted(failed)}"
        except (NotHere, PlanFault):
            continue
