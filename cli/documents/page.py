"""The work pack as one HTML file: everything inline, no network, ticks kept by the browser.

In: the steps. Out: text of `workpack.html`. The template only places what the steps hold; a missing value is an error.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Sequence

import jinja2
from markupsafe import Markup

from cli.documents.canvas import Picture
from cli.documents.step import Step
from cli.documents.svg import svg
from nesting.model import Plan


def html(plan: Plan, steps: Sequence[Step], paper: str = "A4") -> str:
    """The page; `paper` is a CSS page size. Ticks are kept per plan: a changed plan starts with none."""
    env = jinja2.Environment(
        loader=jinja2.PackageLoader("cli", "documents"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        keep_trailing_newline=True,
    )
    env.filters["svg"] = _inline
    env.filters["anchor"] = anchor
    key = hashlib.sha256(repr(plan).encode("utf-8", "backslashreplace")).hexdigest()[:16]
    return env.get_template("workpack.html").render(title=steps[0].title, steps=steps, plan_key=key, paper=paper)


def _inline(picture: Picture) -> Markup:
    # Our own markup, whose words `svg` has escaped.
    return Markup(svg(picture))


def anchor(key: str) -> str:
    """A step's key as an id that links and scripts can use; odd characters become hyphens."""
    return re.sub(r"[^A-Za-z0-9]+", "-", key).strip("-").lower() or "step"
