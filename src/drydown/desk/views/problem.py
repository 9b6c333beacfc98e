"""Errors of ours as a calm page with one clear sentence."""

from __future__ import annotations

import sys
from collections.abc import Callable
from functools import wraps
from typing import Concatenate, ParamSpec, cast

from django.db import DatabaseError, OperationalError
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.utils.html import format_html
from django.utils.translation import gettext as _

from drydown.books.people.access import NotAllowedError
from drydown.desk.context import find_station
from drydown.errors import DrydownError, InputError

__all__ = ["answered", "away", "calm", "not_found", "our_fault", "stale_form"]

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
    """A fault in Drydown itself, or books that do not answer: then a page that tries again by itself."""
    error = sys.exc_info()[1]
    if isinstance(error, DatabaseError | OSError):
        return away(request, error)
    words = _("Drydown made a mistake. Nothing was saved. The station's machine has the details in its log.")
    return render(request, "desk/problem.html", {"words": words}, status=500)


AWAY = (
    '<!doctype html><html lang="en"><meta charset="utf-8"><meta name="viewport" '
    'content="width=device-width, initial-scale=1"><meta http-equiv="refresh" content="10">'
    "<title>Drydown</title><p><strong>Drydown</strong></p><p>{}</p><p>{}</p></html>"
)


def away(request: HttpRequest, error: Exception) -> HttpResponse:
    """Books or disk that do not answer: said without asking them, and tried again in ten seconds."""
    words = trouble_words(error)
    if request.path.startswith("/api/"):
        response: HttpResponse = JsonResponse({"words": words}, status=503)
    else:
        again = _("This page tries again by itself. What you typed was not saved: go back to it after that.")
        response = HttpResponse(format_html(AWAY, words, again), status=503)
    response.headers["Retry-After"] = "10"
    response.headers["Cache-Control"] = "no-store"
    return response


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
            return away(request, error)

    return cast("View[P]", handle)


def trouble_words(error: Exception) -> str:
    """What the database or the disk could not do, as a sentence."""
    text = str(error)
    if "full" in text or "No space" in text:
        return _("The disk of the station's machine is full. Make room, then send this again.")
    if "locked" in text or "timeout" in text:
        return _("The books are busy. Wait a moment, then send this again.")
    if "readonly" in text or "ead-only" in text:
        return _("The books cannot be written: the file or its folder is read-only.")
    if "disk I/O" in text or "malformed" in text or "not a database" in text:
        return _(
            "The disk of the station's machine cannot be read. Stop the desk; see docs/books.md on copies."
        )
    return _("The books do not answer at this moment.")


def answered(view: View[P]) -> View[P]:
    """As `calm`, and to set-up while there is no station."""

    @wraps(view)
    def handle(request: HttpRequest, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
        if find_station() is None:
            return redirect("station")
        return view(request, *args, **kwargs)

    return calm(cast("View[P]", handle))
