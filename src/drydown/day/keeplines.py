"""Lines of lots in store that drift or sweat."""

from __future__ import annotations

from drydown.day.line import Act, Line, Rank, day_key
from drydown.day.now import DayNow, LotNow
from drydown.outlook.keeping import Kept
from drydown.way.keep import CODEX, TOO_WET
from drydown.words import say

__all__ = ["keep_lines"]

SOON_DAYS = 14
"""A lot that leaves the rule within so many days is told (own choice)."""


def keep_lines(day: DayNow) -> list[Line]:
    """Lots that leave the rule where they lie, and sealed ones whose cover sweats."""
    lots = [(x, x.kept) for x in day.lots if x.kept is not None]
    return [*_drifts(day, lots), *_sweats(day, lots)]


def _drifts(day: DayNow, lots: list[tuple[LotNow, Kept]]) -> list[Line]:
    found = [(x, k) for x, k in lots if k.leaves_day is not None and k.leaves_day <= SOON_DAYS]
    if not found:
        return []
    codes = [x.code for x, _k in found]
    first = min(k.leaves_day or 0 for _x, k in found)
    return [
        Line(
            day_key("drift", day.now, codes), "drift", Rank.DUE,
            say("Move or seal {c}", c=", ".join(codes[:4])), "Seen to",
            say(
                "In {d} days and less the store's air takes {n} lots above {r:g} %. A drier store, or a "
                "sealed bag while they are inside the rule, stops it.", d=first, n=len(codes),
                r=100 * TOO_WET,
            ), tuple(codes), None, None, "", None,
            (
                *(f"{x.code}: {_path(k)}" for x, k in found[:6]), f"{found[0][1].then.rule}",
                f"[{CODEX.text}]",
            ), Act("", tuple(codes)), "", "due", (24, 72),
        )
    ]  # fmt: skip


def _path(kept: Kept) -> str:
    then = kept.then
    return say(
        "{m}, {bag}; in 30 days {low:.1f} to {high:.1f} %", m=then.inputs["last read"], bag=kept.bag.name,
        low=then.low, high=then.high,
    )  # fmt: skip


def _sweats(day: DayNow, lots: list[tuple[LotNow, Kept]]) -> list[Line]:
    found = [(x, k) for x, k in lots if k.sweats and k.sweats_c is not None]
    if not found:
        return []
    codes = [x.code for x, _k in found]
    warmest = max(k.sweats_c.value for _x, k in found if k.sweats_c is not None)
    coldest = min(k.coldest_c for _x, k in found)
    return [
        Line(
            day_key("sweat", day.now, codes), "sweat", Rank.LATER,
            say("Keep cold from sealed lots {c}", c=", ".join(codes[:4])), "Seen to",
            say(
                "Air in them drops water on anything below {t:.0f} C; one night in ten is colder than "
                "{c:.0f} C. Keep them off walls and roof, under an open cover.", t=warmest, c=coldest,
            ), tuple(codes), None, None, "", None,
            (
                *(f"{x.code}: {k.sweats_c.value:.1f} C, {k.sweats_c.rule}" for x, k in found[:6]
                  if k.sweats_c),
                say("nights outside, of the station's own air for the coming month"),
            ), Act("", tuple(codes)), "", "due", (24, 168),
        )
    ]  # fmt: skip
