"""The station's description in short pages: what each asks, and what is known of it so far."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from drydown.desk.setupfields import MACHINES, Section, all_fields
from drydown.desk.setupnames import form_titles

__all__ = ["ALL", "PAGES", "Step", "keys_of", "merged", "own_sections", "steps_of"]

ALL = "all"
PAGES: dict[str, tuple[str, str]] = {
    "place": (gettext_noop("Place"), gettext_noop("Where is it?")),
    "crop": (gettext_noop("Crop and price"), gettext_noop("What do you take in, and what do you pay?")),
    "places": (gettext_noop("Places to dry"), gettext_noop("Where does coffee lie, and how large is that?")),
    "climate": (gettext_noop("Climate"), gettext_noop("What is the air like, month by month?")),
    "habits": (gettext_noop("Drying habits"), gettext_noop("How do you dry each form?")),
    "machines": (gettext_noop("Tanks, machines, stores"), gettext_noop("What else stands there?")),
    "terms": (gettext_noop("Terms and measures"), gettext_noop("What is agreed, what have you measured?")),
}
"""Pages in the order they are needed: title and question."""
_TITLES = {
    "Place": "place", "Crop": "crop", "Money": "crop", "Monthly weather": "climate", "Lots": "terms",
    "Measured": "terms",
}  # fmt: skip
_LISTS = {
    "equipment.beds": "places", "equipment.dryers": "places", "equipment.tanks": "machines",
    "equipment.pulpers": "machines", "equipment.stores": "machines", "money.classes": "terms",
    "money.deductions": "terms", "gate.containers": "terms",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Step:
    """A page and how far it is: "known", "asked" where the gate waits for it, "later" else."""

    name: str
    title: str
    state: str
    here: bool


def page_of(section: Section) -> str:
    """The page a group of fields stands on."""
    by_list = {MACHINES[prefix][0]: page for prefix, page in _LISTS.items()}
    if section.title in by_list:
        return by_list[section.title]
    if section.title in {f"Drying: {title}" for title in form_titles().values()}:
        return "habits"
    return _TITLES.get(section.title, "terms")


def own_sections(found: Iterable[Section], page: str) -> list[Section]:
    """The groups of one page; all of them where all are asked for."""
    return [s for s in found if page == ALL or page_of(s) == page]


def keys_of(found: Iterable[Section]) -> set[str]:
    """Keys of every field of some groups."""
    return {f.key for s in found for f in all_fields(s)}


def merged(
    base: dict[str, str], posted: dict[str, str], found: Iterable[Section], page: str
) -> dict[str, str]:
    """What was known, with one page of it as it was just typed."""
    if page == ALL:
        return posted
    mine = keys_of(own_sections(found, page))
    return {k: v for k, v in base.items() if k not in mine} | {k: v for k, v in posted.items() if k in mine}


def steps_of(
    found: list[Section], problems: dict[str, str], page: str, lists: dict[str, list[str]]
) -> list[Step]:
    """Every page with its state: what the gate still waits for comes by its mistakes."""
    steps = []
    for name, (title, _question) in PAGES.items():
        own = own_sections(found, name)
        fields = [f for s in own for f in all_fields(s)]
        waits = any(f.key in problems or f.problem for f in fields) or any(
            _about(key, name) for key in problems
        )
        some = any(f.value for f in fields) or (name == "crop" and any(lists.values()))
        state = "asked" if waits else "known" if some else "later"
        steps.append(Step(name, _(title), state, name == page))
    return steps


def _about(key: str, page: str) -> bool:
    """Whether a problem that has no field of its own is about a page."""
    starts = {
        "place": ("place",), "crop": ("species", "routes", "money.c", "money.d", "money:"),
        "places": ("equipment.beds", "equipment.dryers", "equipment"), "climate": ("weather",),
        "habits": ("drying",),
    }  # fmt: skip
    if page == "crop" and key == "money":
        return True
    others = ("equipment.tanks", "equipment.pulpers", "equipment.stores", "money.classes", "money.deductions")
    return key.startswith(starts.get(page, ("\0",))) and not key.startswith(others)
