"""The command line: `drydown balance`, `dry`, `fit`, `station`, `serve`, `demo`."""

from __future__ import annotations

from typing import Annotated

import typer

from drydown import __version__
from drydown.cli import (
    accept,
    advise,
    balance,
    books,
    carrying,
    desk,
    dry,
    fit,
    grade,
    moisture,
    panel,
    plan,
    price,
    pulper,
    roast,
    routes,
    sample,
    season,
    sizing,
    station,
    weather,
)
from drydown.cli.show import Plainly

__all__ = ["app", "main"]

app = typer.Typer(
    name="drydown",
    cls=Plainly,
    help="From ripe coffee fruit at the gate to a dry lot: forecasts with bands, on your own books.",
    no_args_is_help=True,
    invoke_without_command=True,
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
app.add_typer(price.app, name="price")
app.command("moisture")(moisture.moisture)
app.command("panel")(panel.panel)
app.command("accept")(accept.accept)
app.command("plan")(plan.plan)
app.command("routes")(routes.routes)
app.command("sizing")(sizing.sizing)
app.command("season")(season.season)
app.command("build")(season.build)
app.command("advise")(advise.advise)
app.command("roast")(roast.roast)
app.command("grind")(roast.grind)
app.command("brew")(roast.brew)
app.command("probe")(roast.probe)
app.command("district")(season.district)
app.command("pulper-test")(pulper.pulper_test)
app.add_typer(station.app, name="station")
app.add_typer(weather.app, name="weather")
app.command("serve")(desk.serve)
app.command("demo")(desk.demo)
app.command("owner-link")(desk.owner_link)
app.command("unlock")(desk.unlock)
app.command("export")(carrying.export)
app.command("import")(carrying.import_list)
app.command("backup")(books.backup)
app.command("restore")(books.restore_copy)
app.command("verify")(books.verify_books)


@app.callback()
def _about(
    version: Annotated[
        bool, typer.Option("--version", help="print the version and stop", is_eager=True)
    ] = False,
) -> None:
    """From ripe coffee fruit at the gate to a dry lot: forecasts with bands, on your own books."""
    if version:
        typer.echo(f"drydown {__version__}")
        raise typer.Exit


def main() -> None:
    """Entry point of the `drydown` command."""
    app()
