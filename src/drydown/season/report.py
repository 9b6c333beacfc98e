"""What to build, said: the search's choice beside others, held against harvests it never saw, as a report."""

from __future__ import annotations

from collections.abc import Callable, Iterator, MutableMapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from drydown.errors import InputError
from drydown.figures import Figure
from drydown.numerals import number
from drydown.outlook.cautions import FIRST, at_command
from drydown.season.costs import once_of, yearly
from drydown.season.hand import Case, hand_rules
from drydown.season.harvest import Harvest
from drydown.season.kinds import kind_of
from drydown.season.search import Found, Judged, Tried, run, search
from drydown.season.simulate import UNIT, Weather
from drydown.season.study import Change, Study, causes_of, changed, figures_of, levels, mix_of
from drydown.season.told import binds, flow_of, interval, wet_years, worst_day
from drydown.station.model import Station
from drydown.words import say

__all__ = ["Proposal", "named", "proposal", "report"]


def named(one: Tried, station: Station) -> str:
    """A design in words. Args: one; station, whose routes the shares are of. Returns: words. Valid range: any
    design of a search. Source: none."""
    words: list[str] = []
    for name, value in one.choices.items():
        if name == "thin":
            if value < 1.0:
                words.append(say("spread {p:g} % as thick", p=100 * value))
        elif not name.startswith("route:") and value:
            words.append(say("{n:g} x {k}", n=value, k=kind_of(name).label))
    words += _routes_named(one, station)
    return ", ".join(map(str, words))


def _routes_named(one: Tried, station: Station) -> list[str]:
    """Routes of a design: one word where all fruit goes one way."""
    mix = mix_of(station)
    shares = {k.removeprefix("route:"): v for k, v in one.choices.items() if k.startswith("route:")}
    whole = {mix[s][0][0] for s, v in shares.items() if v == 1.0}
    if shares and len(whole) == 1 and all(v == 1.0 for v in shares.values()):
        return [say("all {r}", r=next(iter(whole)).replace("_", " "))]
    return [
        say("{s} {p:g} % {r}", s=s, p=100 * v, r=mix[s][0][0].replace("_", " ")) for s, v in shares.items()
    ]


@dataclass(frozen=True, slots=True)
class Proposal:
    """A search, its choice and the designs beside it simulated once more with all figures, the choice on
    harvests that no design was chosen by, and the hand rules of the same case."""

    station: Station
    harvest: Harvest
    found: Found
    sides: tuple[tuple[Tried, Study], ...]
    unseen: Study | None
    hand: dict[str, Figure]
    seed: int
    ifs: tuple[tuple[str, Study], ...] = ()
    """The choice in other harvests, weather and prices, in words."""

    @property
    def best(self) -> Study:
        """The choice."""
        return next(s for t, s in self.sides if t.same(self.found.best))

    def headline(self) -> str:
        """The answer in a sentence."""
        words = {"what": named(self.found.best, self.station)}
        if self.found.holds:
            return say("Costs least of what holds your levels: {what}.", **words)
        return say("No design that was tried holds your levels. Nearest: {what}.", **words)

    def money(self) -> str:
        """What it costs, to three digits."""
        c, once, year = (
            self.station.money.currency,
            _three(self.best.costs.once),
            _three(self.found.best.yearly),
        )
        plain = next((t.yearly for t, s in self.sides if not s.counts), None)
        if plain is None or self.found.best.yearly == plain:
            return say("{o} {c} once; {y} {c} a year with what is lost.", o=once, c=c, y=year)
        return say("{o} {c} once; {y} {c} a year with what is lost, as it is {p}.", o=once, c=c, y=year,
                   p=_three(plain))  # fmt: skip

    def lines(self) -> list[str]:
        """What must be said beside it."""
        fresh, mould = levels(self.station.build) if self.station.build else (0.0, 1.0)
        each = self.best.outcome.each
        told = [
            self.money(),
            say("Fresh: {a:.1f} % of days (asked {b:g}); past the mould rule of 5 days: {m:.1f} % of lots "
            "(asked {n:g}).",
                a=100 * each["fresh_days"].mean(), b=100 * fresh, m=100 * each["mould_lots"].mean(),
                n=100 * mould)
        ]  # fmt: skip
        if self.unseen is not None:
            seen = self.unseen.outcome.each
            held = (seen["fresh_days"] >= fresh) & (seen["mould_lots"] <= mould)
            low, share, high = interval(held)
            told.append(
                say("On {n} harvests it was not chosen by: fresh {a:.1f} % of days, {m:.1f} % of lots "
                "past the rule; "
                    "{s:.0f} % of harvests hold both ({l:.0f} to {h:.0f}).", n=held.size,
                    a=100 * seen["fresh_days"].mean(), m=100 * seen["mould_lots"].mean(), s=100 * share,
                    l=100 * low, h=100 * high)
            )  # fmt: skip
        rows = [(on, next(iter(row), "")) for on, row in binds(self.best)]
        told.append(say("What binds: {rows}.", rows=", ".join(f"{on:%b} {say(w)}" for on, w in rows if w)))
        wet = wet_years(self.best)
        told.append(say("In the {n} wettest harvests {a:.1f} % of the worth is lost, in the others "
        "{b:.1f} %.",
                        n=wet.count, a=100 * wet.lost[0], b=100 * wet.lost[1]))  # fmt: skip
        told += [say("Note: {n}.", n=n) for n in self.best.design.notes]
        return [str(t) for t in told]

    def bill(self) -> list[dict[str, Any]]:
        """Bill of quantities of the choice."""
        build = self.station.build
        if build is None:
            return []
        rows = []
        for option in build.options:
            count = round(self.found.best.choices.get(option.kind, 0.0))
            if not count:
                continue
            row = kind_of(option.kind)
            each = yearly(option.price, row.life_years, build.interest_percent / 100.0)
            rows.append({
                "kind": option.kind, "label": row.label, "count": count, "size": option.size or row.capacity,
                "unit": row.unit, "price": option.price, "once": count * option.price,
                "yearly": count * (each + build.upkeep_percent / 100.0 * option.price),
                "life": row.life_years, "source": row.source.text, "status": row.source.status,
            })  # fmt: skip
        return rows

    def as_dict(self) -> dict[str, object]:
        """Plain data, shape `drydown.build/1`."""
        currency = self.station.money.currency
        return {
            "shape": "drydown.build/1", "station": self.station.place.name, "seed": self.seed,
            "holds": self.found.holds, "headline": self.headline(), "lines": self.lines(), "bill":
            self.bill(),
            "tried": [
                {"choices": dict(t.choices), "yearly": t.yearly, "misses": t.short, "seasons": t.seasons}
                for t in self.found.tried
            ],
            "beside": [
                {"design": named(t, self.station), "choices": dict(t.choices),
                 "figures": {k: f.as_dict() for k, f in figures_of(s, currency).items()}}
                for t, s in self.sides
            ],
            "hand": {k: f.as_dict() for k, f in self.hand.items()},
            "ifs": [
                {"if": words, "figures": {k: f.as_dict() for k, f in figures_of(s, currency).items()}}
                for words, s in self.ifs
            ],
        }  # fmt: skip


def proposal(
    station: Station, weather: Weather, harvest: Harvest, tries: int = 60, seasons: int = 100, seed: int = 1,
    held_out: int = 100, tell: Callable[[int, Tried | None], None] | None = None, threads: int = 2,
    kept: MutableMapping[str, Judged] | None = None,
) -> Proposal:  # fmt: skip
    """Search, look at the best side by side with all figures, hold the choice against other harvests.

    Args: as `search`; held_out, harvests after those of the search, 0 for none; kept as `search`. Returns:
    `Proposal`. Valid
    range: as `search`. Source: as `search`; hand rules of `hand`.
    """
    found = search(station, weather, harvest, tries, seasons, seed, threads, tell, kept=kept)
    sides = tuple(
        (t, run(station, weather, harvest, t.choices, seasons, seed, threads)) for t in found.beside
    )
    unseen = None
    if held_out:
        first = (seasons + UNIT - 1) // UNIT * UNIT
        unseen = run(station, weather, harvest, found.best.choices, held_out, seed, threads, first)
    best = next(s for t, s in sides if t.same(found.best))
    ifs = tuple(_ifs(station, weather, harvest, found.best, min(UNIT, seasons), seed, threads))
    return Proposal(station, harvest, found, sides, unseen, _hand(station, harvest, best), seed, ifs)


IFS = (
    ("as planned", Change()), ("the crop in three quarters of the days", Change(peak=4.0 / 3.0)),
    ("a crop a quarter larger", Change(crop=1.25)), ("15 % more rain", Change(rain=1.15)),
    ("2 C warmer", Change(warmer_c=2.0)), ("green at four fifths of its price", Change(price=0.8)),
)  # fmt: skip


def _ifs(
    station: Station, weather: Weather, harvest: Harvest, best: Tried, seasons: int, seed: int, threads: int
) -> Iterator[tuple[str, Study]]:
    """The choice under what may change; weather of own years is not bent and left out."""
    for words, change in IFS:
        try:
            parts = changed(station, weather, harvest, change)
        except InputError:
            continue
        yield say(words), run(*parts, best.choices, seasons, seed, threads)


def _hand(station: Station, harvest: Harvest, best: Study) -> dict[str, Figure]:
    """Published rules for the same crop, days on beds as simulated."""
    days = best.outcome.each["dry_days"]
    low, middle, high = (float(x) for x in np.nanpercentile(days, (10, 50, 90)))
    on = sum(1 for w in harvest.weekdays if w > 0.0)
    normals = station.normals()
    coldest = min((m.tmax_c + m.tmin_c) / 2.0 for m in normals) if normals else 18.0
    washed = any(c.ferments for c in best.design.chains.values())
    spread = min(max(harvest.days / harvest.width, 3.0), 120.0)
    return hand_rules(Case(harvest.fruit_kg, spread, on, washed, (low, middle, high), coldest))


def report(made: Proposal) -> dict[str, Any]:
    """The proposal as plain words and numbers for the printed report.

    Args: made. Returns: data of `build.typ`. Valid range: any. Source: the proposal's own.
    """
    currency, best = made.station.money.currency, made.best
    share = float(np.asarray(made.station.practice().typical().float_share))
    flows = []
    for (species, route), chain in best.design.chains.items():
        flow = flow_of(chain, share)
        flows.append({
            "name": f"{species}, {route.replace('_', ' ')}", "steps": [[s, number(v)] for s, v in flow.steps],
            "leaves": [[s, number(v)] for s, v in flow.leaves], "water": number(flow.water_l),
        })  # fmt: skip
    figures = figures_of(best, currency)
    once, each = once_of(made.station.build, best.counts) if made.station.build else (0.0, 0.0)
    points = [[t.yearly, 100.0 * t.short, t.same(made.found.best)] for t in made.found.tried]
    sources = {f"{s.text} [{s.status}]" for f in (*figures.values(), *made.hand.values()) for s in f.sources}
    return {
        "place": made.station.place.name, "headline": made.headline(), "lines": made.lines(),
        "bill": [
            [r["label"], f"{r['count']}", f"{number(r['size'])} {r['unit']}", number(r["price"]),
             number(r["once"]), number(r["yearly"])] for r in made.bill()
        ],
        "once": number(once), "each": number(each), "currency": currency, "flows": flows, "points": points,
        "sides": [
            [named(t, made.station), *_cells(s, currency)]
            for t, s in made.sides
        ],
        "heads": [say(w) for w in HEADS],
        "ifs": [[words, *_cells(s, currency)] for words, s in made.ifs],
        "figures": [[k.replace("_", " "), _cell(f), f.unit, f.rule] for k, f in figures.items()],
        "causes": [[k, _cell(f)] for k, f in causes_of(best).items()],
        "hand": [[k.replace("_", " "), _cell(f), f.unit, f.rule] for k, f in made.hand.items()],
        "sources": sorted(sources), "worst": _worst(best), "seasons": best.outcome.seasons,
        "binds": [[f"{on:%b %Y}", [[str(say(k)), number(v)] for k, v in list(row.items())[:3]]]
                  for on, row in binds(best)],
        "cautions": [FIRST, *(c.text for c in at_command("build"))],
    }  # fmt: skip


def _worst(best: Study) -> dict[str, Any] | None:
    """The worst day again, as plain data."""
    day = worst_day(best)
    if day is None:
        return None
    lots = [[n, [[str(b.what), round(float(b.from_h), 2), round(float(b.until_h), 2)] for b in bars]]
            for n, bars in day.lots]  # fmt: skip
    return {
        "on": day.on.isoformat(),
        "fruit": number(day.fruit_kg),
        "lost": f"{100 * day.lost:.0f}",
        "lots": lots,
    }


def _three(value: float) -> str:
    """Money to three digits: more would promise too much."""
    digits = 3 - len(str(int(abs(value)))) if value else 0
    return str(number(round(value, digits)))


SHOWN = ("yearly_cost", "lost_worth", "days_all_fresh", "mould_lots", "area_used", "cost_per_kg_green")
HEADS = ("money a year", "worth lost", "fresh days, %", "past the mould rule, %", "area used, %", "cost a kg")


def _cells(found: Study, currency: str) -> list[str]:
    """The figures of a study that stand side by side."""
    figures = figures_of(found, currency)
    return [_cell(figures.get(k)) for k in SHOWN]


def _cell(figure: Figure | None) -> str:
    """A figure with its band, for a table."""
    if figure is None:
        return "-"
    digits = 0 if abs(figure.value) >= 100 else 1
    low, middle, high = (number(v, digits) for v in (figure.low, figure.value, figure.high))
    return str(middle) if low == high else f"{middle} ({low} to {high})"
