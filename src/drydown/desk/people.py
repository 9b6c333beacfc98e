"""Who asks: role and device of a request, and the guard of a view."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any, Concatenate, ParamSpec, cast

from django.contrib import messages
from django.http import HttpRequest, HttpResponse

from drydown.books.journal.write import Who
from drydown.books.lots.mend import own_last
from drydown.books.models import Device, Entry
from drydown.books.people.access import FIELDS, may, need, role_of

__all__ = ["access", "guarded", "may_here", "may_mend", "told", "who"]

P = ParamSpec("P")
View = Callable[Concatenate[HttpRequest, P], HttpResponse]
DEVICE_COOKIE = "drydown_device"


def role(request: HttpRequest) -> str:
    """The role of whoever asks, looked up once a request."""
    found = getattr(request, "drydown_role", None)
    if found is None:
        found = role_of(request.user)
        request.drydown_role = found  # type: ignore[attr-defined]
    return str(found)


def may_here(request: HttpRequest, what: str, write: bool = False) -> bool:
    """Whether whoever asks may."""
    return may(role(request), what, write)


def device(request: HttpRequest) -> Device | None:
    """The enrolled device the request comes from, by its signed cookie."""
    try:
        key = request.get_signed_cookie(DEVICE_COOKIE, default="", salt="device")
    except Exception:
        return None
    return Device.objects.filter(key=key, closed_at=None).first() if key else None


def who(request: HttpRequest) -> Who:
    """Who writes, and from where."""
    user: Any = request.user
    return Who(user if user.is_authenticated else None, device(request))


def may_mend(request: HttpRequest, entry: Entry) -> bool:
    """Whether whoever asks may mend an entry: with the right to take back, or as their own last one."""
    if may_here(request, "journal.undo", write=True):
        return True
    last = own_last(request.user) if request.user.is_authenticated else None
    return last is not None and last.pk == entry.pk


def told(request: HttpRequest, words: str, number: int) -> None:
    """Say that something was saved, with the way to mend it beside it."""
    messages.success(request, words, extra_tags=str(number))


def guarded(what: str, write: bool | None = None) -> Callable[[View[P]], View[P]]:
    """Refuse a view to roles that may not; by default reading for GET, writing for POST."""

    def wrap(view: View[P]) -> View[P]:
        @wraps(view)
        def handle(request: HttpRequest, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
            writes = request.method == "POST" if write is None else write
            need(role(request), what, writes)
            return view(request, *args, **kwargs)

        return cast("View[P]", handle)

    return wrap


def access(request: HttpRequest) -> dict[str, Any]:
    """For templates: `can.money_accounts` and `can_write.lots_way`."""
    mine = role(request) if hasattr(request, "user") else ""
    return {
        "role": mine,
        "can": {f.replace(".", "_"): may(mine, f) for f in FIELDS} if mine else {},
        "can_write": {f.replace(".", "_"): may(mine, f, True) for f in FIELDS} if mine else {},
    }
