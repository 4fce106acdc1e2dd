"""Materials that must never go under a laser beam, by the names a shop writes in its stock; warnings by their weight.

In: Machine, StockKey. Out: nothing, or a JobFault that says why. Pure.
Source: lists of workshops and universities of what not to cut, and a note on acid fumes of PVC; the limit of 1 mm for
polycarbonate from the same lists. A list of names proves nothing: the sheet's own data sheet decides.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from nesting.faults import JobFault
from nesting.model import Machine, StockKey


@dataclass(frozen=True, slots=True)
class Hazard:
    """Words that name a material, why it is dangerous, and up to what thickness it is let pass."""

    words: tuple[str, ...]
    why: str
    harmless_to_mm: float = 0.0


HAZARDS = (
    Hazard(
        ("pvc", "vinyl", "polyvinyl chloride", "imitation leather"), "gives off hydrogen chloride: lungs, optics, rust"
    ),
    Hazard(("abs", "polyurethane"), "melts, burns and gives off hydrogen cyanide"),
    Hazard(("polycarbonate", "pc"), "browns and burns instead of being cut", harmless_to_mm=1.0),
    Hazard(("ptfe", "fluoropolymer", "fluoroplastic"), "gives off hydrogen fluoride"),
    Hazard(
        ("epoxy", "glass fibre", "glass fiber", "carbon fibre", "carbon fiber", "gfrp", "cfrp"), "gives off toxic fume"
    ),
    Hazard(("foam", "polystyrene", "polypropylene", "foamed board"), "catches fire"),
)


def refuse_under_a_beam(machine: Machine, stock: StockKey) -> None:
    """Raises JobFault for a laser and a material that is known never to be cut by one."""
    if machine.kind != "laser":
        return
    name = " ".join(re.findall(r"[a-z]+", stock.material.casefold()))
    for hazard in HAZARDS:
        named = any(re.search(rf"\b{word}\b", name) for word in hazard.words)
        if named and stock.thickness_mm > hazard.harmless_to_mm:
            raise JobFault(
                f"{stock} must not be cut on a laser: it {hazard.why}",
                mend=f"cut it on a router, or choose another material; {machine.name} is a laser",
            )


# ── warnings ─────────────────────────────────────────────────────────────────────────────────────────────────

WEIGHTS = ("local rules", "it tips", "hang out of the machine", "line up on", "is to be expected at join")
"""What the planner's own sentences say, gravest first. Whatever can hurt somebody by fumes, by fire or by falling on
them defers to local rules, and is known by that."""


def is_danger(warning: str) -> bool:
    """Whether it warns of fumes, of fire, or of what may fall on people: never to be left out for want of room."""
    return WEIGHTS[0] in warning


def weightiest_first(warnings: Iterable[str]) -> list[str]:
    """Each once: dangers, what may fall or tip, what spoils a cut; then all others, in their order."""

    def weight(warning: str) -> int:
        return next((k for k, words in enumerate(WEIGHTS) if words in warning), len(WEIGHTS))

    return sorted(dict.fromkeys(warnings), key=weight)
