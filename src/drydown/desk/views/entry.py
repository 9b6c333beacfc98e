"""Coming in and going out: the one-time owner link, entering, leaving."""

from __future__ import annotations

import hashlib
from datetime import timedelta
from typing import Any

from django import forms
from django.contrib.auth import authenticate, login, logout
from django.contrib.auth.models import User
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from drydown.books.models import OwnerLink, Person
from drydown.desk.guesses import guess_guard
from drydown.desk.people import device
from drydown.desk.views.problem import calm

__all__ = ["BACKEND", "alive", "enter", "first", "leave", "locked_out", "remember"]

LINK_DAYS = timedelta(days=7)
BACKEND = "django.contrib.auth.backends.ModelBackend"


class EnterForm(forms.Form):
    """Name and password."""

    name = forms.CharField(label=gettext_lazy("name"), max_length=150)
    password = forms.CharField(label=gettext_lazy("password"), widget=forms.PasswordInput)


class OwnerForm(EnterForm):
    """The owner's own name and password, typed once."""

    def clean_password(self) -> Any:
        """Refuse short and common passwords."""
        validate_password(self.cleaned_data["password"])
        return self.cleaned_data["password"]

    def clean_name(self) -> Any:
        """Refuse a name that is taken."""
        name = self.cleaned_data["name"].strip()
        if User.objects.filter(username__iexact=name, is_superuser=False).exists():
            raise ValidationError(_("This name is taken."))
        return name


class ChooseForm(forms.Form):
    """A password chosen by someone the owner has added."""

    password = forms.CharField(label=gettext_lazy("password"), widget=forms.PasswordInput)

    def clean_password(self) -> Any:
        """Refuse short and common passwords."""
        validate_password(self.cleaned_data["password"])
        return self.cleaned_data["password"]


def _owner(name: str, password: str) -> User:
    """The owner: made at the first entry, given a new name and password after that."""
    owner = User.objects.filter(is_superuser=True).order_by("id").first()
    if owner is None:
        return User.objects.create_superuser(name, password=password)
    owner.username = name
    owner.set_password(password)
    owner.save()
    return owner


@require_safe
def alive(request: HttpRequest) -> HttpResponse:  # noqa: ARG001
    """Says that the desk answers."""
    return HttpResponse("alive", content_type="text/plain")


@require_http_methods(["GET", "HEAD", "POST"])
@calm
@guess_guard
def enter(request: HttpRequest) -> HttpResponse:
    """Enter by name and password."""
    form = EnterForm(request.POST or None, label_suffix="")
    if request.method == "POST" and form.is_valid():
        name = form.cleaned_data["name"].strip()
        known = User.objects.filter(username__iexact=name)[:2]
        name = known[0].username if len(known) == 1 else name  # phones begin names with a capital
        user = authenticate(request, username=name, password=form.cleaned_data["password"])
        if user is not None:
            login(request, user)
            remember(request)
            Person.objects.filter(user=user).update(pin_fails=0)
            return redirect("home")
        form.add_error(None, _("Name and password do not fit together."))
    return render(request, "desk/enter.html", {"form": form, "first": False})


@require_POST
def leave(request: HttpRequest) -> HttpResponse:
    """Leave the desk on this device."""
    logout(request)
    return redirect("enter")


@require_http_methods(["GET", "HEAD", "POST"])
@calm
@guess_guard
def first(request: HttpRequest, token: str) -> HttpResponse:
    """The owner's first entry, by a link that works once."""
    digest = hashlib.sha256(token.encode()).hexdigest()
    fresh = timezone.now() - LINK_DAYS
    link = OwnerLink.objects.filter(digest=digest, used_at=None, made_at__gt=fresh).first()
    if link is None:
        words = _(
            "This link has been used, is older than a week, or is not known. "
            "Make a new one on the station's machine: drydown owner-link"
        )
        return render(request, "desk/problem.html", {"words": words}, status=404)
    made = ChooseForm if link.user else OwnerForm
    form = made(request.POST or None, label_suffix="")
    if request.method == "POST" and form.is_valid():
        user = _use(link, form.cleaned_data)
        if user is not None:
            login(request, user, BACKEND)
            remember(request)
            return redirect("home" if link.user else "station")
    return render(request, "desk/enter.html", {"form": form, "first": True, "chooser": link.user})


def _use(link: OwnerLink, data: dict[str, Any]) -> User | None:
    """Use a link up and set what was chosen, together; None when someone was quicker."""
    with transaction.atomic():
        used = OwnerLink.objects.filter(pk=link.pk, used_at=None).update(used_at=timezone.now())
        if not used:
            return None
        if link.user is None:
            return _owner(data["name"], data["password"])
        user = User.objects.get(pk=link.user.pk)
        user.set_password(data["password"])
        user.save()
        Person.objects.filter(user=user).update(pin="", pin_fails=0)
        return user


def remember(request: HttpRequest) -> None:
    """Keep with the session when and where it began, for the list of sessions."""
    here = device(request)
    if here is not None:
        request.session["device"] = here.pk
    request.session["entered_at"] = timezone.now().isoformat()
    request.session["entered_with"] = request.headers.get("User-Agent", "")[:120]


def locked_out(request: HttpRequest, *_more: Any, **_named: Any) -> HttpResponse:
    """Too many wrong passwords for this name from this address."""
    words = _(
        "Too many wrong passwords for this name from this address. Wait a quarter of an hour, "
        "or ask at the station's machine for: drydown unlock"
    )
    return render(request, "desk/problem.html", {"words": words}, status=429)
