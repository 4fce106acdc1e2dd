"""Published bin packing instances as jobs of panels, planned by the planner's own entry point, judged by the referee.

    python -m tests.external.rectangle_jobs            the tables of docs/rectangles.md, on stdout
    python -m tests.external.rectangle_jobs 'vs_*'     one of them

In: instance files (format beside them). Out: Requests, layouts in the referee's format, figures. The bins are offers
that cost what the instance says, the machine holds the largest of them, gap, margin, rates and credit are 0: what the
plan costs is what its sheets cost.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

from nesting.layout.ready import get_ready
from nesting.model import Job, Offer, Plan, Rates, Turn, Workshop
from nesting.plan import Request, make_plan
from tests.instances import RECTANGLES
from tests.shop import laser, piece, rectangle

GROUPS = (
    ("CLASS*", "20 to 100 rectangles in equal bins, ten classes: number of bins"),
    ("vs_*", "bins of five sizes: cost"),
    ("assort*", "sheets of ten sizes, hundreds of pieces of few kinds: cost"),
    ("hopper_m*", "sheets of six sizes, few of each, quarter turns allowed: cost"),
    ("abm*", "the cheapest sheets that hold all: cost"),
)
NEAR = 1.05
"""Answers are to come so near to the published bound, or a proof is to say that they cannot."""


@dataclass(frozen=True, slots=True)
class Figures:
    """What was reached: the sheets' cost, our bound on it, the instance's bounds, processor seconds, the verdict."""

    name: str
    pieces: int
    reached: int
    bound: int
    lower: int
    upper: int | None
    seconds: float
    verdict: str


def read(name: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((RECTANGLES / f"{name}.json").read_text(encoding="utf-8"))
    return found


def request_of(raw: dict[str, Any], effort: int = 8) -> Request:
    """The instance as a job; a bin costs 1 where bins are counted."""
    counted = raw["bounds"]["of"] == "bins"
    turn = Turn.ANY if raw.get("turn") else Turn.NONE
    pieces = tuple(
        piece(
            rectangle(item["length"], item["height"]),
            id=f"{item['id']}#{n}",
            name=str(item["id"]),
            copy=n + 1,
            turn=turn,
        )
        for item in raw["items"]
        for n in range(item["quantity"])
    )
    sizes = [(entry.get("width", entry.get("length")), entry["height"]) for entry in raw["bins"]]
    offers = tuple(
        Offer(
            str(k),
            "acrylic",
            "opal",
            5.0,
            *size,
            Decimal(1 if counted else entry["cost"]),
            in_stock=entry.get("quantity"),
        )
        for k, (size, entry) in enumerate(zip(sizes, raw["bins"], strict=True))
    )
    side = float(max(max(size) for size in sizes))
    machine = laser((side, side), (side, side), gap_mm=0.0, margin_mm=0.0, setup_min=0.0)
    workshop = Workshop("bench", Rates("EUR", Decimal(0), Decimal(0), leftover_credit=0.0), (machine,), offer=offers)
    return Request(Job(raw["name"]), pieces, workshop, (), effort=effort)


def layout_of(plan: Plan) -> list[dict[str, Any]]:
    """The plan in the referee's format."""
    copies: Counter[str] = Counter()
    placed = []
    for sheet in plan.sheets:
        entry = str(sheet.source.offer)
        where = [int(entry), copies[entry]]
        copies[entry] += 1
        for spot in sheet.placements:
            item, turn = spot.piece.rsplit("#", 1)[0], spot.turn_deg
            placed.append({"item": item, "sheet": where, "x": spot.x_mm, "y": spot.y_mm, "rotation": turn})
    return placed


def judged(name: str, plan: Plan) -> str:
    """The referee's verdict: VALID, or why not. Edge-to-edge cuts are not asked for: a beam cuts all round."""
    raw = read(name)
    raw.pop("guillotine", None)
    with tempfile.TemporaryDirectory() as folder:
        instance, layout = Path(folder) / "instance.json", Path(folder) / "layout.json"
        instance.write_text(json.dumps(raw), encoding="utf-8")
        layout.write_text(json.dumps(layout_of(plan)), encoding="utf-8")
        referee = [sys.executable, str(RECTANGLES.parent / "referee.py"), str(instance), str(layout)]
        done = subprocess.run(referee, capture_output=True, text=True, check=False)
    return "VALID" if done.returncode == 0 else done.stdout


def figures(name: str, effort: int = 8) -> Figures:
    """Plan one instance and have it judged."""
    raw = read(name)
    asked = request_of(raw, effort)
    start = time.process_time()
    plan = make_plan(asked)
    seconds = time.process_time() - start
    fixed = sum((line.amount for line in plan.cost.lines if not line.what.startswith("sheet ")), Decimal(0))
    bounds = raw["bounds"]
    reached, bound = (int(amount - fixed) for amount in (plan.cost.total, plan.cost.bound))
    verdict = judged(name, plan)
    return Figures(name, len(asked.pieces), reached, bound, bounds["lower"], bounds.get("upper"), seconds, verdict)


def table(names: Sequence[str]) -> Iterator[str]:
    """A row for each instance, and their sums."""
    columns = ("instance", "pieces", "reached", "our bound", "lower", "upper", "reached / lower", "reached / our bound")
    yield f"| {' | '.join(columns)} | proof | s |"
    yield "|---|---|---|---|---|---|---|---|---|---|"
    rows = []
    for name in names:
        row = figures(name)
        rows.append(row)
        mark = "" if row.verdict == "VALID" else " **not valid**"
        yield _line(f"{name}{mark}", row.pieces, row.reached, row.bound, row.lower, row.upper, row.seconds)
        print(f"{name} {row.reached} {row.bound} {row.lower} {row.seconds:.1f}", file=sys.stderr, flush=True)
    upper = sum(row.upper or row.reached for row in rows) if all(row.upper for row in rows) else None
    sums = [sum(getattr(row, what) for row in rows) for what in ("pieces", "reached", "bound", "lower")]
    yield _line("**all**", *sums, upper, sum(row.seconds for row in rows))


def _line(name: str, pieces: int, reached: int, bound: int, lower: int, upper: int | None, seconds: float) -> str:
    shares = f"{reached / lower:.3f} | {reached / max(bound, 1):.3f} | {proof(reached, bound, lower)}"
    return f"| {name} | {pieces} | {reached} | {bound} | {lower} | {upper or ''} | {shares} | {seconds:.1f} |"


def proof(reached: int, bound: int, lower: int) -> str:
    """What is proven of the answer by our bound or the published one, whichever is higher."""
    best = max(bound, lower)
    if reached == best:
        return "the least there is"
    beyond = "; 5 % over lower cannot be reached" if bound > NEAR * lower else ""
    return f"within {reached / best - 1:.1%}{beyond}"


def main() -> None:
    """Print the tables, or those asked for."""
    get_ready()
    for pattern, what in GROUPS:
        if sys.argv[1:] and pattern not in sys.argv[1:]:
            continue
        print(f"\n## {pattern.rstrip('*_')}: {what}\n", flush=True)
        for line in table(sorted(path.stem for path in RECTANGLES.glob(f"{pattern}.json"))):
            print(line, flush=True)


if __name__ == "__main__":
    main()
