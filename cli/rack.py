"""`halfturn rack`: the commands, in the order in which a person meets them."""

from __future__ import annotations

import typer

from cli.on_demand import on_demand

COMMANDS = {
    "list": "cli.rack_stock:list_sheets",
    "value": "cli.rack_stock:value",
    "history": "cli.rack_stock:history",
    "import": "cli.rack_papers:import_table",
    "export": "cli.rack_papers:export_table",
    "receive": "cli.rack_stock:receive",
    "move": "cli.rack_stock:move",
    "measure": "cli.rack_stock:measure",
    "scrap": "cli.rack_stock:scrap",
    "missing": "cli.rack_stock:missing",
    "correct": "cli.rack_stock:correct",
    "accept": "cli.rack_plans:accept",
    "plans": "cli.rack_plans:plans",
    "start": "cli.rack_plans:start",
    "arrived": "cli.rack_plans:arrived",
    "pass": "cli.rack_plans:pass_run",
    "finish": "cli.rack_plans:finish",
    "cancel": "cli.rack_plans:cancel",
    "mishap": "cli.rack_mishap:mishap",
    "labels": "cli.rack_papers:labels",
    "picture": "cli.rack_papers:picture",
    "count-sheet": "cli.rack_papers:count_sheet",
    "count": "cli.rack_papers:count",
    "check": "cli.rack_stock:check",
}

app = typer.Typer(
    name="rack",
    help="The rack: offcuts and sheets that are there.",
    cls=on_demand(COMMANDS),
    callback=lambda: None,
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
)
