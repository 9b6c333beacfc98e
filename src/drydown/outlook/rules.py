"""Which published limits a lot is inside of, and the usual cautions. Never "safe"."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from drydown.errors import RangeError
from drydown.figures import Source, Status
from drydown.matter.bases import db_from_wb
from drydown.matter.sorption import erh, fit_note

__all__ = ["Caution", "RuleCheck", "cautions", "check_rules", "window_state"]


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
        return f"{state[self.inside]}: {self.text} ({self.why})"


@dataclass(frozen=True, slots=True)
class Caution:
    """A usual caution with its source."""

    text: str
    source: Source


@cache
def _load(name: str) -> dict[str, Any]:
    return tomllib.loads((files("drydown.outlook") / name).read_text(encoding="utf-8"))


def _source(row: dict[str, Any]) -> Source:
    return Source(row["source"], Status(row["status"]))


def cautions(*topics: str) -> tuple[Caution, ...]:
    """The cautions for topics, in order. Local codes and licensed practice come first."""
    table = _load("cautions.toml")
    return tuple(Caution(table[t]["text"], _source(table[t])) for t in topics)


def check_rules(moisture_wb: float, store_c: float, form: str, species: str) -> list[RuleCheck]:
    """Every rule that applies to a form, with the lot's state against it.

    Args: moisture_wb [fraction]; store_c [C] temperature it will be kept at; form; species.
    Returns: list of `RuleCheck`.
    Valid range: moisture 0 to below 1. Source: `rules.toml`, each row with its own.
    """
    table = _load("rules.toml")
    shown = f"{moisture_wb * 100:.1f} % wb"
    found = [
        RuleCheck(row["text"], moisture_wb <= row["max_wb"], shown, _source(row))
        for row in table["moisture"]
        if form in row["forms"]
    ]
    for row in table["water_activity"]:
        try:
            aw = float(erh(store_c, db_from_wb(moisture_wb)))
        except RangeError:
            found.append(RuleCheck(row["text"], None, "outside the isotherm", _source(row)))
            continue
        note = fit_note(species, "washed" if form == "parchment" else form)
        why = f"about {aw:.2f} at {store_c:.0f} C" + (f"; {note}" if note else "")
        found.append(RuleCheck(row["text"], aw <= row["max_aw"], why, _source(row)))
    return found


def window_state(
    hours: float, late_hours: float, very_wet_h: float = 0.0, undried: float = 0.0
) -> tuple[str, Source]:
    """Words for the time a lot's surface spends in the mould window.

    Args: hours, late_hours [h] with a surface between water activity 0.80 and 0.95: the
    middle of the ensemble, and one future in ten; very_wet_h [h] above 0.95; undried, the
    share of futures in which the lot is never dry.
    Returns: words and source. Valid range: 0 or more. Source: `rules.toml`, window.
    """
    row = _load("rules.toml")["window"]
    if undried > 0.5:
        words = "cannot be told: the lot is not dry within the forecast"
    else:
        words = f"middle {hours:.0f} h: {_against(hours, row)}; one future in ten {late_hours:.0f} h: "
        words += _against(late_hours, row)
    if very_wet_h >= 24.0 * row["amber_days"]:
        words += (
            f"; before that {very_wet_h:.0f} h above {row['high_aw']:g}, which these rules do not count: "
            "yeasts and other moulds grow there, so dry the surface sooner"
        )
    return words, _source(row)


def _against(hours: float, row: dict[str, Any]) -> str:
    days, amber, red = hours / 24.0, row["amber_days"], row["red_days"]
    if days >= red:
        return f"past {red:g} days, outside both rules"
    if days >= amber:
        return f"past {amber:g} days, inside the longer rule only"
    return f"inside both rules ({amber:g} and {red:g} days)"
