"""`drydown roast`, `grind`, `brew`, `probe`: a batch followed ahead, sieves, a brew, a thermocouple
reader."""

from __future__ import annotations

import time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from drydown.cli.show import amount, answering, figures_table, out, print_cautions, print_json, waiting
from drydown.errors import InputError
from drydown.numerals import number
from drydown.words import say

if TYPE_CHECKING:
    from drydown.figures import Figure
    from drydown.outlook.roast import Fit
    from drydown.station.roasters import Roaster

__all__ = ["brew", "grind", "probe", "roast"]

AsJson = Annotated[bool, typer.Option("--json", help="print JSON")]
Number = Annotated[float | None, typer.Option(parser=amount)]


def _roaster(station: Path, name: str) -> Roaster:
    from drydown.station.load import load_station  # noqa: PLC0415 (keeps --help quick)

    found = load_station(station).equipment.roasters
    if not found:
        raise InputError("no roaster is stated.", station.name, "Add [[equipment.roasters]].")
    chosen = next((r for r in found if name in ("", r.name)), None)
    if chosen is None:
        raise InputError(
            say("'{n}' is not a roaster here.", n=name), "--roaster",
            say("Choose: {r}.", r=", ".join(r.name for r in found)),
        )  # fmt: skip
    return chosen


def roast(
    station: Annotated[Path, typer.Argument(help="station file that states a roaster")],
    green_kg: Annotated[float, typer.Option(parser=amount, help="green in, kg")],
    moisture_percent: Annotated[float, typer.Option(parser=amount, help="its moisture, % wb")],
    roaster: Annotated[str, typer.Option(help="its name (default: the first)")] = "",
    charge_c: Annotated[float | None, typer.Option(parser=amount, help="roaster when filled, C")] = None,
    inlet_c: Annotated[float | None, typer.Option(parser=amount, help="gas into the beans, C")] = None,
    drop_c: Annotated[
        float | None, typer.Option(parser=amount, help="out at this probe temperature, C")
    ] = None,
    minutes: Annotated[float, typer.Option(min=1, max=60, help="how long it is followed")] = 20.0,
    log: Annotated[
        list[Path] | None, typer.Option(help="a logged roast to learn from (may be repeated)")
    ] = None,
    room_m3: Annotated[float | None, typer.Option(parser=amount, help="room it degasses in, m3")] = None,
    seed: Annotated[int, typer.Option(min=0, max=2**31 - 1)] = 1,
    as_json: AsJson = False,
) -> None:
    """Follow a roast ahead: milestones, out, loss, fuel, with bands; learnt from your own logs."""
    with answering():
        from drydown.outlook.cautions import at_command  # noqa: PLC0415 (keeps --help quick)
        from drydown.outlook.roast import roast_ahead  # noqa: PLC0415
        from drydown.steps.roast.model import Batch  # noqa: PLC0415

        here = _roaster(station, roaster)
        inlet = inlet_c or here.inlet_c
        if inlet is None:
            raise InputError(
                "the gas into the beans is not known.", "--inlet-c", "Measure it, or state inlet_c."
            )
        here.refuse(green_kg, charge_c or here.charge_c)
        batch = Batch(green_kg, moisture_percent / 100.0, charge_c or here.charge_c, ((0.0, inlet),))
        with waiting("following it in its futures", quiet=as_json):
            fit = _learnt(here, log or [], inlet) if log else None
            target = drop_c or here.drop_c or 0.0
            stones = {m.name: m.probe_c for m in here.milestones if m.probe_c is not None}
            ahead = roast_ahead(
                here.machine(), batch, fit, (), stones, ("probe_c", target), 60.0 * minutes, seed=seed
            )
        figures = ahead.figures | (_gas(green_kg, ahead.figures["loss"].value, room_m3) if room_m3 else {})
        if as_json:
            print_json({
                "shape": "drydown.roast/1", "roaster": here.name,
                "figures": {k: f.as_dict() for k, f in figures.items()}, "notes": list(ahead.notes),
                "fit": None if fit is None else {
                    "roasts": fit.roasts, "readings": fit.readings, "untold": list(fit.untold),
                    "rms_c": fit.rms_c,
                },
                "curve": {
                    "seconds": ahead.seconds[::20].tolist(),
                    "probe_c_p10": ahead.probe_c[0, ::20].round(2).tolist(),
                    "probe_c_p50": ahead.probe_c[1, ::20].round(2).tolist(),
                    "probe_c_p90": ahead.probe_c[2, ::20].round(2).tolist(),
                },
            })  # fmt: skip
            return
        out.print(figures_table(say("{r}, {k:g} kg", r=here.name, k=green_kg), figures))
        for note in ahead.notes:
            out.print(say("Note: {n}", n=note), markup=False)
        if fit is not None and fit.untold:
            out.print(say("These roasts could not tell: {n}.", n=", ".join(fit.untold)), markup=False)
        print_cautions(at_command("roast"))


def _learnt(here: Roaster, files: list[Path], inlet: float) -> Fit:
    from drydown.outlook.roast import calibrate  # noqa: PLC0415 (keeps --help quick)
    from drydown.outlook.roastlog import read_log  # noqa: PLC0415

    logs = []
    for path in files:
        try:
            text = path.read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError) as error:
            raise InputError("cannot be read.", str(path)) from error
        logs.append(read_log(text, {str(k): v for k, v in here.columns.items()}, path.name, inlet))
    return calibrate(here.machine(), logs)


def _gas(green_kg: float, loss_percent: float, room_m3: float) -> dict[str, Figure]:
    from drydown.figures import Band, Figure  # noqa: PLC0415 (keeps --help quick)
    from drydown.steps.roast.gas import CO2_G_MOL, GAS_SOURCE, litres, ppm_in_room  # noqa: PLC0415

    grams = 10.0 * green_kg * (1.0 - loss_percent / 100.0)
    given = {"roasted": f"{green_kg * (1 - loss_percent / 100):.2f} kg", "room": f"{room_m3:g} m3"}
    volume, ppm = litres(grams, CO2_G_MOL), ppm_in_room(grams, CO2_G_MOL, room_m3)
    rule = say("1 % of the roasted mass, all of it in the closed room")
    return {
        "co2_left": Figure(volume, "L", 0.5 * volume, 1.5 * volume, Band.STATED, rule, given, (GAS_SOURCE,)),
        "co2_in_room": Figure(ppm, "ppm", 0.5 * ppm, 1.5 * ppm, Band.STATED, rule, given, (GAS_SOURCE,)),
    }


def grind(
    sieve: Annotated[
        list[str], typer.Option(help="aperture in um and grams held: 850=18.5 (may be repeated)")
    ],
    pan_g: Annotated[float, typer.Option(parser=amount, help="in the pan, g")],
    charge_g: Annotated[float, typer.Option(parser=amount, help="put on, g")],
    as_json: AsJson = False,
) -> None:
    """A grind by its sieves: median, span, how even; which way of brewing its band fits."""
    with answering():
        from drydown.outlook.cautions import at_command  # noqa: PLC0415 (keeps --help quick)
        from drydown.quality.grind import BAND_SOURCE, fit_grind  # noqa: PLC0415

        made = fit_grind(_sieves(sieve), pan_g, charge_g)
        rows = {"d10": made.d10, "d50": made.d50, "d90": made.d90, "span": made.span}
        if as_json:
            print_json({
                "shape": "drydown.grind/1", "size_um": made.size_um, "n": made.n, "worst": made.worst,
                **{k: list(v) for k, v in rows.items()}, "methods": made.methods(), "notes": list(made.notes),
            })  # fmt: skip
            return
        for name, (low, middle, high) in rows.items():
            unit = "" if name == "span" else " um"
            digits = 2 if name == "span" else 0
            out.print(
                f"{name}: {number(middle, digits)}{unit} ({number(low, digits)} to {number(high, digits)})"
            )
        if made.methods():
            out.print(
                say("Median inside the usual band of: {m} [{s}].", m=", ".join(made.methods()),
                    s=BAND_SOURCE.text), markup=False,
            )  # fmt: skip
        for note in made.notes:
            out.print(say("Note: {n}", n=note), markup=False)
        print_cautions(at_command("grind"))


def _sieves(texts: list[str]) -> dict[float, float]:
    found: dict[float, float] = {}
    for text in texts:
        name, _mark, held = text.partition("=")
        try:
            found[float(name)] = float(held.replace(",", "."))
        except ValueError as error:
            raise InputError(
                say("'{t}' is not a sieve and grams.", t=text[:40]), "--sieve", "Write 850=18.5."
            ) from error
    return found


def brew(
    kind: Annotated[str, typer.Argument(help="percolation (water runs through) or immersion (it stays)")],
    dose_g: Annotated[float | None, typer.Option(parser=amount, help="ground coffee, g")] = None,
    water_g: Annotated[float | None, typer.Option(parser=amount, help="water, g")] = None,
    strength: Annotated[float | None, typer.Option(parser=amount, help="dissolved, % of the liquid")] = None,
    extraction: Annotated[float | None, typer.Option(parser=amount, help="immersion: % of the dose")] = None,
    brix: Annotated[float | None, typer.Option(parser=amount, help="degrees Brix of a refractometer")] = None,
    own_slope: Annotated[float | None, typer.Option(parser=amount, help="own strength over Brix")] = None,
    retained: Annotated[float, typer.Option(parser=amount, help="water held by the grounds, g/g")] = 2.0,
    litres: Annotated[
        float | None, typer.Option(parser=amount, help="a recipe for so much in the cup, L")
    ] = None,
    people: Annotated[int | None, typer.Option(min=1, max=5000, help="or for so many people")] = None,
    cup_ml: Annotated[float, typer.Option(parser=amount, help="a cup, mL")] = 150.0,
    ratio: Annotated[float, typer.Option(parser=amount, help="recipe: grams of water to a gram")] = 16.5,
    from_bowl: Annotated[
        bool, typer.Option("--from-bowl", help="drunk off the grounds: nothing stays in them")
    ] = False,
    price_kg: Annotated[float | None, typer.Option(parser=amount, help="roasted coffee, per kg")] = None,
    as_json: AsJson = False,
) -> None:
    """A brew's balance: strength and extraction, recipes by people or litres, cost of a cup."""
    with answering():
        from drydown.outlook.cautions import at_command  # noqa: PLC0415 (keeps --help quick)
        from drydown.steps.brew.balance import tds_of_brix  # noqa: PLC0415

        if kind not in {"percolation", "immersion"}:
            raise InputError(say("'{k}' is not percolation or immersion.", k=kind), "brew")
        told: dict[str, object] = {"shape": "drydown.brew/1", "kind": kind}
        lines: list[str] = []
        if litres is not None or people is not None:
            whole = litres if litres is not None else (people or 0) * cup_ml / 1000.0
            told |= _recipe(whole, ratio, 0.0 if from_bowl else retained, cup_ml, price_kg, lines)
        low = high = 0.0
        if brix is not None:
            low, strength, high = tds_of_brix(brix, own_slope)
            told["strength_band"] = (low, high)
            words = "Strength by Brix: {a:.2f} to {b:.2f} %: sources differ; calibrate your own."
            lines.append(say(words, a=low, b=high))
        if dose_g is not None and water_g is not None and (strength is not None or extraction is not None):
            told |= _balance(kind, (dose_g, water_g), strength, extraction, retained, lines)
            if brix is not None:
                told |= _by_brix(kind, (dose_g, water_g), (low, high), retained, lines)
        if not lines:
            raise InputError(
                "nothing was asked.", "brew", "Give --dose-g, --water-g, --strength, or --people."
            )
        if as_json:
            print_json(told)
            return
        for line in lines:
            out.print(line, markup=False)
        print_cautions(at_command("brew"))


def _recipe(
    whole: float, ratio: float, retained: float, cup_ml: float, price_kg: float | None, lines: list[str]
) -> dict[str, object]:
    """A recipe for a volume, and what a cup of it costs."""
    from drydown.steps.brew.balance import recipe  # noqa: PLC0415 (keeps --help quick)

    dose, water = recipe(whole, ratio, retained)
    told: dict[str, object] = {"recipe": {"litres": whole, "dose_g": dose, "water_g": water}}
    lines.append(
        say("{l:g} L in the cups: {d:.0f} g of coffee, {w:.0f} g of water.", l=whole, d=dose, w=water)
    )
    if price_kg is not None:
        cup = price_kg * dose / 1000.0 / (1000.0 * whole / cup_ml)
        told["cost_cup"] = cup
        lines.append(say("Coffee of a cup: {c}.", c=number(cup, 2)))
    return told


def _balance(
    kind: str, masses: tuple[float, float], strength: float | None, extraction: float | None, retained: float,
    lines: list[str],
) -> dict[str, object]:  # fmt: skip
    """Strength and extraction, and the old bounds with the doubt about them."""
    from drydown.steps.brew.balance import BOX_SOURCE, immersion, percolation  # noqa: PLC0415

    if kind == "percolation":
        if strength is None:
            raise InputError("needs the strength.", "--strength")
        made = percolation(*masses, strength, retained)
    else:
        made = immersion(*masses, strength, None if strength is not None else extraction)
    words = "Strength {s} %, extraction {e} % of the dose, {b:.0f} g of liquid."
    lines.append(say(words, s=number(made.strength, 4), e=number(made.extraction, 2), b=made.beverage_g))
    lines.append(f"{BOX_SOURCE.text}.")
    return {"strength": made.strength, "extraction": made.extraction, "beverage_g": made.beverage_g,
            "inside": made.inside()}  # fmt: skip


def _by_brix(
    kind: str, masses: tuple[float, float], ends: tuple[float, float], retained: float, lines: list[str]
) -> dict[str, object]:
    """Extraction at both ends of what Brix may mean."""
    from drydown.steps.brew.balance import immersion, percolation  # noqa: PLC0415 (keeps --help quick)

    made = [
        percolation(*masses, s, retained) if kind == "percolation" else immersion(*masses, strength=s)
        for s in ends
    ]
    low, high = (m.extraction for m in made)
    lines.append(say("So extraction is {a:.1f} to {b:.1f} %.", a=low, b=high))
    return {"extraction_band": (low, high)}


def probe(
    station: Annotated[Path, typer.Argument(help="station file whose roaster has a thermometer")],
    to: Annotated[Path, typer.Option(help="table to write; each reading is on the disk at once")],
    roaster: Annotated[str, typer.Option(help="its name (default: the first)")] = "",
    minutes: Annotated[float, typer.Option(min=0.05, max=120, help="how long to read")] = 25.0,
) -> None:
    """Read a roaster's thermocouple reader over Modbus into a table; what fails is written beside it."""
    with answering():
        from drydown.desk.probe import follow, reader_of  # noqa: PLC0415
        from drydown.outlook.cautions import at_command  # noqa: PLC0415 (keeps --help quick)

        here = _roaster(station, roaster)
        if here.thermometer is None:
            raise InputError(
                say("{r} has no thermometer stated.", r=here.name), station.name, "Add thermometer."
            )
        if to.exists():
            raise InputError("is there already.", str(to), "Choose another name.")
        every = here.thermometer.every_s
        told = follow(reader_of(here.thermometer), to, 60.0 * minutes, every, time.monotonic, time.sleep)
        out.print(
            say("{n} readings, {b} that failed: {t}", n=told.readings, b=told.failed, t=str(to)), markup=False
        )
        for words in told.remarks:
            out.print(say("Note: {n}", n=words), markup=False)
        print_cautions(at_command("probe"))
