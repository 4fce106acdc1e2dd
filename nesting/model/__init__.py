"""The vocabulary: what the trade talks about, as frozen records.

The same records are read from `workshop.toml` and `job.toml` and written to `plan.json`, so their field names are
the names in those files. Millimetres, degrees counter-clockwise, minutes where the name says so; money is Decimal.

Rooms: `terms` that all others use, `pieces`, `stock`, `workshop`, `job`, `plan`; `figures`, what a value may be.
Frames: piece frame as drawn, y up; sheet frame with its origin at the lower left corner of the sheet's bounding
rectangle, face up; bed frame with its origin at the machine's datum corner, x to the right, y away from the operator.
"""

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
