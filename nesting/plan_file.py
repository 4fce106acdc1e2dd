"""`plan.json`: the whole plan for machines, by the field names of `nesting.model.Plan`.

The same plan gives the same bytes: fields in the order of the records, numbers rounded to a nanometre.
"""

from __future__ import annotations

import json
from pathlib import Path

from pydantic import TypeAdapter, ValidationError

from nesting.faults import PlanFault
from nesting.model import Plan
from nesting.plain import plain

PLAN_JSON = "plan.json"


def plan_text(plan: Plan) -> str:
    """The plan as JSON text, one record a line where it is short."""
    return json.dumps(plain(plan), indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def read_plan(folder: Path) -> Plan:
    """The plan in a plan folder. Raises PlanFault."""
    path = folder / PLAN_JSON
    if path.exists() and not path.is_file():
        raise _no_plan(str(path))
    try:
        return parse_plan(path.read_text(encoding="utf-8"), str(path))
    except OSError as error:
        raise PlanFault(
            f"the plan cannot be read: {error.strerror}", mend="check the folder", where=(str(path),)
        ) from None
    except UnicodeDecodeError:
        raise _no_plan(str(path)) from None


def parse_plan(text: str, where: str) -> Plan:
    """The plan in a text that `plan_text` wrote. Raises PlanFault naming `where` it comes from."""
    try:
        return TypeAdapter(Plan).validate_json(text)
    except ValidationError:
        raise _no_plan(where) from None


def _no_plan(where: str) -> PlanFault:
    return PlanFault("this is no plan of format halfturn-plan/1", mend="make the plan again", where=(where,))
