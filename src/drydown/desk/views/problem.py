"""Errors of ours as a calm page with one clear sentence."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Concatenate, ParamSpec, cast

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from drydown.desk.context import find_station
from drydown.errors import DrydownError, InputError

__all__ = ["answered"]

P = ParamSpec("P")
View = Callable[Concatenate[HttpRequest, P], HttpResponse]


def answered(view: View[P]) -> View[P]:
    """Send to set-up while there is no station; show other errors of ours as a page."""

    @wraps(view)
    def handle(request: HttpRequest, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
        try:
            if find_station() is None:
                return redirect("station")
            return view(request, *args, **kwargs)
        except InputError as error:
            return render(request, "desk/problem.html", {"words": str(error)}, status=400)
        except DrydownError as error:
            return render(request, "desk/problem.html", {"words": str(error)}, status=500)

    return cast("View[P]", handle)
