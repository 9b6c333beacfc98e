"""`drydown weather`: look at a weather file, learn a place's climate from it, write normals, draw a year."""

from __future__ import annotations

import csv
import io
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from drydown.cli.show import answering, out, print_json
from drydown.cli.typed import normals_of, site_of
from drydown.errors import InputError
from drydown.words import say

if TYPE_CHECKING:
    from drydown.air.normals import MonthNormals
    from drydown.air.series import HourlyWeather, Site

__all__ = ["app"]

app = typer.Typer(
    name="weather", no_args_is_help=True, help="A station's own weather: look, learn, write normals, draw."
)
Json = Annotated[bool, typer.Option("--json", help="print JSON")]
File = Annotated[Path, typer.Argument(help="the weather file: EPW or CSV (docs/weather-files.md)")]
StationFile = Annotated[Path | None, typer.Option("--station", help="station file: where it was measured")]
SiteText = Annotated[str, typer.Option("--site", help="or latitude,longitude,metres,hours from UTC")]


def _read(file: Path, station: Path | None, site: str) -> HourlyWeather:
    from drydown.station.load import load_station  # noqa: PLC0415 (keeps --help quick)
    from drydown.station.weather import read_weather  # noqa: PLC0415

    here = load_station(station).place.site() if station else site_of(site)
    return read_weather(file, here)


@app.command()
def look(
    file: File, station: StationFile = None, site: SiteText = "",
    picture: Annotated[Path | None, typer.Option(help="draw its days into this SVG file")] = None,
    json: Json = False,
) -> None:  # fmt: skip
    """What a file holds, what was mended, and what looks wrong in it."""
    from drydown.air.logger import oddities  # noqa: PLC0415

    with answering():
        air = _read(file, station, site)
        odd = oddities(air)
        if picture is not None:
            picture.write_text(_picture(air), encoding="utf-8")
        head = {"from": air.start.isoformat(), "hours": air.hours}
        if json:
            print_json(
                {"shape": "drydown.weather-look/1", **head, "notes": list(air.notes), "odd": list(odd)}
            )
            return
        out.print(
            say("{hours} hours from {start:%Y-%m-%d %H:%M}.", hours=air.hours, start=air.start), markup=False
        )
        for note in air.notes:
            out.print(say("Mended: {note}.", note=note), markup=False)
        for sentence in odd:
            out.print(say("Odd: {sentence}.", sentence=sentence), markup=False)
        if not odd:
            out.print("Nothing odd was seen; that is no proof of the sensors.")


@app.command()
def learn(file: File, station: StationFile = None, site: SiteText = "", json: Json = False) -> None:
    """What the file tells of the place's climate, as lines for the station file."""
    from drydown.air.learn import learn as learnt  # noqa: PLC0415

    with answering():
        found = learnt(_read(file, station, site))
        if json:
            rows = {name: {"value": told.value, "days": told.days} for name, told in found.items()}
            print_json({"shape": "drydown.weather-learn/1", "climate": rows})
            return
        out.print("[place.climate]", markup=False)
        for name, told in found.items():
            out.print(f"{name} = {told.value:g}  # from {told.days} days", markup=False)


@app.command()
def normals(file: File, station: StationFile = None, site: SiteText = "", json: Json = False) -> None:
    """Twelve monthly means of the file, as lines for the station file; months of too few days left out."""
    from drydown.air.learn import normals_from  # noqa: PLC0415

    with answering():
        months = normals_from(_read(file, station, site))
        rows = [None if m is None else _month(m) for m in months]
        if json:
            print_json({"shape": "drydown.weather-normals/1", "months": rows})
            return
        for number, row in enumerate(rows, 1):
            if row is None:
                out.print(f"# month {number}: fewer than 15 days", markup=False)
                continue
            out.print(f"[[weather.months]]  # month {number}", markup=False)
            for key, value in row.items():
                out.print(f"{key} = {value:g}", markup=False)


def _month(m: MonthNormals) -> dict[str, float]:
    return {
        "tmax_c": round(m.tmax_c, 1), "tmin_c": round(m.tmin_c, 1), "rh_percent": round(100.0 * m.rh, 0),
        "rain_mm": round(m.rain_mm, 0), "rain_days": round(m.rain_days, 1), "wind_ms": round(m.wind_ms, 1),
        "ghi_kwh_m2_day": round(m.ghi_kwh_m2 or 0.0, 2),
    }  # fmt: skip


@app.command()
def draw(
    start: Annotated[str, typer.Option(help="first day: 2026-06-10")],
    days: Annotated[int, typer.Option(help="how many days", min=1, max=366)] = 365,
    station: StationFile = None,
    site: SiteText = "",
    month: Annotated[str, typer.Option(help="with --site, the season's means as for drydown dry")] = "",
    seed: Annotated[int, typer.Option(help="same seed, same weather", min=0)] = 1,
) -> None:
    """Draw one generated weather as CSV, in the layout that is read back."""
    from drydown.air.generator import generate  # noqa: PLC0415
    from drydown.station.load import load_station  # noqa: PLC0415

    with answering():
        here, rows = site_of(site), normals_of(month)
        if station is not None:
            loaded = load_station(station)
            here, rows = loaded.place.site(), loaded.normals()
        if here is None or rows is None:
            raise InputError("no normals.", "drydown weather draw", "Give --station, or --site with --month.")
        begin = _day(start, here)
        typer.echo(_csv(generate(here, rows, begin, 24 * days, 1, seed)), nl=False)


def _day(text: str, site: Site) -> datetime:
    try:
        return datetime.fromisoformat(text).replace(tzinfo=site.zone, hour=0, minute=0)
    except ValueError as error:
        raise InputError(say("'{text}' is not a day.", text=text), "--start", "Write 2026-06-10.") from error


def _csv(air: HourlyWeather) -> str:
    from datetime import timedelta  # noqa: PLC0415

    text = io.StringIO()
    write = csv.writer(text, lineterminator="\n")
    write.writerow(["time", "temp_c", "rh_percent", "ghi_wm2", "wind_ms", "rain_mm"])
    for h in range(air.hours):
        at = (air.start + timedelta(hours=h + 1)).strftime("%Y-%m-%d %H:%M")
        write.writerow([
            at, f"{air.temp_c[0, h]:.1f}", f"{100 * air.rh[0, h]:.0f}", f"{air.ghi_wm2[0, h]:.0f}",
            f"{air.wind_ms[0, h]:.1f}", f"{air.rain_mm[0, h]:.1f}",
        ])  # fmt: skip
    return text.getvalue()


def _picture(air: HourlyWeather) -> str:
    """Daily highs, lows, sun and rain as one SVG."""
    import altair as alt  # noqa: PLC0415
    import vl_convert  # noqa: PLC0415

    days = air.hours // 24
    rows = []
    for d in range(days):
        part = slice(24 * d, 24 * d + 24)
        rows.append({
            "day": d + 1,
            "high": float(air.temp_c[0, part].max()), "low": float(air.temp_c[0, part].min()),
            "sun": float(air.ghi_wm2[0, part].sum() / 1000.0), "rain": float(air.rain_mm[0, part].sum()),
            "humidity": float(100.0 * air.rh[0, part].mean()),
        })  # fmt: skip
    values: Any = alt.Data(values=rows)  # type: ignore[no-untyped-call]
    data = alt.Chart(values).properties(width=640, height=110)
    day = alt.X("day:Q", title=None)
    heat = data.mark_area(color="#7b5796", opacity=0.6).encode(
        x=day, y=alt.Y("low:Q", title="C"), y2="high:Q"
    )
    damp = data.mark_line(color="#4a2560").encode(
        x=day, y=alt.Y("humidity:Q", title="% humidity", scale=alt.Scale(zero=False))
    )
    sun = data.mark_line(color="#4a2560").encode(x=day, y=alt.Y("sun:Q", title="kWh/m2"))
    rain = data.mark_bar(color="#7b5796").encode(x=day, y=alt.Y("rain:Q", title="mm rain"))
    chart = alt.vconcat(heat, damp, sun, rain, background="#fdfcfd")
    text: str = vl_convert.vegalite_to_svg(chart.to_dict())
    return text + "\n"
