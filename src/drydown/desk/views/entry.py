"""Coming in and going out: the one-time owner link, entering, leaving."""

from __future__ import annotations

import hashlib
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

from drydown.books.models import OwnerLink

__all__ = ["alive", "enter", "first", "leave"]

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
def enter(request: HttpRequest) -> HttpResponse:
    """Enter by name and password."""
    form = EnterForm(request.POST or None, label_suffix="")
    if request.method == "POST" and form.is_valid():
        user = authenticate(
            request, username=form.cleaned_data["name"], password=form.cleaned_data["password"]
        )
        if user is not None:
            login(request, user)
            return redirect("home")
        form.add_error(None, _("Name and password do not fit together."))
    return render(request, "desk/enter.html", {"form": form, "first": False})


@require_POST
def leave(request: HttpRequest) -> HttpResponse:
    """Leave the desk on this device."""
    logout(request)
    return redirect("enter")


@require_http_methods(["GET", "HEAD", "POST"])
def first(request: HttpRequest, token: str) -> HttpResponse:
    """The owner's first entry, by a link that works once."""
    digest = hashlib.sha256(token.encode()).hexdigest()
    link = OwnerLink.objects.filter(digest=digest, used_at=None).first()
    if link is None:
        words = _(
            "This link has been used or is not known. "
            "Make a new one on the station's machine: drydown owner-link"
        )
        return render(request, "desk/problem.html", {"words": words}, status=404)
    form = OwnerForm(request.POST or None, label_suffix="")
    if request.method == "POST" and form.is_valid():
        with transaction.atomic():
            used = OwnerLink.objects.filter(pk=link.pk, used_at=None).update(used_at=timezone.now())
            if used:
                owner = _owner(form.cleaned_data["name"], form.cleaned_data["password"])
        if used:
            login(request, owner, BACKEND)
            return redirect("station")
    return render(request, "desk/enter.html", {"form": form, "first": True})
