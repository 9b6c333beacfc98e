"""The command line: `drydown balance`, `dry`, `fit`, `station`, `serve`, `demo`."""

from __future__ import annotations

import typer

from drydown.cli import balance, books, carrying, desk, dry, fit, grade, price, sample, station

__all__ = ["app", "main"]

app = typer.Typer(
    name="drydown",
    help="From ripe coffee fruit at the gate to a dry lot: forecasts with bands, on your own books.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    add_completion=False,
)
app.command("balance")(balance.balance)
app.command("dry")(dry.dry_lot)
app.command("fit")(fit.fit)
app.command("grade")(grade.grade)
app.command("schemes")(grade.schemes)
app.command("draw")(sample.draw)
app.command("size")(sample.size)
app.command("price")(price.price)
app.add_typer(station.app, name="station")
app.command("serve")(desk.serve)
app.command("demo")(desk.demo)
app.command("owner-link")(desk.owner_link)
app.command("unlock")(desk.unlock)
app.command("export")(carrying.export)
app.command("import")(carrying.import_list)
app.command("backup")(books.backup)
app.command("restore")(books.restore_copy)
app.command("verify")(books.verify_books)


def main() -> None:
    """Entry point of the `drydown` command."""
    app()
