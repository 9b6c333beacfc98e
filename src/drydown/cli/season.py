"""`drydown season`, `build`, `district`: harvests simulated on the lots' own steps; what to build for
them."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from drydown.cli.show import answering, figures_table, out, print_cautions, print_json, table_of, waiting
from drydown.errors import InputError
from drydown.numerals import number
from drydown.words import say

if TYPE_CHECKING:
    from drydown.season.search import Found, Tried
    from drydown.season.study import Study
    from drydown.station.model import Station

__all__ = ["build", "district", "season"]

StationFile = Annotated[Path, typer.Argument(help="station file with its crop, season and build tables")]
Seasons = Annotated[int, typer.Option(min=10, max=5000, help="harvests simulated")]
Seed = Annotated[int, typer.Option(min=0, max=2**31 - 1, help="seed of fruit and weather")]
AsJson = Annotated[bool, typer.Option("--json", help="print JSON")]


def season(
    station: StationFile,
    buy: Annotated[
        list[str] | None, typer.Option(help="more of a kind: film_bed=4 (may be repeated)")
    ] = None,
    seasons: Seasons = 100,
    seed: Seed = 1,
    warmer_c: Annotated[float, typer.Option(min=-5, max=5, help="and if it were so much warmer, C")] = 0.0,
    rain: Annotated[float, typer.Option(min=0.3, max=3, help="and if rain were so many times as much")] = 1.0,
    crop: Annotated[
        float, typer.Option(min=0.3, max=3, help="and if the crop were so many times as large")
    ] = 1.0,
    peak: Annotated[
        float, typer.Option(min=0.3, max=3, help="and if it came in so many times as few days")
    ] = 1.0,
    price: Annotated[
        float, typer.Option(min=0.3, max=3, help="and if green brought so many times as much")
    ] = 1.0,
    as_json: AsJson = False,
) -> None:
    """Simulate whole harvests of a station: what is in time, what is lost and why, water, work, money."""
    with answering():
        from drydown.outlook.cautions import at_command  # noqa: PLC0415 (keeps --help quick)
        from drydown.season.study import Change, causes_of, changed, figures_of, harvest_of, study  # noqa: PLC0415
        from drydown.station.load import load_station  # noqa: PLC0415
        from drydown.station.weather import station_weather  # noqa: PLC0415

        here = load_station(station)
        what_if = Change(warmer_c, rain, crop, peak, price)
        parts = changed(here, station_weather(here, station.parent), harvest_of(here), what_if)
        with waiting("simulating harvests, lot by lot and hour by hour", quiet=as_json):
            found = study(*parts, _counts(buy or []), seasons, seed)
        figures = figures_of(found, here.money.currency)
        causes = causes_of(found)
        if as_json:
            print_json(_as_dict(found, seed))
            return
        out.print(figures_table(say("{n} harvests of {s}", n=seasons, s=here.place.name), figures))
        out.print(
            figures_table(
                say("Fruit in lots that lost 2 % of their worth and more (a lot may stand twice)"), causes
            )
        )
        _print_told(found)
        print_cautions(at_command("season"))


def _counts(buy: list[str]) -> dict[str, int]:
    counts: dict[str, int] = {}
    for text in buy:
        name, mark, value = text.partition("=")
        if not mark or not value.isdigit() or not 0 <= int(value) <= 50:
            raise InputError(say("'{t}' is not a kind and a number.", t=text), "--buy", "Write film_bed=4.")
        counts[name] = counts.get(name, 0) + int(value)
    return counts


def _as_dict(found: Study, seed: int) -> dict[str, object]:
    from drydown.season.study import causes_of, figures_of  # noqa: PLC0415 (keeps --help quick)
    from drydown.season.told import binds, wet_years, worst_day  # noqa: PLC0415

    station, worst, wet = found.design.station, worst_day(found), wet_years(found)
    return {
        "shape": "drydown.season/1", "station": station.place.name, "seasons": found.outcome.seasons,
        "seed": seed,
        "bought": dict(found.counts), "closure": found.outcome.closure, "notes": list(found.design.notes),
        "unknown": list(found.costs.unknown),
        "figures": {k: f.as_dict() for k, f in figures_of(found, station.money.currency).items()},
        "causes": {k: f.as_dict() for k, f in causes_of(found).items()},
        "binds": [{"month": on.isoformat(), "kg_h": row} for on, row in binds(found)],
        "wet_years": {"count": wet.count, "lost": wet.lost, "mould_lots": wet.mould, "fresh_days": wet.fresh},
        "worst_day": None if worst is None else {
            "on": worst.on.isoformat(), "season": worst.season, "fruit_kg": worst.fruit_kg, "lost":
            worst.lost,
            "lots": [{"lot": n, "bars": [(b.what, round(b.from_h, 2), round(b.until_h, 2)) for b in bars]}
                     for n, bars in worst.lots],
        },
    }  # fmt: skip


def _print_told(found: Study) -> None:
    from drydown.season.told import binds, wet_years, worst_day  # noqa: PLC0415 (keeps --help quick)

    table = table_of(say("month"), say("waited for, kg h a harvest"))
    for on, row in binds(found):
        table.add_row(f"{on:%Y-%m}", ", ".join(f"{say(k)} {number(v)}" for k, v in list(row.items())[:3]))
    out.print(table)
    wet, worst = wet_years(found), worst_day(found)
    out.print(
        say("In the {n} wettest harvests {a:.1f} % of the worth is lost, in the others {b:.1f} %.",
        n=wet.count,
            a=100 * wet.lost[0], b=100 * wet.lost[1]), markup=False,
    )  # fmt: skip
    if worst is not None:
        out.print(
            say("Worst day: {on:%d %b}, harvest {s}: {kg} kg came, {l:.0f} % of their worth was lost.",
                on=worst.on, s=worst.season + 1, kg=number(worst.fruit_kg), l=100 * worst.lost), markup=False,
        )  # fmt: skip
    for note in (*found.design.notes, *(say("no price is stated for {w}", w=w) for w in found.costs.unknown)):
        out.print(say("Note: {n}.", n=note), markup=False)


def build(
    station: StationFile,
    tries: Annotated[int, typer.Option(min=4, max=2000, help="designs looked at")] = 60,
    seasons: Seasons = 100,
    seed: Seed = 1,
    held_out: Annotated[
        int, typer.Option(min=0, max=2000, help="other harvests the choice is held against")
    ] = 100,
    pdf: Annotated[Path | None, typer.Option(help="write the report")] = None,
    as_json: AsJson = False,
) -> None:
    """Search the cheapest design that holds your service levels, over the same harvests and weather."""
    with answering():
        from drydown.outlook.cautions import at_command  # noqa: PLC0415 (keeps --help quick)
        from drydown.season.report import proposal, report  # noqa: PLC0415
        from drydown.season.study import harvest_of  # noqa: PLC0415
        from drydown.station.load import load_station  # noqa: PLC0415
        from drydown.station.weather import station_weather  # noqa: PLC0415

        here = load_station(station)
        weather = station_weather(here, station.parent)
        with waiting("looking at designs, bad ones given up early", quiet=as_json):
            made = proposal(here, weather, harvest_of(here), tries, seasons, seed, held_out)
        if pdf is not None:
            from drydown.desk.prints import pdf as printed  # noqa: PLC0415 (only where one is printed)

            pdf.write_bytes(printed("build", report(made)))
        if as_json:
            print_json(made.as_dict())
            return
        out.print(made.headline(), markup=False)
        _print_beside(made.found, here)
        for line in made.lines():
            out.print(line, markup=False)
        print_cautions(at_command("build"))


def _print_beside(found: Found, here: Station) -> None:
    from drydown.season.report import named  # noqa: PLC0415 (keeps --help quick)

    yearly, miss = say("{c} a year", c=here.money.currency), say("misses by")
    table = table_of(say("design"), yearly, miss, say("harvests"), right=(yearly, miss, say("harvests")))

    def row(one: Tried) -> tuple[str, str, str, str]:
        return named(one, here), number(one.yearly), f"{100 * one.short:.1f} %", str(one.seasons)

    for one in found.beside:
        table.add_row(*row(one))
    out.print(table)


def district(
    stations: Annotated[Path, typer.Argument(help="table of stations, CSV or Parquet (docs/season.md)")],
    folder: Annotated[
        Path, typer.Option(help="where answers are kept; a run that was stopped goes on there")
    ],
    seasons: Seasons = 100,
    seed: Seed = 1,
    scheduler: Annotated[
        str, typer.Option(help="address of a Dask scheduler, such as tcp://10.0.0.5:8786")
    ] = "",
    as_json: AsJson = False,
) -> None:
    """Simulate every station of a table; on one machine, or on a Dask cluster."""
    with answering():
        from pyarrow import parquet  # noqa: PLC0415 (keeps --help quick)

        from drydown.season.district import by_station, gathered, pieces_of, read_stations, run_pieces  # noqa: PLC0415

        rows, faults = read_stations(stations)
        pieces = pieces_of(rows, seasons, seed)

        def tell(done: int, whole: int, fault: str) -> None:
            if not as_json:
                out.print(fault or say("{d} of {w}", d=done, w=whole), markup=False)

        faults += run_pieces(pieces, folder, scheduler, tell=tell)
        found = gathered(pieces, folder)
        told = [] if found is None else by_station(found)
        if found is not None:
            parquet.write_table(found, folder / "seasons.parquet", compression="zstd")
        if as_json:
            print_json({"shape": "drydown.district/1", "stations": told, "faults": faults})
        else:
            table = table_of(say("station"), say("harvests"), say("fruit in time, %"), say("worth lost, %"))
            for r in told:
                spans = [f"{100 * r[k][1]:.0f} ({100 * r[k][0]:.0f} to {100 * r[k][2]:.0f})"
                         for k in ("in_time", "lost_share")]  # fmt: skip
                table.add_row(r["name"], str(r["seasons"]), *spans)
            out.print(table)
            for fault in faults:
                out.print(fault, markup=False)
        if faults and not told:
            raise InputError("no station could be simulated.", stations.name)
