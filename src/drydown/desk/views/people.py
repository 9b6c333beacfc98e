"""People, their roles and sessions; devices; switching persons by PIN on an enrolled device."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django import forms
from django.contrib import messages
from django.contrib.auth import authenticate, login
from django.contrib.auth.models import User
from django.contrib.sessions.models import Session
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from drydown.books.journal.outbox import gaps
from drydown.books.models import Device, Person
from drydown.books.people.access import MATRIX, WORDS
from drydown.books.people.register import add_person, change_role, close, enrol, make_link, pin_fits
from drydown.books.people.register import set_pin as keep_pin
from drydown.desk.guesses import guess_guard
from drydown.desk.people import DEVICE_COOKIE, device, guarded, who
from drydown.desk.views.entry import BACKEND, remember
from drydown.desk.views.problem import answered, calm
from drydown.errors import InputError

__all__ = [
    "change_person",
    "close_device",
    "devices",
    "leave_all",
    "me",
    "people_page",
    "set_pin",
    "switch",
]

ROLES = [(value, label) for value, label in Person.Role.choices if value != Person.Role.OWNER]
TWO_YEARS = 2 * 365 * 24 * 3600


class PersonForm(forms.Form):
    """Someone new."""

    name = forms.CharField(label=gettext_lazy("name"), max_length=60)
    role = forms.ChoiceField(label=gettext_lazy("role"), choices=[("", gettext_lazy("choose")), *ROLES])


@require_http_methods(["GET", "HEAD", "POST"])
@answered
@guarded("people.access")
def people_page(request: HttpRequest) -> HttpResponse:
    """Everybody who may enter, and what each role may do."""
    form = PersonForm(request.POST or None, label_suffix="")
    link = ""
    if request.method == "POST" and form.is_valid():
        try:
            user, token = add_person(form.cleaned_data["name"], form.cleaned_data["role"], who(request))
        except InputError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("%s is added.") % user.get_username())
            link, form = request.build_absolute_uri(f"/first/{token}/"), PersonForm(label_suffix="")
    context = {
        "form": form, "link": link, "roles": ROLES, "columns": Person.Role.choices,
        "matrix": [(WORDS[field], row) for field, row in MATRIX.items()],
        "people": Person.objects.select_related("user").order_by("user__username"),
        "owners": User.objects.filter(is_superuser=True),
    }  # fmt: skip
    return render(request, "desk/people.html", context, status=400 if form.errors else 200)


@require_POST
@answered
@guarded("people.access")
def change_person(request: HttpRequest, pk: int) -> HttpResponse:
    """Another role, an end of access, or a new link."""
    person = get_object_or_404(Person.objects.select_related("user"), pk=pk)
    if request.POST.get("act") == "link":
        token = make_link(person.user)
        words = _("One-time link for %(name)s: %(link)s")
        link = request.build_absolute_uri(f"/first/{token}/")
        messages.success(request, words % {"name": person.user.get_username(), "link": link})
    else:
        change_role(person, request.POST.get("role", ""), "active" in request.POST, who(request))
        messages.success(request, _("Saved."))
    return redirect("people")


@dataclass(frozen=True, slots=True)
class Begun:
    """One session of a person."""

    entered_at: datetime | None
    entered_with: str
    mine: bool


def _sessions(user: Any, own_key: str | None) -> list[tuple[Session, Begun]]:
    found = []
    for session in Session.objects.filter(expire_date__gt=timezone.now()):
        data = session.get_decoded()
        if data.get("_auth_user_id") == str(user.pk):
            at = data.get("entered_at")
            begun = Begun(
                datetime.fromisoformat(at) if at else None,
                data.get("entered_with", ""),
                session.session_key == own_key,
            )
            found.append((session, begun))
    return found


@require_safe
@calm
def me(request: HttpRequest) -> HttpResponse:
    """One's own sessions, PIN and device."""
    rows = [begun for _session, begun in _sessions(request.user, request.session.session_key)]
    person = Person.objects.filter(user_id=request.user.pk or 0).first()
    context = {"rows": rows, "person": person, "device": device(request)}
    return render(request, "desk/me.html", context)


@require_POST
@calm
def leave_all(request: HttpRequest) -> HttpResponse:
    """End all of one's other sessions."""
    for session, begun in _sessions(request.user, request.session.session_key):
        if not begun.mine:
            session.delete()
    messages.success(request, _("All other sessions are ended."))
    return redirect("me")


@require_POST
@calm
@guess_guard
def set_pin(request: HttpRequest) -> HttpResponse:
    """Choose a PIN for switching persons on an enrolled device."""
    person = get_object_or_404(Person, user_id=request.user.pk)
    name, password = request.user.get_username(), request.POST.get("password", "")
    if authenticate(request, username=name, password=password) is None:
        raise InputError("does not fit.", "password", "A PIN is set with the password.")
    keep_pin(person, request.POST.get("pin", ""), who(request))
    messages.success(request, _("The PIN is saved. It works on enrolled devices only."))
    return redirect("me")


@require_http_methods(["GET", "HEAD", "POST"])
@answered
@guarded("devices.enrolled")
def devices(request: HttpRequest) -> HttpResponse:
    """Devices that have been enrolled; enrol the one in hand."""
    if request.method == "POST":
        made = enrol(request.POST.get("name", ""), who(request))
        request.session["device"] = made.pk
        messages.success(request, _("This device is enrolled as %s.") % made.name)
        response = redirect("devices")
        response.set_signed_cookie(
            DEVICE_COOKIE, str(made.key), salt="device", max_age=TWO_YEARS, httponly=True,
            samesite="Lax", secure=request.is_secure(),
        )  # fmt: skip
        return response
    rows = [(d, gaps(d)) for d in Device.objects.select_related("enrolled_by").order_by("-id")]
    context = {"devices": rows, "here": device(request)}
    return render(request, "desk/devices.html", context)


@require_POST
@answered
@guarded("devices.enrolled")
def close_device(request: HttpRequest, pk: int) -> HttpResponse:
    """End a device that is lost or given away."""
    close(get_object_or_404(Device, pk=pk), who(request))
    messages.success(request, _("The device is closed."))
    return redirect("devices")


@require_http_methods(["GET", "HEAD", "POST"])
@calm
@guess_guard
def switch(request: HttpRequest) -> HttpResponse:
    """Another person takes over an enrolled device by PIN."""
    if device(request) is None:
        words = _("Switching by PIN works on an enrolled device only. Log in with name and password.")
        return render(request, "desk/problem.html", {"words": words}, status=403)
    wrong = False
    if request.method == "POST":
        person = Person.objects.select_related("user").filter(pk=_number(request.POST.get("person"))).first()
        if person is not None and pin_fits(person, request.POST.get("pin", "")):
            login(request, person.user, BACKEND)
            remember(request)
            return redirect("home")
        wrong = True
    people = Person.objects.exclude(pin="").filter(user__is_active=True).select_related("user")
    context = {"people": people.order_by("user__username"), "wrong": wrong}
    return render(request, "desk/switch.html", context, status=403 if wrong else 200)


def _number(text: str | None) -> int:
    return int(text) if text and text.isdecimal() and len(text) < 10 else 0
