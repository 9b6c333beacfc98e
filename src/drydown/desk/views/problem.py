"""Errors of ours as a calm page with one clear sentence."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Concatenate, ParamSpec, cast

from django.db import OperationalError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _

from drydown.books.access import NotAllowedError
from drydown.desk.context import find_station
from drydown.errors import DrydownError, InputError

__all__ = ["answered", "calm", "not_found", "our_fault", "stale_form"]

P = ParamSpec("P")
View = Callable[Concatenate[HttpRequest, P], HttpResponse]


def stale_form(request: HttpRequest, reason: str = "") -> HttpResponse:  # noqa: ARG001
    """A form whose page was too old to be trusted."""
    words = _("This page was open too long, or you logged out in between. Nothing was saved; open it anew.")
    return render(request, "desk/problem.html", {"words": words}, status=403)


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:  # noqa: ARG001
    """No such page or lot."""
    return render(request, "desk/problem.html", {"words": _("There is no such page or lot.")}, status=404)


def our_fault(request: HttpRequest) -> HttpResponse:
    """A fault in Drydown itself."""
    words = _("Drydown made a mistake. Nothing was saved. The station's machine has the details in its log.")
    return render(request, "desk/problem.html", {"words": words}, status=500)


def calm(view: View[P]) -> View[P]:
    """Show errors of ours as a page with one sentence."""

    @wraps(view)
    def handle(request: HttpRequest, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
        try:
            return view(request, *args, **kwargs)
        except InputError as error:
            return render(request, "desk/problem.html", {"words": str(error)}, status=400)
        except NotAllowedError as error:
            return render(request, "desk/problem.html", {"words": str(error)}, status=403)
        except DrydownError as error:
            return render(request, "desk/problem.html", {"words": str(error)}, status=500)
        except OperationalError as error:
            return render(request, "desk/problem.html", {"words": _trouble(error)}, status=503)

    return cast("View[P]", handle)


def _trouble(error: OperationalError) -> str:
    """What the database could not do, as a sentence; anything unknown goes up."""
    text = str(error)
    if "full" in text or "No space" in text:
        return _("The disk of the station's machine is full. Make room, then send this again.")
    if "locked" in text or "timeout" in text:
        return _("The books are busy. Wait a moment, then send this again.")
    if "readonly" in text:
        return _("The books cannot be written: the file or its folder is read-only.")
    raise error


def answered(view: View[P]) -> View[P]:
    """As `calm`, and to set-up while there is no station."""

    @wraps(view)
    def handle(request: HttpRequest, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
        if find_station() is None:
            return redirect("station")
        return view(request, *args, **kwargs)

    return calm(cast("View[P]", handle))
