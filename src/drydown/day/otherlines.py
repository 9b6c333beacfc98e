"""Lines of the store, the meters, the money and the records."""

from __future__ import annotations

from datetime import timedelta

from drydown.day.line import Act, Line, Rank, lost
from drydown.day.now import DayNow
from drydown.figures import Source, Status
from drydown.way.keep import CODEX, TOO_WET
from drydown.words import say

__all__ = ["other_lines"]

STORE_DAYS, METER_DAYS, OWED_DAYS = 30.0, 30.0, 7.0
"""Days after which stored lots are read again, meters held against an oven, growers paid (own choice)."""
WEEVIL_DAYS, WEEVIL_C = 46, 22.0
WEEVIL_SOURCE = Source(
    "Gallo et al. 2002 (Araecerus fasciculatus), as quoted in a handbook chapter on conilon; 22 C as "
    "quoted with it",
    Status.SECOND_HAND,
)
WET_STORE = Source(
    "a tenth of the worth a week for coffee stored above 12.5 %, own estimate", Status.OWN_ESTIMATE
)


def other_lines(day: DayNow) -> list[Line]:
    """Store, meters, pay, the day's weather, and troubles that were told."""
    return [
        *_troubles(day),
        *_store(day),
        *_unread(day),
        *_weevils(day),
        *_meters(day),
        *_pay(day),
        *_weather(day),
    ]


def _troubles(day: DayNow) -> list[Line]:
    return [
        Line(
            f"trouble:{key}", "trouble", Rank.DUE, words, "Seen",
            say("Readings of it are missing until it is back."),
            act=Act("", ()), mark="due", puts=(3, 24),
        )
        for key, words in day.troubles
    ]  # fmt: skip


def _store(day: DayNow) -> list[Line]:
    found = []
    for x in day.lots:
        known = x.state.known_wb
        if not x.dry or known is None or known <= TOO_WET:
            continue
        loss = lost([(x.worth, 0.007, 0.0, 0.05)], "a tenth of the worth a week, over 12 hours", WET_STORE)
        found.append(
            Line(
                f"wet:{x.code}", "wet", Rank.DANGER, say("Spread {c} again, or sell it as wet", c=x.code),
                "Record it", say("Stored at {m:.1f} % wb: outside the rule of 12.5 %.", m=100 * known),
                (x.code,),
                None, None, "", loss, (f"[{CODEX.text}]",), None, f"lot:{x.code}:respread", "lose", (3, 24),
            )
        )  # fmt: skip
    return found


def _unread(day: DayNow) -> list[Line]:
    old = [
        x for x in day.lots
        if x.dry and x.state.at("store")
        and (x.state.known_at is None or day.now - x.state.known_at > timedelta(days=STORE_DAYS))
    ]  # fmt: skip
    if not old:
        return []
    names = ", ".join(x.code for x in old[:6])
    return [
        Line(
            f"store:{day.now:%Y%W}:{len(old)}", "store", Rank.LATER, say("Read {n} stored lots again",
            n=len(old)),
            "Begin", say("Not read for {d:.0f} days: {names}.", d=STORE_DAYS, names=names),
            tuple(x.code for x in old), None, None, "", None,
            (say("own choice of days; coffee in open bags drifts with the store's air"),), None,
            "round:store", "due",
            (24, 168),
        )
    ]  # fmt: skip


def _weevils(day: DayNow) -> list[Line]:
    """Lots that have stood long enough in a warm store for a weevil's whole cycle."""
    found = []
    for x in day.lots:
        since, store = x.state.moved_at, x.state.at("store")
        span = day.station.store_c(store) if x.dry and store else None
        warm = span is None or span[1] >= WEEVIL_C
        if x.dry and store and since is not None and warm and (day.now - since).days >= WEEVIL_DAYS:
            found.append(x)
    if not found:
        return []
    names = ", ".join(x.code for x in found[:6])
    return [
        Line(
            f"weevil:{day.now:%Y%W}:{len(found)}", "weevil", Rank.LATER,
            say("Look for weevils in {n} stored lots", n=len(found)), "Looked",
            say(
                "{d:.0f} days and more in store at {c:.0f} C or more, or at an unknown temperature: a "
                "coffee weevil's "
                "whole cycle. {names}.", d=WEEVIL_DAYS, c=WEEVIL_C, names=names,
            ), tuple(x.code for x in found), None, None, "", None,
            (
                say("46 to 62 days from egg to adult [{source}]", source=WEEVIL_SOURCE.text),
                say("fumigants kill people too: licensed hands only, local codes first"),
            ), Act("", tuple(x.code for x in found)), "", "due", (24, 168),
        )
    ]  # fmt: skip


def _meters(day: DayNow) -> list[Line]:
    found = []
    for m in day.meters:
        since = m.checked_at or m.first_at
        if m.readings < 10 or day.now - since <= timedelta(days=METER_DAYS):
            continue
        words = (
            say("Last held against an oven on {t:%d %b}.", t=day.local(m.checked_at))
            if m.checked_at
            else say("Never held against an oven here.")
        )
        found.append(
            Line(
                f"meter:{m.name}:{day.now:%Y%W}", "meter", Rank.LATER, say("Check {m} against the oven",
                m=m.name),
                "Checked", say("{n} readings hang on it. {words}", n=m.readings, words=words), (), since,
                None, "",
                None,
                (
                    say("half a point moves each date by about half a day near the end"),
                    say("one oven or weighed-tray reading in every second lot tells a meter from the drying"),
                ), Act("", ()), "", "late", (24, 168),
            )
        )  # fmt: skip
    return found


def _pay(day: DayNow) -> list[Line]:
    if day.owed is None:
        return []
    count, amount, since = day.owed
    if day.now - since < timedelta(days=OWED_DAYS):
        return []
    return [
        Line(
            f"pay:{day.now:%Y%W}", "pay", Rank.LATER, say("Pay {n} growers", n=count), "Open the pay-run",
            say("{amount} is owed, the oldest since {t:%d %b}.", amount=amount, t=day.local(since)), (),
            since, None, "", None,
            (say("deliveries and what was paid, by the books; a week is our own choice"),), None, "pay",
            "soon", (24,),
        )
    ]  # fmt: skip


def _weather(day: DayNow) -> list[Line]:
    """Ask what the day was, where nothing measures it."""
    if day.day_said or day.now.hour < 17:
        return []
    return [
        Line(
            f"weather:{day.now:%Y%m%d}", "weather", Rank.LATER, say("Say what the day was"), "Say it",
            say("Dry, showers, or rain all day: it takes the other futures of today out of every forecast."),
            (), None,
            None, "", None, (say("no logger measures the weather here"),), None, "weather", "due", (12,),
        )
    ]  # fmt: skip
