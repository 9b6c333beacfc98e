"""All accounts at a glance: cash, what is owed, stocks, costs, sales and margins by lot and route."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

from django.db.models import Min, Sum

from drydown.books.models import Delivery, Entry, Holding, Lot, Posting
from drydown.numerals import number
from drydown.station.model import Station
from drydown.station.trade import Money
from drydown.way.names import CASH
from drydown.way.names import sales as sales_account
from drydown.way.sell import cost_of_sales

__all__ = ["AccountsView", "LotMoney", "accounts_view", "lot_money", "owed_longest"]


@dataclass(frozen=True, slots=True)
class LotMoney:
    """A lot's or a route's cost of what was sold, its sales (smallest coin) and the green sold (g)."""

    name: str
    cost: int
    sales: int
    sold_g: int

    @property
    def margin(self) -> int:
        """Sales less cost."""
        return self.sales - self.cost

    def cost_per_kg(self) -> float | None:
        """Cost over what was sold, smallest coin per kg; None before a sale."""
        return self.cost / self.sold_g * 1000.0 if self.sold_g else None


@dataclass(slots=True)
class AccountsView:
    """Balances in the smallest coin of one currency."""

    cash: int = 0
    owed: int = 0
    advanced: int = 0
    buyers: list[tuple[str, int]] = field(default_factory=list)
    deductions: list[tuple[str, int]] = field(default_factory=list)
    costs: list[tuple[str, int]] = field(default_factory=list)
    incomes: list[tuple[str, int]] = field(default_factory=list)
    lots: list[LotMoney] = field(default_factory=list)
    routes: list[LotMoney] = field(default_factory=list)


def _tail(name: str) -> str:
    return name.split("/", 1)[1]


def accounts_view(money: Money) -> AccountsView:
    """Balances by kind of account, for one currency."""
    rows = Holding.objects.filter(commodity=money.currency).exclude(amount=0)
    found = AccountsView()
    for name, amount in rows.order_by("account__name").values_list("account__name", "amount"):
        if name == CASH:
            found.cash = amount
        elif name.startswith("grower/"):
            found.owed += max(0, -amount)
            found.advanced += max(0, amount)
        elif name.startswith("buyer/"):
            found.buyers.append((_tail(name), amount))
        elif name.startswith("deduction/"):
            found.deductions.append((_tail(name), -amount))
        elif name.startswith("costs/"):
            found.costs.append((_tail(name), amount))
        elif name.startswith("income/"):
            found.incomes.append((_tail(name), -amount))
    found.lots = lot_money(money)
    found.routes = _by_route(found.lots)
    return found


def lot_money(money: Money) -> list[LotMoney]:
    """Cost, sales and mass sold of every lot that has sold something."""
    sales = Holding.objects.filter(account__name__startswith="sales/", commodity=money.currency)
    sold = dict(sales.values_list("account__name", "amount"))
    codes = {_tail(name): -amount for name, amount in sold.items()}
    names = [f"{kind}/{c}" for c in codes for kind in ("lot", "sold")]
    rows = Holding.objects.filter(account__name__in=names, commodity=money.currency)
    held = dict(rows.values_list("account__name", "amount"))
    matter = Holding.objects.filter(account__name__in=names, commodity__in=("dry", "water"))
    left: dict[str, int] = {}
    for name, amount in matter.values_list("account__name", "amount"):
        left[_tail(name)] = left.get(_tail(name), 0) + amount
    out = _sold_g(list(codes))

    def cost(code: str) -> int:
        return cost_of_sales(held.get(f"sold/{code}", 0), held.get(f"lot/{code}", 0), left.get(code, 0))

    return [LotMoney(c, cost(c), codes[c], out.get(c, 0)) for c in sorted(codes)]


def _sold_g(codes: list[str]) -> dict[str, int]:
    """Mass that went to buyers, by lot."""
    found: dict[str, int] = {}
    for code in codes:
        entries = Posting.objects.filter(account__name=sales_account(code)).values("entry_id")
        total = Posting.objects.filter(
            entry_id__in=entries, account__name__startswith="buyer/", commodity__in=("dry", "water")
        ).aggregate(total=Sum("amount"))["total"]
        found[code] = total or 0
    return found


def _by_route(lots: list[LotMoney]) -> list[LotMoney]:
    routes = dict(Lot.objects.filter(code__in=[m.name for m in lots]).values_list("code", "route"))
    sums: dict[str, list[int]] = {}
    for lot in lots:
        row = sums.setdefault(routes.get(lot.name, "?"), [0, 0, 0])
        for i, part in enumerate((lot.cost, lot.sales, lot.sold_g)):
            row[i] += part
    return [LotMoney(route.replace("_", " "), *row) for route, row in sorted(sums.items())]


def owed_longest(station: Station) -> tuple[int, str, datetime] | None:
    """Growers with money owed, the sum in words, and the oldest delivery since any of them was last paid."""
    if station.money is None:
        return None
    rows = Holding.objects.filter(
        commodity=station.money.currency, account__name__startswith="grower/", amount__lt=0
    )
    sums = {int(_tail(name)): -amount for name, amount in rows.values_list("account__name", "amount")}
    if not sums:
        return None
    last = Entry.objects.filter(kind="payment", reversed_by=None).order_by("-happened_at").first()
    fruit = Delivery.objects.filter(undone=False, grower__number__in=list(sums))
    if last is not None:
        fruit = fruit.filter(happened_at__gt=last.happened_at)
    oldest = fruit.aggregate(at=Min("happened_at"))["at"]
    if oldest is None:
        return None
    total = sum(sums.values()) / 10**station.money.decimals
    return len(sums), f"{number(total)} {station.money.currency}", oldest
