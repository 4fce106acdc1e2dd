"""`halfturn papers`: a plan's documents made anew, on other paper, and every sheet as a picture.

In: a plan folder and the workshop. Out: files in a folder of their own; the plan folder stays as it is.
"""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from cli.options import WorkshopOption, workshop_folder
from cli.whole_folder import written_whole


class PaperName(StrEnum):
    """Paper that the print is made for."""

    A4 = "A4"
    LETTER = "Letter"


def papers(
    plan: Annotated[Path, typer.Argument(help="A plan folder.")],
    out: Annotated[Path, typer.Option("--out", help="Folder for the documents; older ones there are replaced.")],
    workshop: WorkshopOption = None,
    paper: Annotated[PaperName, typer.Option("--paper", help="Paper of the print.")] = PaperName.A4,
    inches: Annotated[bool, typer.Option("--inches", help="Inches beside the millimetres in the pack.")] = False,
    pictures: Annotated[bool, typer.Option("--pictures", help="Also every sheet as SVG and PNG.")] = False,
) -> None:
    """Make a plan's work pack and tables anew, on A4 or Letter, with pictures of all sheets if asked."""
    from cli.documents import write_documents, write_pictures
    from nesting.plan_file import read_plan
    from nesting.toml_files import read_workshop

    made, shop = read_plan(plan), read_workshop(workshop_folder(workshop) / "workshop.toml")
    with written_whole(out) as fresh:
        write_documents(made, fresh, shop, paper.value, inches)
        if pictures:
            write_pictures(made, fresh)
    typer.echo(f"documents: {out}/ (open workpack.html first)")
