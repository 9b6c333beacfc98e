"""`drydown price`: from a market quotation to what a kilogram of ripe fruit could be paid."""

from __future__ import annotations

from typing import Annotated

import typer
from rich.table import Table

from drydown.cli.show import answering, out, print_json
from drydown.trade.prices import price_chain
from drydown.trade.units import trade_unit

__all__ = ["price"]


def price(
    quotation: Annotated[float, typer.Option(help="market quotation, US cents per lb green")],
    rate: Annotated[float, typer.Option(help="local money for one US dollar")],
    parchment: Annotated[float, typer.Option(help="kg dry parchment for one bag of green")],
    cherry: Annotated[float, typer.Option(help="kg ripe fruit for one bag of green")],
    differential: Annotated[float, typer.Option(help="differential, US cents per lb")] = 0.0,
    bag: Annotated[str, typer.Option(help="unit of green, such as bag_60, quintal_46")] = "bag_60",
    export_cost: Annotated[float, typer.Option(help="export and dry mill, local money per bag")] = 0.0,
    mill_cost: Annotated[float, typer.Option(help="wet mill and drying, local money per bag")] = 0.0,
    json: Annotated[bool, typer.Option("--json", help="print JSON, shape drydown.price/1")] = False,
) -> None:
    """What the market's price leaves for parchment and ripe fruit, step by step."""
    with answering():
        unit = trade_unit(bag)
        found = price_chain(quotation, differential, rate, unit.kg, export_cost, parchment, mill_cost, cherry)
        if json:
            print_json(found.as_dict())
            return
        table = Table(box=None)
        for head in ("step", "value", "how"):
            table.add_column(head, justify="right" if head == "value" else "left")
        for name, figure in found.steps:
            table.add_row(name, f"{figure.value:,.2f} {figure.unit}", figure.rule)
        out.print(table)
        out.print(f"Bag: {unit.kg:g} kg {unit.of} [{unit.source.text}, {unit.source.status}]", markup=False)
        out.print("Costs left out count as zero. A forecast of prices this is not.", markup=False)
