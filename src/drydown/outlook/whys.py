"""Why an outlook says what it says now: what the readings moved, in words."""

from __future__ import annotations

from datetime import datetime, timedelta

from drydown.outlook.corrected import MOST_MISFIT, Corrected
from drydown.words import say

__all__ = ["whys"]

WORTH_DAYS = 0.5
OFF_POINTS = 0.3
DAY = timedelta(days=1)


def whys(now: Corrected, first: Corrected | None, lots: int = 0) -> tuple[str, ...]:
    """Sentences on why the date and its band are what they are.

    Args: now, the outlook; first, what was said at spreading, where that is known; lots, how many of the
    station's own lots its draws were learnt from.
    """
    found = []
    if first is not None and now.told:
        found += _moved(now, first)
    for name, bias in now.biases:
        if abs(bias.value) >= OFF_POINTS and (bias.low > 0.0 or bias.high < 0.0):
            how = say("high") if bias.value > 0 else say("low")
            found.append(
                say(
                    "{name} reads about {b:.1f} points {how} ({low:.1f} to {high:.1f}), and is taken so",
                    name=name, b=abs(bias.value), how=how, low=min(abs(bias.low), abs(bias.high)),
                    high=max(abs(bias.low), abs(bias.high)),
                )
            )  # fmt: skip
    if now.misfit > MOST_MISFIT:
        found.append(
            say(
                "no run of the model follows these readings: check load, place and log; hours in the "
                "mould window are counted by the readings alone"
            )
        )
    if not now.apart:
        found.append(
            say(
                "read by meter alone: what the meter reads off and how quickly this lot dries cannot be "
                "told apart, and "
                "the band keeps both; an oven or a weighed sample tray would tell"
            )
        )
    if lots:
        found.append(say("drawn from what {lots} of your own lots taught", lots=lots))
    return tuple(found)


def _moved(now: Corrected, first: Corrected) -> list[str]:
    """How the date and its band moved since spreading."""
    found: list[str] = []
    (a0, m0, b0), (a1, m1, b1) = first.forecast.dry_on(), now.forecast.dry_on()
    if m0 is not None and m1 is not None and abs((m1 - m0) / DAY) >= WORTH_DAYS:
        later = m1 > m0
        found.append(
            say(
                "{d:.1f} days {how} than was said at spreading, by {n} readings", d=abs((m1 - m0) / DAY),
                how=say("later") if later else say("sooner"), n=len(now.told),
            )
        )  # fmt: skip
    was, is_now = _width(a0, b0), _width(a1, b1)
    if was is not None and is_now is not None and was > is_now:
        found.append(
            say("early to late was {was:.1f} days at spreading and is {now:.1f} now", was=was, now=is_now)
        )
    return found


def _width(early: datetime | None, late: datetime | None) -> float | None:
    return (late - early) / DAY if early is not None and late is not None else None
