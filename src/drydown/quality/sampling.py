"""How a sample is drawn: bags, increments, trier, portions; each rule with its source."""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from drydown.errors import InputError, RangeError
from drydown.figures import Source, Status
from drydown.words import say

__all__ = ["Drawing", "Trier", "draw_plan", "rule_words", "sampling_rules", "trier"]


@cache
def _data() -> dict[str, Any]:
    text = (files("drydown.quality") / "sampling.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def sampling_rules() -> list[str]:
    """Names of the rules for drawing a sample."""
    return list(_data()["rules"])


def rule_words(rule: str) -> str:
    """A rule in a few words."""
    return str(_rule(rule)["words"])


def _rule(rule: str) -> dict[str, Any]:
    found = _data()["rules"].get(rule)
    if found is None:
        raise InputError(
            say("sampling rule '{rule}' is not known.", rule=rule),
            fix=say("One of: {sampling_rules}.", sampling_rules=", ".join(sampling_rules())),
        )
    return dict(found)


@dataclass(frozen=True, slots=True)
class Trier:
    """A sampling spear: what its sizes must lie within, mm."""

    words: str
    sizes: dict[str, str]
    source: Source
    note: str


@dataclass(frozen=True, slots=True)
class Drawing:
    """What to draw from a lot."""

    rule: str
    words: str
    bags_in_lot: int
    bags: int
    increments: int
    increment_g: int
    bulk_g: int
    portions: tuple[tuple[str, int], ...]
    remarks: tuple[str, ...]
    source: Source


def trier(form: str) -> Trier:
    """The trier for green or parchment coffee.

    Args: form, `green` or `parchment`. Returns: `Trier`, sizes in mm. Valid range: the two forms;
    whole cherry has no trier of its own in the standard. Source: ISO 6666:2011.
    """
    found = _data()["triers"].get(form)
    if found is None:
        raise InputError(say("there is no trier for '{form}'.", form=form), fix="green or parchment.")
    names = {
        "inner_mm": "inner diameter",
        "groove_mm": "groove",
        "tip_mm": "solid tip",
        "handle_mm": "handle",
    }
    sizes = {words: f"{found[k][0]} to {found[k][1]} mm" for k, words in names.items() if k in found}
    sizes["length"] = say("{length_least_mm} mm or more", length_least_mm=found["length_least_mm"])
    said = _data()["trier_source"]
    return Trier(found["words"], sizes, Source(said["text"], Status(said["status"])), said["note"])


def _bags(rule: dict[str, Any], bags_in_lot: int) -> int:
    """Bags to open: a share of the lot, at least some, never more than there are."""
    if "increments" in rule:
        return min(bags_in_lot, int(rule["increments"]))
    share = math.ceil(bags_in_lot * int(rule["draw_percent"]) / 100)
    return min(bags_in_lot, max(share, int(rule["draw_least"])))


def _increments(rule: dict[str, Any], bags: int) -> int:
    return max(bags, int(rule.get("increments", 0)), int(rule.get("least_cores", 0)))


def draw_plan(bags_in_lot: int, rule: str) -> Drawing:
    """How many bags to open, how much to take of each, and how to part it.

    Equation: bags = max(share x lot, least), not over the lot; each increment is such that all
    together make the bulk sample, within the rule's own increment where it has one.
    Args: bags_in_lot [-]; rule, one of `sampling_rules()`. Returns: `Drawing`, grams.
    Valid range: 1 to 100 000 bags. Source: that of the rule, in `source`.
    """
    if not 1 <= bags_in_lot <= 100_000:
        raise RangeError(
            say("a lot has 1 to 100 000 bags, not {bags_in_lot}.", bags_in_lot=bags_in_lot), "bags"
        )
    found = _rule(rule)
    bags = _bags(found, bags_in_lot)
    increments = _increments(found, bags)
    low, high = found.get("increment_g", (1, 10**6))
    wanted = math.ceil(found["bulk_least_g"] / increments)
    each = max(low, wanted)
    remarks = [found["note"]] if "note" in found else []
    if each > high:
        increments = math.ceil(found["bulk_least_g"] / high)
        each = high
        remarks.append(
            say(
                "{bags} bags give too little at {high} g each: take {increments} increments, more "
                "than one from some bags.",
                bags=bags,
                high=high,
                increments=increments,
            )
        )
    if bags_in_lot < found.get("least_bags", 1):
        remarks.append(
            say(
                "The standard speaks of consignments of {least_bags} bags or more; all {bags_in_lot} "
                "are opened here.",
                least_bags=found["least_bags"],
                bags_in_lot=bags_in_lot,
            )
        )
    parts = math.ceil(bags_in_lot / found["most_bags_in_lot"]) if "most_bags_in_lot" in found else 1
    if parts > 1:
        remarks.append(
            say(
                "A lot is at most {most_bags_in_lot} bags: part it into {parts} lots, draw from each.",
                most_bags_in_lot=found["most_bags_in_lot"],
                parts=parts,
            )
        )
    return Drawing(
        rule, found["words"], bags_in_lot, bags, increments, each, increments * each,
        tuple((name, int(mass)) for name, mass in found["portions"]), tuple(remarks),
        Source(found["source"], Status(found["status"])),
    )  # fmt: skip
