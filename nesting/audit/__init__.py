"""The audit: reads a plan folder back and proves, check by check, that it can be cut as written.

In: a plan folder (`plan.json` and the drawings it names). Out: Checks, in the order a person would ask; PlanFault if
the folder is no plan. It trusts nothing of the planner's and shares no geometry with it.
Method: each room of this package states one family of rules over the plan laid out again from its files.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from pathlib import Path

from nesting.audit.buying import buying_checks
from nesting.audit.checks import Check, Flaw, none_wrong
from nesting.audit.cost import cost_checks
from nesting.audit.coverage import cover_sheet, coverage_checks
from nesting.audit.demands import demand_checks
from nesting.audit.drawings import Drawing, read_drawing
from nesting.audit.holding import holding_checks
from nesting.audit.leftovers import leftover_checks
from nesting.audit.lineup import lineup_checks
from nesting.audit.lists import list_checks
from nesting.audit.passes import pass_checks
from nesting.audit.pieces import piece_checks
from nesting.audit.records import PlanRecord, read_plan
from nesting.audit.scene import lay_out
from nesting.audit.segments import segment_checks
from nesting.audit.sources import source_checks
from nesting.audit.trims import trim_checks
from nesting.toml_files import read_job

__all__ = ["Check", "audit_plan"]


def audit_plan(folder: Path, job: Path | None = None) -> tuple[Check, ...]:
    """Every check of the plan in `folder`, passed or failed; with a job file, its drawings are compared.

    Raises PlanFault if there is no readable plan, JobFault if there is no readable job.
    """
    plan = read_plan(folder)
    against_job = source_checks(plan, read_job(job), job.parent) if job else []
    names = _files(plan)
    drawings = {name: read_drawing(folder / name) for name in dict.fromkeys(names)}
    scene = lay_out(plan, drawings)
    covers = [cover_sheet(sheet) for sheet in scene.sheets]
    return (
        none_wrong(
            "files", _file_flaws(folder, names, drawings), "every drawing there, sound, in millimetres, none over"
        ),
        *demand_checks(plan),
        *piece_checks(scene),
        *segment_checks(plan),
        *coverage_checks(covers, plan.machine.join_overlap_mm),
        *pass_checks(scene, covers),
        *lineup_checks(scene, covers),
        *holding_checks(scene, covers),
        *trim_checks(scene),
        *leftover_checks(scene),
        *cost_checks(plan),
        *buying_checks(plan),
        *list_checks(folder, plan),
        *against_job,
    )


def _files(plan: PlanRecord) -> list[str]:
    """The drawings the plan names, in its order; a name given twice is there twice."""
    by_trim = (trim.file for sheet in plan.sheets for trim in sheet.trims)
    return [*filter(None, by_trim), *(run.file for sheet in plan.sheets for run in sheet.passes)]


def _file_flaws(folder: Path, names: list[str], drawings: dict[str, Drawing]) -> Iterator[Flaw]:
    for name, times in Counter(names).items():
        if times > 1:
            yield Flaw(name, f"is named {times} times: each pass has its own drawing")
    for drawing in drawings.values():
        yield from drawing.flaws
    for stray in sorted(path.name for path in folder.glob("*.[dD][xX][fF]") if path.name not in drawings):
        yield Flaw(stray, "is no drawing of this plan")
