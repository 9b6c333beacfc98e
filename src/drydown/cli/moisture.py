"""`drydown moisture`: balance with air, water activity, mass at another moisture, sweating."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from drydown.cli.show import (
    amount,
    answering,
    figures_table,
    out,
    percent,
    positive,
    print_cautions,
    print_json,
)
from drydown.errors import InputError

if TYPE_CHECKING:
    from drydown.figures import Figure

__all__ = ["moisture"]

Number = Annotated[float | None, typer.Option(parser=amount)]


def moisture(
    temp_c: Annotated[
        float | None, typer.Option(parser=amount, help="temperature of coffee and air, C")
    ] = None,
    rh_percent: Annotated[float | None, typer.Option(parser=percent, help="humidity of the air, %")] = None,
    percent_wb: Annotated[float | None, typer.Option(parser=percent, help="moisture, % wet basis")] = None,
    mass_kg: Annotated[float | None, typer.Option(parser=positive, help="mass at that moisture, kg")] = None,
    to_percent_wb: Annotated[
        float | None, typer.Option(parser=percent, help="other moisture, % wet basis")
    ] = None,
    species: Annotated[str, typer.Option(help="arabica, robusta or liberica")] = "arabica",
    form: Annotated[str, typer.Option(help="parchment, mucilage, cherry or green")] = "parchment",
    json: Annotated[bool, typer.Option("--json", help="print JSON, shape drydown.moisture/1")] = False,
) -> None:
    """What a moisture means: give air (C and %), or a moisture with C, or a mass with two moistures."""
    from drydown.matter.species import species as find_species  # noqa: PLC0415 (keeps --help quick)
    from drydown.outlook.cautions import at_command  # noqa: PLC0415
    from drydown.outlook.moisture import (  # noqa: PLC0415
        balance_moisture,
        mass_at,
        sealed_dew_point,
        water_activity,
    )
    from drydown.outlook.rules import check_rules  # noqa: PLC0415
    from drydown.steps.dry.data import form as form_of  # noqa: PLC0415

    with answering():
        find_species(species)
        form_of(form)
        found: dict[str, Figure] = {}
        wb = None if percent_wb is None else percent_wb / 100.0
        if temp_c is not None and rh_percent is not None:
            found["moisture in balance with the air"] = balance_moisture(
                temp_c, rh_percent / 100.0, species, form
            )
        if temp_c is not None and wb is not None:
            found["water activity"] = water_activity(wb, temp_c, species, form)
            found["dew point in a sealed lot"] = sealed_dew_point(wb, temp_c)
        if mass_kg is not None and wb is not None and to_percent_wb is not None:
            found["mass at the other moisture"] = mass_at(mass_kg, wb, to_percent_wb / 100.0)
        if not found:
            raise InputError(
                "nothing to work out.", "drydown moisture",
                "Give --temp-c with --rh-percent or --percent-wb, or --mass-kg with both moistures.",
            )  # fmt: skip
        rules = [] if wb is None else check_rules(wb, temp_c, form, species)
        if json:
            told = [{"rule": r.text, "inside": r.inside, "why": r.why} for r in rules]
            figures = {name.replace(" ", "_"): f.as_dict() for name, f in found.items()}
            print_json({"shape": "drydown.moisture/1", "figures": figures, "rules": told})
            return
        out.print(figures_table(f"{species}, {form}", found))
        for rule in rules:
            out.print(f"{rule.words()} [{rule.source.text}]", markup=False)
        for note in dict.fromkeys(f.inputs["note"] for f in found.values() if "note" in f.inputs):
            out.print(f"Note: {note}.", markup=False)
        print_cautions(at_command("moisture"))
