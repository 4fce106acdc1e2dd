"""TEXT and MTEXT to outlines, when asked: set anew in the shop's own font at the text's height.

In: a text entity, how many mm one of its units is. Out: closed paths in the entity's own plane. The drawing's font is
not read; the height of capitals, place, turn, width factor and alignment are kept.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import cast

from ezdxf.entities import DXFEntity, MText, Text
from ezdxf.math import Vec3

from nesting.curves import bounds, segments
from nesting.drawing.tracing import Affine, Stroke
from nesting.drawing.wording import letter_shapes, set_wording

TEXTS = frozenset({"TEXT", "MTEXT", "ATTRIB"})


def text_paths(entity: DXFEntity, mm: float) -> Iterator[tuple[list[Stroke], bool]]:
    """One closed path for each outline and hole of the letters. DrawingFault if the font lacks one."""
    if isinstance(entity, MText):
        words, height = str(entity.plain_text()), float(entity.dxf.char_height)
        place, turn, width = Vec3(entity.dxf.insert), entity.get_rotation(), 1.0
        column, row = (int(entity.dxf.attachment_point) - 1) % 3, (int(entity.dxf.attachment_point) - 1) // 3
    else:
        text = cast(Text, entity)
        words, height = text.plain_text(), float(text.dxf.height)
        turn, width = float(text.dxf.get("rotation", 0.0)), float(text.dxf.get("width", 1.0))
        alignment, first, second = text.get_placement()
        place = first if second is None or alignment.name in ("FIT", "ALIGNED") else second
        column, row = _column(alignment.name), _row(alignment.name)
    if not words.strip():
        return
    shapes = list(letter_shapes(set_wording(words, height * mm)))
    x0, y0, x1, y1 = bounds([shape.outline for shape in shapes])
    across = (0.0, -(x0 + x1) / 2, -x1)[column]
    up = (-y1, -(y0 + y1) / 2, -y0, 0.0)[row]
    cos, sin = math.cos(math.radians(turn)) / mm, math.sin(math.radians(turn)) / mm
    affine = Affine(a=width, e=across * width, f=up).then(Affine(cos, -sin, sin, cos, place.x, place.y))
    for shape in shapes:
        for ring in (shape.outline, *shape.holes):
            yield [affine.stroke(segment) for segment in segments(ring, closed=True)], True


def _column(name: str) -> int:
    return 1 if name.endswith(("CENTER", "MIDDLE")) else 2 if name.endswith("RIGHT") else 0


def _row(name: str) -> int:
    """Top, middle, bottom, baseline."""
    return 0 if name.startswith("TOP") else 1 if name.startswith("MIDDLE") else 2 if name.startswith("BOTTOM") else 3
