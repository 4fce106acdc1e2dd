"""`workshop.toml` and `job.toml` into the vocabulary; what does not fit is told by file, key and mend.

In: a path. Out: Workshop or JobFile. The records of `nesting.model` are the schema; pydantic checks against them, and
takes nothing for what it is not: a switch is true or false, never "yes" or 1, and a figure is no text.
"""

from __future__ import annotations

import difflib
import json
import tomllib
from dataclasses import fields
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from pydantic import TypeAdapter, ValidationError

from nesting.faults import JobFault

if TYPE_CHECKING:
    from pydantic_core import ErrorDetails

    from nesting.model import JobFile, Workshop

T = TypeVar("T")
LARGEST_BYTES = 4_000_000


def read_workshop(path: Path) -> Workshop:
    """The shop's machines, rates, materials and offers. Raises JobFault."""
    from nesting.model import Workshop

    return _read(path, Workshop, "workshop file")


def read_job(path: Path) -> JobFile:
    """The job and its pieces. Raises JobFault."""
    from nesting.model import JobFile

    return _read(path, JobFile, "job file")


def _read(path: Path, kind: type[T], what: str) -> T:
    if path.exists() and not path.is_file():
        raise JobFault(f"this is no {what}, but a folder or a device", mend="name the file itself", where=(str(path),))
    try:
        if path.stat().st_size > LARGEST_BYTES:
            raise JobFault(
                f"the {what} is larger than 4 MB", mend="check that it is the right file", where=(str(path),)
            )
        table = tomllib.loads(path.read_text(encoding="utf-8-sig"))
        # Strictly read, JSON still takes arrays for tuples and text for money; a date becomes text.
        plain = json.dumps(table, default=str)
    except FileNotFoundError:
        raise JobFault(f"there is no {what} here", mend="check the path", where=(str(path),)) from None
    except OSError as error:
        raise JobFault(
            f"the {what} cannot be read: {error.strerror}", mend="check its name and rights", where=(str(path),)
        ) from None
    except UnicodeDecodeError:
        raise JobFault(f"the {what} is no UTF-8 text", mend="save it as plain UTF-8", where=(str(path),)) from None
    except RecursionError:
        raise JobFault(
            f"the {what} is nested too deeply", mend="check that it is the right file", where=(str(path),)
        ) from None
    except tomllib.TOMLDecodeError as error:
        raise JobFault(f"the {what} is not valid TOML: {error}", mend="mend that line", where=(str(path),)) from None
    try:
        return TypeAdapter(kind).validate_json(plain, strict=True)
    except ValidationError as error:
        raise _fault(error, path, table) from None


def _fault(error: ValidationError, path: Path, table: dict[str, Any]) -> JobFault:
    # Where several kinds of value would do, each of them complains of the same place.
    found: dict[tuple[tuple[str, ...], str], list[ErrorDetails]] = {}
    for one in error.errors(include_url=False, include_context=False):
        found.setdefault(_place(one, table), []).append(one)
    (places, key), (first, *others) = next(iter(found.items()))
    where = (str(path), *places)
    more = f" (and {len(found) - 1} more)" if len(found) > 1 else ""
    match first["type"]:
        case "extra_forbidden" | "unexpected_keyword_argument":
            return JobFault(f"unknown key `{key}`{more}", mend=_suggest(key), where=where)
        case "missing" | "missing_argument":
            return JobFault(f"the key `{key}` is missing{more}", mend=f"add `{key} = ...`", where=where)
    said = " or ".join([_said(first), *(_said(other).removeprefix("Input should be ") for other in others)])
    given = "" if isinstance(first["input"], dict) else f", not `{str(first['input'])[:60]}`"
    return JobFault(f"{said[0].lower()}{said[1:]}{given}{more}", mend="correct that value", where=where)


def _said(error: ErrorDetails) -> str:
    plainly = KINDS.get(error["type"])
    return f"Input should be {plainly}" if plainly else error["msg"].removeprefix("Value error, ")


KINDS = {"bool_type": "true or false", "int_type": "a whole number", "float_type": "a number", "string_type": "a text"}
KEY_ERRORS = frozenset({"extra_forbidden", "unexpected_keyword_argument", "missing", "missing_argument"})


def _place(error: ErrorDetails, table: Any) -> tuple[tuple[str, ...], str]:
    """Keys and positions as a person counts them, a list entry called by its name where it has one; and the key that
    is unknown or missing there, if that is what is wrong."""
    trail = [str(step) for step in error["loc"]]
    key = trail.pop() if error["type"] in KEY_ERRORS else ""
    places = []
    for step in trail:
        try:
            table = table[int(step)] if isinstance(table, list) else table[step]
        except (KeyError, IndexError, ValueError, TypeError):
            break
        name = table.get("name") or table.get("id") if isinstance(table, dict) else None
        number = str(int(step) + 1) if step.isdigit() else step
        places.append(f"{number} ({name})" if step.isdigit() and name else number)
    return tuple(places), key


def _suggest(key: str) -> str:
    close = difflib.get_close_matches(key, _known_keys(), n=1)
    return f"did you mean `{close[0]}`?" if close else "remove it, or see the list of keys in docs/formats.md"


def _known_keys() -> list[str]:
    from nesting import model

    shop = (model.Workshop, model.Rates, model.Quoting, model.Machine, model.CuttingFigure, model.Material)
    stock = (model.Offer, model.PriceBreak, model.CutToSize, model.StockKey)
    job = (model.JobFile, model.Job, model.PieceOrder, model.Extra)
    return sorted({f.name for kind in (*shop, *stock, *job) for f in fields(kind)})
