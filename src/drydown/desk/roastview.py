"""What roasting, grinding and brewing a sample come to: figures for its page and its lot's."""

from __future__ import annotations

from collections.abc import Sequence

from drydown.books.bench.roasts import BrewTold, GrindTold, RoastTold
from drydown.books.models import BenchSheet
from drydown.errors import DrydownError
from drydown.figures import Band, Figure, Source, Status
from drydown.outlook.roast import Fit, Log, calibrate
from drydown.quality.colour import Anchor, by_anchors
from drydown.quality.grind import BAND_SOURCE
from drydown.station.model import Station
from drydown.station.roasters import Roaster
from drydown.steps.brew.balance import BOX, BOX_SOURCE, RETAINED, percolation
from drydown.steps.roast.model import Batch, organic_share
from drydown.words import say

__all__ = ["batch_of", "brew_figures", "fit_of", "grind_figures", "log_of", "roast_figures", "roaster_of"]

LAB = Source("ISO/CIE 11664-4", Status.PUBLISHED)
WEIGHED = Source("conservation of mass, from the weighings", Status.DERIVED)
LEAST_READ, LEAST_S = 5, 180.0
"""Logs with fewer readings, or shorter, are not learnt from (own choice)."""
COLOUR_DOUBT = 1.0
"""How far a read L* may lie off (own estimate)."""


def roaster_of(station: Station, name: str) -> Roaster | None:
    """A roaster by its name."""
    return next((r for r in station.equipment.roasters if r.name == name), None)


def batch_of(told: RoastTold, roaster: Roaster | None) -> Batch | None:
    """What was roasted, as the model takes it; None where gas or moisture is not known."""
    inlet = told.inlet_c or (roaster.inlet_c if roaster else None)
    if inlet is None or told.green_percent is None:
        return None
    return Batch(told.green_g / 1000.0, told.green_percent / 100.0, told.charge_c, ((0.0, inlet),))


def log_of(told: RoastTold, roaster: Roaster | None) -> Log | None:
    """A sheet as the model takes it."""
    batch = batch_of(told, roaster)
    if batch is None:
        return None
    roasted = None if told.roasted_g is None else told.roasted_g / 1000.0
    wet = None if told.roasted_percent is None else told.roasted_percent / 100.0
    return Log(batch, tuple((t, c) for t, c in told.readings), told.drop_s, roasted, wet)


def fit_of(roaster: Roaster, sheets: Sequence[BenchSheet]) -> Fit | None:
    """What earlier roasts on a roaster told; None where they are too few or do not fit."""
    told = [RoastTold.model_validate(s.told) for s in sheets]
    logs = [
        x for t in told if t.roaster == roaster.name and (x := log_of(t, roaster)) is not None and x.readings
    ]
    try:
        return calibrate(roaster.machine(), logs[-8:])
    except DrydownError:
        return None


def roast_figures(told: RoastTold, station: Station) -> tuple[dict[str, Figure], list[str]]:
    """Loss, organic loss, green equivalent; colour in the station's own words."""
    found: dict[str, Figure] = {}
    words: list[str] = []
    roaster = roaster_of(station, told.roaster)
    if told.roasted_g is not None:
        loss = 1.0 - told.roasted_g / told.green_g
        given = {"green": f"{told.green_g:g} g", "roasted": f"{told.roasted_g:g} g"}
        found["roast_loss"] = _exact(100.0 * loss, "%", say("1 - roasted/green"), given)
        found["green_equivalent"] = _exact(
            told.green_g / told.roasted_g,
            "kg green/kg",
            say("green over roasted; 1.19 is the usual factor"),
            given,
        )
        if told.green_percent is not None and told.roasted_percent is not None:
            organic = organic_share(told.green_percent / 100.0, told.roasted_percent / 100.0, loss)
            given |= {"moistures": f"{told.green_percent:g} and {told.roasted_percent:g} % wb"}
            found["organic_loss"] = _exact(
                100.0 * organic, "% of dry matter", say("1 - (1 - L)(1 - w1)/(1 - w0)"), given
            )
    if told.lightness is not None:
        anchors = [Anchor(r.words, r.lightness) for r in (roaster.references if roaster else ())]
        near = by_anchors(told.lightness, COLOUR_DOUBT, anchors) if len(anchors) >= 2 else ""
        found["colour"] = Figure(
            told.lightness, "L*", told.lightness - COLOUR_DOUBT, told.lightness + COLOUR_DOUBT, Band.STATED,
            say("as read; CIE L* of the ground coffee, D65"), {}, (LAB,),
        )  # fmt: skip
        if near:
            words.append(say("Colour: {n}.", n=near))
    return found, words


def grind_figures(told: GrindTold) -> tuple[dict[str, Figure], list[str]]:
    """Median and span with intervals; ways of brewing whose band holds the median."""
    made = told.grind()
    given = {
        "setting": f"{told.setting:g}",
        "sieves": ", ".join(f"{k} um {v:g} g" for k, v in told.sieves_g.items()),
    }
    found = {}
    for name, three, unit in (("median_grind", made.d50, "um"), ("grind_span", made.span, "")):
        low, middle, high = three
        found[name] = Figure(
            middle, unit, min(low, middle), max(high, middle), Band.STATED,
            say("Rosin-Rammler through the sieves, tolerance and weighing drawn"), given, (BAND_SOURCE,),
        )  # fmt: skip
    words = list(made.notes)
    if made.methods():
        words.append(say("Median inside the usual band of: {m}.", m=", ".join(made.methods())))
    return found, words


def brew_figures(told: BrewTold) -> tuple[dict[str, Figure], list[str]]:
    """Strength and extraction, and which published bounds they are inside of."""
    made = told.brew()
    if made is None:
        return {}, []
    given = {"dose": f"{told.dose_g:g} g", "water": f"{told.water_g:g} g", "kind": told.kind}
    low = high = made.extraction
    rule = say("E = S R/(1 - S): all liquid counts")
    if told.kind == "percolation":
        ends = [percolation(told.dose_g, told.water_g, made.strength, r).extraction for r in RETAINED]
        low, high = min(*ends, made.extraction), max(*ends, made.extraction)
        rule = say("E = S (water - r dose)/dose, r of 1.5 to 2.1 g/g held by the grounds")
    found = {
        "strength": _exact(made.strength, "%", say("as read"), given, BOX_SOURCE),
        "extraction": Figure(made.extraction, "%", low, high, Band.STATED, rule, given, (BOX_SOURCE,)),
    }
    words: list[str] = []
    for name, inside in made.inside().items():
        a, b = BOX[name]
        state = say("inside") if inside else say("outside")
        value = made.strength if name == "strength" else made.extraction
        told_of = "{n} {v:.2f} %: {s} the old bounds of {a:g} to {b:g} %, which later work doubts."
        words.append(say(told_of, n=say(name).capitalize(), v=value, s=state, a=a, b=b))
    return found, words


def _exact(value: float, unit: str, rule: str, given: dict[str, str], source: Source = WEIGHED) -> Figure:
    return Figure(value, unit, value, value, Band.EXACT, rule, given, (source,))
