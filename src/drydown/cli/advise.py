"""`drydown advise`: the sheet for a grower."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Annotated

import typer

from drydown.cli.show import amount, answering, out, print_cautions, print_json, table_of, waiting
from drydown.errors import InputError
from drydown.numerals import number
from drydown.words import say

__all__ = ["advise"]


def advise(
    place: Annotated[Path, typer.Option(help="station file: climate, prices, wage, what things cost")],
    crop_kg: Annotated[float, typer.Option(parser=amount, help="ripe fruit of a season, kg")],
    species: Annotated[str, typer.Option(help="arabica, robusta, liberica or excelsa")],
    begins: Annotated[str, typer.Option(help="first day of the harvest: 2026-10-01")],
    weeks: Annotated[int, typer.Option(help="weeks it lasts")],
    people: Annotated[int, typer.Option(help="people who work at it")],
    water_l_day: Annotated[float, typer.Option(parser=amount, help="clean water a day, L")],
    room_m2: Annotated[float, typer.Option(parser=amount, help="room for drying, m2")],
    money: Annotated[float, typer.Option(parser=amount, help="what can be spent")],
    days_a_week: Annotated[int, typer.Option(help="days a week with picking")] = 6,
    from_h: Annotated[float, typer.Option(help="work begins, hour of the day")] = 7.0,
    until_h: Annotated[float, typer.Option(help="work ends, hour of the day")] = 20.0,
    has_pulper_kg_h: Annotated[float, typer.Option(parser=amount, help="a pulper that is there, kg/h")] = 0.0,
    has_bed_m2: Annotated[float, typer.Option(parser=amount, help="beds that are there, m2")] = 0.0,
    seasons: Annotated[int, typer.Option(min=10, max=1000, help="harvests each way is judged on")] = 50,
    seed: Annotated[int, typer.Option(min=0, max=2**31 - 1, help="seed of fruit and weather")] = 1,
    pdf: Annotated[Path | None, typer.Option(help="write the two pages")] = None,
    language: Annotated[str, typer.Option(help="of the pages: en, fr, es, pt, sw, id")] = "en",
    as_json: Annotated[bool, typer.Option("--json", help="print JSON")] = False,
) -> None:
    """Advice for a grower: which way, how large, what it costs and leaves, what goes wrong in a wet year."""
    with answering():
        from drydown.outlook.cautions import at_command  # noqa: PLC0415 (keeps --help quick)
        from drydown.season.advise import Answers, buying_order  # noqa: PLC0415
        from drydown.season.advise import advise as advice_of  # noqa: PLC0415
        from drydown.season.sheet import advice_dict, sheet  # noqa: PLC0415
        from drydown.station.load import load_station  # noqa: PLC0415
        from drydown.station.weather import station_weather  # noqa: PLC0415

        here = load_station(place)
        try:
            first = date.fromisoformat(begins)
        except ValueError as error:
            raise InputError(
                say("'{t}' is not a day.", t=begins[:40]), "--begins", "Write 2026-10-01."
            ) from error
        answers = Answers(
            crop_kg, species, first, weeks, days_a_week, people, from_h, until_h, water_l_day, room_m2, money,
            has_pulper_kg_h, has_bed_m2,
        )  # fmt: skip
        with waiting("trying each way over the same harvests", quiet=as_json):
            found = advice_of(here, station_weather(here, place.parent), answers, seasons, seed)
        if pdf is not None:
            pdf.write_bytes(_printed(sheet(found), language))
        if as_json:
            print_json(advice_dict(found, seed))
            return
        told = sheet(found)
        if found.sell:
            out.print(say("Selling the fruit is left as the best here."), markup=False)
        else:
            best = told["ways"][0]
            out.print(
                say("{w}: {l} {c} a year over selling the fruit ({a} to {b}); best in {n} of 10 harvests.",
                    w=best["words"].capitalize(), l=best["left"], c=told["currency"], a=best["low"],
                    b=best["high"], n=told["best_in"][0]), markup=False,
            )  # fmt: skip
        heads = (
            say("left, {c}", c=told["currency"]),
            say("once"),
            "m2",
            say("days"),
            say("green of 1000 kg"),
        )
        table = table_of(say("way"), *heads, right=heads)
        for w in told["ways"]:
            table.add_row(
                w["words"],
                f"{w['left']} ({w['low']} to {w['high']})",
                w["once"],
                w["m2"],
                w["days"],
                w["green"],
            )
        out.print(table)
        for label, count, price, why in buying_order(found, found.ways[0]) if found.ways else []:
            out.print(say("Buy: {n} x {l}, {p}: {w}", n=count, l=label, p=number(price), w=why), markup=False)
        for way in found.not_possible:
            out.print(say("Not possible: {w}: {y}.", w=way.words, y=way.why_not), markup=False)
        for note in found.notes:
            out.print(say("Note: {n}", n=note), markup=False)
        print_cautions(at_command("advise"))


def _printed(told: dict[str, object], language: str) -> bytes:
    from drydown.desk.prints import LANGUAGES  # noqa: PLC0415 (only where one is printed)
    from drydown.desk.prints import pdf as printed  # noqa: PLC0415

    if language not in LANGUAGES:
        raise InputError(
            say("'{l}' is no language of the sheets.", l=language), "--language",
            say("Choose: {n}.", n=", ".join(LANGUAGES)),
        )  # fmt: skip
    return printed("advice", told | {"demo": False, "at": date.today().isoformat()}, language)  # noqa: DTZ011
