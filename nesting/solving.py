"""One way to call the solver, so that every model is solved the same: fixed seed, one worker, counted effort.

With one worker CP-SAT repeats itself exactly; the limit is its deterministic time, never the clock.
"""

from __future__ import annotations

from ortools.sat.python import cp_model

SEED = 1


class NoAnswer(Exception):
    """The model has no answer, or none was found within the effort."""


def solved(model: cp_model.CpModel, effort: float, linear: int = 1) -> cp_model.CpSolver:
    """Solve to optimality or until `effort` (the solver's deterministic seconds) is spent. Raises NoAnswer.

    linear: how much of the model its linear relaxation holds; 2, all of it, tells where sets are to be partitioned.
    """
    solver = cp_model.CpSolver()
    solver.parameters.random_seed = SEED
    solver.parameters.num_workers = 1
    solver.parameters.max_deterministic_time = effort
    solver.parameters.linearization_level = linear
    # Left to itself the solver takes Ctrl-C over, and leaves the process without the handler it had.
    solver.parameters.catch_sigint_signal = False
    status = solver.solve(model)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        raise NoAnswer(solver.status_name(status))
    return solver
