"""`drydown plan`: which fruit goes where and when in the coming days, and what does not fit."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from drydown.cli.show import answering, out, print_cautions, print_json, table_of, waiting
from drydown.errors import InputError
from drydown.numerals import number
from drydown.words import say

if TYPE_CHECKING:
    from drydown.plan.answer import Answer

__all__ = ["plan"]


def plan(
    station: Annotated[Path, typer.Argument(help="station file")],
    deliveries: Annotated[
        Path, typer.Option(help="CSV of fruit that is expected: date, species, route, kg (docs/week.md)")
    ],
    start: Annotated[str, typer.Option(help="local time it starts: 2026-11-30T06:00 (default: now)")] = "",
    days: Annotated[int, typer.Option(min=2, max=14, help="days of the plan")] = 8,
    seconds: Annotated[float, typer.Option(min=1, max=600, help="seconds of solving")] = 10.0,
    worth: Annotated[
        bool, typer.Option("--worth", help="say what more of each thing would be worth")
    ] = False,
    ics: Annotated[Path | None, typer.Option(help="write the tasks as a calendar")] = None,
    pdf: Annotated[Path | None, typer.Option(help="write them for the wall")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="print JSON")] = False,
) -> None:
    """Plan the coming days of an empty yard: where fruit goes, in what order, and what does not fit."""
    with answering():
        found = _answer(station, deliveries, start, days, seconds, worth, as_json)
        from drydown.plan.told import as_dict, calendar, rows_of  # noqa: PLC0415 (keeps --help quick)

        if ics is not None:
            ics.write_bytes(calendar(found.week.station.place.name, rows_of(found), found.week.now))
        if pdf is not None:
            pdf.write_bytes(_wall(found))
        if as_json:
            print_json(as_dict(found))
            return
        _print(found)


def _answer(
    station: Path, deliveries: Path, start: str, days: int, seconds: float, worth: bool, quiet: bool
) -> Answer:
    from drydown.outlook.skies import Skies  # noqa: PLC0415 (keeps --help quick)
    from drydown.outlook.tank import learnt_hours  # noqa: PLC0415
    from drydown.plan.answer import answer_of  # noqa: PLC0415
    from drydown.plan.deliveries import read_deliveries  # noqa: PLC0415
    from drydown.plan.drytimes import DryTimes  # noqa: PLC0415
    from drydown.plan.week import Week  # noqa: PLC0415
    from drydown.station.load import load_station  # noqa: PLC0415
    from drydown.station.weather import station_weather  # noqa: PLC0415

    here = load_station(station)
    site = here.place.site()
    try:
        begin = datetime.fromisoformat(start) if start else datetime.now(site.zone)
    except ValueError as error:
        raise InputError(
            say("'{t}' is not a time.", t=start[:40]), "--start", "Write 2026-11-30T06:00."
        ) from error
    begin = begin.replace(tzinfo=site.zone, minute=begin.minute // 15 * 15, second=0, microsecond=0)
    try:
        text = deliveries.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError("cannot be read.", str(deliveries)) from error
    coming = tuple(c for c in read_deliveries(text, here, site.zone) if c.at >= begin)
    weather = station_weather(here, station.parent)
    mean_c = float(sum((m.tmax_c + m.tmin_c) / 2.0 for m in here.normals() or ()) / 12.0) or 20.0
    week = Week(begin, here, (), coming, Skies(site, weather), learnt_hours([]), mean_c, days)
    with waiting("reckoning how long each lot would lie, then planning", quiet=quiet):
        return answer_of(week, DryTimes(week, {}), seconds, prices=worth)


def _wall(found: Answer) -> bytes:
    """The plan as a sheet, by day."""
    from drydown.desk.prints import pdf  # noqa: PLC0415 (only where one is printed)
    from drydown.plan.told import rows_of, wall  # noqa: PLC0415

    week = found.week
    return pdf("week", wall(week.station.place.name, week.now, ((r.begin, r.words) for r in rows_of(found))))


def _print(found: Answer) -> None:
    from drydown.outlook.cautions import at_command  # noqa: PLC0415 (keeps --help quick)
    from drydown.plan.told import rows_of  # noqa: PLC0415

    money = found.week.station.money
    unit = 10**money.decimals
    out.print(found.headline(), markup=False)
    out.print(
        say("Costs {c} {u}, at most {g:.0f} % above the least there can be ({s:.1f} s of solving).",
            c=number(found.plan.cost / unit), u=money.currency, g=100 * found.plan.gap, s=found.plan.seconds),
        markup=False,
    )  # fmt: skip
    tasks = table_of(say("when"), say("what"), "")
    for r in rows_of(found):
        tasks.add_row(f"{r.begin:%a %d.%m. %H:%M}", str(r.words), say("expected") if r.expected else "")
    out.print(tasks)
    late, left = say("kg h late"), say("without a way")
    beside = table_of(say("rule"), money.currency, late, left, right=(money.currency, late, left))
    own = (number(found.plan.cost / unit), number(found.own_late), str(len(found.plan.left_out)))
    beside.add_row(say("this plan"), *own)
    for b in found.beside:
        cost = "-" if b.cost is None else number(b.cost / unit)
        beside.add_row(b.rule, cost, number(b.late_kg_h), str(len(b.left_out)))
    out.print(beside)
    for one in found.worth:
        out.print(
            say("{m}: saves {c} {u}", m=one.more, c=number(one.saves / unit), u=money.currency), markup=False
        )
    for note in found.built.notes:
        out.print(say("Note: {n}.", n=note), markup=False)
    print_cautions(at_command("plan"))
