"""Freeing: which pass cuts each whole piece, and in which order a pass cuts, so that nothing comes loose too early.

In: pieces where they lie, the passes' reaches, the shares of shared pieces. Out: homes by piece, cuts in order. Pure.
Rules: a piece is cut whole in the last pass that holds it, and not after the hole that it lies in has come free; what
does not come loose is cut first, then whole pieces, inmost first, then the shared contours that this pass closes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from nesting import curves
from nesting.model import Rect, Share
from nesting.passes.reach import holds
from nesting.placing import Laid, inside_of

Dealt = Mapping[str, Sequence[tuple[int, Share]]]
"""For each shared piece: what each pass, by its place in the running order, cuts of it."""


def homes(laid: Sequence[Laid], rects: Sequence[Rect], dealt: Dealt) -> dict[str, int]:
    """For each whole piece the place in the running order of the pass that cuts it."""
    around = inside_of(laid)
    known = {one.piece.id: one for one in laid}
    found: dict[str, int] = {}
    for one in outmost_first(laid):
        piece = one.piece.id
        if piece in dealt:
            continue
        host = around.get(piece)
        if host in found:
            found[piece] = found[host]
            continue
        able = [k for k, rect in enumerate(rects) if holds(rect, one.bounds)]
        until = len(rects) if host is None else _closing(known[host], one, dealt[host])
        found[piece] = max((k for k in able if k <= until), default=able[0])
    return found


def _closing(host: Laid, guest: Laid, shares: Sequence[tuple[int, Share]]) -> int:
    """The pass after which the hole of `host` that `guest` lies in is free."""
    point = guest.solid.representative_point()
    for number, hole in enumerate(host.holes, start=1):
        if curves.polygon(curves.reversed_ring(hole)).contains(point):
            return max(k for k, share in shares if share.kind == "hole" and share.number == number)
    return max(k for k, _ in shares)


def outmost_first(laid: Sequence[Laid]) -> list[Laid]:
    """Hosts before the pieces in their holes; from the front of the sheet to its back otherwise."""
    around = inside_of(laid)
    return sorted(laid, key=lambda one: (_depth(one.piece.id, around), one.bounds[1], one.bounds[0], one.piece.id))


def inmost_first(laid: Sequence[Laid]) -> list[Laid]:
    """Pieces in holes before their hosts; from the front of the sheet to its back otherwise."""
    around = inside_of(laid)
    return sorted(laid, key=lambda one: (-_depth(one.piece.id, around), one.bounds[1], one.bounds[0], one.piece.id))


def _depth(piece_id: str, around: Mapping[str, str]) -> int:
    depth = 0
    while piece_id in around:
        piece_id = around[piece_id]
        depth += 1
    return depth
