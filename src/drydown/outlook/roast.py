"""A roast ahead: an ensemble over what is uncertain about roaster and beans, learnt from logged roasts and
drawn
to the readings of the one under way."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drydown.errors import InputError
from drydown.figures import Band, Figure, Source, Status
from drydown.outlook.dryfigures import PERCENTS
from drydown.steps.roast.model import (
    COLUMNS,
    NAMES,
    ROAST_SOURCE,
    Batch,
    Roaster,
    RoastRun,
    organic_share,
    roast,
)
from drydown.words import say

__all__ = [
    "FUEL_SOURCE",
    "PRIOR_SD",
    "Fit",
    "Log",
    "RoastAhead",
    "calibrate",
    "drawn_of",
    "fuel_figures",
    "prior",
    "roast_ahead",
    "weighed",
]

Array = NDArray[np.float64]
PRIOR_SD = {"h_w_m2k": 0.35, "contact_w_k": 0.60, "probe_s": 0.50, "organic": 0.35, "bean_mm": 0.06}
"""Ln spread of each factor before anything was logged (own estimate)."""
PROBE_SD_C, LOSS_SD, EVERY_S = 2.0, 0.004, 20.0
"""Spread of a reading about the model, model error in it (own estimate); of a weighed loss; readings
nearer to
each other than this tell the same."""
UNTOLD = 0.8
"""A factor whose spread is still so much of the prior's was not told by the roasts (own choice)."""
LEAST_READINGS = 12
FUEL_SOURCE = Source(
    "small roasters 7.5 and 12.5 MJ/kg green (0.42 and 0.70 kg CO2/kg), large ones with an afterburner "
    "several times lower; traditional drums lose up to 75 % by the stack (Pantaleo 2018)", Status.SECOND_HAND,
)  # fmt: skip
CO2_KG_MJ = 0.0561
HIGHEST_MJ_KG = 12.5
BURN_C = 245.0
"""Bean temperature past which nobody roasts on purpose (own choice; darkest roasts end near 240 C)."""


@dataclass(frozen=True, slots=True)
class Log:
    """A roast that was logged: readings (second, probe [C]); drop_s; roasted_kg and roasted_wb where
    weighed and
    read."""

    batch: Batch
    readings: tuple[tuple[float, float], ...]
    drop_s: float
    roasted_kg: float | None = None
    roasted_wb: float | None = None

    @property
    def loss(self) -> float | None:
        """Share of the green mass that is gone."""
        return None if self.roasted_kg is None else 1.0 - self.roasted_kg / self.batch.green_kg


@dataclass(frozen=True, slots=True)
class Fit:
    """What logged roasts told: ln factors over the roaster's own, in the order of `NAMES`, their
    covariance; roasts
    and readings behind it; untold, names the roasts could not tell; rms, spread of readings about it [C]."""

    middle: Array
    cov: Array
    roasts: int
    readings: int
    untold: tuple[str, ...]
    rms_c: float

    def draws(self, members: int, seed: int) -> dict[str, Array]:
        """Correlated factors, the first member the middle. Args: members; seed. Returns: name ->
        (member,)."""
        rng = np.random.default_rng([seed, 131])
        z = self.middle + rng.standard_normal((members, self.middle.size)) @ np.linalg.cholesky(self.cov).T
        z[0] = self.middle
        return drawn_of(z)


def drawn_of(z: Array) -> dict[str, Array]:
    """Ln factors (member, `NAMES`) as factors by name."""
    return {name: np.exp(z[:, k]) for k, name in enumerate(NAMES)}


def prior() -> Fit:
    """What is taken of a roaster before anything was logged."""
    sd = np.array([PRIOR_SD[n] for n in NAMES])
    return Fit(np.zeros(len(NAMES)), np.diag(sd**2), 0, 0, NAMES, 0.0)


def _thinned(readings: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    kept: list[tuple[float, float]] = []
    for t, c in sorted(readings):
        if t > 0.0 and (not kept or t - kept[-1][0] >= EVERY_S - 1e-9):
            kept.append((t, c))
    return kept


def _residuals(roaster: Roaster, logs: Sequence[Log], z: Array) -> Array:
    """(told - model)/spread of every reading and weighing, (member, datum)."""
    parts = []
    probe = COLUMNS.index("probe_c")
    for log in logs:
        seen = _thinned(log.readings)
        times = np.array([t for t, _c in seen])
        run = roast(roaster, log.batch, max(log.drop_s, 10.0) + 1.0, drawn_of(z), [*times, log.drop_s])
        at = np.searchsorted(run.seconds, times)
        told = np.array([c for _t, c in seen])
        parts.append((told - run.values[:, at, probe]) / PROBE_SD_C)
        if log.loss is not None:
            whole = run.loss(np.full(z.shape[0], log.drop_s))
            parts.append(((log.loss - whole) / LOSS_SD)[:, None])
    return np.hstack(parts)


def _posterior(roaster: Roaster, logs: Sequence[Log], z0: Array, before: Array) -> tuple[Array, Array]:
    """Ln factors and their covariance after logs: Gauss-Newton from what was known before.

    Equation: minimum of the sum of squared residuals and (z - z0)' P^-1 (z - z0); covariance (J'J + P^-1)^-1.
    """
    tight, small, z = np.linalg.inv(before), 1e-3, z0.copy()
    sd = np.sqrt(np.diag(before))
    jac = np.empty((0, 0))
    for _round in range(12):
        moved = np.vstack([z, z + small * np.eye(z.size)])
        r = _residuals(roaster, logs, moved)
        jac = (r[0] - r[1:]).T / small  # d model / d z
        step = np.linalg.solve(jac.T @ jac + tight, jac.T @ r[0] - tight @ (z - z0))
        z = np.clip(z + np.clip(step, -0.5, 0.5), z0 - 4.0 * sd, z0 + 4.0 * sd)
        if np.abs(step).max() < 1e-4:
            break
    cov = np.asarray(np.linalg.inv(jac.T @ jac + tight), dtype=np.float64)
    return z, 0.5 * (cov + cov.T)


def calibrate(roaster: Roaster, logs: Sequence[Log]) -> Fit:
    """Fit a roaster's factors to logged roasts.

    Equation: Gauss-Newton on the sum of squared residuals and of (z/prior spread)2; covariance (J'J +
    P^-1)^-1.
    Args: roaster, as stated; logs, two roasts or more with at least 12 readings in all, 20 s apart. Returns:
    `Fit`; names whose spread stays above 0.8 of the prior's are `untold`. Raises `InputError` for too
    little, or
    for readings that no factors explain (more than 12 C off in the mean). Valid range: any roaster.
    Source: own
    method; spreads own estimate.
    """
    count = sum(len(_thinned(log.readings)) for log in logs)
    if len(logs) < 2 or count < LEAST_READINGS:
        raise InputError(
            say("{r} roasts with {n} readings tell too little; two with {m} are needed.", r=len(logs),
                n=count, m=LEAST_READINGS), "calibration", "Log another roast.",
        )  # fmt: skip
    start = prior()
    z, cov = _posterior(roaster, logs, start.middle, start.cov)
    sd = np.sqrt(np.diag(start.cov))
    final = _residuals(roaster, logs, z[None])[0]
    rms = PROBE_SD_C * float(np.sqrt(np.mean(np.square(final[:count]))))
    if rms > 12.0:
        raise InputError(
            say("readings lie {c:.0f} C off whatever the roaster is taken to be.", c=rms), "calibration",
            "Check the probe, the heat that was noted and the charge temperature.",
        )  # fmt: skip
    cov = np.asarray(cov * max((rms / PROBE_SD_C) ** 2, 1.0), dtype=np.float64)
    untold = tuple(n for k, n in enumerate(NAMES) if np.sqrt(cov[k, k]) > UNTOLD * sd[k])
    return Fit(z, cov, len(logs), count, untold, rms)


@dataclass(frozen=True, slots=True)
class RoastAhead:
    """A roast as it will go: the run of all members, figures by name, curve of the probe P10, P50, P90 over
    seconds; notes, what cannot be reached."""

    run: RoastRun
    figures: dict[str, Figure]
    seconds: Array
    probe_c: Array
    notes: tuple[str, ...]


def roast_ahead(
    roaster: Roaster, batch: Batch, fit: Fit | None = None, seen: Sequence[tuple[float, float]] = (),
    milestones: Mapping[str, float] | None = None, drop: tuple[str, float] = ("probe_c", 0.0),
    seconds: float = 1200.0, members: int = 60, seed: int = 1,
) -> RoastAhead:  # fmt: skip
    """Follow a roast ahead, drawn to what was read of it so far.

    Args: roaster; batch; fit, what earlier roasts told (else the wide prior); seen, readings so far (second,
    probe [C]); milestones, the station's own names and probe temperatures; drop, column and temperature at
    which
    it comes out (0: at the end of `seconds`); seconds; members; seed. Returns: `RoastAhead`. Valid range:
    20 to
    500 members. Source: `ROAST_SOURCE`; readings by Gauss-Newton from what was known (own method).
    """
    known = fit or prior()
    points = _thinned(seen)
    middle, cov = known.middle, known.cov
    if points:
        now = Log(batch, tuple(points), points[-1][0])
        middle, cov = _posterior(roaster, [now], middle, cov)
    rng = np.random.default_rng([seed, 137])
    z = middle + rng.standard_normal((members, len(NAMES))) @ np.linalg.cholesky(cov).T
    if fit is not None or points:
        z[0] = middle
    run = roast(roaster, batch, seconds, drawn_of(z))
    told = {
        "roasts behind it": str(known.roasts),
        "readings of this one": str(len(seen)),
        "members": str(members),
    }
    figures, notes = _figures(run, batch, milestones or {}, drop, told)
    hottest = batch.hottest(roaster)
    if drop[1] > hottest:
        notes.append(
            say("{t:g} C is not reachable: the gas is never hotter than {h:.0f} C. A wrong target or sensor?",
                t=drop[1], h=hottest)
        )  # fmt: skip
    probe = np.percentile(run.column("probe_c"), PERCENTS, axis=0)
    return RoastAhead(run, figures, run.seconds, probe, tuple(str(n) for n in notes))


def _figures(
    run: RoastRun,
    batch: Batch,
    milestones: Mapping[str, float],
    drop: tuple[str, float],
    told: dict[str, str],
) -> tuple[dict[str, Figure], list[str]]:
    found: dict[str, Figure] = {}
    notes: list[str] = []
    for name, level in milestones.items():
        at = run.when("probe_c", level)
        if np.isinf(at).mean() > 0.5:
            notes.append(
                say("{n} ({c:g} C on the probe) is not reached within the time looked at", n=name, c=level)
            )
            continue
        found[f"at {name}"] = _span(at[np.isfinite(at)], "s", say("the probe passes {c:g} C", c=level), told)
    ends = np.full(run.values.shape[0], run.seconds[-1])
    if drop[1] > BURN_C:
        notes.append(say("beans past {b:g} C smoke and burn: choose a lower end", b=BURN_C))
        return found, notes
    if drop[1] > 0.0:
        out = run.when(*drop)
        if np.isinf(out).mean() > 0.5:
            hottest = float(np.median(run.column("bean_c").max(axis=1)))
            words = "{c:g} C is not reached in the time looked at: beans come to {h:.0f} C; no loss is told"
            notes.append(say(words, c=drop[1], h=hottest))
            return found, notes
        found["out"] = _span(out[np.isfinite(out)], "s", say("passes {c:g} C", c=drop[1]), told)
        ends = np.where(np.isfinite(out), out, ends)
    here = run.at(ends)
    found["loss"] = _span(
        100.0 * run.loss(ends), "%", say("share of the green mass gone: water and organic"), told
    )
    organic = 100.0 * here[:, COLUMNS.index("organic")]
    found["organic_loss"] = _span(
        organic, "% of dry matter", say("organic matter gone, reaction water in it"), told
    )
    water = here[:, COLUMNS.index("moisture_db")]
    left = water / (1.0 - here[:, COLUMNS.index("organic")] + water)
    found["roasted_moisture"] = _span(100.0 * left, "% wb", say("water left over what is left"), told)
    beans = here[:, COLUMNS.index("beans_kj")] / 1000.0 / batch.green_kg
    found["heat_to_beans"] = _span(beans, "MJ/kg green", say("heat taken by the beans"), told)
    found |= fuel_figures(here[:, COLUMNS.index("gas_kj")] / 1000.0 / batch.green_kg, told)
    return found, notes


def fuel_figures(given_mj_kg: Array, told: dict[str, str]) -> dict[str, Figure]:
    """Fuel and carbon dioxide of a kilogram of green: a wide band, as published figures are apart.

    Args: given_mj_kg, heat that gas gave to beans and metal (member,) [MJ/kg green]; told, inputs. Returns:
    figures. Valid range: any. Source: `FUEL_SOURCE`; 0.0561 kg CO2 a MJ of gas.
    """
    low = max(float(np.median(given_mj_kg)) / 0.9, 0.05)
    high = max(HIGHEST_MJ_KG, 2.0 * low)
    middle = float(np.sqrt(low * high))
    rule = say("from what beans and metal took with nothing lost, to the dearest small roaster published")
    fuel = Figure(middle, "MJ/kg green", low, high, Band.STATED, rule, told, (FUEL_SOURCE,))
    carbon = Figure(
        CO2_KG_MJ * middle, "kg CO2/kg green", CO2_KG_MJ * low, CO2_KG_MJ * high, Band.STATED,
        say("0.0561 kg for a MJ of gas; electric: as your grid"), told, (FUEL_SOURCE,),
    )  # fmt: skip
    return {"fuel": fuel, "co2": carbon}


def _span(values: Array, unit: str, rule: str, told: dict[str, str]) -> Figure:
    low, middle, high = (float(x) for x in np.percentile(values, PERCENTS))
    return Figure(middle, unit, low, high, Band.P10_P90, rule, told, (ROAST_SOURCE,))


def weighed(log: Log) -> dict[str, float]:
    """What weighings tell of a roast that is out.

    Args: log with roasted_kg. Returns: loss, and where the roasted moisture was read organic_loss
    [fractions];
    green_equivalent [kg green a kg roasted]. Raises `InputError` without a weight. Valid range: any. Source:
    conservation of mass.
    """
    if log.loss is None or log.roasted_kg is None:
        raise InputError("was not weighed.", "the roasted coffee")
    found = {"loss": log.loss, "green_equivalent": log.batch.green_kg / log.roasted_kg}
    if log.roasted_wb is not None:
        found["organic_loss"] = organic_share(log.batch.moisture_wb, log.roasted_wb, log.loss)
    return found
