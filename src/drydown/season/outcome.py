"""What came of seasons, one row a season: fruit in time, what was lost by which cause, room, water, work."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drydown.outlook.rules import window_days
from drydown.season.design import Design
from drydown.season.simulate import TAIL_DAYS, Seasons
from drydown.season.yard import Lot, spots_of
from drydown.steps.ferment import late_risk
from drydown.way.waiting import DEFECT_COST, FRUIT_H, SOUR_H

__all__ = ["CAUSES", "Outcome", "Rows", "outcome_of", "rows_of"]

Array = NDArray[np.float64]
CAUSES = ("fruit too old", "waited wet", "tank washed late", "past the mould rule", "never dry")
LEAST_LOST = 0.02
"""From this share of its worth on a lot counts as downgraded by a cause (own choice)."""
TANK_C = 20.0
"""Temperature at which a late tank's risk is counted."""


@dataclass(frozen=True, slots=True)
class Rows:
    """Lots of a season as columns (lot,): hours from its start, kg of fruit, and what each lost by cause.

    age_h, from the tree to the pulper or the bed; lost (lot, cause), share of its worth; waited_h, for room.
    """

    kg: Array
    day: NDArray[np.int64]
    age_h: Array
    waited_h: Array
    late_h: Array
    window_h: Array
    dry_h: Array
    lost: Array
    place: NDArray[np.int64]
    area: Array
    spread: Array
    off: Array

    @property
    def kept(self) -> Array:
        """Share of each lot's worth that is left."""
        return np.asarray(np.prod(1.0 - self.lost, axis=1))


def _slope(hours: Array, span: tuple[float, float]) -> Array:
    """Share lost by waiting: none, a slope to a defective lot's, and from its end on all."""
    first, last = span
    share = DEFECT_COST * np.clip((hours - first) / (last - first), 0.0, 1.0)
    return np.asarray(np.where(hours > last, 1.0, share))


def rows_of(lots: Sequence[Lot], design: Design, until_h: float) -> Rows:
    """Lots as columns. Args: lots of a season; design; until_h, the season's end [h]. Returns: `Rows`.

    A lot that was never pulped (or spread) counts as old as the season is long. Valid range: any. Source:
    slopes of `way/waiting.py` and `steps/ferment.py`; mould by the longer published rule, where a lot loses
    what a defective cup does (own estimate).
    """

    def col(name: str) -> Array:
        return np.array([getattr(lot, name) for lot in lots], dtype=float)

    came, spread, dry = col("came"), col("spread"), col("dry")
    pulps = np.array([design.chains[lot.species, lot.route].pulps for lot in lots], dtype=bool)
    first = np.where(pulps, col("pulp_at"), spread)
    age = np.nan_to_num(first, nan=until_h) - came + design.hours.picked_before_h
    wet_since = col("wet_since")
    wet = np.where(pulps & ~np.isnan(wet_since), np.nan_to_num(spread, nan=until_h) - wet_since, 0.0)
    ready = col("ready")
    late = np.where(np.isnan(ready), 0.0, np.nan_to_num(col("wash_at"), nan=until_h) - ready)
    window = col("window_h")
    lost = np.stack(
        [
            _slope(age, FRUIT_H), _slope(wet, SOUR_H), DEFECT_COST * np.asarray(late_risk(late, TANK_C)),
            np.where(window > 24.0 * window_days()[1], DEFECT_COST, 0.0), np.where(np.isnan(dry), 1.0, 0.0),
        ],
        axis=1,
    ) if lots else np.zeros((0, len(CAUSES)))  # fmt: skip
    waited = np.where(pulps, wet, np.nan_to_num(spread, nan=until_h) - came)
    return Rows(
        col("kg"), np.array([lot.day for lot in lots], dtype=np.int64), age, waited, late, window,
        dry - spread, lost, np.array([lot.place for lot in lots], dtype=np.int64), col("area"), spread,
        np.nan_to_num(col("stored"), nan=until_h),
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Outcome:
    """One number a season of each thing, by name (season,); lost_kg (season, cause), kilograms of fruit whose
    lot lost by each cause; used (season, day, place), share of each place's area; closure, what dry matter
    and water leave of what entered."""

    each: dict[str, Array]
    lost_kg: Array
    used: Array
    store_kg: Array
    closure: float
    not_followed: int
    engine_h: int

    @property
    def seasons(self) -> int:
        """How many."""
        return int(self.lost_kg.shape[0])


def outcome_of(design: Design, units: Sequence[Seasons], fresh_h: float) -> Outcome:
    """What came of seasons.

    Args: design; units; fresh_h, age of fruit at the pulper or bed that counts as in time [h]. Returns:
    `Outcome`. Valid range: any. Source: sums over the lots.
    """
    seasons = [(unit, s) for unit in units for s in range(len(unit.lots))]
    made = [_season(design, unit, s, fresh_h) for unit, s in seasons]
    each = {k: np.array([m[0][k] for m in made]) for k in made[0][0]}
    return Outcome(
        each, np.stack([m[1] for m in made]), np.stack([m[2] for m in made]),
        np.concatenate([u.store_kg for u in units]), max(m[3] for m in made),
        sum(u.not_followed for u in units), sum(u.engine_h for u in units),
    )  # fmt: skip


def _season(
    design: Design, unit: Seasons, s: int, fresh_h: float
) -> tuple[dict[str, float], Array, Array, float]:
    lots, days = unit.lots[s], unit.harvest.days
    rows = rows_of(lots, design, 24.0 * (days + TAIL_DAYS))
    kg = rows.kg
    total = float(unit.fruit.kg[s].sum())
    old = np.zeros(days)
    np.maximum.at(old, rows.day, rows.age_h)
    came = np.zeros(days, dtype=bool)
    came[rows.day] = True
    fresh = rows.age_h <= fresh_h
    sums = _flows(design, lots)
    kept = kg * rows.kept
    chains = [design.chains[lot.species, lot.route] for lot in lots]
    green = np.array([c.green_kg for c in chains])
    used = _used(design, rows, days + TAIL_DAYS)
    stores = design.station.equipment.stores
    store = sum(x.holds_kg for x in stores) if stores else np.inf
    each = {
        "fruit_kg": total, "lots": float(len(lots)),
        "in_time": float(kg[fresh].sum() / kg.sum()) if kg.size else 1.0,
        "fresh_days": float((old[came] <= fresh_h).mean()) if came.any() else 1.0,
        "mould_lots": float((rows.lost[:, 3] > 0.0).mean()) if kg.size else 0.0,
        "mould_kg": float(kg[rows.lost[:, 3] > 0.0].sum() / max(kg.sum(), 1e-9)),
        "green_kg": float((green * kg * (rows.lost[:, 4] < 1.0)).sum()),
        "sound_green_kg": float((green * kept).sum()),
        "full_days": float(len({int(lot.spread // 24) for lot, w in zip(lots, rows.waited_h, strict=True)
                                if w > 12.0 and lot.spread == lot.spread})),
        "dry_days": float(np.nanmedian(rows.dry_h) / 24.0) if np.isfinite(rows.dry_h).any() else np.nan,
        "oldest_h": float(rows.age_h.max()) if kg.size else 0.0,
        "water_l": sums["water"].sum(), "water_day_l": float(sums["water"].max()),
        "effluent_l": sums["effluent"].sum(), "effluent_day_l": float(sums["effluent"].max()),
        "people_h": float(sum(c.people_h * lot.kg for c, lot in zip(chains, lots, strict=True))),
        "burner_mj": float(sum(lot.burner_mj for lot in lots)),
        "peak_day_kg": float(unit.fruit.kg[s].sum(axis=1).max()),
        "area_used": float(used.sum(axis=1).max()), "store_kg": float(unit.store_kg[s].max()),
        "store_over_days": float((unit.store_kg[s] > store).sum()),
        "thicker": float(np.mean([lot.thicker for lot in lots])) if lots else 0.0,
        "gate_h": float(unit.gate_wait_h[s]), "rain_mm": float(unit.rain_mm[s]), "bad":
        float(unit.fruit.bad[s]),
        "lost_share": float(1.0 - (green * kept).sum() / max((green * kg).sum(), 1e-9)),
    }  # fmt: skip
    lost_kg = (kg[:, None] * (rows.lost >= LEAST_LOST)).sum(axis=0)
    return each, lost_kg, used, _closure(design, lots, total)


def _flows(design: Design, lots: Sequence[Lot]) -> dict[str, Array]:
    """Litres drawn and let out by day: what pulping takes on its day, what washing takes on its own."""
    last = (
        max((int(max(lot.came, lot.dry if lot.dry == lot.dry else 0.0) // 24) for lot in lots), default=0) + 2
    )
    water, effluent = np.zeros(last), np.zeros(last)
    for lot in lots:
        chain = design.chains[lot.species, lot.route]
        if lot.pulp_at != lot.pulp_at:
            continue
        at = lot.wash_at if lot.wash_at == lot.wash_at else lot.pulp_at
        first, then = int(lot.pulp_at // 24), int(at // 24)
        pulping = float(np.asarray(design.station.practice().typical().pulp_water_l_kg_cherry))
        water[first] += pulping * lot.kg
        effluent[first] += pulping * lot.kg
        water[then] += max(chain.water_l - pulping, 0.0) * lot.kg
        effluent[then] += max(chain.effluent_l - pulping, 0.0) * lot.kg
    return {"water": water, "effluent": effluent}


def _used(design: Design, rows: Rows, days: int) -> Array:
    """Square metres of each place in use at noon of each day, over all area there is (day, place)."""
    spots = spots_of(design)
    found = np.zeros((days, len(spots)))
    noon = 24.0 * np.arange(days) + 12.0
    for k in range(len(spots)):
        mine = (rows.place == k) & ~np.isnan(rows.spread)
        on = (rows.spread[mine, None] <= noon) & (rows.off[mine, None] > noon)
        found[:, k] = (on * rows.area[mine, None]).sum(axis=0)
    return found / sum(s.area for s in spots)


def _closure(design: Design, lots: Sequence[Lot], total: float) -> float:
    """What is left of dry matter and of water over all accounts of a season, and of fruit over the gate."""
    dry = water = scale = 0.0
    came = 0.0
    for lot in lots:
        for d, w in design.chains[lot.species, lot.route].ends.values():
            dry, water, scale = dry + lot.kg * d, water + lot.kg * w, scale + lot.kg * (abs(d) + abs(w))
        came += lot.kg + lot.floaters_kg
    gone = abs(came - total) / total if total else 0.0
    return max(abs(dry) / max(scale, 1e-9), abs(water) / max(scale, 1e-9), gone)
