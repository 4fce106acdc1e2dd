"""The life of a plan on both databases: whole or not at all, repeatable, and true to what was cut."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from decimal import Decimal

import pytest
import sqlalchemy as sa

from inventory.books import entries_of_sheet, find_sheet, recount
from inventory.database import reading, writing
from inventory.ledger import Entry, Kind, State
from inventory.plans import Mishap, accept, arrive, cancel, finish, pass_done, standing, start, stop
from inventory.rack import correct, measure, on_hand, receive, report_missing
from nesting.faults import RackFault
from nesting.model import Offcut, Plan
from tests.inventory.sample import A1, kept, rectangle, sample_plan

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)
ANN = {"at": NOON, "who": "Ann"}
PLAN = sample_plan()


@pytest.fixture
def stocked(rack: sa.Engine) -> sa.Engine:
    do(rack, lambda conn: receive(conn, A1, **ANN))
    return rack


def do(rack: sa.Engine, *commands: Callable[[sa.Connection], object]) -> None:
    """Each command twice, each time in a transaction of its own: a repeat must do no harm."""
    for command in commands:
        for again in (False, True):
            try:
                with writing(rack) as conn:
                    command(conn)
            except RackFault:
                if not again:
                    raise


def accepted(conn: sa.Connection) -> None:
    accept(conn, "plan", PLAN, "{}", **ANN)


def run(sheet: str, order: int) -> Callable[[sa.Connection], None]:
    return lambda conn: pass_done(conn, "plan", PLAN, sheet, order, **ANN)


def state(rack: sa.Engine, sheet: str) -> State:
    with reading(rack) as conn:
        assert recount(conn) == ()
        return find_sheet(conn, sheet).state


def free(rack: sa.Engine) -> dict[str, Offcut]:
    with reading(rack) as conn:
        return {sheet.id: sheet for sheet in on_hand(conn)}


def life(rack: sa.Engine, sheet: str) -> list[Entry]:
    with reading(rack) as conn:
        return list(entries_of_sheet(conn, sheet))


def test_a_finished_plan_leaves_its_leftovers_with_all_that_is_known_of_their_sheet(stocked: sa.Engine) -> None:
    do(stocked, accepted, lambda conn: start(conn, "plan", PLAN, **ANN), run("S1", 1))
    do(stocked, lambda conn: finish(conn, "plan", PLAN, **ANN))
    left = free(stocked)
    assert list(left) == ["R2", "R3"]
    assert left["R2"] == replace(A1, id="R2", outline_mm=rectangle(140, 700), book_value=Decimal("1.20"))
    assert left["R3"].lot == "" and left["R3"].true_edges == (0, 1, 2)
    assert [state(stocked, sheet) for sheet in ("A1", "R1")] == [State.CUT, State.CUT]


def test_a_bought_sheet_and_its_leftovers_are_as_square_as_their_offer_says(stocked: sa.Engine) -> None:
    square = replace(PLAN, sheets=(PLAN.sheets[0], replace(PLAN.sheets[1], square=True)))
    do(stocked, lambda conn: accept(conn, "plan", square, "{}", **ANN))
    do(stocked, lambda conn: finish(conn, "plan", square, **ANN))
    left = free(stocked)
    assert (left["R2"].square, left["R3"].square) == (False, True)


def test_the_area_of_a_sheet_is_accounted_for(stocked: sa.Engine) -> None:
    do(stocked, accepted, lambda conn: finish(conn, "plan", PLAN, **ANN))
    cut = life(stocked, "A1")[-1]
    assert cut.kind is Kind.CUT
    assert cut.body["area_mm2"] == 600 * 700
    assert cut.body["pieces_mm2"] == 3 * 200 * 300
    assert cut.body["leftovers_mm2"] == 140 * 700
    assert cut.body["kerf_mm2"] == 3 * 1000 * 0.2
    assert sum(cut.body[f"{part}_mm2"] for part in ("pieces", "leftovers", "kerf", "scrap")) == cut.body["area_mm2"]


def test_a_plan_that_yields_more_than_its_sheet_has_is_refused(stocked: sa.Engine) -> None:
    too_much = replace(PLAN.sheets[0], leftovers=(kept(600, 700, 0, 0, "1"),))
    plan = replace(PLAN, sheets=(too_much, PLAN.sheets[1]))
    do(stocked, lambda conn: accept(conn, "plan", plan, "{}", **ANN))
    with pytest.raises(RackFault, match="yield 180000 mm2 more"), writing(stocked) as conn:
        finish(conn, "plan", plan, **ANN)
    assert state(stocked, "A1") is State.ON_RACK


def test_cancelling_lets_the_sheets_go_and_the_plan_may_be_accepted_again(stocked: sa.Engine) -> None:
    do(stocked, accepted, lambda conn: arrive(conn, "plan", PLAN, {"S2"}, **ANN))
    do(stocked, lambda conn: cancel(conn, "plan", **ANN))
    assert list(free(stocked)) == ["A1", "R1"]
    do(stocked, accepted)
    assert list(free(stocked)) == ["R1"]


def test_a_plan_that_was_cut_into_is_not_cancelled(stocked: sa.Engine) -> None:
    do(stocked, accepted, run("S1", 1))
    with pytest.raises(RackFault, match="cut into"), writing(stocked) as conn:
        cancel(conn, "plan", **ANN)


def test_passes_are_run_in_their_order(stocked: sa.Engine) -> None:
    do(stocked, accepted)
    with pytest.raises(RackFault, match="pass 1 of S1 is not run yet"), writing(stocked) as conn:
        pass_done(conn, "plan", PLAN, "S1", 2, **ANN)
    with pytest.raises(RackFault, match="no pass 3"), writing(stocked) as conn:
        pass_done(conn, "plan", PLAN, "S1", 3, **ANN)


def test_sheets_and_blanks_that_the_plan_has_not_are_named_and_nothing_is_booked(stocked: sa.Engine) -> None:
    do(stocked, accepted)
    with pytest.raises(RackFault, match="no sheet 'S7'"), writing(stocked) as conn:
        arrive(conn, "plan", PLAN, ["S2", "S7"], **ANN)
    assert not life(stocked, "R1")
    with pytest.raises(RackFault, match="no blank 'S1-b9'") as caught, writing(stocked) as conn:
        pass_done(conn, "plan", PLAN, "S1-b9", 1, **ANN)
    assert caught.value.mend == "its blanks are S1-B1, S2-B1"


def test_blanks_of_one_sheet_have_passes_of_their_own(stocked: sa.Engine) -> None:
    """Pass 1 of one blank says nothing of pass 1 of another: its pieces are still to be cut."""
    sheet = PLAN.sheets[0]
    first, second = sheet.passes
    parted = replace(sheet, passes=(replace(first, part=()), replace(second, blank="B2", order=1)))
    plan = replace(PLAN, sheets=(parted, *PLAN.sheets[1:]))
    do(stocked, lambda conn: accept(conn, "plan", plan, "{}", **ANN))
    with pytest.raises(RackFault, match="S1 is cut in 2 blanks"), writing(stocked) as conn:
        pass_done(conn, "plan", plan, "S1", 1, **ANN)
    do(stocked, lambda conn: pass_done(conn, "plan", plan, "S1-B1", 1, **ANN))
    with reading(stocked) as conn:
        now = standing(conn, "plan")
    assert now.cut(parted) == {"p1"} and now.begun(parted) == {"p1"}


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        (lambda conn: measure(conn, "A1", rectangle(590, 700), **ANN), "another outline"),
        (lambda conn: report_missing(conn, "A1", **ANN), "A1 is missing"),
        (lambda conn: correct(conn, "A1", {"colour": "white"}, why="slip", **ANN), "A1 is acrylic white 5 mm, planned"),
    ],
)
@pytest.mark.parametrize("when", ["before accepting", "before starting", "before finishing"])
def test_a_plan_whose_sheets_have_changed_is_refused_with_the_reason(
    stocked: sa.Engine, change: Callable[[sa.Connection], object], reason: str, when: str
) -> None:
    steps = {"before accepting": [], "before starting": [accepted], "before finishing": [accepted, run("S2", 1)]}[when]
    do(stocked, *steps, change)
    last = {"before accepting": accepted, "before starting": lambda conn: start(conn, "plan", PLAN, **ANN)}
    with pytest.raises(RackFault, match=reason), writing(stocked) as conn:
        last.get(when, lambda conn: finish(conn, "plan", PLAN, **ANN))(conn)


def missing(rack: sa.Engine, mishap: Mishap, remnants: dict[str, tuple] | None = None) -> list[str]:
    found: list[str] = []

    def command(conn: sa.Connection) -> None:
        found[:] = [piece.id for piece in stop(conn, "plan", PLAN, mishap, remnants or {}, why="mishap", **ANN)]

    do(rack, command)
    return found


def test_a_spoiled_piece_is_missing_again_and_what_is_cut_is_kept(stocked: sa.Engine) -> None:
    do(stocked, accepted, run("S1", 1), run("S1", 2))
    left = {"S1": (kept(140, 700, 460, 0, "1.20"),)}
    assert missing(stocked, Mishap(spoiled=frozenset({"p3"})), left) == ["p3", "p4"]
    assert list(free(stocked)) == ["R1"]
    assert life(stocked, "A1")[-1].body["pieces"] == [["p1", "p1"], ["p2", "p2"]]


def test_a_piece_of_which_a_pass_is_not_run_is_still_missing(stocked: sa.Engine) -> None:
    do(stocked, accepted, run("S1", 1))
    assert missing(stocked, Mishap()) == ["p2", "p3", "p4"]


def test_a_cracked_sheet_is_scrapped_and_the_others_are_let_go(stocked: sa.Engine) -> None:
    do(stocked, accepted, lambda conn: arrive(conn, "plan", PLAN, {"S2"}, **ANN))
    assert missing(stocked, Mishap(cracked=frozenset({"S1"}))) == ["p1", "p2", "p3", "p4"]
    assert state(stocked, "A1") is State.SCRAPPED
    assert list(free(stocked)) == ["R1"]


def test_a_sheet_that_measures_differently_is_let_go_as_it_is(stocked: sa.Engine) -> None:
    do(stocked, accepted)
    assert missing(stocked, Mishap(measured={"S1": rectangle(500, 700)})) == ["p1", "p2", "p3", "p4"]
    assert free(stocked)["A1"].outline_mm == rectangle(500, 700)


def test_a_bought_sheet_that_cracked_or_measures_differently_has_arrived(stocked: sa.Engine) -> None:
    do(stocked, accepted)
    missing(stocked, Mishap(measured={"S2": rectangle(990, 500)}, cracked=frozenset({"S1"})))
    assert free(stocked)["R1"].outline_mm == rectangle(990, 500)
    assert [entry.kind for entry in life(stocked, "R1")][-2:] == [Kind.MEASURED, Kind.RELEASED]


def test_two_plans_for_one_sheet_one_wins_and_the_other_is_told(stocked: sa.Engine) -> None:
    do(stocked, accepted)
    other: Plan = sample_plan(job="Other")
    with (
        pytest.raises(RackFault, match=r"A1 is reserved for the plan plan \(Entrance\) by Ann"),
        writing(stocked) as conn,
    ):
        accept(conn, "other", other, "{}", at=NOON, who="Bob")
