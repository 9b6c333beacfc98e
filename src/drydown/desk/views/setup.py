"""First-time set-up and later changes of the station description."""

from __future__ import annotations

import os
import re
import tomllib

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from drydown.books.models import Delivery, Lot
from drydown.desk.people import guarded
from drydown.desk.setupform import from_post, from_text, sections, to_toml
from drydown.desk.views.problem import calm
from drydown.errors import InputError
from drydown.station.load import StationFileError, parse_station
from drydown.station.model import Station
from drydown.steps.dry.data import FORM_OF_ROUTE

__all__ = ["station_page"]


@require_http_methods(["GET", "HEAD", "POST"])
@calm
@guarded("station.description")
def station_page(request: HttpRequest) -> HttpResponse:
    """The station description as a form; nothing is written until all of it is good."""
    file = settings.STATION_FILE
    try:
        text = file.read_text(encoding="utf-8") if file.exists() else ""
        values, lists = from_text(text)
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, TypeError, AttributeError) as error:
        words = _(
            "The station file cannot be read (%(why)s). Mend it by hand, then: drydown station check %(file)s"
        )
        return render(
            request, "desk/problem.html", {"words": words % {"why": error, "file": file}}, status=400
        )
    problems: dict[str, str] = {}
    general: list[str] = []
    if request.method == "POST":
        values = {k: v for k, v in request.POST.items() if isinstance(v, str)}
        lists = {k: request.POST.getlist(k) for k in ("species", "routes")}
        try:
            made = to_toml(from_post(values, lists), text)
            station = parse_station(made)
            _keep_what_is_in_use(station)
            _keep_the_money(station)
        except StationFileError as error:
            problems, general = _sort(error.lines)
        except InputError as error:
            problems = {error.where: f"{error.what} {error.fix}"} if error.where else {}
            general = [] if error.where else [str(error)]
        else:
            _write(made)
            messages.success(request, _("The station description is kept."))
            return redirect("yard")
    context = {
        "sections": sections(values, lists, problems),
        "general": general,
        "problems": problems,
        "is_new": not text,
    }
    return render(request, "desk/station.html", context, status=400 if problems or general else 200)


_DONE = (Lot.Stage.STORED, Lot.Stage.HULLED, Lot.Stage.SORTED, Lot.Stage.GONE)


def _keep_what_is_in_use(station: Station) -> None:
    """Lots on their way keep their species, their drying table and the name of their place."""
    for lot in Lot.objects.exclude(stage__in=_DONE):
        if lot.species not in station.species:
            raise InputError(f"Lot {lot.code} is {lot.species}; keep that species until it is stored.")
        if FORM_OF_ROUTE[lot.route] not in station.drying or lot.route not in station.routes:
            raise InputError(
                f"Lot {lot.code} goes {lot.route_words()}; keep that route and its drying table."
            )
        if lot.stage == Lot.Stage.DRYING and lot.bed not in station.drying_places():
            raise InputError(
                f"'{lot.bed}' has lot {lot.code} drying on it; keep that name until it is bagged."
            )


def _keep_the_money(station: Station) -> None:
    """Books in one currency stay in it: another one, or other decimals, would say other amounts."""
    kept = Delivery.objects.order_by("-entry_id").first()
    now = station.money
    if kept and (kept.currency, kept.decimals) != (now.currency, now.decimals):
        raise InputError(
            f"The books are in {kept.currency} with {kept.decimals} digits after the point; that stays.",
            "money.currency", "Begin new books for another currency.",
        )  # fmt: skip


def _sort(lines: list[str]) -> tuple[dict[str, str], list[str]]:
    """Sentences by the field they are about; the rest for the top of the page."""
    found, general = {}, []
    for line in lines:
        match = re.match(r"^([a-z_]+(?:\.[A-Za-z0-9_]+)*)(?::| is| needs| takes)\s*(.*)$", line)
        if match:
            found[match[1]] = line
        general.append(line)
    return found, general


def _write(text: str) -> None:
    """Write beside, then move over: a power cut leaves the old file or the new one."""
    file = settings.STATION_FILE
    file.parent.mkdir(parents=True, exist_ok=True)
    beside = file.with_suffix(".new")
    with beside.open("w", encoding="utf-8") as handle:
        handle.write(text)
        handle.flush()
        os.fsync(handle.fileno())
    beside.replace(file)
