"""The pipeline on jobs small enough to know the answer: which sheets, at what cost, and what is refused."""

from decimal import Decimal

import pytest

from nesting import curves
from nesting.faults import ReachFault, StockFault
from nesting.model import Job, Material, Offcut, Offer, Plan, Workshop
from nesting.plan import Request, make_plan
from tests.shop import RATES, disc, laser, piece, rectangle

JOB = Job("Test")
SMALL = Offer("small", "acrylic", "opal", 5.0, 600, 400, Decimal("20.00"))
LARGE = Offer("large", "acrylic", "opal", 5.0, 1000, 600, Decimal("60.00"))


def offcut(name: str, width: float, depth: float, value: str) -> Offcut:
    corners = ((0.0, 0.0), (width, 0.0), (width, depth), (0.0, depth))
    return Offcut(name, "acrylic", "opal", 5.0, corners, book_value=Decimal(value))


def planned(pieces, offers=(SMALL, LARGE), rack=(), **machine) -> Plan:
    workshop = Workshop("shop", RATES, (laser(**machine),), (Material("acrylic", 1190),), tuple(offers))
    return make_plan(Request(JOB, tuple(pieces), workshop, tuple(rack), effort=3))


def panels(count: int, width: float = 250, depth: float = 180):
    return [piece(rectangle(width, depth), id=f"panel-{i + 1}", copy=i + 1) for i in range(count)]


def used(plan: Plan) -> list[str]:
    return sorted(sheet.source.stock_id or sheet.source.offer or "" for sheet in plan.sheets)


def test_one_panel_goes_on_the_small_sheet():
    assert used(planned(panels(1))) == ["small"]


def test_an_offcut_that_costs_less_is_used_before_a_sheet_is_bought():
    assert used(planned(panels(1), rack=[offcut("A1", 300, 250, "3.00")])) == ["A1"]


def test_an_offcut_dearer_than_a_new_sheet_stays_on_the_rack():
    assert used(planned(panels(1), rack=[offcut("A1", 300, 250, "45.00")])) == ["small"]


def test_eight_panels_take_two_small_sheets():
    plan = planned(panels(8), offers=[SMALL])
    assert used(plan) == ["small", "small"]
    assert sum(len(sheet.placements) for sheet in plan.sheets) == 8


def test_an_offcut_is_used_once():
    plan = planned(panels(5), offers=[SMALL], rack=[offcut("A1", 270, 200, "1.00")])
    assert used(plan) == ["A1", "small"]


def test_the_cost_is_the_sum_of_its_lines_and_no_less_than_the_bound():
    cost = planned(panels(8)).cost
    assert cost.total == sum(line.amount for line in cost.lines)
    assert Decimal(0) < cost.bound <= cost.total
    assert cost.gap_percent == pytest.approx(float((cost.total - cost.bound) / cost.total * 100), abs=0.01)


def test_the_known_cost_of_one_panel():
    """600 x 400 for 20.00, a set-up of 4 min at 36/h, the leftover's rectangle at half the price of its area."""
    plan = planned(panels(1), offers=[SMALL])
    amounts = {line.what: line.amount for line in plan.cost.lines}
    assert amounts["sheet S01: stock"] == Decimal("20.00")
    assert amounts["sheet S01: set-up"] == Decimal("2.40")
    x0, y0, x1, y1 = plan.sheets[0].leftovers[0].usable_mm
    credit = Decimal(str((x1 - x0) * (y1 - y0))) * Decimal("20.00") / (600 * 400) / 2
    assert -amounts["sheet S01: leftover kept"] == pytest.approx(credit, abs=Decimal("0.01"))


def test_a_piece_in_a_counter_costs_no_second_sheet():
    ring = piece(rectangle(580, 380), (curves.reversed_ring(curves.moved(rectangle(400, 200), 90, 90)),), name="frame")
    plan = planned([ring, *panels(2, 150, 150)], offers=[SMALL])
    assert used(plan) == ["small"]


def test_a_disc_beyond_the_bed_is_trimmed_turned_and_joined():
    plan = planned([piece(disc(585), name="disc")])
    (sheet,) = plan.sheets
    assert [run.turn_before for run in sheet.passes] == ["none", "half"]
    assert len(sheet.trims) == 1 and sheet.trims[0].method == "machine"
    assert len(sheet.passes[0].joins) == 2


def test_a_rail_that_may_be_split_is_split_and_its_joints_are_priced():
    plan = planned([piece(rectangle(1500, 90), name="rail", one_piece=False)])
    assert len(plan.pieces) == 3
    assert any(line.what == "joints between segments" and line.quantity == 2 for line in plan.cost.lines)


def test_a_piece_beyond_reach_is_refused_with_the_measure_lacking():
    with pytest.raises(ReachFault, match=r"1\.0 mm short") as caught:
        planned([piece(rectangle(600, 801))], margin_mm=0.0)
    assert "one_piece = false" in caught.value.mend


def test_a_piece_larger_than_every_sheet_names_the_sheet_that_would_do():
    with pytest.raises(StockFault, match="lies on no sheet") as caught:
        planned([piece(rectangle(500, 700))], offers=[SMALL])
    assert "510 x 710 mm" in caught.value.mend


def test_more_pieces_than_the_rack_holds_and_nothing_on_offer():
    with pytest.raises(StockFault, match="too little acrylic opal 5 mm for all 9 pieces"):
        planned(panels(9), offers=[], rack=[offcut("A1", 600, 400, "5.00")])


def test_two_pieces_that_each_need_the_one_sheet_are_told_apart_from_one_that_no_sheet_holds():
    with pytest.raises(StockFault, match="too little acrylic opal 5 mm for all 2 pieces"):
        planned(
            [piece(rectangle(580, 360)), piece(rectangle(560, 280), name="b")], [], [offcut("A1", 640, 400, "5.00")]
        )


def test_the_same_request_gives_the_same_plan():
    first, second = (planned([*panels(5), piece(disc(120), name="disc")]) for _ in range(2))
    assert first == second


def test_more_of_a_step_than_the_job_allows_is_told_with_its_mend():
    offer = Offer("sheet", "acrylic", "opal", 5.0, 600, 600, Decimal(40))
    workshop = Workshop("shop", RATES, (laser(),), (), (offer,))

    def steps(limit: float | None) -> list[str]:
        job = Job("Test", max_mismatch_mm=limit)
        plan = make_plan(Request(job, (piece(disc(585)),), workshop, (), effort=1))
        worst = max(join.mismatch_mm for run in plan.sheets[0].passes for join in run.joins)
        return [warning.replace(f"{worst:.2f}", "WORST") for warning in plan.warnings if "step" in warning]

    assert steps(None) == []
    assert steps(5.0) == []
    (told,) = steps(0.05)
    assert "a step of WORST mm" in told
    assert "the job allows 0.05 mm" in told
    assert "allow the piece to be split" in told


def test_a_limit_on_the_step_of_nothing_or_less_is_refused():
    for wrong in (0.0, -1.0, float("nan")):
        with pytest.raises(ValueError, match="max_mismatch_mm"):
            Job("Test", max_mismatch_mm=wrong)
