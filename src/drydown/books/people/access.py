"""Who may see and write what: role by record by field, as one table that a test walks through."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext_lazy as _

from drydown.books.models import Person
from drydown.errors import DrydownError
from drydown.words import say

__all__ = ["FIELDS", "MATRIX", "WORDS", "NotAllowedError", "may", "need", "role_of"]

Role = Person.Role
_COLUMNS = (Role.OWNER, Role.MANAGER, Role.WEIGHER, Role.YARD, Role.QUALITY, Role.READER)
_TABLE = """
growers.numbers     w w w r r r
growers.names       w w w r r -
deliveries.weights  w w w r r r
deliveries.money    w w r - - -
lots.way            w w r w r r
lots.sales          w w - - - -
readings.moisture   w w r w w r
samples.taken       w w - w w r
money.accounts      w w - - - -
station.description w w - - - -
people.access       w r - - - -
devices.enrolled    w w - - - -
journal.audit       r r - - - -
journal.undo        w w - - - -
journal.carry       w w - - - -
"""
MATRIX: dict[str, dict[str, str]] = {
    line.split()[0]: dict(zip(_COLUMNS, line.split()[1:], strict=True)) for line in _TABLE.split("\n") if line
}
FIELDS = tuple(MATRIX)
WORDS = {
    "growers.numbers": _("growers' numbers"),
    "growers.names": _("growers' names and villages"),
    "deliveries.weights": _("weighing in"),
    "deliveries.money": _("price and worth of deliveries"),
    "lots.way": _("steps of lots"),
    "lots.sales": _("sales and buyers"),
    "readings.moisture": _("moisture readings"),
    "samples.taken": _("samples"),
    "money.accounts": _("payments, costs, accounts"),
    "station.description": _("the station's description"),
    "people.access": _("people and roles"),
    "devices.enrolled": _("devices"),
    "journal.audit": _("the journal"),
    "journal.undo": _("taking back"),
    "journal.carry": _("import and export"),
}


class NotAllowedError(DrydownError):
    """The person's role does not reach this far."""


def role_of(user: Any) -> str:
    """The role of someone who entered; the superuser is the owner; none for strangers."""
    if not getattr(user, "is_authenticated", False) or not user.is_active:
        return ""
    if user.is_superuser:
        return Role.OWNER
    person = Person.objects.filter(user=user).first()
    return person.role if person else ""


def may(role: str, what: str, write: bool = False) -> bool:
    """Whether a role may read, or write, a field of a record."""
    allowed = MATRIX[what].get(role, "-")
    return allowed == "w" or (allowed == "r" and not write)


def need(role: str, what: str, write: bool = False) -> None:
    """Refuse in a sentence what a role may not do."""
    if not may(role, what, write):
        act = "write" if write else "see"
        label = dict(Role.choices).get(role, role) or "stranger"
        raise NotAllowedError(
            say(
                "As {label} you may not {act} this: {value}. Ask the owner.",
                label=label,
                act=act,
                value=WORDS[what],
            )
        )
