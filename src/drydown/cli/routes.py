"""`drydown routes`: the station's routes for fruit of a day, side by side."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from drydown.cli.show import amount, answering, out, print_cautions, print_json, table_of, waiting
from drydown.errors import InputError
from drydown.figures import Figure
from drydown.numerals import number
from drydown.words import say

__all__ = ["routes"]

ROWS = (
    "days", "mould", "area", "area_days", "water", "effluent", "pulper_h", "tank_h", "green", "cost",
    "income", "margin",
)  # fmt: skip


def routes(
    station: Annotated[Path, typer.Argument(help="station file")],
    fruit_kg: Annotated[float, typer.Option(parser=amount, help="ripe fruit of the day, kg")],
    species: Annotated[str, typer.Option(help="arabica, robusta or liberica")] = "arabica",
    start: Annotated[str, typer.Option(help="when the fruit is there: 2026-06-10T14:00 (default: now)")] = "",
    place: Annotated[str, typer.Option(help="a drying place by name (default: the quickest for each)")] = "",
    members: Annotated[int, typer.Option(min=20, max=1000, help="futures")] = 100,
    as_json: Annotated[bool, typer.Option("--json", help="print JSON")] = False,
) -> None:
    """The routes side by side: days, mould, room, water, cost, price; and what must be true for each."""
    with answering():
        from drydown.outlook.cautions import at_command  # noqa: PLC0415 (keeps --help quick)
        from drydown.outlook.skies import Skies  # noqa: PLC0415
        from drydown.plan.routes import routes_beside  # noqa: PLC0415
        from drydown.station.load import load_station  # noqa: PLC0415
        from drydown.station.weather import station_weather  # noqa: PLC0415

        here = load_station(station)
        site = here.place.site()
        try:
            begin = datetime.fromisoformat(start) if start else datetime.now(site.zone)
        except ValueError as error:
            words = say("'{t}' is not a time.", t=start[:40])
            raise InputError(words, "--start", "Write 2026-06-10T14:00.") from error
        begin = begin.replace(tzinfo=site.zone, minute=0, second=0, microsecond=0)
        skies = Skies(site, station_weather(here, station.parent))
        with waiting("drying each route in its futures", quiet=as_json):
            sides = routes_beside(here, skies, species, fruit_kg, begin, place, members)
        if as_json:
            print_json({
                "shape": "drydown.routes/1", "species": species, "fruit_kg": fruit_kg,
                "start": begin.isoformat(timespec="minutes"),
                "routes": [
                    {
                        "route": s.route, "place": s.place, "must": list(s.must), "differs": list(s.differs),
                        "figures": {k: f.as_dict() for k, f in s.figures.items()},
                        "rules": [{"words": r.words, "source": r.source.text} for r in s.rules],
                    }
                    for s in sides
                ],
            })  # fmt: skip
            return
        heads = [s.route.replace("_", " ") for s in sides]
        table = table_of("", *heads, right=tuple(heads))
        table.add_row(say("place"), *(s.place for s in sides))
        for key in ROWS:
            if any(key in s.figures for s in sides):
                table.add_row(key.replace("_", " "), *(_told(s.figures.get(key)) for s in sides))
        out.print(table)
        for side in sides:
            out.print(side.route.replace("_", " "), markup=False)
            for told in (*(say("must: {w}", w=m) for m in side.must), *side.differs):
                out.print(f"  {told}", markup=False)
            for rule in side.rules:
                out.print(
                    f"  {say('rule')}: {rule.words} [{rule.source.text}, {rule.source.status}]", markup=False
                )
        print_cautions(at_command("routes"))


def _told(figure: Figure | None) -> str:
    if figure is None:
        return "-"
    digits = 0 if abs(figure.value) >= 100 or figure.unit in {"L", "%"} else 1
    text = f"{number(figure.value, digits)} {figure.unit}"
    if figure.low < figure.high:
        text += f" ({number(figure.low, digits)}-{number(figure.high, digits)})"
    return text
