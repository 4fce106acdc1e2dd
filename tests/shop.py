"""A small shop that tests know by heart: a 600 x 400 laser with an open front, and simple rates."""

from decimal import Decimal

from nesting import curves
from nesting.model import CuttingFigure, Machine, Piece, Placement, Point, Rates, Ring
from nesting.placing import Laid, lay

FIGURES = (
    CuttingFigure("acrylic", 5.0, kerf_mm=0.17, feed_mm_s=7.6, pierce_s=1.0),
    CuttingFigure("acrylic", 10.0, kerf_mm=0.25, feed_mm_s=3.8, pierce_s=2.0),
)
RATES = Rates("EUR", machine_per_hour=Decimal(45), labour_per_hour=Decimal(36))


def laser(travel: Point = (600.0, 400.0), table: Point = (620.0, 400.0), **more: object) -> Machine:
    """The laser, with any field changed."""
    fields = {"open_front": True, "margin_mm": 5.0, "gap_mm": 5.0, **more}
    return Machine("small laser", "laser", travel, table, FIGURES, **fields)  # type: ignore[arg-type]


def piece(outline: Ring, holes: tuple[Ring, ...] = (), name: str = "panel", **more: object) -> Piece:
    """A 5 mm opal piece, with any field changed."""
    fields = {"id": f"{name}-1", "copy": 1, "material": "acrylic", "colour": "opal", "thickness_mm": 5.0, **more}
    return Piece(name=name, outline=outline, holes=holes, **fields)  # type: ignore[arg-type]


def rectangle(width: float, depth: float) -> Ring:
    """A rectangle from the origin."""
    return curves.ring_of([(0, 0), (width, 0), (width, depth), (0, depth)])


def disc(diameter: float) -> Ring:
    """A circle as two half circles, its bounding square from the origin."""
    r = diameter / 2
    return ((0.0, r, 1.0), (diameter, r, 1.0))


def laid(one: Piece, x: float, y: float, turn: float = 0.0) -> Laid:
    """The piece laid on blank b1."""
    return lay(one, Placement(one.id, "b1", x, y, turn))
