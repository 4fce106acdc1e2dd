"""One way to call the solvers, so that every model is solved the same: fixed seed, one worker, counted effort.

With one worker CP-SAT repeats itself exactly; the limit is its deterministic time, never the clock. Ctrl-C is heard
while it works. The solvers take a second to import: they are imported where they are called, so that the layout engine
starts without them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import Future
from dataclasses import dataclass
from threading import Thread, current_thread, main_thread
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ortools.linear_solver import linear_solver_pb2
    from ortools.sat.python import cp_model

SEED = 1
LOOK_S = 0.1
"""Between two looks at whether somebody interrupts: what comes of a model does not depend on it."""


class NoAnswer(Exception):
    """The model has no answer, or none was found within the effort."""


@dataclass(frozen=True, slots=True)
class Relaxed:
    """Of a linear program: what one more of each demand costs, and of each limit (0 or less); how often each column is
    used, what all cost."""

    duals: tuple[float, ...]
    limit_duals: tuple[float, ...]
    uses: tuple[float, ...]
    cost: float


def solved(model: cp_model.CpModel, effort: float, linear: int = 1) -> cp_model.CpSolver:
    """Solve to optimality or until `effort` (the solver's deterministic seconds) is spent. Raises NoAnswer.

    linear: how much of the model its linear relaxation holds; 2, all of it, tells where sets are to be partitioned.
    """
    from ortools.sat.python import cp_model

    solver, status = tried(model, effort, linear)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        raise NoAnswer(solver.status_name(status))
    return solver


def tried(model: cp_model.CpModel, effort: float, linear: int = 1) -> tuple[cp_model.CpSolver, cp_model.CpSolverStatus]:
    """The same, for those who can use a proof, or a bound, without an answer."""
    from ortools.sat.python import cp_model

    solver = cp_model.CpSolver()
    solver.parameters.random_seed = SEED
    solver.parameters.num_workers = 1
    solver.parameters.max_deterministic_time = effort
    solver.parameters.linearization_level = linear
    # Left to itself the solver takes Ctrl-C over, and leaves the process without the handler it had.
    solver.parameters.catch_sigint_signal = False
    return solver, _run(solver, model)


def _run(solver: cp_model.CpSolver, model: cp_model.CpModel) -> cp_model.CpSolverStatus:
    """Solve; an interrupt (KeyboardInterrupt, or whatever else a signal's handler raises) ends the search and goes on.

    Python hears of a signal in the main thread alone, between its own steps, of which the solver makes none: there it
    runs in another.
    """
    if current_thread() is not main_thread():
        return solver.solve(model)
    outcome: Future[cp_model.CpSolverStatus] = Future()

    def solve() -> None:
        if not outcome.set_running_or_notify_cancel():
            return
        try:
            outcome.set_result(solver.solve(model))
        except Exception as fault:
            outcome.set_exception(fault)

    thread = Thread(target=solve)
    try:
        thread.start()
        while thread.is_alive():
            thread.join(LOOK_S)
    except BaseException:
        outcome.cancel()
        while thread.is_alive():
            solver.stop_search()  # again and again, as a search that has not begun yet hears nothing of it
            thread.join(LOOK_S)
        raise
    return outcome.result()


def relaxed(
    holds: Sequence[Mapping[int, int] | Sequence[int]],
    costs: Sequence[float],
    wanted: Sequence[int],
    limits: Sequence[tuple[Sequence[int], int]],
) -> Relaxed:
    """The cheapest mix of columns, in fractions: column `k` holds `holds[k][d]` of demand `d` and costs `costs[k]`.

    limits: numbers of columns, and how often these may be used together. Raises NoAnswer.
    """
    from ortools.linear_solver import pywraplp

    solver = pywraplp.Solver.CreateSolver("GLOP")
    use = [solver.NumVar(0.0, solver.infinity(), "") for _ in costs]
    demands = [solver.Constraint(float(demand), solver.infinity()) for demand in wanted]
    for held, var in zip(holds, use, strict=True):
        for number, count in held.items() if isinstance(held, Mapping) else enumerate(held):
            if count:
                demands[number].SetCoefficient(var, float(count))
    bounds = [solver.Constraint(-solver.infinity(), float(most)) for _, most in limits]
    for (columns, _), bound in zip(limits, bounds, strict=True):
        for k in columns:
            bound.SetCoefficient(use[k], 1.0)
    solver.Minimize(sum(cost * var for cost, var in zip(costs, use, strict=True)))
    if solver.Solve() != pywraplp.Solver.OPTIMAL:
        raise NoAnswer("the linear program has no answer")
    duals, limit_duals = (tuple(float(row.dual_value()) for row in rows) for rows in (demands, bounds))
    return Relaxed(
        duals, limit_duals, tuple(float(var.solution_value()) for var in use), float(solver.Objective().Value())
    )


def optimum(model: linear_solver_pb2.MPModelProto) -> list[float]:
    """What each variable of a linear program is at its optimum. Raises NoAnswer."""
    from ortools.linear_solver import pywraplp

    solver = pywraplp.Solver.CreateSolver("GLOP")
    solver.LoadModelFromProto(model)
    if solver.Solve() != pywraplp.Solver.OPTIMAL:
        raise NoAnswer("the linear program has no answer")
    return [float(variable.solution_value()) for variable in solver.variables()]
