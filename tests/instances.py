"""Published instances are no part of this project: INSTANCES names the folder they lie in, else one beside it."""

from __future__ import annotations

import os
from pathlib import Path

INSTANCES = Path(os.environ.get("INSTANCES") or Path(__file__).parents[2] / "shared" / "benchmarks").resolve()
RECTANGLES = INSTANCES / "rectangles"
ABSENT = "the published instances are not at hand: INSTANCES names their folder"
