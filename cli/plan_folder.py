"""The plan folder: written whole into a temporary folder beside its place, audited, then renamed into place.

In: Plan, Workshop. Out: a folder. A plan that fails its audit is not handed out.
"""

from __future__ import annotations

from pathlib import Path

from cli.whole_folder import replaced_whole
from nesting.faults import PlanFault
from nesting.model import Plan, Workshop


def check_target(folder: Path) -> None:
    """Raises PlanFault if something other than a plan would be replaced."""
    from nesting.plan_file import PLAN_JSON

    if folder.is_dir() and (not any(folder.iterdir()) or (folder / PLAN_JSON).is_file()):
        return
    if folder.exists():
        raise PlanFault("this holds other things than a plan", mend="choose a new folder", where=(str(folder),))


def write_plan(plan: Plan, workshop: Workshop, folder: Path) -> None:
    """Replace `folder` by the plan's. Raises PlanFault if it cannot be written or the audit refuses the plan."""
    check_target(folder)
    with replaced_whole(folder) as fresh:
        fill_folder(plan, workshop, fresh)
        _audit(fresh)


def fill_folder(plan: Plan, workshop: Workshop, folder: Path) -> None:
    """plan.json, the drawings and the documents."""
    from cli.documents import write_documents
    from nesting.drawing.pass_drawings import drawings
    from nesting.drawing.writing import write_drawing
    from nesting.plan_file import PLAN_JSON, plan_text

    (folder / PLAN_JSON).write_text(plan_text(plan), encoding="utf-8", newline="\n")
    for name, layers in drawings(plan).items():
        write_drawing(folder / name, layers)
    write_documents(plan, folder, workshop)


def _audit(folder: Path) -> None:
    from nesting.audit import audit_plan

    failed = [check for check in audit_plan(folder) if not check.ok]
    if failed:
        first = failed[0]
        raise PlanFault(
            f"the plan fails its audit: {first.name}: {first.words}",
            mend="this is a mistake of the planner; please report it with the job file",
            where=(first.where,) if first.where else (),
        )
