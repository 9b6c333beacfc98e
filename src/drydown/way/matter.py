"""Where matter goes at each step, in whole grams: pure arithmetic on what a lot holds.

Estimated by the species' typical composition until something is weighed; a weighing then
puts the difference into the account `difference`, so that nothing is bent to fit.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from drydown.errors import InputError, RangeError
from drydown.matter.balance import Stream, route_balance
from drydown.matter.practice import Drawn
from drydown.matter.species import species
from drydown.way.names import AIR, DIFFERENCE, DRAIN, DRY, STACK, SUPPLY, WATER, Line, by_product
from drydown.words import say

__all__ = [
    "Matter",
    "at_moisture",
    "fruit",
    "hulled",
    "moved",
    "part_of",
    "pulped",
    "roasted",
    "share_out",
    "taken_off",
    "to_moisture",
    "washed",
    "weighed",
]


@dataclass(frozen=True, slots=True)
class Matter:
    """Dry matter and water, whole grams."""

    dry: int
    water: int

    @property
    def mass(self) -> int:
        """Both together, g."""
        return self.dry + self.water

    @property
    def moisture_wb(self) -> float:
        """Water over mass; 0 for nothing."""
        return self.water / self.mass if self.mass else 0.0

    def lines(self, account: str, sign: int = 1) -> list[Line]:
        """As postings to (1) or from (-1) an account."""
        return [(account, DRY, sign * self.dry), (account, WATER, sign * self.water)]


def share_out(total: int, weights: Sequence[Fraction | float | int]) -> list[int]:
    """Whole parts of a whole, in proportion, that add up to it exactly (largest remainders first)."""
    exact = [Fraction(w) for w in weights]
    base = sum(exact)
    if base <= 0 or any(w < 0 for w in exact):
        raise RangeError("shares must be zero or more, with at least one above zero.", "shares")
    wanted = [total * w / base for w in exact]
    parts = [int(w // 1) for w in wanted]
    order = sorted(range(len(parts)), key=lambda i: (parts[i] - wanted[i], i))
    for i in order[: total - sum(parts)]:
        parts[i] += 1
    return parts


def at_moisture(mass_g: int, moisture_wb: float) -> Matter:
    """A weighed mass at a moisture, split to the gram."""
    if not 0.0 < moisture_wb < 0.95:
        raise RangeError(say("moisture must be above 0 and below 95 % wb, got {p:g}.", p=moisture_wb * 100))
    water = round(mass_g * moisture_wb)
    return Matter(mass_g - water, water)


def fruit_moisture(name: str) -> float:
    """Moisture of ripe fruit of a species group by its typical composition, fraction wb."""
    c = species(name).typical()
    dry = c.pulp_dm + c.mucilage_dm + c.hull_dm + c.bean_dm
    return 1.0 - float(np.asarray(dry))


def fruit(name: str, mass_g: int) -> Matter:
    """Ripe fruit of a species group, weighed in."""
    return at_moisture(mass_g, fruit_moisture(name))


def moved(has: Matter, source: str, target: str) -> list[Line]:
    """All of something from one account to another."""
    return has.lines(source, -1) + has.lines(target)


def taken_off(has: Matter, lot: str, mass_g: int, to: str) -> list[Line]:
    """A weighed part of a lot, as moist as the lot, to another account."""
    if mass_g > has.mass:
        raise InputError(
            say(
                "{mass:g} kg is more than the lot holds ({has:g} kg).", mass=mass_g / 1000,
                has=has.mass / 1000,
            ),
            lot.removeprefix("lot/"), "Check the weight.",
        )  # fmt: skip
    return moved(part_of(has, mass_g), lot, to)


def part_of(has: Matter, mass_g: int) -> Matter:
    """So much of something, as moist as the whole."""
    dry = round(mass_g * Fraction(has.dry, has.mass)) if has.mass else 0
    return Matter(dry, mass_g - dry)


def _split(has: Matter, parts: Mapping[str, Stream]) -> dict[str, Matter]:
    """What a lot holds, shared over streams in proportion, commodity by commodity."""
    dry = share_out(has.dry, [max(0.0, float(np.asarray(s.dm))) for s in parts.values()])
    water = share_out(has.water, [max(0.0, float(np.asarray(s.water))) for s in parts.values()])
    return {name: Matter(d, w) for name, d, w in zip(parts, dry, water, strict=True)}


def _stages(name: str, practice: Drawn, route: str) -> dict[str, Mapping[str, Stream]]:
    made = route_balance(species(name).typical(), practice, route, 1000.0, 0.11)
    return {stage.name: stage.outputs for stage in made.stages}


def pulped(
    has: Matter, lot: str, name: str, practice: Drawn, route: str, lost: float | None = None
) -> list[Line]:
    """Pulp and loss leave the lot; carrying water goes from the supply to the drain.

    lost, the share of beans that was counted in the pulp, in place of the assumed loss.
    """
    if lost is not None:
        practice = replace(practice, pulper_loss_share=lost)
    out = _stages(name, practice, route)["pulp"]
    parts = _split(has, {k: out[k] for k in ("pulp", "pulper loss", "pulped")})
    litres = round(float(np.asarray(practice.pulp_water_l_kg_cherry)) * has.mass)
    return [
        *moved(parts["pulp"], lot, by_product("pulp")),
        *moved(parts["pulper loss"], lot, by_product("pulper loss")),
        (SUPPLY, WATER, -litres),
        (DRAIN, WATER, litres),
    ]


def washed(has: Matter, lot: str, name: str, practice: Drawn) -> list[Line]:
    """Gas to the air, loose mucilage and washing water to the drain."""
    out = _stages(name, practice, "washed")
    parts = _split(has, {k: out["ferment"][k] for k in ("gas", "loose mucilage", "beans")})
    per_kg = float(np.asarray(practice.wash_water_l_kg_parchment))
    litres = round(parts["beans"].dry / 0.89 * per_kg)
    return [
        *moved(parts["gas"], lot, AIR),
        *moved(parts["loose mucilage"], lot, DRAIN),
        (SUPPLY, WATER, -litres),
        (DRAIN, WATER, litres),
    ]


def to_moisture(has: Matter, lot: str, moisture_wb: float) -> list[Line]:
    """A moisture reading: the dry matter stays, the water that is no longer there went to the air."""
    water = _with_water(has.dry, moisture_wb).water
    return [(lot, WATER, water - has.water), (AIR, WATER, has.water - water)]


def weighed(has: Matter, lot: str, mass_g: int, moisture_wb: float) -> list[Line]:
    """A lot is weighed at a known moisture: the scale counts, the estimate's error is shown apart."""
    real = at_moisture(mass_g, moisture_wb)
    gap = has.dry - real.dry
    return [
        (lot, DRY, -gap),
        (DIFFERENCE, DRY, gap),
        (lot, WATER, real.water - has.water),
        (AIR, WATER, has.water - real.water),
    ]


def hulled(
    has: Matter, lot: str, green_g: int, husk_g: int | None, moisture_wb: float, by_product: str
) -> list[Line]:
    """Green stays in the lot; what was weighed as husk leaves; the rest is dust, loss or estimate."""
    green = at_moisture(green_g, moisture_wb)
    rest = has.dry - green.dry
    husk = at_moisture(husk_g, moisture_wb) if husk_g else _with_water(max(rest, 0), moisture_wb)
    gap, vapour = rest - husk.dry, has.water - green.water - husk.water
    return [
        *moved(husk, lot, by_product),
        (lot, DRY, -gap),
        (DIFFERENCE, DRY, gap),
        (lot, WATER, -vapour),
        (AIR, WATER, vapour),
    ]


def roasted(has: Matter, lot: str, roasted_g: int, moisture_wb: float) -> list[Line]:
    """Green becomes roasted: water to the air, organic matter to the stack; nothing turns from one into the
    other."""
    left = at_moisture(roasted_g, moisture_wb)
    organic, water = has.dry - left.dry, has.water - left.water
    return [(lot, DRY, -organic), (STACK, DRY, organic), (lot, WATER, -water), (AIR, WATER, water)]


def _with_water(dry_g: int, moisture_wb: float) -> Matter:
    return Matter(dry_g, round(dry_g * moisture_wb / (1.0 - moisture_wb)))
