"""Routes from ripe fruit to dry coffee, from their data file."""

from __future__ import annotations

from dataclasses import dataclass

from drydown.errors import InputError
from drydown.tables import table
from drydown.words import say

__all__ = ["CHAINS", "Route", "form_of_route", "route", "route_names"]

CHAINS = ("washed", "pulped_natural", "natural")
"""Chains of stages that `balance.route_balance` knows."""
BLEND = "parchment"
"""What a blend of hulled coffee of several routes is judged as: dry parchment's balance with air."""


@dataclass(frozen=True, slots=True)
class Route:
    """A route: its name and words, the letter in lot codes, what is spread, its mass balance."""

    name: str
    words: str
    letter: str
    form: str
    balance: str

    def __post_init__(self) -> None:
        if self.balance not in CHAINS:
            raise InputError(
                say(
                    "balance '{balance}' is not one of {chains}.",
                    balance=self.balance,
                    chains=", ".join(CHAINS),
                ),
                say("route {name}", name=self.name),
            )


def route_names() -> list[str]:
    """Names of the routes Drydown knows."""
    return list(table("drydown.matter", "routes.toml"))


def route(name: str) -> Route:
    """A route by name; refuse unknown names with the list of known ones."""
    rows = table("drydown.matter", "routes.toml")
    if name not in rows:
        raise InputError(
            say("route '{name}' is not known.", name=name), fix=say("Choose: {rows}.", rows=", ".join(rows))
        )
    return Route(name, **rows[name])


def form_of_route(name: str) -> str:
    """What is dried on a route; a blend of routes goes by its dry form."""
    return route(name).form if name in route_names() else BLEND
