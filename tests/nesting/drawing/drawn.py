"""Shapes laid out as the layers of a drawing, to be written and read back."""

from collections.abc import Sequence

from nesting.drawing.shapes import DrawnChain, DrawnShape


def shape_layers(shapes: Sequence[DrawnShape]) -> dict[str, list[DrawnChain]]:
    """Shapes as layers to write: marks first, each shape's holes before its outline."""
    marks = [DrawnChain(mark, False) for shape in shapes for mark in shape.marks]
    cut = [DrawnChain(ring, True) for shape in shapes for ring in (*shape.holes, shape.outline)]
    return {"MARK": marks, "CUT": cut} if marks else {"CUT": cut}
