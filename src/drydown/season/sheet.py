"""The grower's sheet as plain data: numbers ready to read, words by their names, for page, paper and
`--json`."""

from __future__ import annotations

from typing import Any

import numpy as np

from drydown.numerals import number
from drydown.season.advise import MOST_MOULD, Advice, Way, buying_order, mould_share
from drydown.season.kinds import kind_of
from drydown.season.told import WetYears, flow_of, wet_years

__all__ = ["advice_dict", "sheet"]

OTHERS = 4


def _money(value: float) -> str:
    """Money to three digits: more would promise too much."""
    if value == 0.0:
        return "0"
    digits = 3 - len(str(int(abs(value))))
    return str(number(round(value, digits)))


def _row(way: Way) -> dict[str, Any]:
    """A way among others."""
    assert way.study is not None  # noqa: S101 (only ways that can be)
    each, chain = way.study.outcome.each, next(iter(way.study.design.chains.values()))
    share = float(np.asarray(way.study.design.station.practice().typical().float_share))
    flow = flow_of(chain, share)
    low, high = (float(x) for x in np.percentile(way.left, (10, 90)))
    middle = float(way.left.mean())
    return {
        "way": f"way_{way.route}_{way.place}", "words": way.words, "green": number(flow.steps[-1][1]),
        "water": number(flow.water_l), "m2": number(way.area_m2),
        "mould": f"{100 * mould_share(way):.0f}",
        "days": number(float(np.nanmean(each["dry_days"]))), "once": _money(way.study.costs.once),
        "left": _money(middle), "low": _money(low), "high": _money(high),
    }  # fmt: skip


def _flow(way: Way) -> list[list[str]]:
    assert way.study is not None  # noqa: S101
    chain = next(iter(way.study.design.chains.values()))
    share = float(np.asarray(way.study.design.station.practice().typical().float_share))
    keys = ["adv_st_gate", "adv_st_float"]
    keys += ["adv_st_pulp"] if chain.pulps else []
    keys += ["adv_st_wash"] if chain.ferments else []
    keys += ["adv_st_dry", "adv_st_green"]
    return [[k, number(v)] for k, (_name, v) in zip(keys, flow_of(chain, share).steps, strict=True)]


def _tenths(share: float) -> str:
    """A share as so many times in ten."""
    return str(round(10.0 * share))


def sheet(advice: Advice) -> dict[str, Any]:
    """The sheet's data.

    Args: advice. Returns: plain data of `advice.typ`; words by the names of `words.toml`. Valid range: any
    advice. Source: the advice's own studies.
    """
    a, currency = advice.answers, advice.station.money.currency
    peak = a.harvest().peak_share * a.crop_kg
    told = [
        ["adv_crop", f"{number(a.crop_kg)} kg"], ["adv_day", f"{number(peak)} kg"],
        ["adv_people", f"{a.people}"], ["adv_water", f"{number(a.water_l_day)} L"],
        ["adv_room", f"{number(a.room_m2)} m2"], ["adv_spend", f"{number(a.money)} {currency}"],
    ]  # fmt: skip
    made: dict[str, Any] = {
        "place": advice.station.place.name, "currency": currency, "told": told, "sell": advice.sell,
        "species": a.species, "begins": a.begins.isoformat(), "weeks": a.weeks, "notes": list(advice.notes),
        "not_possible": [[f"way_{w.route}_{w.place}", w.why] for w in advice.not_possible],
        "equals": advice.equals, "why_sell": _why_sell(advice),
        "ways": [_row(w) for w in advice.ways[:OTHERS]],
        "best_in": [_tenths(s) for s in advice.best_in[:OTHERS]],
    }  # fmt: skip
    if not advice.ways:
        return made | {"flow": [], "money": [], "buy": [], "seasons": 0, "cautions": ["adv_c4", "adv_c5"]}
    return made | _best(advice, advice.ways[0])


def _why_sell(advice: Advice) -> str:
    """Why selling the fruit is left, by its name in the words."""
    if not advice.ways:
        return "adv_sell_none"
    return "adv_sell_mould" if mould_share(advice.ways[0]) > MOST_MOULD else "adv_sell"


def _best(advice: Advice, best: Way) -> dict[str, Any]:
    """What is told of the best way alone."""
    assert best.study is not None  # noqa: S101
    costs = best.study.costs
    wet: WetYears = wet_years(best.study)
    back = float((best.left + costs.capital >= costs.once).mean())
    money: list[tuple[str, Any]] = [
        ("adv_income", costs.income), ("adv_fruit", -costs.fruit), ("adv_work", -costs.wages),
        ("adv_things", -costs.capital), ("adv_left", best.left),
    ]  # fmt: skip
    cautions = (["adv_c1", "adv_c2", "adv_c3"] if best.route != "natural" else []) + ["adv_c4", "adv_c5"]
    return {
        "flow": _flow(best), "money": [[k, _money(float(np.mean(v)))] for k, v in money],
        "buy": [
            [f"kind_{k}", n, _money(m), f"why_{kind_of(k).thing}"]
            for (_label, n, m, _why), k in zip(buying_order(advice, best), _kinds(best), strict=True)
        ],
        "back": _tenths(back), "seasons": best.study.outcome.seasons,
        "wet": [f"{100 * wet.lost[0]:.0f}", f"{100 * wet.lost[1]:.0f}", f"{100 * wet.mould[0]:.0f}"],
        "cautions": (["adv_c6"] if best.place == "tarpaulin" else []) + cautions,
    }  # fmt: skip


def _kinds(way: Way) -> list[str]:
    order = ("bed", "pulper", "tank", "dryer", "huller", "store")
    return sorted((k for k, n in way.bought.items() if n), key=lambda k: order.index(kind_of(k).thing))


def advice_dict(advice: Advice, seed: int) -> dict[str, object]:
    """Plain data for `--json`, shape `drydown.advise/1`. Args: advice; seed. Returns: data. Valid range: any.
    Source: the advice's own studies."""
    return {
        "shape": "drydown.advise/1", "seed": seed, "sheet": sheet(advice),
        "ways": [
            {
                "way": w.words, "route": w.route, "place": w.place, "bought": dict(w.bought),
                "area_m2": w.area_m2, "best_in": advice.best_in[k],
                "figures": {n: f.as_dict() for n, f in advice.figures(w).items()},
            }
            for k, w in enumerate(advice.ways)
        ],
        "not_possible": [{"way": w.words, "why": w.why_not} for w in advice.not_possible],
        "notes": list(advice.notes),
    }  # fmt: skip
