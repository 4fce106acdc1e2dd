"""How well sheets are chosen: 20 made-up sign jobs against two stand-ins for planning by hand; growth; cost over time.

    python -m tests.bench.choice jobs      the table of docs/choice.md, between its marks
    python -m tests.bench.choice growth    60, 75, 150 and 300 letters: time and cost
    python -m tests.bench.choice time      cost over processor time, as CSV and SVG in docs/pictures

In: jobs of `tests.bench.jobs`, planned at default effort. Out: docs. Processor time is this process's: all threads
together, whatever else the machine does.
"""

from __future__ import annotations

import argparse
import math
import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from statistics import linear_regression

from nesting import costing
from nesting.layout.ready import get_ready
from nesting.model import CostLine, Progress
from nesting.plan import Request, make_plan
from tests.bench.by_hand import first_that_fits, in_rows
from tests.bench.jobs import letters_job, sign_job
from tests.bench.plot import steps_svg

DOCS = Path(__file__).resolve().parents[2] / "docs"
PAGE = DOCS / "choice.md"
JOBS = range(1, 21)
SIZES = (60, 75, 150, 300)


@dataclass(frozen=True, slots=True)
class Seen:
    """One best cost seen while a job was planned: after how many seconds of processor time, for which stock key."""

    seconds: float
    stock: str
    best: Decimal


@dataclass(frozen=True, slots=True)
class Measured:
    """A plan's cost lines and bound, the time it took (processor's and on the wall), and the costs on the way."""

    lines: tuple[CostLine, ...]
    bound: Decimal
    seconds: float
    wall: float
    seen: tuple[Seen, ...]

    @property
    def total(self) -> Decimal:
        return costing.total(self.lines)


def measured(request: Request) -> Measured:
    """Plan a job and look at the processor's clock."""
    start, wall, seen = time.process_time(), time.perf_counter(), list[Seen]()

    def watch(progress: Progress) -> None:
        if progress.best is not None:
            seen.append(Seen(time.process_time() - start, progress.note, progress.best))

    plan = make_plan(request, watch)
    seconds, passed = time.process_time() - start, time.perf_counter() - wall
    return Measured(plan.cost.lines, plan.cost.bound, seconds, passed, tuple(seen))


def material(lines: Iterable[CostLine]) -> Decimal:
    """Sheets, less what their leftovers are worth."""
    return sum((line.amount for line in lines if line.what.endswith((": stock", ": leftover kept"))), Decimal(0))


# ── the table of jobs ────────────────────────────────────────────────────────────────────────────────────────


def jobs_table(seeds: Iterable[int]) -> list[str]:
    """A row for each job and one for their sums: material and total of the plan and of the stand-ins."""
    rows, sums = list[str](), [Decimal(0)] * 7
    for seed in seeds:
        request = sign_job(seed)
        plan = measured(request)
        hands = in_rows(request), first_that_fits(request)
        figures = [material(plan.lines), *map(material, hands), plan.total, *map(costing.total, hands), plan.bound]
        sums = [total + figure for total, figure in zip(sums, figures, strict=True)]
        keys = len({piece.stock for piece in request.pieces})
        rows.append(_row(f"{seed}", len(request.pieces), keys, figures))
        print(rows[-1], f"{plan.seconds:.1f} s", flush=True)
    ways = "plan | in rows | first that fits"
    head = f"| job | pieces | keys | material: {ways} | total: {ways} | bound |"
    return [head, "|" + "---|" * 10, *rows, _row("all", "", "", sums), "", *_saved(sums)]


def _row(name: str, pieces: object, keys: object, figures: Sequence[Decimal]) -> str:
    return f"| {name} | {pieces} | {keys} | " + " | ".join(f"{figure:.2f}" for figure in figures) + " |"


def _saved(sums: Sequence[Decimal]) -> list[str]:
    rows, first = ((1 - sums[0] / by_hand) * 100 for by_hand in sums[1:3])
    rows_total, first_total = ((1 - sums[3] / by_hand) * 100 for by_hand in sums[4:6])
    gap = (1 - sums[6] / sums[3]) * 100
    return [
        f"The plans take {rows:.1f} % less material than rows, {first:.1f} % less than the first that fits; with all",
        f"other cost they are {rows_total:.1f} % and {first_total:.1f} % cheaper. The gap to the bound is {gap:.1f} %.",
    ]


# ── growth, and cost over time ───────────────────────────────────────────────────────────────────────────────


def growth_table(counts: Iterable[int]) -> list[str]:
    """Time and cost of jobs of so many letters, and the power of the number of letters that the time grows with."""
    rows = ["| letters | on the wall | processor time | a letter | cost | a letter | gap |", "|" + "---|" * 7]
    points = list[tuple[int, float]]()
    for count in counts:
        plan = measured(letters_job(count))
        times = f"{plan.wall:.1f} s | {plan.seconds:.1f} s | {1000 * plan.seconds / count:.0f} ms"
        gap = (1 - plan.bound / plan.total) * 100
        rows.append(f"| {count} | {times} | {plan.total:.2f} | {plan.total / count:.2f} | {gap:.1f} % |")
        points.append((count, plan.seconds))
        print(rows[-1], flush=True)
    return [*rows, "", _grows(points[-3:])]


def _grows(points: Sequence[tuple[int, float]]) -> str:
    """The slope of a straight line through the logarithms, by least squares."""
    slope, _ = linear_regression([math.log(n) for n, _ in points], [math.log(seconds) for _, seconds in points])
    span = f"From {points[0][0]} to {points[-1][0]} letters"
    return f"{span} the processor time grows with the number to the power {slope:.2f}."


def cost_over_time(requests: Sequence[Request], folder: Path) -> None:
    """`cost-over-time.csv`, a line for each round, and `cost-over-time.svg`: cost above the end's, in per cent."""
    rows, curves = ["job,stock key,seconds,cost"], dict[str, list[tuple[float, float]]]()
    for request in requests:
        plan = measured(request)
        rows += [f"{request.job.name},{s.stock},{s.seconds:.2f},{s.best}" for s in plan.seen]
        curves[request.job.name] = [(seconds, float(cost)) for seconds, cost in _whole(plan)]
    (folder / "cost-over-time.csv").write_text("\n".join(rows) + "\n", encoding="utf-8", newline="\n")
    picture = steps_svg(curves, "processor time, s", "sheets, trims and handling")
    (folder / "cost-over-time.svg").write_text(picture, encoding="utf-8", newline="\n")


def _whole(plan: Measured) -> list[tuple[float, Decimal]]:
    """The sum over stock keys after each round; a key without an answer yet counts with its first."""
    best: dict[str, Decimal] = {}
    for one in plan.seen:
        best.setdefault(one.stock, one.best)
    points = []
    for one in plan.seen:
        best[one.stock] = one.best
        points.append((one.seconds, sum(best.values(), Decimal(0))))
    return points


# ── the page ─────────────────────────────────────────────────────────────────────────────────────────────────


def put(page: Path, mark: str, lines: Sequence[str]) -> None:
    """Replace what stands between a page's marks `<!-- mark -->` and `<!-- end of mark -->`."""
    text = page.read_text(encoding="utf-8")
    start, end = f"<!-- {mark} -->\n", f"<!-- end of {mark} -->"
    before, rest = text.split(start)
    _, after = rest.split(end)
    page.write_text(f"{before}{start}{chr(10).join(lines)}\n{end}{after}", encoding="utf-8", newline="\n")


def main(arguments: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", nargs="+", choices=("jobs", "growth", "time"))
    parser.add_argument("--first", type=int, default=len(JOBS), help="so many of the jobs; fewer leave the page alone")
    options = parser.parse_args(arguments)
    get_ready()
    make_plan(sign_job(1))
    if "jobs" in options.what:
        table = jobs_table(JOBS[: options.first])
        print("\n".join(table[-4:]))
        if options.first >= len(JOBS):
            put(PAGE, "jobs", table)
    if "growth" in options.what:
        put(PAGE, "growth", growth_table(SIZES))
    if "time" in options.what:
        cost_over_time([*map(sign_job, JOBS[:4]), letters_job(60), letters_job(300)], DOCS / "pictures")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
