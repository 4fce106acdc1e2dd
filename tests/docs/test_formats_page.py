"""docs/formats.md lists every key of the files, made from the records themselves; `make bless` writes it."""

import dataclasses
import os
import re
from decimal import Decimal
from enum import Enum
from pathlib import Path
from typing import get_args

from nesting import model

PAGE = Path(__file__).resolve().parents[2] / "docs" / "formats.md"
FILES = {
    "workshop.toml": (
        "what the shop owns and charges",
        [
            model.Workshop,
            model.Rates,
            model.Machine,
            model.CuttingFigure,
            model.Material,
            model.Offer,
            model.PriceBreak,
            model.CutToSize,
            model.Quoting,
        ],
    ),
    "job.toml": ("what is to be made", [model.JobFile, model.Job, model.PieceOrder, model.StockKey, model.Extra]),
    "plan.json": (
        "the whole plan, for other programs: format `halfturn-plan/1`",
        [
            model.Plan,
            model.Piece,
            model.Joint,
            model.Split,
            model.Seat,
            model.EitherWay,
            model.Demand,
            model.PlannedSheet,
            model.Source,
            model.NextBest,
            model.Trim,
            model.Blank,
            model.Placement,
            model.Pass,
            model.Share,
            model.Join,
            model.LineUpMark,
            model.LineUp,
            model.Distance,
            model.Stop,
            model.Leftover,
            model.Cost,
            model.CostLine,
            model.StockCost,
        ],
    ),
}
SHAPES = """A point is `[x_mm, y_mm]`; a rectangle `[x0, y0, x1, y1]`; a ring is closed, a chain open, both lists of
`[x_mm, y_mm, bulge]` (bulge: tan of a quarter of the arc's sweep, 0 straight, + counter-clockwise). Money is a decimal
string in `plan.json`. Lengths are millimetres, angles degrees counter-clockwise."""


def page() -> str:
    lines = ["# Formats", "", "Made from the records in `nesting/model/`; a test keeps it equal to them.", "", SHAPES]
    for name, (what, kinds) in FILES.items():
        lines += ["", f"## `{name}`: {what}"]
        for kind in kinds:
            lines += ["", f"### {kind.__name__}", "", " ".join((kind.__doc__ or "").split()), ""]
            lines += ["| key | kind | if left out |", "|---|---|---|", *map(row, dataclasses.fields(kind))]
    return "\n".join(lines) + "\n"


WORDS = {
    "str": "text",
    "float": "number",
    "int": "whole number",
    "bool": "true | false",
    "Decimal": "money",
    "OnePiece": 'true | false | "prefer"',
    "Turn": " | ".join(f'"{turn}"' for turn in model.Turn),
    **{
        name: " | ".join(f'"{choice}"' for choice in get_args(getattr(model, name)))
        for name in ("JointKind", "TrimMethod", "TurnName", "Side")
    },
}


def row(field: dataclasses.Field) -> str:
    kind = str(field.type).replace(" | None", "")
    kind = re.sub(r"tuple\[(\w+(?:\[.*?\])?), \.\.\.\]", r"list of \1", kind).replace("tuple[", "[")
    kind = re.sub(r"Literal\[(.*?)\]", lambda found: found[1].replace(", ", " | ").replace("'", '"'), kind)
    kind = re.sub(r"\b\w+\b", lambda found: WORDS.get(found[0], found[0]), kind).replace("|", "\\|")
    return f"| `{field.name}` | {kind} | {default(field)} |"


def default(field: dataclasses.Field) -> str:
    if field.default_factory is not dataclasses.MISSING:
        return "its own defaults"
    value = field.default
    if value is dataclasses.MISSING:
        return "must be given"
    if dataclasses.is_dataclass(value):
        return "its own defaults"
    if isinstance(value, bool):
        return f"`{str(value).lower()}`"
    if isinstance(value, Enum | Decimal):
        value = str(value)
    return "nothing" if value in (None, "", ()) else f"`{value}`"


def test_the_page_lists_the_keys_as_they_are():
    if os.environ.get("BLESS"):
        PAGE.write_text(page(), encoding="utf-8", newline="\n")
    assert PAGE.exists() and PAGE.read_text(encoding="utf-8") == page(), "make bless, then read the diff"


def test_no_record_of_the_files_is_left_out():
    """Every record that another one holds is told of too."""
    told = {kind for _, kinds in FILES.values() for kind in kinds}
    held = {word for kind in told for f in dataclasses.fields(kind) for word in re.findall(r"\w+", str(f.type))}
    records = {name for name, kind in vars(model).items() if dataclasses.is_dataclass(kind)}
    assert held & records <= {kind.__name__ for kind in told}
