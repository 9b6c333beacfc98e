"""Where every kilogram of a delivery goes, by route, with dry matter and water conserved.

A route is a chain of stages. Each stage takes streams and gives streams; both dry matter
and water are checked to 1e-9 of what entered, at run time, on every call.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from drydown.errors import BalanceError, RangeError
from drydown.matter.practice import Drawn
from drydown.matter.routes import route as route_row
from drydown.matter.species import Amount, Composition
from drydown.words import say

__all__ = ["Balance", "Stage", "Stream", "route_balance"]

CLOSURE = 1e-9
CO2_PER_SUGAR = 0.4886
"""kg CO2 per kg hexose in alcoholic fermentation: 2 x 44.01 / 180.16 (stoichiometry)."""


@dataclass(frozen=True, slots=True)
class Stream:
    """A mass of dry matter and a mass of water, kg; numbers or arrays of draws."""

    dm: Amount
    water: Amount

    @property
    def mass(self) -> Amount:
        """Dry matter plus water, kg."""
        return self.dm + self.water

    def __add__(self, other: Stream) -> Stream:
        return Stream(self.dm + other.dm, self.water + other.water)

    def share(self, part: Amount) -> Stream:
        """That part of the stream, both commodities alike."""
        return Stream(self.dm * part, self.water * part)


@dataclass(frozen=True, slots=True)
class Stage:
    """One step of a route: what went in and what came out, by name."""

    name: str
    inputs: dict[str, Stream]
    outputs: dict[str, Stream]

    def residuals(self) -> tuple[float, float]:
        """Largest |in - out| / in of dry matter and of water, over all draws."""
        worst = []
        for part in ("dm", "water"):
            into = sum((getattr(s, part) for s in self.inputs.values()), start=0.0)
            out = sum((getattr(s, part) for s in self.outputs.values()), start=0.0)
            scale = np.maximum(np.abs(into), 1e-12)
            worst.append(float(np.max(np.abs(into - out) / scale)))
        return worst[0], worst[1]


@dataclass(slots=True)
class Balance:
    """The whole chain for one delivery: stages in order, end products and by-products in kg."""

    cherry_kg: float
    route: str
    stages: list[Stage] = field(default_factory=list)
    ends: dict[str, Stream] = field(default_factory=dict)
    water_used_l: Amount = 0.0
    effluent_l: Amount = 0.0
    cod_kg: Amount = 0.0

    @property
    def chain(self) -> str:
        """The chain of stages behind the route."""
        return route_row(self.route).balance

    def add(self, name: str, inputs: dict[str, Stream], outputs: dict[str, Stream]) -> None:
        """Append a stage, refusing one that does not close or has a negative stream."""
        stage = Stage(name, inputs, outputs)
        dm, water = stage.residuals()
        if max(dm, water) > CLOSURE:
            raise BalanceError(
                say(
                    "stage '{name}' leaves {dm:.2e} dry matter, {water:.2e} water.",
                    name=name,
                    dm=dm,
                    water=water,
                )
            )
        for key, stream in outputs.items():
            if np.any(np.asarray(stream.dm) < 0) or np.any(np.asarray(stream.water) < -1e-9):
                raise BalanceError(
                    say("stage '{name}' gives a negative amount of {key}.", name=name, key=key)
                )
        self.stages.append(stage)

    def end(self, **streams: Stream) -> None:
        """Record what leaves the route for good."""
        for name, stream in streams.items():
            self.ends[name] = self.ends[name] + stream if name in self.ends else stream

    def closure(self) -> tuple[float, float]:
        """Whole-route residuals of dry matter and water: fruit and water in, ends out."""
        fruit = self.stages[0].inputs["cherry"]
        water = Stream(np.zeros_like(np.asarray(fruit.dm)), self.water_used_l)
        whole = Stage("route", {"fruit": fruit, "water": water}, self.ends)
        return whole.residuals()


def route_balance(
    composition: Composition,
    practice: Drawn,
    route: str,
    cherry_kg: float,
    target_wb: float,
    mucilage_kept: float = 1.0,
) -> Balance:
    """Mass balance of one delivery of ripe fruit through a route, to green coffee.

    Args: composition (per kg fruit) and practice (losses, water), numbers or arrays of
    draws; route, a name of `routes.toml`; cherry_kg [kg]; target_wb [fraction wb] moisture at
    hulling; mucilage_kept [0..1] share left on, for the pulped natural route.
    Returns: `Balance`; masses in kg, water in L (1 L = 1 kg).
    Valid range: cherry above 0; target 0.05 to 0.20; each stage closes to 1e-9.
    Source: conservation of dry matter and water; shares as in species.toml, practice.toml.

    >>> from drydown.matter.practice import practice
    >>> from drydown.matter.species import species
    >>> made = route_balance(species("arabica").typical(), practice().typical(), "washed", 1000.0, 0.11)
    >>> max(made.closure()) < 1e-9
    True
    """
    chain = route_row(route).balance
    _refuse(cherry_kg, target_wb, mucilage_kept)
    balance = Balance(cherry_kg, route)
    fruit = _fruit(composition).share(cherry_kg)
    floats = fruit.share(practice.float_share)
    kept = fruit.share(1.0 - practice.float_share)
    balance.add("float", {"cherry": fruit}, {"floaters": floats, "ripe fruit": kept})
    balance.end(floaters=floats)
    sound_kg = cherry_kg * (1.0 - practice.float_share)
    if chain == "natural":
        covering = _pulp(composition, sound_kg) + _mucilage(composition, sound_kg)
        beans = _beans(composition, sound_kg)
    else:
        sound_kg = _pulp_stage(balance, composition, practice, sound_kg)
        covering, beans = _mucilage_stage(
            balance, composition, practice, sound_kg, mucilage_kept if chain != "washed" else 0.0
        )
    _dry_and_hull(balance, composition, practice, covering, beans, sound_kg, target_wb)
    worst = max(balance.closure())
    if worst > CLOSURE:
        raise BalanceError(say("the whole route leaves {worst:.2e} of what entered.", worst=worst))
    return balance


def _refuse(cherry_kg: float, target_wb: float, mucilage_kept: float) -> None:
    if not 0 < cherry_kg < 1e8:
        raise RangeError(
            say("cherry_kg must be above 0 and below 1e8, got {cherry_kg:g}.", cherry_kg=cherry_kg)
        )
    if not 0.05 <= target_wb <= 0.20:
        raise RangeError(
            say(
                "target moisture must be from 0.05 to 0.20 wet basis, got {target_wb:g}.", target_wb=target_wb
            ),
            fix="Write 11 % as 0.11.",
        )
    if not 0 <= mucilage_kept <= 1:
        raise RangeError(
            say("mucilage_kept must be from 0 to 1, got {mucilage_kept:g}.", mucilage_kept=mucilage_kept)
        )


def _pulp(c: Composition, kg: Amount) -> Stream:
    return Stream(c.pulp_dm, c.pulp_water).share(kg)


def _mucilage(c: Composition, kg: Amount) -> Stream:
    return Stream(c.mucilage_dm, c.mucilage_water).share(kg)


def _beans(c: Composition, kg: Amount) -> Stream:
    return Stream(c.hull_dm + c.bean_dm, c.rest_water).share(kg)


def _fruit(c: Composition) -> Stream:
    return _pulp(c, 1.0) + _mucilage(c, 1.0) + _beans(c, 1.0)


def _pulp_stage(balance: Balance, c: Composition, p: Drawn, kg: Amount) -> Amount:
    """Take the pulp off; return kg of fruit whose beans went on."""
    lost = _fruit(c).share(kg * p.pulper_loss_share)
    on_kg = kg * (1.0 - p.pulper_loss_share)
    pulp, pulped = _pulp(c, on_kg), _mucilage(c, on_kg) + _beans(c, on_kg)
    carrying = Stream(np.zeros_like(np.asarray(kg)), kg * p.pulp_water_l_kg_cherry)
    balance.add(
        "pulp",
        {"ripe fruit": _fruit(c).share(kg), "water": carrying},
        {"pulp": pulp, "pulper loss": lost, "pulped": pulped, "pulping water": carrying},
    )
    balance.end(pulp=pulp, pulper_loss=lost, effluent=carrying)
    balance.water_used_l = balance.water_used_l + carrying.water
    balance.effluent_l = balance.effluent_l + carrying.water
    return on_kg


def _mucilage_stage(
    balance: Balance, c: Composition, p: Drawn, kg: Amount, kept: float
) -> tuple[Stream, Stream]:
    """Take the mucilage off (all but the kept share) and wash; return covering and beans."""
    beans, mucilage = _beans(c, kg), _mucilage(c, kg)
    covering, off = mucilage.share(kept), mucilage.share(1.0 - kept)
    pulped = mucilage + beans
    if kept >= 1.0:
        return covering, beans
    gas_dm = c.mucilage_sugar * kg * (1.0 - kept) * p.sugar_fermented * CO2_PER_SUGAR
    gas = Stream(gas_dm, np.zeros_like(np.asarray(gas_dm)))
    loose = Stream(off.dm - gas_dm, off.water)
    on = covering + beans
    balance.add("ferment", {"pulped": pulped}, {"gas": gas, "loose mucilage": loose, "beans": on})
    balance.end(gas=gas)
    wash_l = _parchment_kg(beans) * p.wash_water_l_kg_parchment * (1.0 - kept)
    water = Stream(np.zeros_like(np.asarray(wash_l)), wash_l)
    effluent = loose + water
    balance.add(
        "wash",
        {"loose mucilage": loose, "beans": on, "water": water},
        {"effluent": effluent, "washed": on},
    )
    balance.end(effluent=effluent)
    balance.water_used_l = balance.water_used_l + wash_l
    balance.effluent_l = balance.effluent_l + effluent.mass
    balance.cod_kg = balance.cod_kg + off.mass * p.cod_kg_kg_mucilage
    return covering, beans


def _parchment_kg(beans: Stream) -> Amount:
    """Dry parchment at 11 % wb, the kilogram that washing water is counted on."""
    return beans.dm / 0.89


def _dry_and_hull(
    balance: Balance,
    c: Composition,
    p: Drawn,
    covering: Stream,
    beans: Stream,
    fruit_kg: Amount,
    target_wb: float,
) -> None:
    """Dry everything to the target, then hull into green, husk or hull, and huller loss."""
    wet = covering + beans
    ratio = target_wb / (1.0 - target_wb)
    dry = Stream(wet.dm, wet.dm * ratio)
    vapour = Stream(np.zeros_like(np.asarray(wet.dm)), wet.water - dry.water)
    balance.add("dry", {"wet": wet}, {"dry": dry, "to the air": vapour})
    bean_dm = c.bean_dm * fruit_kg
    bean = Stream(bean_dm, bean_dm * ratio)
    shell = Stream(dry.dm - bean.dm, dry.water - bean.water)
    share = p.husking_loss_share if balance.chain == "natural" else p.huller_loss_share
    loss, green = bean.share(share), bean.share(1.0 - share)
    shell_name = "husk" if balance.chain == "natural" else "parchment hull"
    balance.add("hull", {"dry": dry}, {"green": green, shell_name: shell, "huller loss": loss})
    balance.end(to_the_air=vapour, green=green, huller_loss=loss)
    balance.end(**{shell_name.replace(" ", "_"): shell})
