"""What every request passes: content rules, the demo's owner, and entry only for those known."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC

from django.conf import settings
from django.contrib.auth import get_user_model, login, logout
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect
from django.utils import timezone

from drydown.books.models import Device
from drydown.desk.context import find_station
from drydown.desk.people import device
from drydown.errors import InputError

__all__ = ["content_rules", "demo_owner", "device_stands", "entered_only", "no_nulls", "station_time"]

Answer = Callable[[HttpRequest], HttpResponse]
OPEN_PATHS = ("/enter/", "/calendar/", "/first/", "/static/", "/alive/", "/switch/")
LOOPBACK = {"127.0.0.1", "::1"}
POLICY = (
    "default-src 'self'; img-src 'self' data:; object-src 'none'; base-uri 'none'; "
    "frame-ancestors 'none'; form-action 'self'; worker-src 'self'; manifest-src 'self'"
)


def content_rules(answer: Answer) -> Answer:
    """Only our own scripts, styles and pictures run in a page."""

    def handle(request: HttpRequest) -> HttpResponse:
        response = answer(request)
        response.headers.setdefault("Content-Security-Policy", POLICY)
        if response.headers.get("Content-Type", "").startswith("text/html"):
            response.headers["Cache-Control"] = "no-store"  # "back" must not bring an old form
        return response

    return handle


def demo_owner(answer: Answer) -> Answer:
    """In the demo, whoever sits at this machine is its owner."""

    def handle(request: HttpRequest) -> HttpResponse:
        here = request.META.get("REMOTE_ADDR") in LOOPBACK
        if settings.DEMO and here and not request.user.is_authenticated:
            owner = get_user_model().objects.filter(is_superuser=True).order_by("id").first()
            if owner is not None:
                login(request, owner, "django.contrib.auth.backends.ModelBackend")
        return answer(request)

    return handle


def device_stands(answer: Answer) -> Answer:
    """A session that was used on an enrolled device ends when that device is closed."""

    def handle(request: HttpRequest) -> HttpResponse:
        if request.user.is_authenticated and not request.path.startswith("/static/"):
            mine = request.session.get("device")
            here = device(request) if mine is None else None
            if here is not None:
                request.session["device"] = here.pk
            elif mine is not None and not Device.objects.filter(pk=mine, closed_at=None).exists():
                logout(request)
        return answer(request)

    return handle


def no_nulls(answer: Answer) -> Answer:
    """A null in an address is nobody's page; one of the databases cannot even be asked about it."""

    def handle(request: HttpRequest) -> HttpResponse:
        if request.path.startswith("/api/"):  # the interface answers in its own declared words
            return answer(request)
        if "\x00" in request.path or "%00" in request.META.get("QUERY_STRING", ""):
            return HttpResponse("no such page", status=404, content_type="text/plain")
        return answer(request)

    return handle


def station_time(answer: Answer) -> Answer:
    """Times are typed and shown in the station's standard time."""

    def handle(request: HttpRequest) -> HttpResponse:
        try:
            station = find_station()
        except InputError:
            station = None
        zone = station.place.site().zone if station else UTC
        with timezone.override(zone):
            return answer(request)

    return handle


def entered_only(answer: Answer) -> Answer:
    """Everything but the entry pages needs a known person."""

    def handle(request: HttpRequest) -> HttpResponse:
        if request.user.is_authenticated or request.path.startswith(OPEN_PATHS):
            return answer(request)
        if request.path.startswith("/api/"):
            return JsonResponse({"words": "Enter first: this address needs a known person."}, status=401)
        return redirect(settings.LOGIN_URL)

    return handle
