"""Steps as one HTML file, a work pack or a quote: everything inline, no network, ticks kept by the browser.

In: the steps. Out: the page's text. The template only places what the steps hold; a missing value is an error.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Sequence

import jinja2
from markupsafe import Markup, escape

from cli.documents import words
from cli.documents.canvas import Picture
from cli.documents.step import Step
from cli.documents.svg import svg


def html(of: object, steps: Sequence[Step], what: str, paper: str = "A4") -> str:
    """The page; `paper` is a CSS page size. Ticks are kept for what it is `of`: a changed plan starts with none."""
    env = jinja2.Environment(
        loader=jinja2.PackageLoader("cli", "documents"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        keep_trailing_newline=True,
    )
    env.filters["svg"] = _inline
    env.filters["anchor"] = anchor
    env.filters["seamed"] = _seamed
    key = hashlib.sha256(repr(of).encode("utf-8", "backslashreplace")).hexdigest()[:16]
    title = f"{steps[0].title}: {what}"
    ticks = any(step.todo for step in steps)
    return env.get_template("pages.html").render(title=title, steps=steps, key=key, ticks=ticks, paper=paper)


def _inline(picture: Picture) -> Markup:
    # Our own markup, whose words `svg` has escaped.
    return Markup(svg(picture))


def _seamed(text: str) -> Markup:
    """Where a browser may break a name, and where not: as `words.wrapped` does in print."""
    return Markup(words.SEAM.sub(r"\g<0><wbr>", str(escape(words.unbroken(text)))))


def anchor(key: str) -> str:
    """A step's key as an id that links and scripts can use; odd characters become hyphens."""
    return re.sub(r"[^A-Za-z0-9]+", "-", key).strip("-").lower() or "step"
