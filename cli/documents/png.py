"""Pictures as PNG: `Picture` in, bytes out, by way of a one-page PDF, so that a PNG looks as the print does."""

from __future__ import annotations

import io

import pypdfium2

from cli.documents.canvas import Picture
from cli.documents.pdf import picture_page

WIDTH_PX = 1440


def png(picture: Picture, width_px: int = WIDTH_PX) -> bytes:
    """The picture on white, `width_px` wide."""
    document = pypdfium2.PdfDocument(picture_page(picture))
    page = document[0]
    image = page.render(scale=width_px / page.get_width()).to_pil()
    out = io.BytesIO()
    image.convert("RGB").save(out, "PNG")
    document.close()
    return out.getvalue()
