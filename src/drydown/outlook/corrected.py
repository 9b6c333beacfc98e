"""A lot's forecast from spreading, through the weather and handling that were, corrected by what was read.

Members are drawn as for any forecast and run to the last reading; the smoother moves what is not known of
each
(`unknowns.py`), the engine runs them anew, twice; then they run on. So a corrected member is still a whole
run of the engine, from spreading to dry, inside the same bounds.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from drydown.air.series import HourlyWeather
from drydown.errors import RangeError
from drydown.figures import Band, Figure
from drydown.outlook.case import DryingCase
from drydown.outlook.dryfigures import PERCENTS, window_hours
from drydown.outlook.forecast import READING_SD_WB, DryingForecast, forecast_of_run, sun_notes
from drydown.outlook.learnt import LOT_SHARE, Lesson, StationPrior, lesson_of
from drydown.outlook.rules import window_levels
from drydown.outlook.skies import LotAir, Skies, lot_air
from drydown.outlook.smoother import update
from drydown.outlook.told import Told, bias_of, checked, predicted, spread_of
from drydown.outlook.unknowns import Unknowns, unknowns_of
from drydown.steps.dry.data import Form, form
from drydown.steps.dry.draws import draw_parameters
from drydown.steps.dry.routine import Routine
from drydown.steps.dry.run import DryingRun, DryStage, dry_stages
from drydown.words import say

__all__ = ["MOST_MISFIT", "Corrected", "corrected"]

Array = NDArray[np.float64]
PARTS = 2
"""Times the data are taken in parts, with the engine run anew after each."""
ODD = 4.0
"""Standard deviations from all else that is known from which a reading is asked about (own choice)."""
MOST_MISFIT = 2.0
"""Root mean square of misfits from which the runs are not the lot's own (own choice)."""
UNSTOPPED_WB = 0.05
FIRST_TOLERANCE, TOLERANCE = 4e-2, 1.6e-2
"""Step tolerance [kg/kg] of the first run, which only tells what the readings depend on (0.1 point in the
mean), and of all others: 0.02 to 0.04 point in the mean, a fifteenth of a reading's doubt."""
LEFT_WET = 0.05
"""Share of members that may be wet at the end of the look ahead."""


@dataclass(frozen=True, slots=True)
class Corrected:
    """A lot's outlook.

    forecast, from the last reading that was taken in (from spreading where there is none); way_wb (3, hour)
    P10, P50, P90 of moisture from spreading to there; window, hours in the mould window, the whole way, and
    their P50 and P90 until each hour (hour, 2); asked,
    readings that contradict all else and were left out; biases, what each meter reads off, points; pace, how
    quick this lot is against its form; lesson, what it teaches about the station.
    """

    forecast: DryingForecast
    spread_at: datetime
    way_wb: Array
    window: Figure
    window_by_hour: Array
    very_wet_h: float
    told: tuple[Told, ...]
    asked: tuple[Told, ...]
    biases: tuple[tuple[str, Figure], ...]
    lesson: Lesson | None
    apart: bool
    misfit: float = 0.0
    """How far the runs lie from the readings that were taken in, in their own standard deviations."""

    @property
    def follows(self) -> bool:
        """Whether the runs agree with all that was read: else hours are counted by the readings alone."""
        return not self.asked and self.misfit <= MOST_MISFIT

    def window_until(self, at: datetime) -> tuple[float, float]:
        """Hours in the mould window from spreading until a moment: in the middle, and one future in ten
        [h]."""
        hour = min(max((at - self.spread_at) / timedelta(hours=1), 0.0), len(self.window_by_hour) - 1.0)
        middle, high = self.window_by_hour[int(hour)]
        return float(middle), float(high)

    @property
    def hours_so_far(self) -> int:
        """Hours from spreading to the start of the forecast."""
        return int(self.way_wb.shape[1]) - 1


def corrected(
    case: DryingCase, told: Sequence[Told], skies: Skies, members: int = 100, seed: int = 1,
    prior: StationPrior | None = None, threads: int | None = None,
) -> Corrected:  # fmt: skip
    """Forecast a lot from spreading on, corrected by its readings.

    Args: case, from spreading (its stops are the stays before the last; events of its routine count hours
    from
    there); told, readings; skies, the station's air; members; seed, of the lot; prior, what the station's
    other lots taught.
    Returns: `Corrected`. Valid range: 20 to 2000 members. Raises as the drying step.
    Source: the drying step; Emerick and Reynolds 2013 for the smoother; spreads of readings `told.KINDS`.
    """
    if not 20 <= members <= 2000:
        raise RangeError(say("members must be from 20 to 2000, got {members}.", members=members))
    told, kind = checked(told), form(case.form, case.species)
    so_far = max(int(np.ceil(told[-1].hour)), 1) if told else 0
    met = lot_air(skies, case.start, so_far + 20 * 24, members, seed=1001)
    u = _drawn(case, kind, told, met, so_far, members, seed)
    if prior is not None:
        u = u.moved(prior.applied(u.names, u.z, kind))
    ground = float(met.air.temp_c.mean())
    used: tuple[Told, ...] = told
    asked: tuple[Told, ...] = ()
    past, first = None, u
    if told:
        past, u, used, asked = _smoothed(case, kind, u, told, met, so_far, ground, seed, threads)
    return _told_of(case, kind, skies, u, first, past, used, asked, met, so_far, ground, threads)


def _drawn(
    case: DryingCase, kind: Form, told: Sequence[Told], met: LotAir, so_far: int, members: int, seed: int
) -> Unknowns:
    drawn = draw_parameters(kind, members, seed)
    start = None
    if case.moisture_wb_now is not None:
        noise = np.random.default_rng(seed + 2000).standard_normal(members)
        noise[0] = 0.0
        start = np.clip(case.moisture_wb_now + READING_SD_WB * noise, 0.04, 0.80)
        drawn["x_full"] = np.maximum(drawn["x_full"], start / (1.0 - start))
    past = _first(met.air, max(so_far, 1))
    return unknowns_of(kind, drawn, bias_of(told), past, met.measured[:so_far], seed, start)


def _first(air: HourlyWeather, hours: int) -> HourlyWeather:
    return air.window(air.start, min(hours, air.hours))


def _smoothed(
    case: DryingCase, kind: Form, u: Unknowns, told: tuple[Told, ...], met: LotAir, so_far: int,
    ground: float,
    seed: int, threads: int | None,
) -> tuple[DryingRun, Unknowns, tuple[Told, ...], tuple[Told, ...]]:  # fmt: skip
    """Members moved to what was read, and their runs to the last reading."""
    rng, air = np.random.default_rng([seed, 79]), _first(met.air, so_far)
    run = _past(case, kind, u, air, ground, threads, bounded=False, first=True)
    seen = _seen(run, u, told)
    used, asked = _split_odd(told, seen)
    always = np.array([n.startswith("bias:") or n in LOT_SHARE for n in u.names])
    for part in range(PARTS if used else 0):
        index = [told.index(t) for t in used]
        values = np.array([t.value for t in used])
        u = u.moved(update(u.z, seen[:, index], values, spread_of(used), float(PARTS), rng, always))
        run = _past(case, kind, u, air, ground, threads, bounded=part == PARTS - 1)
        seen = _seen(run, u, told)
    return (run if used else _past(case, kind, u, air, ground, threads, bounded=True)), u, used, asked


def _past(
    case: DryingCase,
    kind: Form,
    u: Unknowns,
    air: HourlyWeather,
    ground: float,
    threads: int | None,
    bounded: bool,
    first: bool = False,
) -> DryingRun:
    """Members from spreading to the end of the air."""
    stages = [
        DryStage(s.spot, case.routine, kind.dry_load(s.load_kg_m2), UNSTOPPED_WB, s.hours) for s in case.stops
    ]
    last = kind.dry_load(case.load_kg_m2)
    stages.append(DryStage(case.where(), case.routine, last, UNSTOPPED_WB, None, case.joined))
    return dry_stages(
        u.parameters(), _until(stages, air.hours), u.weather(air), u.start_db(),
        tolerance=FIRST_TOLERANCE if first else TOLERANCE,
        threads=threads, ground_c=ground, bounded=bounded,
    )  # fmt: skip


def _until(stages: list[DryStage], hours: int) -> list[DryStage]:
    """Stays that have begun by an hour."""
    found: list[DryStage] = []
    begun = 0
    for stage in stages:
        if begun >= hours and found:
            break
        found.append(stage)
        begun += stage.hours or hours
    return found


def _seen(run: DryingRun, u: Unknowns, told: tuple[Told, ...]) -> Array:
    """What each member says that every instrument shows; a member that was left out says what the mean
    does."""
    seen = predicted(told, run.column("moisture_db"), run.column("bean_temp_c"))
    for k, one in enumerate(told):
        seen[:, k] += u.biases(one.by)
    out = np.isnan(seen).any(axis=1)
    seen[out] = seen[~out].mean(axis=0)
    return seen


def _split_odd(told: tuple[Told, ...], seen: Array) -> tuple[tuple[Told, ...], tuple[Told, ...]]:
    """Readings that agree with the rest, and those that contradict it: each against all others and the draws.

    Equation: what lies apart of one given the others is [C^-1 (d - m)]_k / [C^-1]_kk, its variance
    1/[C^-1]_kk.
    """
    kept = list(range(len(told)))
    while kept:
        part = seen[:, kept]
        whole = np.atleast_2d(np.cov(part, rowvar=False)) + np.diag(spread_of([told[k] for k in kept]) ** 2)
        inverse = np.linalg.inv(whole)
        gap = np.array([told[k].value for k in kept]) - part.mean(axis=0)
        apart = inverse @ gap / np.sqrt(np.diag(inverse))
        worst = int(np.argmax(np.abs(apart)))
        if abs(apart[worst]) <= ODD:
            break
        kept.pop(worst)
    return tuple(told[k] for k in kept), tuple(t for k, t in enumerate(told) if k not in kept)


def _told_of(
    case: DryingCase, kind: Form, skies: Skies, u: Unknowns, first: Unknowns, past: DryingRun | None,
    used: tuple[Told, ...], asked: tuple[Told, ...], met: LotAir, so_far: int, ground: float,
    threads: int | None,
) -> Corrected:  # fmt: skip
    parameters = u.parameters()
    ahead, air, met = _on(case, kind, skies, u, parameters, past, met, so_far, ground, threads)
    later = replace(
        case, start=case.start + timedelta(hours=so_far), stops=(), joined=None,
        moisture_wb_now=_now(past, case), routine=_shifted(case.routine, so_far),
    )  # fmt: skip
    notes = [*met.air.notes, *sun_notes(skies.site, skies.weather)]
    said = forecast_of_run(later, kind, ahead, parameters, skies.site, air, met.words, notes)
    way = _bands(past or ahead)[:, : so_far + 1]
    window, by_hour, wet = _window(past, ahead, said, so_far, parameters)
    return Corrected(
        said,
        case.start,
        way,
        window,
        by_hour,
        wet,
        used,
        asked,
        _biases(u, used),
        lesson_of(first, u, used),
        _apart(used),
        _misfit(past, u, used),
    )


def _misfit(past: DryingRun | None, u: Unknowns, used: tuple[Told, ...]) -> float:
    """Root mean square of readings less what the members show, over the spread of both."""
    if past is None or not used:
        return 0.0
    seen = _seen(past, u, used)
    gap = np.array([t.value for t in used]) - seen.mean(axis=0)
    return float(np.sqrt(np.mean(gap**2 / (seen.var(axis=0) + spread_of(used) ** 2))))


def _bands(run: DryingRun) -> Array:
    return np.asarray(np.nanpercentile(run.moisture_wb(), PERCENTS, axis=0))


def _now(past: DryingRun | None, case: DryingCase) -> float | None:
    """Middle moisture where the forecast begins; as the case says where nothing was read."""
    return case.moisture_wb_now if past is None else float(np.nanmedian(past.moisture_wb()[:, -1]))


def _shifted(routine: Routine, hours: int) -> Routine:
    """The routine as seen from some hours later."""
    later = tuple(
        replace(e, from_h=max(e.from_h - hours, 0), until_h=e.until_h - hours)
        for e in routine.events
        if e.until_h > hours
    )
    return replace(routine, events=later)


def _on(
    case: DryingCase, kind: Form, skies: Skies, u: Unknowns, parameters: dict[str, Array],
    past: DryingRun | None, met: LotAir, so_far: int, ground: float, threads: int | None,
) -> tuple[DryingRun, HourlyWeather, LotAir]:  # fmt: skip
    """Members run on until dry: twenty days, then those that are not dry as long again, until few are
    left."""
    days, members = 20, u.z.shape[0]
    stages = _left(case, kind, so_far, _shifted(case.routine, so_far))
    air = met.air.window(case.start + timedelta(hours=so_far), met.air.hours - so_far)
    run = dry_stages(
        parameters, stages, air, u.start_db() if past is None else None, tolerance=TOLERANCE, threads=threads,
        begin=None if past is None else past.end, ground_c=ground if past is None else None,
    )  # fmt: skip
    while float(np.isnan(run.done_h).mean()) > LEFT_WET and days < kind.limit_days and air.hours >= days * 24:
        more = min(days, kind.limit_days - days)
        days += more
        met = lot_air(skies, case.start, so_far + days * 24, members, seed=1001)
        air = met.air.window(case.start + timedelta(hours=so_far), met.air.hours - so_far)
        run = _carried_on(run, parameters, stages[-1], air, threads)
    return run, air, met


def _carried_on(
    run: DryingRun, parameters: dict[str, Array], stage: DryStage, air: HourlyWeather, threads: int | None
) -> DryingRun:
    """A run with its members that are not dry yet carried on to the end of a longer air."""
    so_far, hours = run.values.shape[1] - 1, air.hours
    left = np.flatnonzero(np.isnan(run.done_h) & ~np.isnan(run.values[:, 0, 0]))
    values = np.concatenate([run.values, np.repeat(run.values[:, -1:], hours - so_far, axis=1)], axis=1)
    done = run.done_h.copy()
    if not left.size or hours <= so_far or run.end is None:
        return replace(run, values=values)
    later = air.window(air.start + timedelta(hours=so_far), hours - so_far)
    chosen = {k: v[left] for k, v in parameters.items()}
    part = later.draw(left) if later.members > 1 else later
    on = dry_stages(chosen, [stage], part, tolerance=TOLERANCE, threads=threads, begin=run.end.members(left))
    values[left, so_far:] = on.values
    done[left] = so_far + on.done_h
    end = run.end.with_members(left, on.end) if on.end is not None else run.end
    return replace(run, values=values, done_h=done, end=end)


def _left(case: DryingCase, kind: Form, so_far: int, routine: Routine) -> list[DryStage]:
    """Stays that are left after some hours; the one the lot is at is cut."""
    found, begun = [], 0
    for stop in case.stops:
        end = begun + stop.hours
        if end > so_far:
            found.append(
                DryStage(
                    stop.spot,
                    routine,
                    kind.dry_load(stop.load_kg_m2),
                    case.target_wb,
                    end - max(begun, so_far),
                )
            )
        begun = end
    joined = case.joined if begun >= so_far else None
    last = DryStage(case.where(), routine, kind.dry_load(case.load_kg_m2), case.target_wb, None, joined)
    return [*found, last]


def _window(
    past: DryingRun | None,
    ahead: DryingRun,
    said: DryingForecast,
    so_far: int,
    parameters: dict[str, Array],
) -> tuple[Figure, Array, float]:
    """Hours in the mould window from spreading to dry, their middle until each hour, and hours wetter than
    it."""
    low, high = window_levels()
    sound = np.flatnonzero(~np.isnan(ahead.values[:, 0, 0]))
    parts = [window_hours(r, parameters) for r in (past, ahead) if r is not None]
    inside, wetter = (np.concatenate([p[i][sound] for p in parts], axis=1) for i in (0, 1))
    end = so_far + np.where(np.isnan(ahead.done_h), np.inf, np.ceil(ahead.done_h))[sound]
    drying = np.arange(1, inside.shape[1] + 1)[None, :] <= end[:, None]
    sums = np.cumsum(inside & drying, axis=1)
    wet = float(np.nanmedian((wetter & drying).sum(axis=1)))
    p10, p50, p90 = np.nanpercentile(sums[:, -1], PERCENTS)
    by_hour = np.vstack([[0.0, 0.0], np.percentile(sums, [50.0, 90.0], axis=0).T])
    told = said.figures["mould_window_h"]
    rule = say(
        "hours with the wettest surface, or the bean in the mean, at water activity {low:.2f} to {high:.2f}, "
        "from spreading to dry, in runs "
        "that agree with what was read", low=low, high=high,
    )  # fmt: skip
    inputs = {"so far": f"{by_hour[min(so_far, len(by_hour) - 1), 0]:.0f} h of {so_far} h", **told.inputs}
    figure = Figure(float(p50), "h", float(p10), float(p90), Band.P10_P90, rule, inputs, told.sources)
    return figure, by_hour, wet


def _biases(u: Unknowns, used: Sequence[Told]) -> tuple[tuple[str, Figure], ...]:
    """What each meter reads off, in points, P10 to P90."""
    found = []
    for by, sd in bias_of(used).items():
        low, middle, high = 100.0 * np.percentile(u.column(f"bias:{by}"), PERCENTS)
        rule = say("shared by all readings of this meter; sd {sd:.1f} points before any", sd=100.0 * sd)
        found.append((by, Figure(float(middle), "points", float(low), float(high), Band.P10_P90, rule)))
    return tuple(found)


def _apart(used: Sequence[Told]) -> bool:
    """Whether something besides moisture meters was read, so that meter and drying can be told apart."""
    return not used or any(t.kind in {"oven", "tray"} for t in used)
