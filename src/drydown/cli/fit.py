"""`drydown fit`: a station's own drying numbers from its past lots."""

from __future__ import annotations

import csv
import math
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from drydown.cli.show import answering, figures_table, out, print_json, waiting
from drydown.errors import InputError
from drydown.words import say

if TYPE_CHECKING:
    from drydown.air.series import HourlyWeather
    from drydown.outlook.fit import PastLot
    from drydown.station.model import Drying, Station

__all__ = ["fit"]

COLUMNS = ("lot", "place", "load_kg_m2", "spread_at", "read_at", "moisture_percent_wb")


def fit(
    readings: Annotated[
        Path, typer.Option(help=say("CSV with columns {columns}; local times", columns=", ".join(COLUMNS)))
    ],
    weather_file: Annotated[Path, typer.Option(help="the weather the lots dried in (CSV or EPW)")],
    station: Annotated[Path, typer.Option(help="station file: place and routines")],
    form: Annotated[str, typer.Option(help="parchment, mucilage or cherry")],
    json: Annotated[bool, typer.Option("--json", help="print JSON, shape drydown.fit/2")] = False,
) -> None:
    """Fit how quick a station's own lots are, and by what, with intervals; or refuse."""
    from drydown.outlook.fit import fit_station  # noqa: PLC0415
    from drydown.station.load import load_station  # noqa: PLC0415
    from drydown.station.weather import read_weather  # noqa: PLC0415
    from drydown.steps.dry.data import form as form_of  # noqa: PLC0415

    with answering():
        kind, here = form_of(form), load_station(station)
        weather = read_weather(weather_file, here.place.site())
        lots = _lots(readings, here, weather, form)
        with waiting(f"fitting {len(lots)} lots", json):
            found = fit_station(kind, lots)
        figures = {
            "quickness": found.quickness,
            "inside_factor": found.inside_factor,
            "absorptance": found.absorptance,
        }
        if json:
            body = {key: figure.as_dict() for key, figure in figures.items()}
            head = {"shape": "drydown.fit/2", "form": form, "lots": found.lots, "readings": found.readings}
            head["told_apart"] = found.told_apart
            tail = {"residual_points": found.residual_points, "correlation": found.correlation}
            print_json({**head, **body, **tail})
            return
        out.print(figures_table(f"{kind.label}, {found.lots} lots, {found.readings} readings", figures))
        out.print(
            f"Readings lie {found.residual_points:.2f} points wb from the fit (root mean square); "
            f"correlation of inside factor and absorptance {found.correlation:.2f}.",
            markup=False,
        )
        if not found.told_apart:
            out.print(
                "These lots do not tell the inside factor from the absorptance: take the quickness, and add "
                "a lot dried without sun (heated air) to know the two singly."
            )


def _lots(path: Path, here: Station, weather: HourlyWeather, form: str) -> list[PastLot]:
    """Lots of the readings file, in order of first appearance."""
    habits = here.drying.get(form)
    if habits is None:
        raise InputError(say("has no table [drying.{form}].", form=form), "station file")
    groups: dict[str, list[tuple[int, dict[str, str]]]] = {}
    for number, row in _rows(path):
        groups.setdefault(row["lot"].strip(), []).append((number, row))
    return [_lot(name, rows, path.name, here, habits, weather, form) for name, rows in groups.items()]


def _rows(path: Path) -> list[tuple[int, dict[str, str]]]:
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(say("cannot be read ({error}).", error=error), str(path)) from error
    lines = text.splitlines()
    separator = max(";\t,", key=(lines[0] if lines else "").count)
    reader = csv.DictReader(lines, delimiter=separator)
    absent = [c for c in COLUMNS if c not in (reader.fieldnames or ())]
    if absent:
        raise InputError(
            say("column '{value}' is missing.", value=absent[0]), say("{name}, line 1", name=path.name)
        )
    found = list(enumerate(reader, 2))
    for number, row in found:
        short = [c for c in COLUMNS if not (row.get(c) or "").strip()]
        if short:
            raise InputError(
                "is empty.",
                say("{name}, line {number}, column {value}", name=path.name, number=number, value=short[0]),
            )
    return found


def _lot(
    name: str,
    rows: list[tuple[int, dict[str, str]]],
    file: str,
    here: Station,
    habits: Drying,
    weather: HourlyWeather,
    form: str,
) -> PastLot:
    import numpy as np  # noqa: PLC0415

    from drydown.outlook.fit import PastLot  # noqa: PLC0415
    from drydown.steps.dry.data import form as form_of  # noqa: PLC0415

    number, first = rows[0]
    zone = weather.site.zone
    spread = _time(
        first["spread_at"], say("{file}, line {number}, column spread_at", file=file, number=number)
    ).replace(tzinfo=zone)
    hours, moisture = [], []
    for line, row in rows:
        for key in ("place", "load_kg_m2", "spread_at"):
            if row[key].strip() != first[key].strip():
                raise InputError(
                    say(
                        "'{value}' differs from line {number}: '{value_2}'.",
                        value=row[key],
                        number=number,
                        value_2=first[key],
                    ),
                    say("{file}, line {line}, column {key}", file=file, line=line, key=key),
                )
        at = _time(row["read_at"], say("{file}, line {line}, column read_at", file=file, line=line)).replace(
            tzinfo=zone
        )
        hours.append((at - spread).total_seconds() / 3600.0)
        moisture.append(
            _number(
                row["moisture_percent_wb"],
                say("{file}, line {line}, column moisture_percent_wb", file=file, line=line),
            )
            / 100
        )
    spread_kg = _number(
        first["load_kg_m2"], say("{file}, line {number}, column load_kg_m2", file=file, number=number)
    )
    load = form_of(form).dry_load(spread_kg)
    air = weather.window(spread.replace(minute=0, second=0), int(max(hours)) + 2)
    return PastLot(
        name,
        here.spot(first["place"].strip()),
        habits.routine(),
        load,
        air,
        np.array(hours),
        np.array(moisture),
    )


def _time(text: str, where: str) -> datetime:
    try:
        return datetime.fromisoformat(text.strip()).replace(tzinfo=None)
    except ValueError as error:
        raise InputError(
            say("'{text}' is not a time.", text=text), where, "Write 2026-06-10 09:00."
        ) from error


def _number(text: str, where: str) -> float:
    try:
        number = float(text.strip().replace(",", "."))
    except ValueError as error:
        raise InputError(say("'{text}' is not a number.", text=text), where) from error
    if not math.isfinite(number):
        raise InputError(say("'{text}' is not a number.", text=text), where)
    return number
