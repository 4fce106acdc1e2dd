"""`halfturn inspect`: what is in a drawing, a picture with every problem circled, and a job file to start from."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cli.as_json import JsonOption, echo_json

if TYPE_CHECKING:
    from nesting.drawing.inspecting import Inspection
    from nesting.drawing.intake import Intake


def inspect(
    drawing: Annotated[Path, typer.Argument(help="A DXF or SVG file.", show_default=False)],
    out: Annotated[Path, typer.Option("--out", help="Folder for the pictures and the job file.")] = Path(),
    units: Annotated[
        str | None,
        typer.Option("--units", help="What one drawing unit is, such as mm, cm or inch.", show_default=False),
    ] = None,
    scale: Annotated[float, typer.Option("--scale", help="Multiply every length by this.", min=1e-6, max=1e6)] = 1.0,
    layer: Annotated[str | None, typer.Option("--layer", help="Read this layer only.", show_default=False)] = None,
    marks: Annotated[
        list[str] | None, typer.Option("--mark", help="A layer to mark, not cut.", show_default=False)
    ] = None,
    ignored: Annotated[
        list[str] | None, typer.Option("--ignore", help="A layer to leave out.", show_default=False)
    ] = None,
    text: Annotated[bool, typer.Option("--text", help="Turn live text into outlines to cut.")] = False,
    as_json: JsonOption = False,
) -> None:
    """Say what is in a drawing, what was healed and what is left to mend.

    Exit code 0 if it can be cut as it is, 1 if something is left to mend, 2 if it cannot be read.
    """
    from cli.documents.inspection import inspection_lines
    from nesting.drawing.inspecting import inspected
    from nesting.drawing.intake import Intake

    intake = Intake(units, scale, layer, tuple(marks or ()), tuple(ignored or ()), text)
    inspection = inspected(drawing, intake)
    said = _written(drawing, out, inspection, intake)
    if as_json:
        echo_json("inspection", drawing=drawing.name, usable=inspection.usable, **_told(inspection))
    else:
        for line in (*inspection_lines(drawing.name, inspection), *said):
            typer.echo(line)
    raise typer.Exit(0 if inspection.usable else 1)


def _told(inspection: Inspection) -> dict[str, object]:
    return {
        "bounds_mm": inspection.bounds_mm,
        "pieces": len(inspection.shapes),
        "sizes": inspection.sizes,
        "layers": inspection.layers,
        "findings": inspection.findings,
    }


def _written(drawing: Path, out: Path, inspection: Inspection, intake: Intake) -> list[str]:
    """Write the pictures anew, the job file only where there is none; what was written, in words."""
    from cli.documents.inspection import inspection_picture
    from cli.documents.png import png
    from cli.documents.svg import svg
    from cli.whole_folder import written_whole
    from nesting.drawing.inspecting import starting_job

    picture = inspection_picture(drawing.name, inspection)
    stem, job = drawing.stem, out / f"{drawing.stem}-job.toml"
    with written_whole(out) as fresh:
        (fresh / f"{stem}-inspected.svg").write_text(svg(picture), encoding="utf-8", newline="\n")
        (fresh / f"{stem}-inspected.png").write_bytes(png(picture))
        said = [f"pictures: {out / stem}-inspected.svg, .png"]
        if job.exists():
            return [*said, f"job file: {job} is there already and was left as it is"]
        start = starting_job(_seen_from(out, drawing), inspection, intake)
        (fresh / job.name).write_text(start, encoding="utf-8", newline="\n")
    return [*said, f"job file to start from: {job}"]


def _seen_from(folder: Path, drawing: Path) -> Path:
    """The drawing as a job file in the folder must name it."""
    try:
        return Path(os.path.relpath(drawing.resolve(), folder.resolve()))
    except ValueError:  # on another drive
        return drawing.resolve()
