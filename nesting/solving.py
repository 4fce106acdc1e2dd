"""One way to call the solvers, so that every model is solved the same: fixed seed, one worker, counted effort.

With one worker CP-SAT repeats itself exactly; the limit is its deterministic time, never the clock. The solvers take a
second to import: they are imported where they are called, so that the layout engine starts without them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ortools.linear_solver import linear_solver_pb2
    from ortools.sat.python import cp_model

SEED = 1


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
    return solver, solver.solve(model)


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
