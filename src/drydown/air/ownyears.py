"""Futures from a station's own years: its days in blocks, and generated weather, by how many years there are.

Past years alone repeat themselves: three years are three futures, and their odd months come round again.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from drydown.air.generator import generate
from drydown.air.learn import learn, normals_from
from drydown.air.series import RANGES, HourlyWeather
from drydown.errors import InputError
from drydown.words import say

__all__ = ["blended", "resampled", "years_of"]

Array = NDArray[np.float64]
BLOCK_DAYS, SHIFT_DAYS, ENOUGH_YEARS = 5, 7, 10
"""Days kept together, how far from the calendar a block may come, and years from which the past is enough."""


def years_of(air: HourlyWeather) -> float:
    """Length of a series in years. A typical year counts as one.

    Args: air. Returns: [years]. Valid range: any. Source: definition.

    >>> from drydown.air.normals import MonthNormals
    >>> from drydown.air.series import Site
    >>> from datetime import datetime, timezone
    >>> from drydown.air.generator import generate
    >>> month = MonthNormals(24.0, 13.0, 0.75, 100.0, 12.0, 1.5)
    >>> here = Site(-3.4, 45.0, 1690.0, 3.0)
    >>> air = generate(here, (month,) * 12, datetime(2026, 1, 1, tzinfo=timezone.utc), 24 * 120, 1, 1)
    >>> round(years_of(air), 2)
    0.33
    """
    return air.hours / 8766.0


def resampled(air: HourlyWeather, start: datetime, hours: int, members: int, seed: int) -> HourlyWeather:
    """Futures put together from blocks of five days of a series, from the same time of year within a week.

    A block of a date is the same for a member whatever the start and the horizon.

    Args: air, one member, a year or more; start (aware); hours [h]; members; seed. Returns: (members, hours).
    Valid range: a series of 365 days.
    Source: block bootstrap by season (Buishand and Brandsma 2001; Rajagopalan and Lall 1999).

    >>> from drydown.air.normals import MonthNormals
    >>> from drydown.air.series import Site
    >>> from datetime import datetime, timezone
    >>> from drydown.air.generator import generate
    >>> month = MonthNormals(24.0, 13.0, 0.75, 100.0, 12.0, 1.5)
    >>> here = Site(-3.4, 45.0, 1690.0, 3.0)
    >>> air = generate(here, (month,) * 12, datetime(2026, 1, 1, tzinfo=timezone.utc), 24 * 366, 1, 1)
    >>> resampled(air, air.start, 48, 3, 1).temp_c.shape
    (3, 48)
    """
    if years_of(air) < 0.99:
        raise InputError("own days are drawn from a year and more.", air.site.name or "the weather")
    zone = air.site.zone
    local = start.astimezone(zone)
    midnight = local.replace(hour=0, minute=0, second=0, microsecond=0)
    skip = int((local - midnight) / timedelta(hours=1))
    days = (skip + hours + 23) // 24
    first, ahead, whole = air.whole_days()
    rows = np.empty((members, days), dtype=np.int64)
    for d in range(days):
        day = midnight.date() + timedelta(days=d)
        block = day.toordinal() // BLOCK_DAYS
        rng = np.random.default_rng([seed, 88, block])
        year, shift = rng.random(members), rng.integers(-SHIFT_DAYS, SHIFT_DAYS + 1, members)
        rows[:, d] = _row(day.timetuple().tm_yday, first, whole, year, shift)
    hour = rows[:, :, None] * 24 + ahead + np.arange(24)
    flat = hour.reshape(members, days * 24)[:, skip : skip + hours]
    cut = {key: np.asarray(getattr(air, key))[0][flat] for key in RANGES}
    return HourlyWeather.of(air.site, start, cut)


def _row(
    day_of_year: int, first: date, whole: int, year: Array, shift: NDArray[np.int64]
) -> NDArray[np.int64]:
    """Row of a series of whole days for a day of the year in a drawn year, shifted."""
    begin = (day_of_year - first.timetuple().tm_yday) % 365
    count = max((whole - begin + 364) // 365, 1)
    row = begin + 365 * np.minimum((year * count).astype(np.int64), count - 1) + shift
    return np.asarray(np.clip(row, 0, whole - 1))


def blended(
    air: HourlyWeather, start: datetime, hours: int, members: int, seed: int
) -> tuple[HourlyWeather, str] | None:
    """Own days and generated ones: a tenth of the members from own days for each year, all from ten years on.

    The generator takes the series' own normals and what it tells of its climate.

    Args: as `resampled`, air an `HourlyWeather`. Returns: futures and words; None where the series has no
    whole year of months. Valid range: a year and more. Source: own choice of the shares.

    >>> from drydown.air.normals import MonthNormals
    >>> from drydown.air.series import Site
    >>> from datetime import datetime, timezone
    >>> from drydown.air.generator import generate
    >>> month = MonthNormals(24.0, 13.0, 0.75, 100.0, 12.0, 1.5)
    >>> here = Site(-3.4, 45.0, 1690.0, 3.0)
    >>> air = generate(here, (month,) * 12, datetime(2026, 1, 1, tzinfo=timezone.utc), 24 * 366, 1, 1)
    >>> found = blended(air, air.start, 48, 10, 1)
    >>> found is not None and found[0].members
    10
    """
    if years_of(air) < 0.99:
        return None
    months = normals_from(air)
    known = [m for m in months if m is not None]
    if len(known) < len(months):
        return None
    share = min(years_of(air) / ENOUGH_YEARS, 1.0)
    own = np.random.default_rng([seed, 89]).permutation(members) < round(share * members)
    past = resampled(air, start, hours, members, seed)
    if own.all():
        return past, say(
            "{members} futures from {years:.0f} years of its own days", members=members, years=years_of(air)
        )
    climate = {name: told.value for name, told in learn(air).items()}
    made = generate(air.site, tuple(known), start, hours, members, seed, climate)
    mixed = {key: np.where(own[:, None], getattr(past, key), getattr(made, key)) for key in RANGES}
    words = say(
        "{own} futures of its own days and {made} generated from its own means, of {years:.1f} years",
        own=int(own.sum()),
        made=int((~own).sum()),
        years=years_of(air),
    )
    return HourlyWeather.of(air.site, start, mixed), words
