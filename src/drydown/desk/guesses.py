"""Guessing passwords and PINs: slow for those who guess, never in the way of those who work."""

from __future__ import annotations

import threading
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from functools import wraps
from typing import Any

from axes.models import AccessAttempt
from django.db.models import Sum
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _

__all__ = ["address_of", "guess_guard", "guessed_too_often", "one_at_a_time"]

MOST_FROM_ADDRESS = 20
"""Wrong passwords from one address, whatever the name, within `WITHIN` (own choice)."""
WITHIN = timedelta(minutes=15)
WAIT_S = 5.0
_hashing = threading.Semaphore(1)
"""One password is hashed at a time: a hash takes a processor and 64 MB on purpose."""
MOST_WAITING, MOST_OF_ONE = 14, 10
"""How many may wait for that at once, in all and from one address (phones behind one router share one)."""
_waiting: Counter[str] = Counter()
_lock = threading.Lock()


def address_of(request: HttpRequest) -> str:
    """Where a request comes from."""
    return str(request.META.get("REMOTE_ADDR", ""))


def guessed_too_often(request: HttpRequest) -> bool:
    """Whether wrong passwords came from this address too often, under any names."""
    since = timezone.now() - WITHIN
    rows = AccessAttempt.objects.filter(ip_address=address_of(request) or None, attempt_time__gte=since)
    return (rows.aggregate(all=Sum("failures_since_start"))["all"] or 0) >= MOST_FROM_ADDRESS


@contextmanager
def one_at_a_time(request: HttpRequest) -> Iterator[bool]:
    """Whether a password may be tried now, after those before it; false where too many wait."""
    here = address_of(request)
    with _lock:
        free = _waiting[here] < MOST_OF_ONE and _waiting.total() < MOST_WAITING
        _waiting[here] += free
    if not free:
        yield False
        return
    got = _hashing.acquire(timeout=WAIT_S)
    try:
        yield got
    finally:
        if got:
            _hashing.release()
        with _lock:
            _waiting[here] -= 1
            if _waiting[here] <= 0:
                del _waiting[here]


def guess_guard(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """Let forms with a password through one at a time, and none from an address that guessed too often."""

    @wraps(view)
    def handle(request: HttpRequest, *args: Any, **named: Any) -> HttpResponse:
        if request.method != "POST":
            return view(request, *args, **named)
        if guessed_too_often(request):
            words = _("Too many wrong passwords from this address. Wait a quarter of an hour.")
            return render(request, "desk/problem.html", {"words": words}, status=429)
        with one_at_a_time(request) as may:
            if may:
                return view(request, *args, **named)
        words = _("Too many are logging in at this moment. Try again in a moment.")
        return render(request, "desk/problem.html", {"words": words}, status=429)

    return handle
