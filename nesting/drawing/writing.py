"""Drawings out: chains on layers to a DXF file that a machine or a drawing program reads.

In: chains per layer, in the order they are to be run. Out: a file, mm, the same bytes for the same chains.
Source: DXF reference; written by ezdxf with fixed dates and ids.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path

import ezdxf
from ezdxf.document import Drawing

from nesting.curves import bounds
from nesting.drawing.shapes import DrawnChain

MILLIMETRES = 4
LAYERS: dict[str, tuple[int, str]] = {
    "CUT": (7, "CONTINUOUS"),
    "MARK": (8, "CONTINUOUS"),
    "LINEUP": (34, "CONTINUOUS"),
    "NOTE_SHEET": (9, "NOTE_LONG"),
    "NOTE_REACH": (9, "NOTE_SHORT"),
    "NOTE_FIND": (9, "CONTINUOUS"),
}
"""Colour index and linetype: what is run is plain, what is for reference only is grey and broken."""
LINETYPES = {"NOTE_LONG": [18.0, 12.0, -6.0], "NOTE_SHORT": [6.0, 3.0, -3.0]}


def write_drawing(path: Path, layers: Mapping[str, Sequence[DrawnChain]], version: str = "R2010") -> None:
    """Write chains, in the order given, as polylines with bulges; closed ones closed. R12 to R2018."""
    with _fixed_metadata():
        document = ezdxf.new(version)
        _set_up(document, layers)
        space = document.modelspace()
        for layer, chains in layers.items():
            for chain in chains:
                corners = [tuple(float(c) for c in vertex) for vertex in chain.vertices]
                draw = space.add_polyline2d if document.dxfversion == "AC1009" else space.add_lwpolyline
                draw(corners, format="xyb", close=chain.closed, dxfattribs={"layer": layer})
        _fix_class_order(document)
        document.saveas(path)


def _set_up(document: Drawing, layers: Mapping[str, Sequence[DrawnChain]]) -> None:
    document.units = MILLIMETRES
    document.header["$MEASUREMENT"] = 1
    for name, pattern in LINETYPES.items():
        document.linetypes.add(name, pattern=pattern)
    for name in dict.fromkeys((*LAYERS, *layers)):
        colour, linetype = LAYERS.get(name, (7, "CONTINUOUS"))
        document.layers.add(name, color=colour, linetype=linetype)
    drawn = [(chain.vertices, chain.closed) for chains in layers.values() for chain in chains if chain.vertices]
    if drawn:
        boxes = [bounds([vertices], closed) for vertices, closed in drawn]
        document.header["$EXTMIN"] = (min(b[0] for b in boxes), min(b[1] for b in boxes), 0.0)
        document.header["$EXTMAX"] = (max(b[2] for b in boxes), max(b[3] for b in boxes), 0.0)


def _fix_class_order(document: Drawing) -> None:
    """The library lists the classes in use in the order of a set, another in every process: list them beforehand."""
    if document.dxfversion > "AC1009":
        for name in sorted(document.entitydb.dxf_types_in_use()):
            document.classes.add_class(name)


@contextmanager
def _fixed_metadata() -> Iterator[None]:
    """Equal drawings are equal bytes only with the library's dates and ids held still."""
    before = ezdxf.options.write_fixed_meta_data_for_testing
    ezdxf.options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        ezdxf.options.write_fixed_meta_data_for_testing = before
