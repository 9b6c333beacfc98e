"""`drydown sizing`: what the published rules of thumb say of a station's size, each with its source."""

from __future__ import annotations

from typing import Annotated

import typer

from drydown.cli.show import amount, answering, figures_table, out, print_cautions, print_json
from drydown.words import say

__all__ = ["sizing"]


def sizing(
    fruit_kg: Annotated[float, typer.Option(parser=amount, help="ripe fruit of a season, kg")],
    spread_days: Annotated[
        float,
        typer.Option(parser=amount, help="standard deviation of the harvest curve, days: 13 short, 20 usual"),
    ],
    coldest_c: Annotated[float, typer.Option(parser=amount, help="mean of the coldest month, C (ponds)")],
    days_a_week: Annotated[int, typer.Option(min=1, max=7, help="days of delivery a week")] = 6,
    route: Annotated[str, typer.Option(help="washed or natural")] = "washed",
    dwell_days: Annotated[
        str, typer.Option(help="days on the beds, early-middle-late, such as 6-8-12 from `drydown dry`")
    ] = "7-10-14",
    as_json: Annotated[bool, typer.Option("--json", help="print JSON")] = False,
) -> None:
    """Hand rules for a station: largest day, pulper, tanks, area, store, ponds, and how far they differ."""
    with answering():
        from drydown.errors import InputError  # noqa: PLC0415 (keeps --help quick)
        from drydown.outlook.cautions import at_command  # noqa: PLC0415
        from drydown.season.hand import Case, hand_rules  # noqa: PLC0415

        if route not in {"washed", "natural"}:
            raise InputError(say("'{r}' is not washed or natural.", r=route), "--route")
        try:
            low, middle, high = (float(x) for x in dwell_days.split("-"))
        except ValueError as error:
            raise InputError(say("'{d}' is not three numbers.", d=dwell_days), "--dwell-days",
                             "Write 6-8-12.") from error  # fmt: skip
        if not 0.0 < low <= middle <= high <= 120.0:
            raise InputError("must rise, above 0 and up to 120 days.", "--dwell-days")
        figures = hand_rules(
            Case(fruit_kg, spread_days, days_a_week, route == "washed", (low, middle, high), coldest_c)
        )
        if as_json:
            print_json({"shape": "drydown.sizing/1", "figures": {k: f.as_dict() for k, f in figures.items()}})
            return
        out.print(figures_table(say("Rules of thumb"), figures))
        for name, figure in figures.items():
            source = figure.sources[0]
            out.print(f"{name}: {figure.rule} [{source.text}, {source.status}]", markup=False)
        words = say("Rules of thumb beside each other, no design: they know no weather, no queue, no money.")
        out.print(words, markup=False)
        print_cautions(at_command("sizing"))
