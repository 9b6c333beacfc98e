"""Price and mass arithmetic of the trade, each rule with its published case.

Everything is plain arithmetic; what a country's rule fixes (base factor, hull share, costs) is
an argument with the published value as its default, and named in the docstring.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from drydown.errors import InputError, RangeError
from drydown.figures import Figure, Source, Status
from drydown.trade.units import POUND_KG
from drydown.words import say

__all__ = [
    "ICO_FACTORS",
    "IcoMark",
    "PriceChain",
    "adjusted_mass",
    "farm_gate_share",
    "ico_equivalent",
    "ico_mark",
    "low_grade_price",
    "parchment_price",
    "price_at_yield_factor",
    "price_chain",
    "weight_refund",
    "yield_factor",
]

ICO_FACTORS = {"dried cherry": 0.5, "parchment": 0.8, "green": 1.0, "roasted": 1.19, "soluble": 2.6,
               "decaffeinated green": 1.05}  # fmt: skip
"""kg green for 1 kg of each form (ICO factors, ITC Coffee Guide)."""


def adjusted_mass(mass_kg: float, moisture_wb: float, reference_wb: float) -> float:
    """Mass that the same dry matter has at a reference moisture.

    Equation: W_ref = W (1 - m) / (1 - m_ref).
    Args: mass_kg [kg]; moisture_wb, reference_wb [fraction wb]. Returns: [kg].
    Valid range: both moistures 0 to 0.8. Source: conservation of dry matter.
    """
    for value in (moisture_wb, reference_wb):
        if not 0.0 <= value < 0.8:
            raise RangeError(say("moisture must be from 0 to 0.8 wet basis, got {value:g}.", value=value))
    return mass_kg * (1.0 - moisture_wb) / (1.0 - reference_wb)


def ico_equivalent(mass_kg: float, form: str, to: str = "green") -> float:
    """Mass of one form as the equivalent mass of another, by the ICO's factors.

    Args: mass_kg [kg]; form, to: keys of `ICO_FACTORS`. Returns: [kg].
    Valid range: mass 0 or more. Source: ICO factors as printed in the ITC Coffee Guide.
    """
    for name in (form, to):
        if name not in ICO_FACTORS:
            raise InputError(
                say("form '{name}' is not known.", name=name),
                fix=say("One of: {ico_factors}.", ico_factors=", ".join(ICO_FACTORS)),
            )
    return mass_kg * ICO_FACTORS[form] / ICO_FACTORS[to]


def yield_factor(sample_g: float, exportable_g: float) -> float:
    """Kilograms of dry parchment for one 70 kg bag of exportable green.

    Equation: f = 70 x sample / exportable. Args: sample_g, exportable_g [g]. Returns: [kg].
    Valid range: exportable above 0 and not above the sample. Source: common practice of
    the Colombian trade, no source; a standard lot has f = 92.2.
    """
    if not 0.0 < exportable_g <= sample_g:
        raise RangeError(
            say(
                "exportable {exportable_g:g} g must be above 0 and at most the sample, {sample_g:g} g.",
                exportable_g=exportable_g,
                sample_g=sample_g,
            )
        )
    return 70.0 * sample_g / exportable_g


def price_at_yield_factor(base_price: float, factor: float, base_factor: float = 94.0) -> float:
    """Price of parchment of another yield factor than the base: price x base / factor.

    Args: base_price [money]; factor, base_factor [kg per 70 kg]. Returns: [money].
    Valid range: factors 70 to 200. Source: Colombian practice, base factor 94 (from memory; the
    base factor stands on the daily price sheet of 31 Mar 2021).
    """
    for value in (factor, base_factor):
        if not 70.0 <= value <= 200.0:
            raise RangeError(say("a yield factor must be from 70 to 200, got {value:g}.", value=value))
    return base_price * base_factor / factor


def parchment_price(
    sound: float, defective: float, sound_share: float = 0.76, defective_share: float = 0.05
) -> float:
    """Price of a kilogram of dry parchment from the prices of sound and defective beans in it.

    Equation: sound_share x sound + defective_share x defective; the rest is hull, paid nothing.
    Args: prices [money/kg of beans]; shares of parchment mass [-]. Returns: [money/kg parchment].
    Valid range: shares 0 to 1, together at most 1. Source: decomposition derived from the
    Colombian daily price sheet of 21 Aug 2015 (0.76 x 7 937 + 0.05 x 3 400 = 6 202.1).
    """
    if not (0 <= sound_share <= 1 and 0 <= defective_share <= 1 and sound_share + defective_share <= 1):
        raise RangeError("shares must be from 0 to 1 and together at most 1.")
    return sound_share * sound + defective_share * defective


def low_grade_price(points: float, per_point: float) -> float:
    """Price of an arroba of low-grade parchment by its points.

    Args: points [-]; per_point [money per point and arroba]. Returns: [money per arroba].
    Valid range: points 0 to 100. Source: Colombian daily price sheet, 31 Mar 2021.
    """
    if not 0.0 <= points <= 100.0:
        raise RangeError(say("points must be from 0 to 100, got {points:g}.", points=points))
    return points * per_point


def weight_refund(
    shipped_kg: float, landed_kg: float, price_per_kg: float, franchise: float = 0.005
) -> float:
    """What a seller pays back for weight lost on the way, beyond the franchise.

    Equation: price x max(0, shipped - landed - franchise x shipped). Args: shipped_kg, landed_kg [kg];
    price_per_kg [money/kg]; franchise [fraction of the shipped weight]. Returns: [money].
    Valid range: shipped above 0, franchise 0 to 0.05. Source: European standard contract for coffee:
    loss over 0.5 % of the shipped weight is refunded (1 % until 1997), as told by the ITC Coffee Guide.
    """
    if shipped_kg <= 0.0 or landed_kg < 0.0 or not 0.0 <= franchise <= 0.05:
        raise RangeError("shipped must be above 0, landed 0 or more, the franchise 0 to 5 %.")
    if landed_kg < 0.5 * shipped_kg:
        raise RangeError(
            say(
                "{landed_kg:g} kg landed of {shipped_kg:g} kg: check both weights.",
                landed_kg=landed_kg,
                shipped_kg=shipped_kg,
            )
        )
    return price_per_kg * max(0.0, shipped_kg - landed_kg - franchise * shipped_kg)


def farm_gate_share(
    load_price: float, exchange_rate: float, factor: float, close_cents_lb: float, load_kg: float = 125.0
) -> float:
    """Share of the futures price that the price of a load of parchment is.

    Equation: green = load x 70 / f; farm gate = 100 (price / rate) / (green x 2.20462) US cents
    per pound of green; divided by the close.
    Args: load_price [local money per load]; exchange_rate [local money per US dollar]; factor
    [kg parchment per 70 kg green]; close_cents_lb [US cents per lb]; load_kg [kg].
    Returns: fraction. Valid range: all above 0. Source: rule in words, own arithmetic.
    """
    if min(load_price, exchange_rate, factor, close_cents_lb, load_kg) <= 0:
        raise RangeError("all amounts must be above 0.")
    green_lb = load_kg * 70.0 / factor / POUND_KG
    return 100.0 * load_price / exchange_rate / green_lb / close_cents_lb


@dataclass(frozen=True, slots=True)
class IcoMark:
    """An ICO mark: country, exporter, shipment of the coffee year that begins on 1 October."""

    country: int
    exporter: int
    shipment: int

    def text(self) -> str:
        """As printed on bags."""
        return f"{self.country:03d}-{self.exporter:04d}-{self.shipment:04d}"


def ico_mark(text: str) -> IcoMark:
    """Read an ICO mark.

    Args: text such as "002-1961-0978". Returns: `IcoMark`.
    Valid range: up to 3 and 4 digits, shipment up to 5 (rules of 7 Oct 2022, as quoted by others).
    Source: ITC Coffee Guide.
    """
    found = re.fullmatch(r"\s*([0-9]{1,3})[-/ ]([0-9]{1,4})[-/ ]([0-9]{1,5})\s*", text)
    if not found or 0 in (numbers := [int(g) for g in found.groups()]):
        raise InputError(
            say("'{text}' is not an ICO mark.", text=text),
            fix="Write country-exporter-shipment: 002-1961-0978.",
        )
    return IcoMark(*numbers)


@dataclass(frozen=True, slots=True)
class PriceChain:
    """A price from the market to the cherry, step by step; `steps` are figures in order."""

    steps: tuple[tuple[str, Figure], ...]

    @property
    def cherry(self) -> float:
        """What a kilogram of ripe fruit could be paid, local money."""
        return self.steps[-1][1].value

    def as_dict(self) -> dict[str, object]:
        """Plain data for `--json`, shape `drydown.price/1`."""
        return {"shape": "drydown.price/1", "steps": {name: f.as_dict() for name, f in self.steps}}


_RULE = Source(
    "public price commission notice, Veracruz, 31 Jan 2022: the order of the steps", Status.PUBLISHED
)


MOST_CHERRY = 30.0
"""Fruit for green above which a slip is certain: liberica's worst published is about 13."""


def price_chain(
    quotation_cents_lb: float,
    differential_cents_lb: float,
    exchange_rate: float,
    bag_kg: float,
    export_cost_bag: float,
    parchment_kg_bag: float,
    mill_cost_bag: float,
    cherry_kg_bag: float,
) -> PriceChain:
    """From a market quotation to the cherry, in local money.

    Equation: (quotation + differential) x pounds per bag / 100 x exchange rate, less export and
    mill cost, over parchment per bag; less wet-mill cost, over cherry per bag.
    Args: quotation, differential [US cents per lb green]; exchange_rate [local per US dollar];
    bag_kg [kg green]; costs [local money per bag]; parchment_kg_bag, cherry_kg_bag [kg that one
    bag of green takes]. Returns: `PriceChain`.
    Valid range: bag, rate, parchment, cherry above 0; parchment at least the bag, cherry at least
    the parchment; a price below zero is shown as it is.
    Source: order of the steps as in the price commission notice, Veracruz, 31 Jan 2022.
    """
    if min(exchange_rate, bag_kg) <= 0:
        raise RangeError(
            say(
                "bag {bag_kg:g} kg and rate {exchange_rate:g} must be above 0.",
                bag_kg=bag_kg,
                exchange_rate=exchange_rate,
            ),
            "price",
        )
    if parchment_kg_bag < bag_kg:
        words = say(
            "{parchment_kg_bag:g} kg of parchment cannot give a bag of {bag_kg:g} kg.",
            parchment_kg_bag=parchment_kg_bag,
            bag_kg=bag_kg,
        )
        raise RangeError(words, "parchment", "Write kg of dry parchment for one bag.")
    if not parchment_kg_bag <= cherry_kg_bag <= MOST_CHERRY * bag_kg:
        words = say(
            "{cherry_kg_bag:g} kg of fruit for a bag of {bag_kg:g} kg and {parchment_kg_bag:g} kg parchment.",
            cherry_kg_bag=cherry_kg_bag,
            bag_kg=bag_kg,
            parchment_kg_bag=parchment_kg_bag,
        )
        raise RangeError(words, "cherry", "Write kg of ripe fruit for one bag: 4 to 13 times the bag.")
    market = quotation_cents_lb + differential_cents_lb
    bag = market / 100.0 * bag_kg / POUND_KG * exchange_rate
    at_mill = bag - export_cost_bag
    parchment = at_mill / parchment_kg_bag
    cherry = (at_mill - mill_cost_bag) / cherry_kg_bag

    def step(value: float, unit: str, rule: str, **inputs: str) -> Figure:
        made = Figure.exact(value, unit, rule, **inputs)
        return Figure(made.value, unit, made.low, made.high, made.band, rule, inputs, (_RULE,))

    quoted = {"quotation": f"{quotation_cents_lb:g}", "differential": f"{differential_cents_lb:g}"}
    rate = {
        "exchange rate": say("{exchange_rate:g} per US dollar", exchange_rate=exchange_rate),
        "bag": say("{bag_kg:g} kg green", bag_kg=bag_kg),
    }
    return PriceChain(
        (
            ("market", step(market, "US cents/lb green", "quotation plus differential", **quoted)),
            ("bag", step(bag, "per bag green", "market price over all its pounds, in local money", **rate)),
            (
                "mill gate",
                step(
                    at_mill,
                    "per bag green",
                    "bag less export and dry-mill cost",
                    cost=say("{export_cost_bag:g} per bag", export_cost_bag=export_cost_bag),
                ),
            ),
            (
                "parchment",
                step(
                    parchment,
                    "per kg parchment",
                    "mill gate over parchment per bag",
                    parchment=say("{parchment_kg_bag:g} kg per bag", parchment_kg_bag=parchment_kg_bag),
                ),
            ),
            (
                "cherry",
                step(
                    cherry,
                    "per kg ripe fruit",
                    "mill gate less wet-mill cost, over fruit per bag",
                    cost=say("{mill_cost_bag:g} per bag", mill_cost_bag=mill_cost_bag),
                    fruit=say("{cherry_kg_bag:g} kg per bag", cherry_kg_bag=cherry_kg_bag),
                ),
            ),
        )
    )
