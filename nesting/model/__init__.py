"""The vocabulary: what the trade talks about, as frozen records.

The same records are read from `workshop.toml` and `job.toml` and written to `plan.json`, so their field names are
the names in those files. Millimetres, degrees counter-clockwise, minutes where the name says so; money is Decimal.

Rooms: `terms` that all others use, `stock`, `pieces`, `workshop`, `job`, `plan`; `figures`, what a value may be.
A room is loaded when a record of it is asked for: a list of the rack does not wait for all that a plan is made of.
Frames: piece frame as drawn, y up; sheet frame with its origin at the lower left corner of the sheet's bounding
rectangle, face up; bed frame with its origin at the machine's datum corner, x to the right, y away from the operator.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from nesting.model.job import Extra, Job, JobFile, PieceOrder
    from nesting.model.pieces import EitherWay, Joint, JointKind, OnePiece, Piece, Seat, Split
    from nesting.model.plan import (
        Blank,
        Cost,
        CostLine,
        Demand,
        Distance,
        Edge,
        Join,
        Leftover,
        LineUp,
        LineUpMark,
        NextBest,
        Pass,
        Placement,
        Plan,
        PlannedSheet,
        Progress,
        Share,
        Side,
        Source,
        StockCost,
        Stop,
        Trim,
        TrimMethod,
        TurnName,
    )
    from nesting.model.stock import CutToSize, Offcut, Offer, PriceBreak
    from nesting.model.terms import STRICT, Chain, Point, Rect, Ring, StockKey, Turn, Vertex
    from nesting.model.workshop import CuttingFigure, Machine, Material, Quoting, Rates, Workshop

ROOMS = ("terms", "stock", "pieces", "workshop", "job", "plan")
"""Each builds on those before it alone."""

__all__ = [
    "STRICT",
    "Blank",
    "Chain",
    "Cost",
    "CostLine",
    "CutToSize",
    "CuttingFigure",
    "Demand",
    "Distance",
    "Edge",
    "EitherWay",
    "Extra",
    "Job",
    "JobFile",
    "Join",
    "Joint",
    "JointKind",
    "Leftover",
    "LineUp",
    "LineUpMark",
    "Machine",
    "Material",
    "NextBest",
    "Offcut",
    "Offer",
    "OnePiece",
    "Pass",
    "Piece",
    "PieceOrder",
    "Placement",
    "Plan",
    "PlannedSheet",
    "Point",
    "PriceBreak",
    "Progress",
    "Quoting",
    "Rates",
    "Rect",
    "Ring",
    "Seat",
    "Share",
    "Side",
    "Source",
    "Split",
    "StockCost",
    "StockKey",
    "Stop",
    "Trim",
    "TrimMethod",
    "Turn",
    "TurnName",
    "Vertex",
    "Workshop",
]


def __getattr__(name: str) -> Any:
    """The record of that name, from its room (PEP 562)."""
    if name in __all__:
        for room in ROOMS:
            found = vars(import_module(f"{__name__}.{room}"))
            if name in found:
                return found[name]
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
