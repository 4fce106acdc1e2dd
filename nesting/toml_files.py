"""`workshop.toml` and `job.toml` into the vocabulary; what does not fit is told by file, key and mend.

In: a path. Out: Workshop or JobFile. The records of `nesting.model` are the schema; pydantic checks against them.
"""

from __future__ import annotations

import difflib
import tomllib
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any, TypeVar

from pydantic import TypeAdapter, ValidationError

from nesting.faults import JobFault
from nesting.model import CuttingFigure, Job, JobFile, Machine, Material, Offer, PieceOrder, Rates, Workshop

T = TypeVar("T")
LARGEST_BYTES = 4_000_000


def read_workshop(path: Path) -> Workshop:
    """The shop's machines, rates, materials and offers. Raises JobFault."""
    return _read(path, Workshop, "workshop file")


def read_job(path: Path) -> JobFile:
    """The job and its pieces. Raises JobFault."""
    return _read(path, JobFile, "job file")


def _read(path: Path, kind: type[T], what: str) -> T:
    try:
        if path.stat().st_size > LARGEST_BYTES:
            raise JobFault(
                f"the {what} is larger than 4 MB", mend="check that it is the right file", where=(str(path),)
            )
        table = tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise JobFault(f"there is no {what} here", mend="check the path", where=(str(path),)) from None
    except (OSError, UnicodeDecodeError) as error:
        raise JobFault(
            f"the {what} cannot be read: {error}", mend="save it as plain UTF-8", where=(str(path),)
        ) from None
    except RecursionError:
        raise JobFault(
            f"the {what} is nested too deeply", mend="check that it is the right file", where=(str(path),)
        ) from None
    except tomllib.TOMLDecodeError as error:
        raise JobFault(f"the {what} is not valid TOML: {error}", mend="mend that line", where=(str(path),)) from None
    try:
        return TypeAdapter(kind).validate_python(table)
    except ValidationError as error:
        raise _fault(error, path, table) from None


def _fault(error: ValidationError, path: Path, table: dict[str, Any]) -> JobFault:
    first = error.errors(include_url=False, include_context=False)[0]
    trail = [str(step) for step in first["loc"]]
    key = trail[-1] if trail else "file"
    named = first["type"] in {"extra_forbidden", "unexpected_keyword_argument", "missing", "missing_argument"}
    where = (str(path), *_places(table, trail[:-1] if named else trail))
    more = f" (and {error.error_count() - 1} more)" if error.error_count() > 1 else ""
    match first["type"]:
        case "extra_forbidden" | "unexpected_keyword_argument":
            return JobFault(f"unknown key `{key}`{more}", mend=_suggest(key), where=where)
        case "missing" | "missing_argument":
            return JobFault(f"the key `{key}` is missing{more}", mend=f"add `{key} = ...`", where=where)
    said = first["msg"].removeprefix("Value error, ")
    given = "" if isinstance(first["input"], dict) else f", not `{str(first['input'])[:60]}`"
    return JobFault(f"{said[0].lower()}{said[1:]}{given}{more}", mend="correct that value", where=where)


def _places(table: Any, trail: list[str]) -> tuple[str, ...]:
    """Keys and positions as a person counts them, a list entry called by its name where it has one."""
    places = []
    for step in trail:
        try:
            table = table[int(step)] if isinstance(table, list) else table[step]
        except (KeyError, IndexError, ValueError, TypeError):
            break
        name = table.get("name") or table.get("id") if isinstance(table, dict) else None
        number = str(int(step) + 1) if step.isdigit() else step
        places.append(f"{number} ({name})" if step.isdigit() and name else number)
    return tuple(places)


def _suggest(key: str) -> str:
    kinds = (CuttingFigure, Job, JobFile, Machine, Material, Offer, PieceOrder, Rates, Workshop)
    known = sorted({f.name for kind in kinds if is_dataclass(kind) for f in fields(kind)})
    close = difflib.get_close_matches(key, known, n=1)
    return f"did you mean `{close[0]}`?" if close else "remove it, or see the list of keys in docs/formats.md"
