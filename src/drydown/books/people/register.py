"""People: the trail of changes, one-time links, roles, PINs, devices."""

from __future__ import annotations

import hashlib
import re
import secrets
from typing import Any

from django.contrib.auth.hashers import check_password, make_password
from django.contrib.auth.models import User
from django.contrib.sessions.models import Session
from django.db import IntegrityError, transaction
from django.db.models import F
from django.utils import timezone

from drydown.books.journal.write import Who
from drydown.books.models import Change, Device, OwnerLink, Person
from drydown.errors import InputError
from drydown.words import say

__all__ = [
    "PIN_TRIES",
    "add_person",
    "change_role",
    "enrol",
    "make_link",
    "note_change",
    "pin_fits",
    "set_pin",
]

PIN_TRIES = 5


def note_change(who: Who | None, what: str, about: str = "", **details: Any) -> Change:
    """Keep one line of the trail."""
    name = who.user.get_username() if who and who.user else ""
    return Change.objects.create(by_name=name, what=what, about=about[:120], details=details)


def make_link(user: User | None) -> str:
    """A one-time token to choose a password; earlier unused ones of that person stop working."""
    token = secrets.token_urlsafe(24)
    OwnerLink.objects.filter(used_at=None, user=user).delete()
    OwnerLink.objects.create(user=user, digest=hashlib.sha256(token.encode()).hexdigest())
    return token


def add_person(name: str, role: str, who: Who) -> tuple[User, str]:
    """Someone new, who chooses a password by the returned one-time token."""
    name = " ".join(name.split())
    if not re.fullmatch(r"[\w .@+-]{2,60}", name):
        raise InputError("must be 2 to 60 letters, digits, spaces or . @ + -", "name")
    if role not in Person.Role.values or role == Person.Role.OWNER:
        raise InputError(say("'{role}' is not a role that can be given.", role=role), "role")
    with transaction.atomic():
        if User.objects.filter(username__iexact=name).exists():
            raise InputError("This name is taken.", "name")
        user = User(username=name)
        user.set_unusable_password()
        user.save()
        Person.objects.create(user=user, role=role)
        note_change(who, "person added", name, role=role)
        return user, make_link(user)


def change_role(person: Person, role: str, active: bool, who: Who) -> None:
    """Give another role, or end or renew someone's access."""
    if role not in Person.Role.values or role == Person.Role.OWNER:
        raise InputError(say("'{role}' is not a role that can be given.", role=role), "role")
    with transaction.atomic():
        before = {"role": person.role, "active": person.user.is_active}
        Person.objects.filter(pk=person.pk).update(role=role)
        User.objects.filter(pk=person.user_id).update(is_active=active)
        now = {"role": role, "active": active}
        note_change(who, "access changed", person.user.get_username(), before=before, now=now)


def set_pin(person: Person, pin: str, who: Who) -> None:
    """A PIN, good only to switch persons on an enrolled device."""
    if not re.fullmatch(r"[0-9]{4,8}", pin):
        raise InputError("must be 4 to 8 digits.", "PIN")
    if len(set(pin)) == 1 or pin in "0123456789876543210":
        raise InputError("is too easy to guess.", "PIN", "Not one digit repeated, not a row of them.")
    Person.objects.filter(pk=person.pk).update(pin=make_password(pin), pin_fails=0)
    note_change(who, "PIN set", person.user.get_username())


def pin_fits(person: Person, pin: str) -> bool:
    """Whether a PIN fits; after five wrong ones it is off until the password is used."""
    if not person.pin or not person.user.is_active:
        return False
    tried = Person.objects.filter(pk=person.pk, pin_fails__lt=PIN_TRIES).update(pin_fails=F("pin_fails") + 1)
    if not tried:
        return False
    if not check_password(pin, person.pin):
        return False
    Person.objects.filter(pk=person.pk).update(pin_fails=0)
    return True


def enrol(name: str, who: Who) -> Device:
    """Enrol the device someone is using."""
    name = " ".join(name.split())[:60]
    if not name:
        raise InputError("is empty.", "device", "Name it, such as: gate phone.")
    if Device.objects.filter(name__iexact=name, closed_at=None).exists():
        raise InputError(
            say("there is an open device called '{name}'.", name=name), "device", "Give it another name."
        )
    try:
        with transaction.atomic():
            made = Device.objects.create(name=name, enrolled_by=who.user)
    except IntegrityError as error:  # enrolled twice in one moment
        words = say("there is an open device called '{name}'.", name=name)
        raise InputError(words, "device", "Give it another name.") from error
    note_change(who, "device enrolled", name)
    return made


def close(device: Device, who: Who) -> None:
    """End a device: its cookie, PINs and sessions stop working; what it sent stays."""
    Device.objects.filter(pk=device.pk, closed_at=None).update(closed_at=timezone.now())
    for session in Session.objects.filter(expire_date__gt=timezone.now()):
        if session.get_decoded().get("device") == device.pk:
            session.delete()
    note_change(who, "device closed", device.name)
