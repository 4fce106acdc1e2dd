"""`halfturn plan`, `audit` and `demo`: from a job file to a folder that an operator can cut from."""

from __future__ import annotations

import shutil
import signal
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cli.as_json import JsonOption, echo_json
from cli.options import SEED_MAX, WorkshopOption, workshop_folder
from cli.progress import Ticker
from nesting.faults import JobFault

if TYPE_CHECKING:
    from nesting.audit import Check
    from nesting.drawing.shapes import Finding
    from nesting.model import Plan
    from nesting.plan import Request

DEMO_DATA = Path(__file__).resolve().parent.parent / "demo_data"
DEMO_FOLDER = Path("halfturn-demo")
EFFORT = 8

EffortOption = Annotated[
    int, typer.Option("--effort", min=1, help="Rounds of improvement for each material, colour and thickness.")
]
SeedOption = Annotated[int, typer.Option("--seed", min=0, max=SEED_MAX, help="Same inputs and seed, same plan.")]


def plan(
    job: Annotated[Path, typer.Argument(help="The job file, e.g. job.toml.")],
    out: Annotated[Path, typer.Option("--out", help="Folder to write the plan to; an older plan there is replaced.")],
    workshop: WorkshopOption = None,
    effort: EffortOption = EFFORT,
    seed: SeedOption = 1,
) -> None:
    """Plan a job: sheets, trims, layouts, passes, cost. Writes the plan folder."""
    from cli.summary import summary_lines

    made = _planned(job, workshop_folder(workshop), out, effort, seed)
    for line in summary_lines(made, out):
        typer.echo(line)


def audit(
    folder: Annotated[Path, typer.Argument(help="A plan folder.")],
    job: Annotated[
        Path | None,
        typer.Option("--job", help="Job file: its drawings are read afresh and compared.", show_default=False),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Read a plan's drawings back and prove, check by check, that it is sound. Exit code 1 if it is not."""
    from nesting.audit import audit_plan

    checks = audit_plan(folder, job)
    failed = sum(not check.ok for check in checks)
    if as_json:
        echo_json("audit", sound=not failed, failed=failed, checks=checks)
    else:
        for check in checks:
            typer.echo(_check_line(check))
        typer.echo(f"{len(checks)} checks, {failed} failed")
    if failed:
        raise typer.Exit(1)


def demo(
    effort: EffortOption = EFFORT,
    seed: SeedOption = 1,
) -> None:
    """Plan the demo: a planetarium's entrance sign. Writes to halfturn-demo/ in the current folder."""
    from cli.summary import summary_lines

    if not DEMO_DATA.is_dir():
        raise JobFault("the demo's data is not here", mend="run this from an editable install of a clone")
    folder = _demo_workshop()
    made = _planned(DEMO_DATA / "job.toml", folder, DEMO_FOLDER / "plan", effort, seed)
    for line in summary_lines(made, DEMO_FOLDER / "plan"):
        typer.echo(line)


def _demo_workshop() -> Path:
    """A fresh workshop with the demo's rack; the demo starts from the same stock every time."""
    from cli.rack_desk import load_table

    folder = DEMO_FOLDER / "workshop"
    shutil.rmtree(folder, ignore_errors=True)
    shutil.copytree(DEMO_DATA / "workshop", folder)
    load_table(folder, folder / "rack.csv", at=datetime.now(UTC).replace(microsecond=0), who="demo")
    return folder


def _planned(job: Path, folder: Path, out: Path, effort: int, seed: int) -> Plan:
    """Read, plan, write and audit; nothing is written unless all of it goes well."""
    from cli.plan_folder import check_target, write_plan
    from nesting.plan import make_plan

    check_target(out)
    with Ticker(sys.stderr) as ticker:
        request = read_request(job, folder, effort, seed, ticker)
        with asked_to_stop("the best plan so far") as stop:
            made = make_plan(request, ticker.watch, stop)
        ticker.step("writing and auditing")
        write_plan(made, request.workshop, out)
    return made


def read_request(job: Path, folder: Path, effort: int, seed: int, ticker: Ticker) -> Request:
    """The job, the workshop and its rack, read; the layout engine is ready afterwards. Raises Faults of all kinds."""
    from cli.rack_desk import workshop_rack
    from inventory.database import reading
    from inventory.rack import on_hand
    from nesting.drawing.pieces import read_order
    from nesting.layout.ready import get_ready
    from nesting.plan import Request
    from nesting.toml_files import read_job, read_workshop

    ticker.step("reading")
    shop = read_workshop(folder / "workshop.toml")
    order = read_job(job)
    pieces, demands, findings = read_order(order, job.parent)
    with workshop_rack(folder) as opened, reading(opened) as conn:
        rack = on_hand(conn, {piece.stock for piece in pieces})
    notes, warnings = notes_and_warnings(findings)
    ticker.step("getting the layout engine ready (half a minute the first time)")
    get_ready()
    return Request(order.job, pieces, shop, rack, seed, effort, notes, warnings, demands)


def notes_and_warnings(findings: Sequence[Finding]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """What drawings and wordings gave cause to say, each once: notes that only tell, and warnings."""
    notes, warnings = (
        tuple(dict.fromkeys(str(finding) for finding in findings if finding.is_note is only)) for only in (True, False)
    )
    return notes, warnings


@contextmanager
def asked_to_stop(handed_out: str) -> Iterator[list[bool]]:
    """The first Ctrl-C asks for what there is so far, the second ends the command and leaves all as it was."""
    asked: list[bool] = []
    before = signal.getsignal(signal.SIGINT)

    def ask(_signal: int, _frame: object) -> None:
        asked.append(True)
        signal.signal(signal.SIGINT, before)
        print(f"\nstopping with {handed_out} (Ctrl-C again to give up)", file=sys.stderr)

    signal.signal(signal.SIGINT, ask)
    try:
        yield asked
    finally:
        signal.signal(signal.SIGINT, before)


def _check_line(check: Check) -> str:
    where = f"  at {check.where}" if check.where and not check.ok else ""
    return f"{'sound ' if check.ok else 'FAILED'} {check.name}: {check.words}{where}"
