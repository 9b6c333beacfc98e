"""`drydown station`: make and check a station file."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from drydown.cli.show import EXIT_INPUT, answering, err, out, print_json
from drydown.errors import InputError
from drydown.words import say

__all__ = ["app"]

app = typer.Typer(help="Make and check a station file.", no_args_is_help=True)


@app.command("new")
def new(
    path: Annotated[Path, typer.Argument(help="where to write it")] = Path("station.toml"),
    json: Annotated[bool, typer.Option("--json", help="print JSON, shape drydown.station/1")] = False,
) -> None:
    """Write a commented example station, to be edited line by line."""
    from drydown.station.load import example_text  # noqa: PLC0415

    with answering():
        if path.exists():
            raise InputError("is there already; nothing was written.", str(path), "Name another.")
        try:
            path.write_text(example_text(), encoding="utf-8")
        except OSError as error:
            raise InputError(
                say("cannot be written ({strerror}).", strerror=error.strerror), str(path)
            ) from error
    if json:
        print_json({"shape": "drydown.station/1", "written": str(path)})
    else:
        out.print(f"Wrote {path}. Edit it, then: drydown station check {path}", markup=False)


@app.command("check")
def check(
    path: Annotated[Path, typer.Argument(help="station file")],
    json: Annotated[bool, typer.Option("--json", help="print JSON, shape drydown.station/1")] = False,
) -> None:
    """Check a station file; every mistake is named with key, value and what is allowed."""
    from drydown.station.gaps import gaps  # noqa: PLC0415
    from drydown.station.load import StationFileError, load_station  # noqa: PLC0415

    with answering():
        try:
            station = load_station(path)
        except InputError as error:
            lines = (
                error.lines if isinstance(error, StationFileError) else [f"{error.what} {error.fix}".strip()]
            )
            if json:
                print_json({"shape": "drydown.station/1", "good": False, "problems": lines})
            else:
                for line in lines:
                    err.print(f"{path.name}: {line}", markup=False)
            sys.exit(EXIT_INPUT)
        if json:
            body = station.model_dump(mode="json")
            later = [{"about": g.about, "words": g.words, "costs": g.costs} for g in gaps(station)]
            print_json({"shape": "drydown.station/1", "good": True, "station": body, "gaps": later})
            return
        area = sum(b.area_m2 for b in station.equipment.beds)
        place = station.place
        out.print(
            f"{path.name} is good: {place.name}, {place.district}, {place.elevation_m:g} m; "
            f"{len(station.equipment.beds)} drying places, {area:g} m2; "
            f"species {', '.join(station.species)}.",
            markup=False,
        )
        for gap in gaps(station):
            out.print(f"May come later: {gap.words}; {gap.costs}.", markup=False)
