"""A lot by the books: what it holds, what it has cost, what was sold of it."""

from __future__ import annotations

from dataclasses import dataclass

from drydown.books.journal.write import held
from drydown.books.lots.states import lot_matter
from drydown.books.models import Holding, Lot
from drydown.figures import Figure
from drydown.station.trade import Money
from drydown.way.matter import Matter
from drydown.way.names import sales
from drydown.way.names import sold as sold_account
from drydown.way.sell import cost_of_sales

__all__ = ["BookView", "book_view"]


@dataclass(frozen=True, slots=True)
class BookView:
    """Holdings of a lot; money in the smallest coin."""

    matter: Matter
    cost: int
    sold_cost: int
    sales: int
    currency: str
    decimals: int

    @property
    def margin(self) -> int:
        """Sales less the cost of what was sold, by the one rule of `cost_of_sales`."""
        return self.sales - cost_of_sales(self.sold_cost, self.cost, self.matter.mass)

    def mass(self) -> Figure:
        """Mass the lot holds by the books, as a figure."""
        parts = {"dry matter": f"{self.matter.dry} g", "water": f"{self.matter.water} g"}
        rule = "dry matter plus water of the lot's account: all its postings added up"
        return Figure.exact(self.matter.mass / 1000.0, "kg", rule, **parts)

    def cost_per_kg(self) -> Figure | None:
        """Cost per kg that the lot holds now; none for an empty lot."""
        if not self.matter.mass or not self.cost:
            return None
        cost = self.cost / 10**self.decimals
        mass = self.matter.mass / 1000.0
        inputs = {"cost so far": f"{cost:g} {self.currency}", "mass by the books": f"{mass:g} kg"}
        rule = "cost of what is left (fruit, and costs put to the lot) over what is left"
        return Figure.exact(cost / mass, f"{self.currency}/kg", rule, **inputs)


def book_view(lot: Lot, money: Money) -> BookView:
    """What the journal says of a lot now."""
    currency = money.currency
    found = Holding.objects.filter(account__name=lot.account, matter_only=False).first()
    if found is not None:
        currency = found.commodity
    sold = (held(sold_account(lot.code), currency), -held(sales(lot.code), currency))
    return BookView(lot_matter(lot), held(lot.account, currency), *sold, currency, money.decimals)
