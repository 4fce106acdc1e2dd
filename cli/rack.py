"""`halfturn rack`: the commands, in the order in which a person meets them."""

from __future__ import annotations

import typer

from cli import rack_mishap, rack_papers, rack_plans, rack_stock

app = typer.Typer(no_args_is_help=True, rich_markup_mode=None, help="The rack: offcuts and sheets that are there.")

app.command("list")(rack_stock.list_sheets)
app.command()(rack_stock.value)
app.command()(rack_stock.history)
app.command("import")(rack_papers.import_table)
app.command("export")(rack_papers.export_table)
app.command()(rack_stock.receive)
app.command()(rack_stock.move)
app.command()(rack_stock.measure)
app.command()(rack_stock.scrap)
app.command()(rack_stock.missing)
app.command()(rack_stock.correct)
app.command()(rack_plans.accept)
app.command()(rack_plans.plans)
app.command()(rack_plans.start)
app.command()(rack_plans.arrived)
app.command("pass")(rack_plans.pass_run)
app.command()(rack_plans.finish)
app.command()(rack_plans.cancel)
app.command()(rack_mishap.mishap)
app.command()(rack_papers.labels)
app.command()(rack_papers.picture)
app.command()(rack_papers.count_sheet)
app.command()(rack_papers.count)
app.command()(rack_stock.check)
