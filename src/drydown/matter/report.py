"""A route balance as figures with bands: what the page and the command line show."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from drydown.figures import Band, Figure, Source
from drydown.matter.balance import Balance, Stream, route_balance
from drydown.matter.practice import Practice
from drydown.matter.species import Amount, Range, Species

__all__ = ["BalanceReport", "report_balance"]

DRAWS = 800


@dataclass(frozen=True, slots=True)
class BalanceReport:
    """Figures of a balance, the typical balance itself, and what was assumed."""

    species: Species
    typical: Balance
    figures: Mapping[str, Figure]
    assumptions: Mapping[str, Range]
    closure: tuple[float, float]

    def as_dict(self) -> dict[str, object]:
        """Plain data for `--json`, shape `drydown.balance/1` (docs/json.md)."""
        ends = {k: [float(s.dm), float(s.water)] for k, s in self.typical.ends.items()}
        published = self.species.outturn_published
        return {
            "shape": "drydown.balance/1",
            "species": self.species.name,
            "route": self.typical.route,
            "cherry_kg": self.typical.cherry_kg,
            "figures": {k: f.as_dict() for k, f in self.figures.items()},
            "streams_kg": {k: {"dry_matter": d, "water": w} for k, (d, w) in ends.items()},
            "closure": {"dry_matter": self.closure[0], "water": self.closure[1]},
            "published_outturn": {
                "low": published.low,
                "high": published.high,
                "source": published.source.as_dict(),
            },
            "assumptions": {
                k: {"typical": r.typical, "low": r.low, "high": r.high, **r.source.as_dict()}
                for k, r in self.assumptions.items()
            },
        }


def report_balance(
    species: Species,
    practice: Practice,
    route: str,
    cherry_kg: float,
    target_wb: float,
    mucilage_kept: float = 1.0,
    seed: int = 1,
) -> BalanceReport:
    """Balance of a delivery with P10 to P90 bands from the ranges of composition and practice.

    Args: as `matter.balance.route_balance`; species and practice with their ranges; seed of
    the draws. Returns: `BalanceReport`.
    Valid range: as `route_balance`. Source: Monte Carlo over the stated ranges, 800 draws.
    """
    rng = np.random.default_rng(seed)
    args = (route, cherry_kg, target_wb, mucilage_kept)
    typical = route_balance(species.typical(), practice.typical(), *args)
    drawn = route_balance(species.draw(rng, DRAWS), practice.draw(rng, DRAWS), *args)
    inputs = {
        "ripe fruit": f"{cherry_kg:g} kg",
        "species": species.name,
        "route": route.replace("_", " "),
        "moisture at hulling": f"{target_wb * 100:g} % wb",
    }
    used = _used(practice, typical.chain, mucilage_kept)
    sources = species.sources() + tuple(dict.fromkeys(r.source for r in used.values()))
    figures = {
        name: _figure(get, typical, drawn, unit, rule, inputs, sources)
        for name, (get, unit, rule) in _wanted(typical.chain).items()
    }
    closure = (
        max(typical.closure()[0], drawn.closure()[0]),
        max(typical.closure()[1], drawn.closure()[1]),
    )
    return BalanceReport(species, typical, figures, used, closure)


def _used(practice: Practice, route: str, mucilage_kept: float) -> dict[str, Range]:
    """The assumptions that play a part in a route."""
    idle: set[str] = set()
    if route == "natural":
        idle |= {"pulper_loss_share", "pulp_water_l_kg_cherry", "huller_loss_share"}
    else:
        idle |= {"husking_loss_share"}
    if route == "natural" or (route == "pulped_natural" and mucilage_kept >= 1.0):
        idle |= {"sugar_fermented", "wash_water_l_kg_parchment", "cod_kg_kg_mucilage"}
    return {key: r for key, r in practice.assumptions().items() if key not in idle}


Getter = Callable[[Balance], Amount]


def _wanted(route: str) -> dict[str, tuple[Getter, str, str]]:
    dry_name = "dry_cherry_kg" if route == "natural" else "dry_parchment_kg"
    rows: dict[str, tuple[Getter, str, str]] = {
        "green_kg": (
            lambda b: b.ends["green"].mass,
            "kg",
            "fruit less floaters and losses, times bean dry matter, at the target moisture",
        ),
        "outturn": (
            lambda b: b.ends["green"].mass / b.cherry_kg,
            "kg green per kg fruit",
            "green divided by fruit received",
        ),
        dry_name: (
            lambda b: _outputs(b, "dry")["dry"].mass,
            "kg",
            "dry matter that reaches the bed, at the target moisture",
        ),
        "water_to_air_kg": (
            lambda b: b.ends["to_the_air"].water,
            "kg",
            "water on the bed less water left at the target moisture",
        ),
        "floaters_kg": (lambda b: b.ends["floaters"].mass, "kg", "fruit times float share"),
    }
    if route != "natural":
        rows["pulp_kg"] = (lambda b: b.ends["pulp"].mass, "kg", "pulp share of the pulped fruit")
        rows["water_used_l"] = (
            lambda b: b.water_used_l,
            "L",
            "pulping water per kg fruit plus washing water per kg dry parchment",
        )
        rows["effluent_l"] = (
            lambda b: b.effluent_l,
            "L",
            "water used plus mucilage carried off (1 L taken as 1 kg)",
        )
        rows["cod_kg"] = (
            lambda b: b.cod_kg,
            "kg COD",
            "mucilage washed off times COD per kg mucilage; pulping water adds more, not counted",
        )
    return rows


def _outputs(balance: Balance, stage: str) -> Mapping[str, Stream]:
    return next(s.outputs for s in balance.stages if s.name == stage)


def _figure(
    get: Getter,
    typical: Balance,
    drawn: Balance,
    unit: str,
    rule: str,
    inputs: Mapping[str, str],
    sources: tuple[Source, ...],
) -> Figure:
    low, high = np.percentile(np.asarray(get(drawn)), [10.0, 90.0])
    value = float(np.asarray(get(typical)))
    low, high = min(float(low), value), max(float(high), value)
    return Figure(value, unit, low, high, Band.P10_P90, rule, inputs, sources)
