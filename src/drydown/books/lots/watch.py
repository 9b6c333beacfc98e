"""What a lot needs now: flags of danger, the step that is due, the steps that can succeed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import IntEnum

from django.utils.translation import gettext_noop

from drydown.books.lots.states import shape_of
from drydown.books.lots.window import Clock
from drydown.books.models import Lot
from drydown.outlook.forecast import DryingForecast
from drydown.outlook.rules import window_days
from drydown.station.model import Station
from drydown.way.ferment import TANK_H, felt_of
from drydown.way.ferment import not_ready as tank_not_ready
from drydown.way.habits import habits_of, target_wb
from drydown.way.keep import TOO_WET
from drydown.way.mould import HOLD, passed
from drydown.way.order import next_steps, stage
from drydown.way.state import Stage
from drydown.way.step import Step
from drydown.way.yard import Yard
from drydown.words import say, sentence

__all__ = [
    "FLAG_KINDS",
    "READ_WORDS",
    "Flag",
    "Level",
    "due",
    "flags_of",
    "held_back",
    "not_ready",
    "offered",
    "past_window",
]

READ_WORDS = gettext_noop("Read the moisture")

FRESH_H = 24.0
"""A reading older than this is taken again before the lot is bagged (own choice)."""
UNREAD_DAYS = 3.0
"""Days without a reading that are told of (own choice; daily near the end is common practice)."""
WAIT_H = 12.0
"""Hours that wet coffee waits between two steps before it is told of (own choice)."""
FASTER = "dry it faster: thinner, raked more, or by a dryer; keep it apart"


FLAG_KINDS = {
    "window": gettext_noop("mould window, outside both rules"),
    "longer": gettext_noop("mould window, inside the longer rule only"),
    "undried": gettext_noop("not dry within the forecast"),
    "unread": gettext_noop("not read for days"),
    "late": gettext_noop("its date has passed"),
    "waits": gettext_noop("waits wet"),
    "wet": gettext_noop("stored too wet"),
    "full": gettext_noop("on an over-full place"),
}
"""What a flag can be about, in words."""


class Level(IntEnum):
    """How much a flag presses; danger sorts first."""

    DANGER = 0
    LOOK = 1


@dataclass(frozen=True, slots=True)
class Flag:
    """One thing a lead should see on the card."""

    level: Level
    words: str
    todo: str = ""
    """What to do about it, where one thing is the usual one."""
    weight: float = 0.0
    """Worse ones have more; sorts lots of one level."""
    kind: str = ""
    """Which of `FLAG_KINDS`, for marks and lists."""

    def __post_init__(self) -> None:
        object.__setattr__(self, "words", sentence(self.words))
        object.__setattr__(self, "todo", sentence(self.todo))


def _hours(since: datetime | None, now: datetime) -> float:
    return (now - since) / timedelta(hours=1) if since else 0.0


def flags_of(
    lot: Lot, now: datetime, yard: Yard, forecast: DryingForecast | None, clock: Clock | None
) -> list[Flag]:
    """Everything about a lot that should be seen without opening its page, danger first.

    `clock`, its hours in the mould window; None for a lot that neither dries nor is dry.
    """
    found = [
        *_drying(lot, now, forecast, clock), *_waiting(lot, now), *_stored(lot, clock), *_places(lot, yard),
    ]  # fmt: skip
    return sorted(found, key=lambda flag: (flag.level, -flag.weight))


def _drying(lot: Lot, now: datetime, forecast: DryingForecast | None, clock: Clock | None) -> list[Flag]:
    if lot.stage != Stage.DRYING:
        return []
    found = [] if clock is None else _window(forecast, clock)
    since = _hours(max(filter(None, (lot.spread_at, lot.known_at)), default=None), now) / 24.0
    if since >= UNREAD_DAYS:
        words = (
            say("no reading for {since:.0f} days", since=since)
            if lot.known_at
            else say("never read, {since:.0f} days", since=since)
        )
        found.append(Flag(Level.LOOK, words, kind="unread"))
    middle = forecast.dry_on()[1] if forecast else None
    if middle is not None and middle < now - timedelta(hours=3):
        found.append(Flag(Level.LOOK, "its date has passed: read it", kind="late"))
    return found


def _window(forecast: DryingForecast | None, clock: Clock) -> list[Flag]:
    """The mould window: what has passed, and what the forecast adds."""
    amber, red = window_days()
    days, whole = clock.told_h / 24.0, clock.whole_h / 24.0
    if days >= red:
        words = say("mould window: {days:.0f} days so far, outside both rules", days=days)
        return [Flag(Level.DANGER, words, HOLD, days, "window")]
    if forecast is not None and whole >= red and forecast.undried <= 0.5:
        words = say("mould window: {whole:.0f} days by the forecast, outside both rules", whole=whole)
        return [Flag(Level.DANGER, words, FASTER, whole / 10, "window")]
    if days >= amber:
        words = say("mould window: {days:.0f} days so far, inside the longer rule only", days=days)
        return [Flag(Level.DANGER, words, FASTER, days, "longer")]
    if whole >= amber:
        return [
            Flag(
                Level.LOOK,
                say("mould window: {whole:.0f} days by the forecast, inside the longer rule", whole=whole),
                kind="longer",
            )
        ]
    if forecast is not None and forecast.undried > 0.5:
        return [Flag(Level.DANGER, "not dry within the forecast", FASTER, 1.0, "undried")]
    return []


def _waiting(lot: Lot, now: datetime) -> list[Flag]:
    """Wet coffee that stands between two steps, and fermentation past its hours."""
    since = lot.moved_at
    if lot.stage == Stage.GATHERING or since is None:
        first = lot.deliveries.filter(undone=False).order_by("happened_at").first()
        since = first.happened_at if first else since
    hours = _hours(since, now)
    if lot.stage == Stage.FERMENTING and hours > TANK_H:
        words = say("in the tank for {hours:.0f} h (Codex: 12 to 36 h)", hours=hours)
        return [Flag(Level.DANGER, words, "wash it now", hours / 24, "waits")]
    if stage(lot.stage).waits and hours > WAIT_H:
        level = Level.DANGER if hours > 2 * WAIT_H else Level.LOOK
        return [Flag(level, say("waits wet for {hours:.0f} h", hours=hours), "", hours / 24, "waits")]
    return []


def _stored(lot: Lot, clock: Clock | None) -> list[Flag]:
    if not stage(lot.stage).dry:
        return []
    found = past_window(clock.told_h) if clock is not None else []
    if lot.known_wb is None:
        found.append(Flag(Level.LOOK, "stored unread", "read it", kind="unread"))
    elif lot.known_wb > TOO_WET:
        words = say("stored at {known_wb:.1f} % wb, outside the rule of 12.5 %", known_wb=100 * lot.known_wb)
        found.append(
            Flag(Level.DANGER, words, "spread it again or sell it as wet", 100 * lot.known_wb, "wet")
        )
    return found


def held_back(lot: Lot, flags: list[Flag]) -> Flag | None:
    """The danger for which a dry lot is held instead of going on, if there is one."""
    if not stage(lot.stage).dry:
        return None
    return next((f for f in flags if f.level == Level.DANGER and f.kind == "window" and f.todo), None)


def past_window(window_h: float) -> list[Flag]:
    """What a lot brought along of its drying: days in the mould window do not go away in a bag."""
    found = passed(window_h)
    if found is None:
        return []
    level = Level.DANGER if found.danger else Level.LOOK
    return [Flag(level, found.words, found.todo, found.days, "window" if found.danger else "longer")]


def _places(lot: Lot, yard: Yard) -> list[Flag]:
    spot = yard.over(lot.code)
    return (
        [
            Flag(
                Level.LOOK,
                say("{name} is over-full: {share:.0f} %", name=spot.name, share=spot.share),
                kind="full",
            )
        ]
        if spot
        else []
    )


def offered(lot: Lot, station: Station) -> list[Step]:
    """Steps that can follow and can succeed here, the one that is due first."""
    state = shape_of(lot)
    return [s for s in next_steps(lot, target_wb(lot, station)) if s.can(state, station)]


def due(lot: Lot, station: Station, now: datetime, passed: bool = False) -> str:
    """Kind of the step a lot waits for now: one of its steps, or "read"; empty when its way ends.

    `passed` says that the day its forecast named is over. A tank is tested first while its last test
    was not rough, or where nobody tested it in its first twelve hours.

    A drying lot is read when it was not read today; else it is covered or raked by the station's own
    hours; it is bagged only on a fresh reading at or below its target.
    """
    steps = [s.kind for s in offered(lot, station)]
    if lot.stage == Stage.FERMENTING and "test" in steps and not_ready(lot, now):
        return "test"
    if not steps or lot.stage != Stage.DRYING:
        return steps[0] if steps else ""
    known = lot.known_wb
    stale = _hours(max(filter(None, (lot.spread_at, lot.known_at)), default=None), now) > FRESH_H
    if known is not None and known <= target_wb(lot, station):
        return "read" if stale else "bag"
    if stale or (passed and _hours(lot.known_at, now) > 3.0):
        return "read"
    return _by_the_clock(lot, station, now, steps)


def _by_the_clock(lot: Lot, station: Station, now: datetime, steps: list[str]) -> str:
    habits = habits_of(lot, station)
    local = now.astimezone(station.place.site().zone)
    hour = local.hour + local.minute / 60.0
    log = lot.happenings.filter(undone=False, kind__in=("cover", "uncover")).order_by("-happened_at").first()
    covered = log is not None and log.kind == "cover"
    if habits is not None and habits.cover_from_h is not None and "cover" in steps:
        night = hour >= habits.cover_from_h - 0.5 or hour < habits.cover_until_h
        if night and not covered:
            return "cover"
        if not night and covered:
            return "uncover"
    return "rake" if "rake" in steps else "read"


def not_ready(lot: Lot, at: datetime) -> str:
    """Why a tank does not look ready to be washed; empty where it does or its hours are full."""
    tests = lot.happenings.filter(undone=False, kind="test", happened_at__lte=at).order_by("-happened_at")
    last = tests.first()
    return tank_not_ready(lot.moved_at, felt_of(last.details) if last is not None else "", at)
