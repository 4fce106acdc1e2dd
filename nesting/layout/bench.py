"""Measure the engine on published instances, against the clock: one instance, or a table of all.

    python -m nesting.layout.bench INSTANCE.json --seconds 60 --seed 1 --out LAYOUT.json
    python -m nesting.layout.bench --all FOLDER --seconds 10 --only 'irregular/(hides|stock)'
    python -m nesting.layout.bench --all FOLDER --only known/ --grow 1.02
    python -m nesting.layout.bench --all FOLDER --only irregular/bins --kept KEPT.json

In: instance files. Out: layout files, and on stdout a line per instance: what was reached, the best published figure
or bound, and the ratio to it, to the mean published and to what is kept (1 is as good, less is worse), seconds by the
clock and of processor time. A folder's `referee.py`, where there is one, judges too. Kept figures are reached at a
stated number of positions tried, the same on slow and fast machines; where one is worse, the exit status is 1.
"""

from __future__ import annotations

import argparse
import json
import re
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from shapely.geometry import Polygon, box

from nesting.faults import Fault
from nesting.layout import guillotine
from nesting.layout.asked import Stock
from nesting.layout.fill import fill
from nesting.layout.instances import Instance, read, written
from nesting.layout.ready import get_ready
from nesting.layout.stock import cheapest
from nesting.layout.strip import strip
from nesting.layout.terms import Effort, Ground, Shape, Spot, Stop, after_evaluations
from nesting.patterns import Want, best_pattern

HEAD = (
    f"{'instance':30s} {'what':>8s} {'reached':>12s} {'target':>12s} {'ratio':>7s} {'mean':>7s} {'kept':>7s} "
    f"{'s':>6s} {'cpu s':>6s}  judged"
)
SAME = 1e-6
"""A figure so much worse than the kept one is as good."""


Clock = Callable[[], float]
"""Seconds since whenever."""


@dataclass(frozen=True, slots=True)
class Answer:
    """Spots, the entry and copy of each ground they lie on, and what was reached (higher is better if `up`)."""

    spots: Sequence[Spot]
    addresses: Sequence[tuple[int, int]]
    what: str
    reached: float
    up: bool


def two_cores() -> float:
    """Seconds that two idle cores would have needed so far: fair whatever else the machine does."""
    return time.process_time() / 2


def after_seconds(most: float, clock: Clock = time.monotonic) -> Stop:
    """Stop by the clock: only for measuring, since the same seed then need not give the same layout."""
    start = clock()

    def stop(_: Effort) -> float:
        return (clock() - start) / most

    return stop


def solve(instance: Instance, stop: Stop, seed: int) -> Answer:
    """The engine's answer to an instance of any kind."""
    if instance.guillotine and instance.goal != "least cost":
        return _guillotine(instance, stop, seed)
    if instance.width_mm is not None:
        layout = strip(instance.shapes, instance.width_mm, stop=stop, seed=seed)
        assert layout.length_mm is not None
        density = 100.0 * instance.item_area_mm2 / (instance.width_mm * layout.length_mm)
        return Answer(layout.spots, [(0, 0)], "density", density, True)
    if instance.goal == "least cost":
        stock = [Stock(sheet.ground, sheet.cost, sheet.quantity) for sheet in instance.sheets]
        found = cheapest(instance.shapes, stock, stop=stop, seed=seed)
        cost = float("inf") if found.layout.missing else found.cost
        counted = (instance.raw.get("bounds") or {}).get("of") == "bins"
        reached = float(len(found.sheets)) if counted and not found.layout.missing else cost
        return Answer(found.layout.spots, _copies(found.sheets), "bins" if counted else "cost", reached, False)
    kinds = [kind for kind, sheet in enumerate(instance.sheets) for _ in range(sheet.quantity or 1)]
    layout = fill(instance.shapes, [instance.sheets[kind].ground for kind in kinds], stop=stop, seed=seed)
    return Answer(layout.spots, _copies(kinds), *_worth(instance, layout.value), True)


def _worth(instance: Instance, value: float) -> tuple[str, float]:
    """The value laid; areas in the instance's own unit."""
    return ("area", value / instance.unit_mm**2) if instance.goal == "largest area" else ("value", value)


def _guillotine(instance: Instance, stop: Stop, seed: int) -> Answer:
    if instance.width_mm is not None:
        spots, length = guillotine.strip(instance.shapes, instance.width_mm, stop, seed)
        return Answer(spots, [(0, 0)], "density", 100.0 * instance.item_area_mm2 / (instance.width_mm * length), True)
    items, stock = instance.raw["items"], instance.raw["bins"][0]
    wants = [
        Want(
            _sides(item),
            int(item["value"]),
            int(item.get("quantity_max", item["quantity"])),
            bool(instance.raw.get("turn")),
        )
        for item in items
    ]
    pattern = best_pattern(_sides(stock), wants)
    copies: Counter[int] = Counter()
    spots = []
    for part in pattern.root.freed():
        assert part.want is not None
        x, y = part.corner[0] + (part.size[0] if part.turned else 0), part.corner[1]
        name = f"{items[part.want]['id']}#{copies[part.want]}"
        copies[part.want] += 1
        spots.append(Spot(name, x * instance.unit_mm, y * instance.unit_mm, 90.0 if part.turned else 0.0))
    return Answer(spots, [(0, 0)], "value", pattern.value, True)


def _sides(entry: dict[str, Any]) -> tuple[int, int]:
    return int(entry["width"] if "width" in entry else entry["length"]), int(entry["height"])


def _copies(kinds: Sequence[int]) -> list[tuple[int, int]]:
    """Sheets by their kinds, as (kind, copy)."""
    return [(kind, list(kinds[:at]).count(kind)) for at, kind in enumerate(kinds)]


def _target(instance: Instance, what: str) -> float | None:
    """The best published figure, else the proven bound."""
    raw = instance.raw
    best, bounds = raw.get("best_published") or {}, raw.get("bounds") or {}
    if what == "density":
        if best.get("density_percent"):
            return float(best["density_percent"])
        return 100.0
    if what in ("bins", "cost"):
        return float(best.get(what) or bounds.get("lower") or best.get("bins") or 0.0) or None
    return float(best.get("value") or bounds.get("upper") or 0.0) or None


@dataclass(frozen=True, slots=True)
class Run:
    """How instances are measured: the stop rule of each, the seed, sheets so many times longer and wider, the file to
    write the layout to, and what was reached before (by folder and name)."""

    stop: Callable[[], Stop]
    seed: int
    grow: float
    out: Path | None
    kept: dict[str, float]


@dataclass(frozen=True, slots=True)
class Line:
    """A line of the table: the instance's folder and name, what was reached, and the ratio to what is kept."""

    name: str
    text: str
    reached: float
    to_kept: float | None


def line(path: Path, run: Run) -> Line:
    """Solve one instance; the table's line for it."""
    instance = read(path, run.grow)
    start, worked = time.monotonic(), time.process_time()
    answer = solve(instance, run.stop(), run.seed)
    took, worked = time.monotonic() - start, time.process_time() - worked
    judged = _judged(instance, answer, run.out, path.parent.parent / "referee.py")
    mean = instance.published("mean") if answer.what == "density" else None
    name = f"{path.parent.name}/{path.stem}"
    kept = _ratio(answer, run.kept.get(name))
    ratios = " ".join(
        "      -" if r is None else f"{r:7.4f}"
        for r in (_ratio(answer, _target(instance, answer.what)), _ratio(answer, mean), kept)
    )
    head = f"{instance.name:30s} {answer.what:>8s} {answer.reached:12.8g} {_target(instance, answer.what) or 0:12.8g}"
    return Line(name, f"{head} {ratios} {took:6.1f} {worked:6.1f}  {judged}", answer.reached, kept)


def _ratio(answer: Answer, other: float | None) -> float | None:
    """1: as good as the other; less: worse."""
    if not other:
        return None
    return answer.reached / other if answer.up else other / answer.reached


def _judged(instance: Instance, answer: Answer, out: Path | None, referee: Path) -> str:
    text = written(instance, answer.spots, answer.addresses)
    if out is not None:
        out.write_text(text, encoding="utf-8")
    if not referee.exists():
        return "-"
    with tempfile.TemporaryDirectory() as folder:
        asked, layout = Path(folder) / "instance.json", Path(folder) / "layout.json"
        asked.write_text(json.dumps(instance.raw), encoding="utf-8")
        layout.write_text(text, encoding="utf-8")
        done = subprocess.run([sys.executable, referee, asked, layout], capture_output=True, text=True, check=False)
    return (done.stdout or done.stderr).split(maxsplit=1)[0]


def warm_up() -> None:
    """Compile (or load) every kernel of outlines, so that the clock does not see it."""
    get_ready(outlines_only=True)
    squares = [Shape(str(k), box(0, 0, 60, 40), None if k == 0 else (0.0, 90.0)) for k in range(4)]
    star = Shape("star", Polygon([(0, 0), (50, 20), (100, 0), (80, 50), (100, 100), (50, 80), (0, 100), (20, 50)]))
    strip([*squares, star], 130.0, stop=after_evaluations(20_000))
    fill(
        squares,
        Ground(Polygon([(0, 0), (150, 0), (150, 50), (100, 50), (100, 100), (0, 100)])),
        stop=after_evaluations(2_000),
    )


def main(arguments: Sequence[str] | None = None) -> int:
    options = _options(arguments)
    kept = json.loads(options.kept.read_text(encoding="utf-8")) if options.kept else {}
    work = options.evaluations or kept.get("evaluations")
    clock = two_cores if options.processor else time.monotonic
    stop = partial(after_evaluations, work) if work else partial(after_seconds, options.seconds, clock)
    run = Run(stop, options.seed, options.grow, options.out, kept.get("reached", {}))
    paths = list(options.instances)
    if options.all:
        found = sorted(p for p in options.all.glob("*/*.json") if re.search(options.only, f"{p.parent.name}/{p.stem}"))
        paths += [path for path in found if '"items"' in path.read_text(encoding="utf-8")]
    warm_up()
    print(HEAD, flush=True)
    lines = []
    for path in paths:
        try:
            lines.append(line(path, run))
        except Fault as fault:
            print(fault, file=sys.stderr)
            return fault.exit_code
        print(lines[-1].text, flush=True)
    if options.keep:
        reached = run.kept | {each.name: each.reached for each in lines if each.name not in run.kept}
        text = json.dumps({"evaluations": work, "reached": reached}, indent=1, sort_keys=True)
        options.keep.write_text(text + "\n", encoding="utf-8")
    worse = [each.name for each in lines if each.to_kept is not None and each.to_kept < 1.0 - SAME]
    for name in worse:
        print(f"worse than kept: {name}", file=sys.stderr)
    return 1 if worse else 0


def _options(arguments: Sequence[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("instances", nargs="*", type=Path, metavar="INSTANCE.json")
    parser.add_argument("--all", type=Path, metavar="FOLDER", help="every instance in a folder and below")
    parser.add_argument("--only", default="", metavar="PATTERN", help="of a folder, what this pattern is found in")
    parser.add_argument("--seconds", type=float, default=10.0, help="per instance, wall clock (default 10)")
    parser.add_argument("--processor", action="store_true", help="count processor time, halved, as of two idle cores")
    parser.add_argument("--evaluations", type=int, help="per instance, positions tried, instead of seconds")
    parser.add_argument("--grow", type=float, default=1.0, metavar="1.02", help="sheets so much longer and wider")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--out", type=Path, metavar="LAYOUT.json", help="write the layout (of the last instance)")
    parser.add_argument(
        "--kept", type=Path, metavar="KEPT.json", help="compare with what was reached before, at its work"
    )
    parser.add_argument("--keep", type=Path, metavar="KEPT.json", help="add what is not kept yet and write it here")
    return parser.parse_args(arguments)


if __name__ == "__main__":
    sys.exit(main())
