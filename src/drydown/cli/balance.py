"""`drydown balance`: where every kilogram of a delivery goes."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from drydown.cli.show import (
    answering,
    assumptions_table,
    figures_table,
    out,
    percent,
    positive,
    print_cautions,
    print_json,
)
from drydown.words import say

__all__ = ["balance"]


def balance(
    species: Annotated[str, typer.Option(help="arabica, robusta or liberica")],
    route: Annotated[str, typer.Option(help="washed, pulped_natural or natural")],
    cherry_kg: Annotated[float, typer.Option(parser=positive, help="ripe fruit received, kg")],
    target_percent_wb: Annotated[
        float, typer.Option(parser=percent, help="moisture at hulling, per cent wet basis")
    ] = 11.0,
    mucilage_kept: Annotated[
        float, typer.Option(parser=positive, help="share of mucilage left on, pulped natural, 0 to 1")
    ] = 1.0,
    float_share: Annotated[
        float | None, typer.Option(parser=positive, help="your measured float, 0 to 0.9")
    ] = None,
    pulp_water_l_kg_cherry: Annotated[
        float | None, typer.Option(parser=positive, help="your pulping water, L per kg fruit")
    ] = None,
    wash_water_l_kg_parchment: Annotated[
        float | None, typer.Option(parser=positive, help="your washing water, L per kg dry parchment")
    ] = None,
    station: Annotated[
        Path | None, typer.Option(help="station file: its measured losses and water are used")
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="print JSON, shape drydown.balance/1")] = False,
) -> None:
    """Mass balance of a delivery through a route: green, by-products, water, effluent."""
    from drydown.matter.practice import practice  # noqa: PLC0415 (keeps --help quick)
    from drydown.matter.report import report_balance  # noqa: PLC0415
    from drydown.matter.species import species as find_species  # noqa: PLC0415
    from drydown.outlook.cautions import at_command  # noqa: PLC0415
    from drydown.station.load import load_station  # noqa: PLC0415
    from drydown.way.hurts import at_step  # noqa: PLC0415

    with answering():
        assumed = practice() if station is None else load_station(station).practice()
        assumed = assumed.stated(
            float_share=float_share,
            pulp_water_l_kg_cherry=pulp_water_l_kg_cherry,
            wash_water_l_kg_parchment=wash_water_l_kg_parchment,
        )
        kind = find_species(species)
        report = report_balance(kind, assumed, route, cherry_kg, target_percent_wb / 100.0, mucilage_kept)
        if json:
            print_json(report.as_dict())
            return
        title = say(
            "{cherry_kg:g} kg ripe {species}, {replace}, to {target_percent_wb:g} % wb",
            cherry_kg=cherry_kg,
            species=species,
            replace=route.replace("_", " "),
            target_percent_wb=target_percent_wb,
        )
        out.print(figures_table(title, report.figures))
        published = kind.outturn_published
        out.print(
            f"Published outturn for {species}: {published.low:g} to {published.high:g} kg green per "
            f"kg fruit ({published.source.text}).",
            markup=False,
        )
        dm, water = report.closure
        out.print(f"Closure: dry matter {dm:.0e}, water {water:.0e} of what entered.")
        out.print(assumptions_table(report.assumptions))
        steps = {"washed": ("pulp", "ferment", "wash"), "pulped_natural": ("pulp",)}.get(route, ())
        warned = list(at_command("balance"))
        warned += [c for step in (*steps, "spread", "hull") for c in at_step(step)]
        print_cautions(tuple(dict.fromkeys(warned)))
