"""`make bench`: the whole product measured, written as a table with its machine, held against the last figures.

    python -m tests.measure [--long] [--instances FOLDER] [--keep]

In: published instances (where they are at hand), jobs, drawings and racks made here. Out: docs/bench/bench.md and plots
as SVG; with `--keep`, the figures in docs/bench/bench.json that later runs are compared with. Times are processor
seconds, each taken in a process of its own. `--long` takes larger sizes, all 20 jobs against planning by hand with cost
over time, and a rack of 1,000,000 entries; it writes docs/bench/long.md beside.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import platform
import re
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from importlib.metadata import version
from pathlib import Path
from statistics import fmean, linear_regression

from tests.bench.rack import TARGET_MS
from tests.instances import INSTANCES

ROOT = Path(__file__).resolve().parents[1]
FOLDER = ROOT / "docs" / "bench"
DEMO = ROOT / "demo_data"
STRIPS = ("swim", "shapes0", "shirts")
LIBRARIES = ("numpy", "numba", "shapely", "ortools", "ezdxf", "sqlalchemy", "pydantic", "typer")
HELP_S, LIST_S = 0.4, 0.8
"""What starting may take at most."""
PACE = "seconds of the same sum in plain Python"
"""How fast the machine is while it measures: what else runs on it slows this as it does all the rest."""
QUIET = 0.8
"""A run that has less of a core shares it with other work."""
HANDS = ("rows", "the first that fits")
"""The stand-ins for planning by hand, in the order of docs/choice.md."""


@dataclass(frozen=True)
class Figure:
    """One thing measured; `size` is what a plot runs over, `limit` what it should keep."""

    group: str
    name: str
    value: float
    unit: str
    size: float | None = None
    limit: float | None = None


# ── what is measured ─────────────────────────────────────────────────────────────────────────────────────────


def paced() -> list[float]:
    """Three times the same work, in seconds: what differs is the machine's doing."""
    count = "import time; a = time.process_time(); sum(i * i for i in range(5_000_000)); print(time.process_time() - a)"
    return [float(_told(["-c", count])[0]) for _ in range(3)]


def starting(workshop: Path) -> Iterator[Figure]:
    """The best of three: what a person waits for on an idle machine."""
    for words, limit in ((["--help"], HELP_S), (["rack", "list"], LIST_S)):
        took = min(_spent(["-m", "cli.main", *words], HALFTURN_WORKSHOP=str(workshop))[0] for _ in range(3))
        yield Figure("start-up", f"halfturn {' '.join(words)}", took, "s", limit=limit)


def densities(folder: Path, seconds: float) -> Iterator[Figure]:
    """The engine on published instances, as a share of the best published density."""
    paths = [path for name in STRIPS for path in sorted(folder.glob(f"irregular/{name}.json"))]
    if not paths:
        return
    run = ["-m", "nesting.layout.bench", "--processor", "--seconds", str(seconds), *map(str, paths)]
    for line in _told(run)[1:]:
        name, _, reached, target, ratio, *_ = line.split()
        yield Figure(
            f"engine, {seconds:g} s each",
            name,
            float(ratio),
            f"of published ({float(reached):.2f} of {float(target):.2f} %)",
        )


def jobs(sizes: Sequence[int], workshop: Path) -> Iterator[Figure]:
    """The demo's star and letters, more and more of them: cost, processor time, memory, how the time grows."""
    times = []
    for size in sizes:
        with tempfile.TemporaryDirectory() as place:
            job = Path(place) / "job.toml"
            job.write_text(_job(size), encoding="utf-8")
            out = Path(place) / "plan"
            words = ["-m", "cli.main", "plan", str(job), "--out", str(out), "--effort", "2"]
            seconds, megabytes = _spent(words, HALFTURN_WORKSHOP=str(workshop))
            cost = json.loads((out / "plan.json").read_text(encoding="utf-8"))["cost"]
        times.append(seconds)
        yield Figure("jobs: time", f"{size} pieces", seconds, "s", size)
        yield Figure("jobs: memory", f"{size} pieces", megabytes, "MB", size)
        yield Figure("jobs: cost", f"{size} pieces", float(cost["total"]), cost["currency"], size)
        yield Figure("jobs: gap to the bound", f"{size} pieces", float(cost["gap_percent"]), "%", size)
    if len(times) > 1:
        slope, _ = linear_regression([math.log(size) for size in sizes], [math.log(took) for took in times])
        yield Figure("jobs: growth", "power of the number of pieces that the time grows with", slope, "")


def _job(size: int) -> str:
    stock = 'material = "acrylic"\ncolour = "opal"\nthickness_mm = 5\n'
    star = f'name = "star"\ndrawing = "{DEMO / "drawings" / "star.dxf"}"\nquantity = {size // 2}\n'
    word = f'name = "word"\nwording = "O"\nheight_mm = 120\nquantity = {size - size // 2}\n'
    return f'[job]\nname = "bench"\nmachine = "small laser"\n[[piece]]\n{star}{stock}[[piece]]\n{word}{stock}'


def against_hands(count: int) -> Iterator[Figure]:
    """The first sign jobs of docs/choice.md against two stand-ins for planning by hand."""
    yield from _hands(_told(["-m", "tests.bench.choice", "jobs", "--first", str(count)]), count)


def choices() -> Iterator[Figure]:
    """The whole of docs/choice.md made again: 20 jobs against planning by hand, growth, cost over time."""
    told = _told(["-m", "tests.bench.choice", "jobs", "growth", "time"])
    yield from _hands(told, 20)
    yield from _letters(told)


def _letters(told: Sequence[str]) -> Iterator[Figure]:
    """From the rows of growth: letters, on the wall, processor time, a letter, cost, a letter, gap."""
    for cells in (_cells(line) for line in told if line.count("|") == 8):
        size, seconds, cost, gap = (
            int(cells[0]),
            float(cells[2].split()[0]),
            float(cells[4]),
            float(cells[6].split()[0]),
        )
        yield Figure("letters: time", f"{size} letters", seconds, "s", size)
        yield Figure("letters: cost", f"{size} letters", cost, "", size)
        yield Figure("letters: gap to the bound", f"{size} letters", gap, "%", size)


def _hands(told: Sequence[str], count: int) -> Iterator[Figure]:
    """From the row of sums: what the plans cost as a share of what planning by hand costs, and their gap."""
    sums = [float(cell) for cell in _cells(next(line for line in told if line.startswith("| all |")))[3:]]
    for what, (plan, *hands) in (("material", sums[:3]), ("total", sums[3:6])):
        for hand, cost in zip(HANDS, hands, strict=True):
            yield Figure(f"{count} jobs against planning by hand", f"{what}, of that of {hand}", plan / cost, "")
    yield Figure(f"{count} jobs against planning by hand", "gap to the bound", 100 * (1 - sums[6] / sums[3]), "%")


def _cells(row: str) -> list[str]:
    return [cell.strip() for cell in row.split("|")[1:-1]]


def intake(sizes: Sequence[int]) -> Iterator[Figure]:
    """Drawings of so many splines, read into pieces."""
    for size in sizes:
        with tempfile.TemporaryDirectory() as place:
            path = Path(place) / "many.dxf"
            _many_splines(path, size)
            read = "import sys, pathlib, nesting.drawing.reading as r; r.read_drawing(pathlib.Path(sys.argv[1]))"
            seconds, megabytes = _spent(["-c", read, str(path)])
        yield Figure("intake: time", f"{size} splines", seconds, "s", size)
        yield Figure("intake: memory", f"{size} splines", megabytes, "MB", size)


def _many_splines(path: Path, count: int) -> None:
    import ezdxf

    document = ezdxf.new("R2010", units=4)
    for k in range(count):
        x, y = 30.0 * (k % 100), 30.0 * (k // 100)
        points = [(x, y), (x + 12, y + 4 + k % 7), (x + 20, y + 14), (x + 6, y + 20), (x, y)]
        document.modelspace().add_spline(fit_points=points)
    document.saveas(path)


def ledger(sheets: int) -> Iterator[Figure]:
    """The rack's own measurement, with so many sheets and ten entries to each."""
    run = ["-m", "tests.bench.rack", "--sheets", str(sheets), "--entries", str(10 * sheets)]
    for line in _told(run)[1:]:
        yield Figure(f"ledger, {sheets} sheets", line[:48].strip(), float(line[48:].split()[0]), "ms", limit=TARGET_MS)


def _told(words: Sequence[str]) -> list[str]:
    """The lines a Python process says."""
    done = subprocess.run([sys.executable, *words], cwd=ROOT, capture_output=True, text=True)
    if done.returncode:
        raise SystemExit(f"{' '.join(words)} failed:\n{done.stderr}")
    return done.stdout.splitlines()


def _spent(words: Sequence[str], **environment: str) -> tuple[float, float]:
    """Processor seconds and the most memory (MB) of one Python process."""
    with tempfile.TemporaryFile("w+") as told:
        run = [sys.executable, *words]
        child = subprocess.Popen(run, cwd=ROOT, env={**os.environ, **environment}, stdout=told, stderr=told)
        _, status, usage = os.wait4(child.pid, 0)
        child.returncode = os.waitstatus_to_exitcode(status)
        if child.returncode:
            told.seek(0)
            raise SystemExit(f"{' '.join(words)} failed:\n{told.read()}")
    return usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024


# ── what is written ──────────────────────────────────────────────────────────────────────────────────────────


def page(
    figures: Sequence[Figure], before: dict[str, float], took: float, at_work: float = 1.0, plots: str = ""
) -> str:
    """The table; the last column is today's figure over the kept one, `plots` begins the names of the plots.

    `at_work` is the share of a core that the run had, of the `took` seconds: others had the rest.
    """
    versions = ", ".join(f"{name} {version(name)}" for name in LIBRARIES)
    lines = [
        "# Benchmarks",
        "",
        "`make bench` writes bench.md, `make bench LONG=1` long.md; with `KEEP=1` figures are kept for later runs.",
        "",
    ]
    lines += [f"Machine: {_machine()}. Python {platform.python_version()}, {versions}.", ""]
    lines += [f"Taken in {took:.0f} s. Seconds are the processor's, milliseconds of the ledger by the clock.", ""]
    if at_work < QUIET:
        lines += [
            f"**The machine was busy with other work**: this run had {at_work:.0%} of a core. Times are longer and"
        ]
        lines += ["the engine's densities lower than on a quiet machine.", ""]
    lines += [
        "Ratio is today's figure over the one kept; of times, memory and cost less is better. Ratios of times are"
    ]
    lines += ["told as if the machine were as fast as it was then: by the seconds that the same sum took.", ""]
    slower = _slower(figures, before)
    for group in dict.fromkeys(figure.group for figure in figures):
        lines += [f"## {group}", "", "| | figure | limit | ratio |", "|---|---|---|---|"]
        lines += [_row(figure, before, slower) for figure in figures if figure.group == group]
        lines += ["", *([f"![{group}]({plots}{_plot_name(group)})", ""] if _plotted(figures, group) else [])]
    if any(figure.group == "letters: time" for figure in figures):
        lines += ["![Cost over time of six jobs](../pictures/cost-over-time.svg)", ""]
    return "\n".join(lines)


def _machine() -> str:
    """What the figures depend on, as far as the system tells it: kind and clock of the cores, their number, memory."""
    told = Path("/proc/cpuinfo")
    clock = re.search(r"^cpu MHz\s*:\s*([\d.]+)", told.read_text() if told.exists() else "", re.MULTILINE)
    cores = f"{os.cpu_count()} cores" + (f" at {float(clock[1]) / 1000:.1f} GHz" if clock else "")
    known = hasattr(os, "sysconf") and "SC_PHYS_PAGES" in os.sysconf_names
    memory = [f"{os.sysconf('SC_PHYS_PAGES') * os.sysconf('SC_PAGE_SIZE') / 2**30:.0f} GB of memory"] if known else []
    return ", ".join([f"{platform.system()} on {platform.machine()}", cores, *memory])


def _slower(figures: Sequence[Figure], before: dict[str, float]) -> float:
    """How many times as long the same work takes as when the figures were kept; 1 where that is not known."""
    now = next((figure for figure in figures if figure.name == PACE), None)
    return now.value / before[_key(now)] if now and _key(now) in before else 1.0


def _row(figure: Figure, before: dict[str, float], slower: float) -> str:
    kept = before.get(_key(figure))
    shared = slower if figure.unit in ("s", "ms") and figure.name != PACE else 1.0
    ratio = f"{figure.value / kept / shared:.2f}" if kept else "-"
    limit = f"{figure.limit:g}" if figure.limit is not None else "-"
    past = " **past it**" if figure.limit is not None and figure.value > figure.limit else ""
    return f"| {figure.name} | {f'{figure.value:.4g} {figure.unit}'.strip()} | {limit}{past} | {ratio} |"


def _key(figure: Figure) -> str:
    return f"{figure.group}: {figure.name}"


def _plot_name(group: str) -> str:
    return "".join(c if c.isalnum() else "-" for c in group) + ".svg"


def _plotted(figures: Sequence[Figure], group: str) -> list[Figure]:
    found = [figure for figure in figures if figure.group == group and figure.size is not None]
    return found if len(found) > 1 else []


def plot(group: str, figures: Sequence[Figure]) -> str:
    """A line over the sizes, from 0, with every figure written at its point."""
    most_x = max(figure.size or 0.0 for figure in figures)
    most_y = max(figure.value for figure in figures) or 1.0
    points = [(60 + 480 * (f.size or 0.0) / most_x, 210 - 160 * f.value / most_y, f) for f in figures]
    line = " ".join(f"{x:.1f},{y:.1f}" for x, y, _ in points)
    marks = "".join(
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3"/><text x="{x:.1f}" y="{y - 8:.1f}" text-anchor="middle">'
        f'{f.value:.3g}</text><text x="{x:.1f}" y="228" text-anchor="middle">{f.size:g}</text>'
        for x, y, f in points
    )
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 600 240" width="600" height="240" '
        'font-family="sans-serif" font-size="12"><rect width="600" height="240" fill="white"/>'
        f'<text x="60" y="18">{group}, {figures[0].unit}, by {figures[0].name.split()[-1]}</text>'
        '<path d="M 60 40 V 210 H 560" fill="none" stroke="black"/>'
        f'<polyline points="{line}" fill="none" stroke="black" stroke-width="2"/>{marks}</svg>\n'
    )


def measured(long: bool, instances: Path) -> list[Figure]:
    """All figures, the machine's own before and after them."""
    paces = paced()
    with tempfile.TemporaryDirectory() as place:
        workshop = _workshop(Path(place))
        for once in (jobs([4], workshop), intake([1])):
            list(once)  # compiles what is compiled once
        figures = [*starting(workshop), *jobs((10, 20, 40, 80, 160) if long else (10, 20, 40), workshop)]
    figures += choices() if long else against_hands(5)
    figures += intake((1000, 4000, 16000) if long else (500, 2000))
    figures += ledger(100_000 if long else 2_000)
    figures += densities(instances, 60.0 if long else 5.0)
    return [Figure("the machine", PACE, fmean([*paces, *paced()]), "s"), *figures]


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--long", action="store_true", help="longer searches, larger jobs, a rack of 100,000 sheets")
    asked.add_argument("--instances", type=Path, default=INSTANCES)
    asked.add_argument("--keep", action="store_true", help="keep these figures for later runs to be compared with")
    asked.add_argument("--out", type=Path, default=FOLDER)
    options = asked.parse_args()
    begun = time.monotonic()
    figures = measured(options.long, options.instances)
    took, ours = time.monotonic() - begun, resource.getrusage(resource.RUSAGE_CHILDREN)
    options.out.mkdir(parents=True, exist_ok=True)
    name, plots = ("long.md", "long-") if options.long else ("bench.md", "")
    kept = options.out / "bench.json"
    before = [Figure(**one) for one in json.loads(kept.read_text())] if kept.exists() else []
    text = page(figures, {_key(one): one.value for one in before}, took, (ours.ru_utime + ours.ru_stime) / took, plots)
    (options.out / name).write_text(text, encoding="utf-8", newline="\n")
    for group in dict.fromkeys(figure.group for figure in figures):
        if found := _plotted(figures, group):
            (options.out / f"{plots}{_plot_name(group)}").write_text(plot(group, found), encoding="utf-8", newline="\n")
    if options.keep or not before:
        _keep(kept, [*before, *figures])
    print(text)


def _keep(path: Path, figures: Sequence[Figure]) -> None:
    """The figures of both sizes of run, of each the latest."""
    latest = {_key(figure): asdict(figure) for figure in figures}
    path.write_text(json.dumps([*latest.values()], indent=1) + "\n", encoding="utf-8", newline="\n")


def _workshop(place: Path) -> Path:
    """The demo's workshop with its rack."""
    import shutil
    from datetime import UTC, datetime

    from cli.rack_desk import load_table

    folder = place / "workshop"
    shutil.copytree(DEMO / "workshop", folder)
    load_table(folder, folder / "rack.csv", at=datetime.now(UTC).replace(microsecond=0), who="bench")
    return folder


if __name__ == "__main__":
    main()
