"""Which published limits a lot is inside of. Never "safe"."""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from drydown.errors import RangeError
from drydown.figures import Figure, Source, Status
from drydown.matter.bases import db_from_wb
from drydown.matter.sorption import erh, fit_note
from drydown.steps.dry.data import form as form_row
from drydown.steps.dry.data import isotherm_of
from drydown.words import say, sentence

__all__ = [
    "RuleCheck",
    "chance_above",
    "check_rules",
    "ends_in_window",
    "window_days",
    "window_levels",
    "window_state",
]

UNKNOWN_STORE_C = (20.0, 30.0)
"""Lowest and highest temperature looked at where a store's own is not stated, C (own choice)."""
UNFITTED_AW = 0.05
"""Water activity either side of a limit in which an isotherm of another species or form decides nothing
(own estimate)."""
DRY_WB = 0.14
"""Water activity 0.80 at 25 C by the isotherm is 14.1 % wb: at or below this is out of the window."""


@dataclass(frozen=True, slots=True)
class RuleCheck:
    """One published limit and whether the lot is inside of it (None: cannot be told)."""

    text: str
    inside: bool | None
    why: str
    source: Source

    def words(self) -> str:
        """A sentence for the reader."""
        state = {True: "inside the rule", False: "outside the rule", None: "cannot be told for"}
        return say(
            "{state}: {rule} ({why})", state=say(state[self.inside]), rule=sentence(self.text), why=self.why
        )


@cache
def _load(name: str) -> dict[str, Any]:
    return tomllib.loads((files("drydown.outlook") / name).read_text(encoding="utf-8"))


def _source(row: dict[str, Any]) -> Source:
    return Source(row["source"], Status(row["status"]))


def check_rules(
    moisture_wb: float, store_c: float | tuple[float, float] | None, form: str, species: str
) -> list[RuleCheck]:
    """Every rule that applies to a form, with the lot's state against it.

    Args: moisture_wb [fraction]; store_c [C], the temperature it will be kept at, as one figure or
    as lowest and highest; None where the store's temperature is not known: then 20 to 30 C is
    looked at and said; form; species.
    Returns: list of `RuleCheck`; inside only where the whole range is inside.
    Valid range: moisture 0 to below 1. Source: `rules.toml`, each row with its own.
    """
    table, as_form = _load("rules.toml"), form_row(form).rules_as
    shown = f"{moisture_wb * 100:.1f} % wb"
    found = [
        RuleCheck(row["text"], moisture_wb <= row["max_wb"], shown, _source(row))
        for row in table["moisture"]
        if as_form in row["forms"]
    ]
    return found + [_by_water(row, moisture_wb, store_c, form, species) for row in table["water_activity"]]


def _by_water(
    row: dict[str, Any], moisture_wb: float, store_c: float | tuple[float, float] | None, form: str,
    species: str,
) -> RuleCheck:  # fmt: skip
    """A rule on water activity, which rises with the store's temperature."""
    ends = UNKNOWN_STORE_C if store_c is None else store_c if isinstance(store_c, tuple) else (store_c,) * 2
    try:
        low, high = (float(erh(end, db_from_wb(moisture_wb))) for end in ends)
    except RangeError:
        return RuleCheck(row["text"], None, "outside the isotherm", _source(row))
    note = fit_note(species, isotherm_of(form))
    at = f"{ends[0]:g} C" if ends[0] == ends[1] else f"{ends[0]:g} to {ends[1]:g} C"
    about = f"{high:.3f}" if low == high else f"{low:.3f} to {high:.3f}"
    unknown = "; the store's temperature is not stated" if store_c is None else ""
    why = f"about {about} at {at}{unknown}" + (f"; {note}" if note else "")
    most = row["max_aw"]
    margin = UNFITTED_AW if note else 0.0
    inside = True if high <= most - margin else False if low > most + margin else None
    span = _half_a_point(moisture_wb, ends)
    why += (
        say("; a reading half a point off: {value:.3f} to {value_2:.3f}", value=span[0], value_2=span[1])
        if span
        else ""
    )
    return RuleCheck(row["text"], inside, why, _source(row))


def _half_a_point(moisture_wb: float, ends: tuple[float, ...]) -> tuple[float, float] | None:
    """Water activity half a point of moisture below and above, where the isotherm reaches."""
    try:
        low = float(erh(ends[0], db_from_wb(moisture_wb - 0.005)))
        return low, float(erh(ends[1], db_from_wb(moisture_wb + 0.005)))
    except RangeError:
        return None


def ends_in_window(moisture_wb: float) -> bool:
    """Whether a lot that stops at a moisture may still stand at water activity 0.80 or above.

    Args: moisture_wb [fraction]. Returns: true or false, by the warm end of 20 to 30 C, on the
    careful side; true where the isotherm does not reach. Valid range: 0 to below 1.
    Source: `rules.toml`, window; the isotherm of `matter.sorption`.
    """
    low = float(_load("rules.toml")["window"]["low_aw"])
    try:
        return float(erh(UNKNOWN_STORE_C[1], db_from_wb(moisture_wb))) >= low
    except RangeError:
        return moisture_wb > DRY_WB


def window_state(
    hours: float, late_hours: float, very_wet_h: float = 0.0, undried: float = 0.0, end_wb: float = 0.0,
    unknown_before: bool = False,
) -> tuple[str, Source]:  # fmt: skip
    """Words for the time a lot's surface spends in the mould window.

    Args: hours, late_hours [h] with a surface between water activity 0.80 and 0.95: the
    middle of the ensemble, and one future in ten; very_wet_h [h] above 0.95; undried, the
    share of futures in which the lot is never dry; end_wb [fraction], where the run ends;
    unknown_before, whether the lot was wet before the run without anybody saying how long.
    Returns: words and source. Valid range: 0 or more. Source: `rules.toml`, window.
    """
    row = _load("rules.toml")["window"]
    if undried > 0.5:
        words = "cannot be told: the lot is not dry within the forecast"
    elif ends_in_window(end_wb):
        words = say(
            "cannot be told: the run ends at {end_wb:.1f} % wb, where the water activity may "
            "still be {low_aw:.2f} or more, so the time in the window goes on; {hours:.0f} h so "
            "far (middle)",
            end_wb=end_wb * 100,
            low_aw=row["low_aw"],
            hours=hours,
        )
    else:
        told = say(
            "middle {hours:.0f} h: {against}; one future in ten {late_hours:.0f} h: ",
            hours=hours,
            against=_against(hours, row),
            late_hours=late_hours,
        )
        words = told + _against(late_hours, row)
        if unknown_before and hours < 24.0 * row["red_days"]:
            words = say(
                "cannot be told in all: hours before this run are not stated; from here on middle "
                "{hours:.0f} h, one future in ten {late_hours:.0f} h",
                hours=hours,
                late_hours=late_hours,
            )
    if very_wet_h >= 24.0 * row["amber_days"]:
        words += say(
            "; before that {very_wet_h:.0f} h above {high_aw:g}, which these rules do not count: "
            "yeasts and other moulds grow there, so dry the surface sooner",
            very_wet_h=very_wet_h,
            high_aw=row["high_aw"],
        )
    return words, _source(row)


def window_days() -> tuple[float, float]:
    """The two published limits of days in the mould window, the shorter first [d].

    Args: none. Returns: days. Valid range: as published. Source: `rules.toml`, window.
    """
    row = _load("rules.toml")["window"]
    return float(row["amber_days"]), float(row["red_days"])


def window_levels() -> tuple[float, float]:
    """Water activities between which the mould window's days count.

    Args: none. Returns: lower and upper [fraction]. Valid range: as published. Source: `rules.toml`, window.
    """
    row = _load("rules.toml")["window"]
    return float(row["low_aw"]), float(row["high_aw"])


def _against(hours: float, row: dict[str, Any]) -> str:
    days, amber, red = hours / 24.0, row["amber_days"], row["red_days"]
    if days >= red:
        return say("past {red:g} days, outside both rules", red=red)
    if days >= amber:
        return say("past {amber:g} days, inside the longer rule only", amber=amber)
    return say("inside both rules ({amber:g} and {red:g} days)", amber=amber, red=red)


def chance_above(window: Figure, limit_h: float) -> float:
    """Chance that hours in the mould window are above a limit, from P10, P50 and P90 as a normal."""
    spread = max((window.high - window.low) / 2.56, 1.0)
    return 1.0 / (1.0 + math.exp(-1.7 * (window.value - limit_h) / spread))
