"""What the address of the yard asks for: which lots, narrowed how, sorted by what."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from django.http import QueryDict
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from drydown.books.lots.watch import FLAG_KINDS, Level
from drydown.desk.marks import Mark, kind_mark
from drydown.desk.yardrows import Row

__all__ = ["SORTS", "Asked", "Choice", "Count", "asked_of", "choices_of", "counts_of"]

SORTS = {
    "danger": gettext_noop("danger, then the soonest dry"), "dry": gettext_noop("the soonest dry"),
    "place": gettext_noop("place"), "moisture": gettext_noop("moisture"),
    "window": gettext_noop("mould window"), "kg": gettext_noop("kilograms"), "lot": gettext_noop("lot"),
}  # fmt: skip
_USUAL = {"show": "way", "sort": "danger"}
_LAST = float("inf")


@dataclass(frozen=True, slots=True)
class Choice:
    """One answer of a menu that narrows the list."""

    value: str
    words: str
    chosen: bool


@dataclass(frozen=True, slots=True)
class Count:
    """How many lots one kind of danger presses."""

    kind: str
    mark: Mark
    lots: int
    todo: str = ""
    """What is usually done about it."""


@dataclass(frozen=True, slots=True)
class Asked:
    """What was asked; an empty word narrows nothing."""

    show: str = "way"
    q: str = ""
    sort: str = "danger"
    place: str = ""
    species: str = ""
    route: str = ""
    danger: str = ""

    @property
    def narrows(self) -> bool:
        """Whether some lots are left out."""
        return bool(self.q or self.place or self.species or self.route or self.danger)

    @property
    def sorted_by(self) -> str:
        """The order in words."""
        return _(SORTS[self.sort])

    def address(self, **other: str) -> str:
        """The address of this page with some of it asked otherwise."""
        told = {name: other.get(name, getattr(self, name)) for name in self.__slots__}
        return "?" + urlencode({k: v for k, v in told.items() if v and v != _USUAL.get(k)})

    @property
    def sorts(self) -> list[tuple[str, str, str, bool]]:
        """Every order: its name, its address, its words, whether it is this one."""
        return [(k, self.address(sort=k), _(words), k == self.sort) for k, words in SORTS.items()]

    def fits(self, row: Row, by_grower: set[str]) -> bool:
        """Whether a lot belongs on the list."""
        said = f"{row.lot.code} {row.lot.species} {row.lot.route_words()} {row.place} {row.lot.stage_words()}"
        return (
            (not self.place or row.place == self.place)
            and (not self.species or row.lot.species == self.species)
            and (not self.route or row.lot.route == self.route)
            and (not self.danger or any(f.kind == self.danger for f in row.flags))
            and (not self.q or self.q.casefold() in said.casefold() or row.lot.code in by_grower)
        )

    def ordered(self, rows: Sequence[Row]) -> list[Row]:
        """Rows in the order that was asked for."""
        return sorted(rows, key=_KEYS[self.sort])


def _when(row: Row) -> float:
    return row.middle.timestamp() if row.middle else _LAST


_KEYS: dict[str, Callable[[Row], tuple[object, ...]]] = {
    "danger": lambda r: (not r.endangered, -r.weight, _when(r), r.lot.code),
    "dry": lambda r: (_when(r), r.lot.code),
    "place": lambda r: (r.place, _when(r), r.lot.code),
    "moisture": lambda r: (-(r.percent if r.percent is not None else 999.0), r.lot.code),
    "window": lambda r: (-(r.window_h or 0.0), r.lot.code),
    "kg": lambda r: (-r.holds_kg, r.lot.code),
    "lot": lambda r: (r.lot.code,),
}


def asked_of(query: QueryDict) -> Asked:
    """What an address asks; what it cannot mean is left out."""
    told = {name: query.get(name, "").strip()[:80] for name in Asked.__slots__}
    if told["sort"] not in SORTS:
        told["sort"] = "danger"
    if told["show"] not in {"way", "stored", "gone"}:
        told["show"] = "way"
    return Asked(**told)


def choices_of(rows: Sequence[Row], asked: Asked) -> list[tuple[str, str, str, list[Choice]]]:
    """Menus that narrow the list: name, label, the answer for all, and those there are, with their number."""
    read: dict[str, tuple[str, str, Callable[[Row], list[tuple[str, str]]]]] = {
        "place": (_("place"), _("all places"), lambda r: [(r.place, r.place)]),
        "species": (_("species"), _("all species"), lambda r: [(r.lot.species, r.lot.species)]),
        "route": (_("route"), _("all routes"), lambda r: [(r.lot.route, r.lot.route_words())]),
        "danger": (
            _("danger"), _("with or without"),
            lambda r: [(k, _(FLAG_KINDS[k])) for k in sorted({f.kind for f in r.flags} & FLAG_KINDS.keys())],
        ),
    }  # fmt: skip
    menus = []
    for name, (label, everything, values) in read.items():
        counted: dict[tuple[str, str], int] = {}
        for pair in (pair for row in rows for pair in values(row) if pair[0]):
            counted[pair] = counted.get(pair, 0) + 1
        chosen = getattr(asked, name)
        menus.append((name, label, everything, [
            Choice(value, f"{words} ({n})", value == chosen) for (value, words), n in sorted(counted.items())
        ]))  # fmt: skip
    return menus


def counts_of(rows: Sequence[Row]) -> list[Count]:
    """How many lots each kind of danger presses, the kinds in the order of what is lost first."""
    found = []
    for kind in ("waits", "wet", "undried", "late", "window", "longer", "unread", "full"):
        lots = [r for r in rows if any(f.kind == kind for f in r.flags)]
        flags = [f for r in lots for f in r.flags if f.kind == kind]
        if flags:
            bad = any(f.level == Level.DANGER for f in flags)
            todo = next((f.todo for f in flags if f.todo), "")
            found.append(Count(kind, kind_mark(kind, bad), len(lots), todo))
    return found
