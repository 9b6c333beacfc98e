"""`drydown price`: from a market quotation to a kilogram of ripe fruit, and what is near it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from drydown.cli.show import amount, answering, out, percent, positive, print_json, table_of
from drydown.errors import InputError
from drydown.numerals import number
from drydown.words import say

if TYPE_CHECKING:
    from drydown.trade.prices import PriceChain

__all__ = ["app"]

app = typer.Typer(help="Price arithmetic of the trade.", invoke_without_command=True)
Given = Annotated[float | None, typer.Option(parser=positive)]
LEFT_OUT = "Costs left out count as zero. A forecast of prices this is not."


@app.callback()
def price(
    context: typer.Context,
    quotation: Annotated[
        float | None, typer.Option(parser=positive, help="market quotation, US cents per lb green")
    ] = None,
    rate: Annotated[float | None, typer.Option(parser=positive, help="local money for one US dollar")] = None,
    parchment: Annotated[
        float | None, typer.Option(parser=positive, help="kg dry parchment for one bag of green")
    ] = None,
    cherry: Annotated[
        list[str] | None,
        typer.Option(help="kg ripe fruit for one bag of green; several: repeat it, or put blanks between"),
    ] = None,
    differential: Annotated[float, typer.Option(parser=amount, help="differential, US cents per lb")] = 0.0,
    bag: Annotated[str, typer.Option(help="unit of green, such as bag_60, quintal_46")] = "bag_60",
    export_cost: Annotated[
        float, typer.Option(parser=positive, help="export and dry mill, local money per bag")
    ] = 0.0,
    mill_cost: Annotated[float, typer.Option(parser=positive, help="wet mill, local money per bag")] = 0.0,
    export_cost_usd: Annotated[
        float,
        typer.Option(parser=positive, help="export and dry mill, US dollars per bag (quotation's money)"),
    ] = 0.0,
    mill_cost_usd: Annotated[
        float, typer.Option(parser=positive, help="wet mill, US dollars per bag (quotation's money)")
    ] = 0.0,
    json: Annotated[bool, typer.Option("--json", help="print JSON, shape drydown.price/1")] = False,
) -> None:
    """What the market's price leaves for parchment and ripe fruit, step by step."""
    if context.invoked_subcommand is not None:
        return
    from drydown.trade.prices import price_chain  # noqa: PLC0415 (keeps --help quick)
    from drydown.trade.units import trade_unit  # noqa: PLC0415

    with answering():
        unit = trade_unit(bag)
        cherry = [part for text in cherry or [] for part in text.replace(";", " ").split()]
        given = {"--quotation": quotation, "--rate": rate, "--parchment": parchment}
        lacking = next((name for name, value in given.items() if value is None), None)
        if lacking or quotation is None or rate is None or parchment is None or not cherry:
            raise InputError("is needed.", lacking or "--cherry", "See drydown price --help.")
        export, mill = export_cost + export_cost_usd * rate, mill_cost + mill_cost_usd * rate
        chains = [
            price_chain(quotation, differential, rate, unit.kg, export, parchment, mill, amount(kg))
            for kg in cherry
        ]  # fmt: skip
        if json:
            print_json(chains[0].as_dict() | ({"yields": _yields(cherry, chains)} if len(chains) > 1 else {}))
            return
        _print(chains, cherry)
        out.print(f"Bag: {unit.kg:g} kg {unit.of} [{unit.source.text}, {unit.source.status}]", markup=False)
        out.print(LEFT_OUT, markup=False)


def _yields(cherry: list[str], chains: list[PriceChain]) -> list[dict[str, float]]:
    return [
        {"cherry_kg_per_bag": amount(kg), "cherry_price_per_kg": c.cherry}
        for kg, c in zip(cherry, chains, strict=True)
    ]


def _print(chains: list[PriceChain], cherry: list[str]) -> None:
    table = table_of("step", "value", "how", right=("value",))
    for name, figure in chains[0].steps:
        table.add_row(name, f"{number(figure.value, 2)} {figure.unit}", figure.rule)
    for kg, chain in list(zip(cherry, chains, strict=True))[1:]:
        how = say("at {kg} kg of fruit for a bag", kg=kg)
        table.add_row("cherry", say("{cherry} per kg ripe fruit", cherry=number(chain.cherry, 2)), how)
    out.print(table)


def _told(name: str, value: float, unit: str, rule: str, source: str, json: bool, digits: int = 2) -> None:
    if json:
        print_json(
            {"shape": f"drydown.price-{name}/1", "value": value, "unit": unit, "rule": rule, "source": source}
        )
        return
    out.print(f"{number(value, digits)} {unit}: {rule} [{source}]", markup=False)


Json = Annotated[bool, typer.Option("--json", help="print JSON")]
SHEET = "decomposition of a Colombian daily price sheet, 21 Aug 2015, derived from its own rows"


@app.command("parchment")
def parchment_of(
    sound: Annotated[float, typer.Option(parser=positive, help="price of sound beans, per kg")],
    defective: Annotated[float, typer.Option(parser=positive, help="price of defective beans, per kg")],
    sound_percent: Annotated[float, typer.Option(parser=percent, help="sound beans, % of parchment")] = 76.0,
    defective_percent: Annotated[
        float, typer.Option(parser=positive, help="defective beans, % of parchment")
    ] = 5.0,
    json: Json = False,
) -> None:
    """Price of a kilogram of parchment from its sound and its defective beans; hulls are paid nothing."""
    from drydown.trade.prices import parchment_price  # noqa: PLC0415

    with answering():
        made = parchment_price(sound, defective, sound_percent / 100, defective_percent / 100)
        rule = f"{sound_percent:g} % at {sound:g} and {defective_percent:g} % at {defective:g}"
        _told("parchment", made, "per kg parchment", rule, SHEET, json)


@app.command("yield")
def by_yield(
    sample_g: Annotated[float, typer.Option(parser=positive, help="parchment hulled, g")],
    exportable_g: Annotated[float, typer.Option(parser=positive, help="exportable green of it, g")],
    base_price: Annotated[
        float | None,
        typer.Option(parser=positive, help="price at the base factor, to be brought to this one"),
    ] = None,
    base_factor: Annotated[
        float, typer.Option(parser=positive, help="the base, kg for a bag of 70 kg")
    ] = 94.0,
    json: Json = False,
) -> None:
    """Yield factor (kg parchment for 70 kg of exportable green), and a price brought to it."""
    from drydown.trade.prices import price_at_yield_factor, yield_factor  # noqa: PLC0415

    with answering():
        factor = yield_factor(sample_g, exportable_g)
        rule = say(
            "70 kg times {sample_g:g} over {exportable_g:g} g", sample_g=sample_g, exportable_g=exportable_g
        )
        if base_price is None:
            _told(
                "yield",
                factor,
                "kg parchment for 70 kg green",
                rule,
                "Colombian trade rule, common practice",
                json,
            )
            return
        made = price_at_yield_factor(base_price, factor, base_factor)
        rule = say(
            "{base_price:g} times {base_factor:g} over the factor {factor:.2f}",
            base_price=base_price,
            base_factor=base_factor,
            factor=factor,
        )
        _told("yield", made, "money", rule, "Colombian practice, base factor from memory", json)


@app.command("share")
def share(
    load_price: Annotated[float, typer.Option(parser=positive, help="local money for a load of parchment")],
    rate: Annotated[float, typer.Option(parser=positive, help="local money for one US dollar")],
    factor: Annotated[
        float, typer.Option(parser=positive, help="yield factor, kg parchment for 70 kg green")
    ],
    quotation: Annotated[float, typer.Option(parser=positive, help="market close, US cents per lb")],
    load_kg: Annotated[float, typer.Option(parser=positive, help="kg of parchment in a load")] = 125.0,
    json: Json = False,
) -> None:
    """What share of the market's quotation the price of a load of parchment is."""
    from drydown.trade.prices import farm_gate_share  # noqa: PLC0415

    with answering():
        made = 100 * farm_gate_share(load_price, rate, factor, quotation, load_kg)
        rule = say(
            "price of {load_kg:g} kg at {rate:g} a dollar, over its green at {quotation:g} cents a pound",
            load_kg=load_kg,
            rate=rate,
            quotation=quotation,
        )
        _told("share", made, "% of the quotation", rule, "arithmetic", json, 1)


@app.command("weight")
def weight(
    shipped_kg: Annotated[float, typer.Option(parser=positive, help="shipped weight, kg")],
    landed_kg: Annotated[float, typer.Option(parser=positive, help="landed weight, kg")],
    price_per_kg: Annotated[float, typer.Option(parser=positive, help="contract price, per kg")],
    franchise_percent: Annotated[
        float, typer.Option(parser=positive, help="loss the buyer bears, % of the shipped weight")
    ] = 0.5,
    json: Json = False,
) -> None:
    """Refund for weight lost on the way beyond the franchise."""
    from drydown.trade.prices import weight_refund  # noqa: PLC0415

    with answering():
        made = weight_refund(shipped_kg, landed_kg, price_per_kg, franchise_percent / 100)
        lost = 100 * (shipped_kg - landed_kg) / shipped_kg
        rule = say(
            "{lost:.2f} % was lost, {franchise_percent:g} % is the buyer's to bear",
            lost=lost,
            franchise_percent=franchise_percent,
        )
        _told("weight", made, "money to pay back", rule, "ITC Coffee Guide, weights: 0.5 % franchise", json)
