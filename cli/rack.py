"""`halfturn rack`: the commands, in the order in which a person meets them."""

from __future__ import annotations

import typer

from cli import rack_plans, rack_stock
from cli.rack_desk import load_table as load_table
from cli.rack_desk import open_workshop_rack as open_workshop_rack

app = typer.Typer(no_args_is_help=True, rich_markup_mode=None, help="The rack: offcuts and sheets that are there.")

app.command("list")(rack_stock.list_sheets)
app.command()(rack_stock.receive)
app.command()(rack_plans.accept)
app.command()(rack_plans.plans)
app.command()(rack_plans.start)
app.command()(rack_plans.arrived)
app.command("pass")(rack_plans.pass_run)
app.command()(rack_plans.finish)
app.command()(rack_plans.cancel)
app.command()(rack_plans.mishap)
