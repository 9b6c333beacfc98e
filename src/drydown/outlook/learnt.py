"""What a station's lots teach about its next ones: its own prior, from many lots corrected by their readings.

Each lot says where the smoother moved what is not known of it, against where it was drawn: as information
(precision and precision times mean), the draws' own taken off. A part of each spread is between stations, the
rest between lots of one: the station's part is learnt from all its lots, a new lot is drawn about it. Normal
throughout, in ln of the parameters (Gelman et al., Bayesian Data Analysis, hierarchical normal model).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drydown.errors import InputError
from drydown.figures import Band, Figure, Source, Status
from drydown.outlook.told import Told
from drydown.outlook.unknowns import Unknowns
from drydown.steps.dry.data import Form
from drydown.words import say

__all__ = ["LOT_SHARE", "Lesson", "StationPrior", "lesson_of", "station_prior"]

Array = NDArray[np.float64]
LOT_SHARE = {
    "pace": 0.5, "d40_m2_s": 0.5, "hull_kg_m2_s_pa": 0.5, "absorptance": 0.3, "h_scale": 0.05,
    "wind_draw": 0.05,
}  # fmt: skip
"""Part of a spread's variance that is between lots of one station; the rest is between stations."""
SHARE_SOURCE = Source(
    "own estimate: beans differ by lot, the place does not; published cases do not tell the two apart",
    Status.OWN_ESTIMATE,
)
OF_THE_PLACE = {"h_scale", "wind_draw"}
LEAST = 0.25
"""Information of one lot, against that of the draws, from which it is more than an ensemble's noise."""
Z90 = 1.2816


@dataclass(frozen=True, slots=True)
class Lesson:
    """What one lot teaches: names as the station has them, mean and covariance as drawn and as corrected."""

    names: tuple[str, ...]
    drawn_mean: Array
    drawn_cov: Array
    mean: Array
    cov: Array

    def information(self) -> tuple[Array, Array]:
        """Precision (name, name) and precision times mean (name,) that the readings alone add."""
        root = np.linalg.cholesky(self.drawn_cov)
        inside = np.linalg.solve(root, np.linalg.solve(root, self.cov).T)
        added = np.linalg.inv(inside) - np.eye(len(self.names))
        values, ways = np.linalg.eigh(0.5 * (added + added.T))
        values = np.where(values > LEAST, values, 0.0)
        back = np.linalg.solve(root.T, ways)
        precision = (back * values) @ back.T
        gain = np.linalg.solve(self.cov, self.mean) - np.linalg.solve(self.drawn_cov, self.drawn_mean)
        told = back @ (np.where(values > 0.0, 1.0, 0.0) * (ways.T @ (root.T @ gain)))
        return precision, told


def lesson_of(first: Unknowns, last: Unknowns, used: Sequence[Told]) -> Lesson | None:
    """What a lot teaches, from its members as drawn and as moved; None where nothing was read."""
    if not used:
        return None
    columns = [n for n in last.names if n in LOT_SHARE or n.startswith("bias:")]
    index = [last.names.index(n) for n in columns]
    one, two = first.z[:, index], last.z[:, index]
    return Lesson(
        tuple(_named(n, last.form.name) for n in columns),
        one.mean(axis=0),
        _cov(one),
        two.mean(axis=0),
        _cov(two),
    )


def _cov(z: Array) -> Array:
    return np.asarray(np.atleast_2d(np.cov(z, rowvar=False)))


def _named(column: str, form: str) -> str:
    """A meter and a place are the same for all forms; what dries is not."""
    return column if column in OF_THE_PLACE or column.startswith("bias:") else f"{form}/{column}"


def _lot_share(name: str) -> float:
    return LOT_SHARE.get(name.rpartition("/")[2], 0.0)


@dataclass(frozen=True, slots=True)
class StationPrior:
    """What a new lot is drawn from: mean and covariance by name; own, those of the station alone."""

    names: tuple[str, ...]
    mean: Array
    cov: Array
    own_cov: Array
    drawn_mean: Array
    lots: int

    def applied(self, names: Sequence[str], z: Array, form: Form) -> Array:
        """Drawn members moved so that they have this mean and covariance."""
        columns = [i for i, n in enumerate(names) if _named(n, form.name) in self.names]
        if not columns:
            return z
        at = [self.names.index(_named(names[i], form.name)) for i in columns]
        part = z[:, columns]
        middle, now = part.mean(axis=0), np.linalg.cholesky(_cov(part))
        wanted = np.linalg.cholesky(self.cov[np.ix_(at, at)])
        out = z.copy()
        out[:, columns] = self.mean[at] + np.linalg.solve(now, (part - middle).T).T @ wanted.T
        return out

    def figure(self, name: str) -> Figure | None:
        """What is known of one of the station's numbers: a factor over what is drawn, or points of a
        meter."""
        if name not in self.names:
            return None
        i = self.names.index(name)
        half = Z90 * float(np.sqrt(self.own_cov[i, i]))
        rule = say("learnt from {lots} lots, hierarchical normal model", lots=self.lots)
        if name.startswith("bias:"):
            middle, half = 100.0 * float(self.mean[i]), 100.0 * half
            return Figure(
                middle, "points", middle - half, middle + half, Band.P10_P90, rule, {}, (SHARE_SOURCE,)
            )
        middle = float(self.mean[i] - self.drawn_mean[i])
        low, high = np.exp(middle - half), np.exp(middle + half)
        return Figure(
            float(np.exp(middle)),
            "times the form's",
            float(low),
            float(high),
            Band.P10_P90,
            rule,
            {},
            (SHARE_SOURCE,),
        )


def station_prior(lessons: Sequence[Lesson]) -> StationPrior | None:
    """What a station's lots teach together.

    Equation: lot = station + own; precision of the station = that of its part of the draws + sum over lots of
    (I + L E)^-1 L, L what a lot adds, E its own part of the spread. Args: lessons, of lots drawn from the
    published ranges. Returns: `StationPrior`; None without lessons. Source: hierarchical normal model.
    """
    if not lessons:
        return None
    names = tuple(dict.fromkeys(n for lesson in lessons for n in lesson.names))
    mean, cov = _drawn(names, lessons)
    share = np.sqrt(np.array([_lot_share(n) for n in names]))
    station = np.sqrt(1.0 - share**2)
    own, between = cov * np.outer(share, share), cov * np.outer(station, station)
    between += np.diag(1e-9 * np.diag(cov) + 1e-12)
    precision, told = np.linalg.inv(between), np.linalg.solve(between, mean)
    for lesson in lessons:
        at = [names.index(n) for n in lesson.names]
        added, gain = lesson.information()
        damp = np.linalg.inv(np.eye(len(at)) + added @ own[np.ix_(at, at)])
        precision[np.ix_(at, at)] += damp @ added
        told[at] += damp @ gain
    own_cov: Array = np.linalg.inv(0.5 * (precision + precision.T)).astype(np.float64)
    if not np.isfinite(own_cov).all():
        raise InputError("the station's lots cannot be learnt from together.", "station prior")
    return StationPrior(names, own_cov @ told, own_cov + own, own_cov, mean, len(lessons))


def _drawn(names: tuple[str, ...], lessons: Sequence[Lesson]) -> tuple[Array, Array]:
    """Mean and covariance of the draws over all names: means over the lessons that have them."""
    mean, cov = np.zeros(len(names)), np.zeros((len(names), len(names)))
    seen = np.zeros_like(cov)
    for lesson in lessons:
        at = [names.index(n) for n in lesson.names]
        cov[np.ix_(at, at)] += lesson.drawn_cov
        mean[at] += lesson.drawn_mean
        seen[np.ix_(at, at)] += 1.0
    mean /= np.maximum(np.diag(seen), 1.0)
    return mean, cov / np.maximum(seen, 1.0)
