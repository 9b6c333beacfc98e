"""Screen numbers to millimetres by table, and what a stack of sieves says of a sample."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from drydown.errors import InputError
from drydown.quality.intervals import share_interval
from drydown.words import say

__all__ = [
    "ShareAbove", "hole_mm", "known_screens", "mean_bean_g", "renumbered", "retained_bounds",
    "retained_percent", "share_above", "sheet_shares", "stack_of", "tables",
]  # fmt: skip

SAME_MM = 0.1
"""Holes nearer than this are one sieve under two numbers."""


@cache
def _data() -> dict[str, Any]:
    text = (files("drydown.quality") / "screens.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def tables() -> list[str]:
    """Names of the screen tables: `iso` and those of origins."""
    return ["iso", *_data()["other"]]


def _holes(table: str) -> dict[str, Any]:
    """Rows of a screen table; unknown tables are refused with the list."""
    if table not in tables():
        raise InputError(
            say("screen table '{table}' is not known.", table=table),
            fix=say("One of: {tables}.", tables=", ".join(tables())),
        )
    return dict(_data()["holes"] if table == "iso" else _data()["other"][table])


def hole_mm(number: str, table: str = "iso") -> float:
    """Nominal hole of a round sieve.

    Args: number, such as "16" or "12.5"; table, one of `tables()`. Returns: [mm].
    Valid range: the numbers of the table; others are refused, since tables disagree (12½ and 13
    both stand for 5.00 mm, and one origin's 16 is 6.5 mm). Source: ISO 4150:2011, table A.1;
    origins' tables as in screens.toml.
    """
    holes = _holes(table)
    found = holes.get(number.replace("½", ".5"))
    if not isinstance(found, float):
        known = ", ".join(k for k in holes if k != "source")
        raise InputError(
            say("'{number}' is not a screen of the {table} table.", number=number, table=table),
            "screens",
            say("It has: {known}.", known=known),
        )
    return found


def stack_of(table: str = "iso", numbers: Sequence[str] = ()) -> list[tuple[str, float]]:
    """A stack of sieves, the coarsest first.

    Args: table, one of `tables()`; numbers wanted, all of the table when empty.
    Returns: (number, hole [mm]). Valid range and source: as `hole_mm`.
    """
    wanted = list(numbers) or [k for k in _holes(table) if k not in {"source", "status"}]
    return sorted(((n, hole_mm(n, table)) for n in wanted), key=lambda row: -row[1])


def _order(screen: str) -> float:
    if screen == "pan":
        return -1.0
    try:
        return float(screen.replace("½", ".5"))
    except ValueError as error:
        raise InputError(
            say("'{screen}' is not a screen number.", screen=screen), "screens", "Write numbers and pan."
        ) from error


def known_screens(screens_g: Mapping[str, float], table: str) -> None:
    """Refuse screens that the table does not have; slots are named by their width in millimetres."""
    holes = [_slot_mm(n) if table == "slots" else hole_mm(n, table) for n in screens_g if n != "pan"]
    if len(set(holes)) < len(holes):
        raise InputError("one sieve stands twice.", "screens", "Add its masses up.")
    if "pan" not in screens_g:
        raise InputError(
            "the pan is missing.", "screens", "Weigh what fell through all; write 0 for nothing."
        )


def _slot_mm(number: str) -> float:
    width = _order(number)
    if not 2.0 <= width <= 10.0:
        raise InputError(say("slot '{number}' is not a width of 2 to 10 mm.", number=number), "screens")
    return width


def renumbered(screens_g: Mapping[str, float], table: str, wanted: str) -> dict[str, float]:
    """The same sieving by the numbers of another table, where holes are the same within 0.1 mm.

    What lies on a sieve that the other table does not have counts with the next finer one: shares
    on the sieves that are in both stay true. Args: screens_g [g]; table it was typed by; wanted.
    Returns: mass by the wanted table's numbers. Valid range: tables of `tables()`.
    Source: ISO 4150 tolerances are 0.05 to 0.09 mm.
    """
    if table == wanted:
        return dict(screens_g)
    others = stack_of(wanted)
    found: dict[str, float] = {}
    carried = 0.0
    for number in sorted(screens_g, key=_order, reverse=True):
        mass = carried + screens_g[number]
        hole = 0.0 if number == "pan" else hole_mm(number, table)
        same = "pan" if number == "pan" else next((n for n, mm in others if abs(mm - hole) <= SAME_MM), "")
        if same:
            found[same], carried = mass, 0.0
        else:
            carried = mass
    return found


def retained_percent(screens_g: Mapping[str, float], number: str) -> float:
    """Percent of the mass that lies on a screen and all coarser ones.

    Args: screens_g, mass by screen number and "pan" [g]; number, a screen of the stack.
    Returns: [% m/m]. Valid range: the screen must be in the stack, else nothing is known at it.
    Source: definition, ISO 4150.
    """
    if number not in screens_g:
        stack = ", ".join(sorted(screens_g, key=_order, reverse=True))
        raise InputError(
            say("screen {number} was not in the stack ({stack}).", number=number, stack=stack), "screens"
        )
    total = sum(screens_g.values())
    above = sum(mass for name, mass in screens_g.items() if _order(name) >= _order(number))
    return 100.0 * above / total if total else 0.0


def retained_bounds(screens_g: Mapping[str, float], number: str) -> tuple[float, float]:
    """Lowest and highest share of the mass that can lie on a screen and all coarser ones.

    Equation: on a screen that was not in the stack lies at least what lies on the next coarser one
    (it would stay on the finer one too) and at most what lies on the next finer one.
    Args: screens_g, mass by screen number and "pan" [g]; number, any screen of the same table.
    Returns: (low, high) [% m/m], alike for a screen of the stack; (0, 100) where nothing was sieved.
    Valid range: one table of numbers. Source: definition of sieving.
    """
    if number in screens_g:
        share = retained_percent(screens_g, number)
        return share, share
    at = _order(number)
    coarser = [n for n in screens_g if _order(n) > at]
    finer = [n for n in screens_g if 0.0 <= _order(n) < at]
    low = retained_percent(screens_g, min(coarser, key=_order)) if coarser else 0.0
    high = retained_percent(screens_g, max(finer, key=_order)) if finer else 100.0
    return low, high


def mean_bean_g(mass_100_g: float) -> float:
    """Mass of one bean from the mass of a hundred.

    Args: mass_100_g [g]. Returns: [g]. Valid range: 5 to 60 g per hundred. Source: definition.
    """
    if not 5.0 <= mass_100_g <= 60.0:
        raise InputError(
            say("100 beans weigh 5 to 60 g, not {mass_100_g:g} g.", mass_100_g=mass_100_g),
            "mass of 100 beans",
        )
    return mass_100_g / 100.0


@dataclass(frozen=True, slots=True)
class ShareAbove:
    """A share of beans with its 95 % interval."""

    share: float
    low: float
    high: float
    beans: int


def share_above(percent: float, sample_g: float, bean_g: float) -> ShareAbove:
    """A share by mass with the interval that the number of beans allows.

    Equation: Clopper-Pearson 95 % for k = share x n beans, n = sample / mass of a bean.
    Args: percent [% m/m]; sample_g [g]; bean_g [g]. Returns: `ShareAbove`, fractions.
    Valid range: 0 to 100 %; beans of like mass. It is the least error: dividing the sample and
    sieving add theirs. Source: Clopper and Pearson 1934.
    """
    beans = max(1, round(sample_g / bean_g))
    k = round(percent / 100.0 * beans)
    low, high = share_interval(k, beans)
    return ShareAbove(percent / 100.0, low, high, beans)


def sheet_shares(
    screens_g: Mapping[str, float], sample_g: float, bean_g: float
) -> list[tuple[str, float, ShareAbove]]:
    """By screen, the coarsest first: number, percent held, share on it and above with its interval.

    Args: screens_g, mass by screen and "pan" [g]; sample_g [g]; bean_g [g]. Returns: rows.
    Valid range and source: as `share_above`.
    """
    total = sum(screens_g.values())
    rows = []
    for number in sorted(screens_g, key=_order, reverse=True):
        above = retained_percent(screens_g, number)
        held = 100.0 * screens_g[number] / total if total else 0.0
        rows.append((number, held, share_above(min(above, 100.0), sample_g, bean_g)))
    return rows
