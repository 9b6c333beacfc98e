"""First-time set-up and later changes of the station description."""

from __future__ import annotations

import json
import os
import re
from pathlib import Path
from typing import Any, NamedTuple

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from drydown.books.models import Delivery, Lot
from drydown.desk.people import guarded
from drydown.desk.setupfields import labels, sections
from drydown.desk.setupform import from_post, from_text
from drydown.desk.setupmonths import months_from
from drydown.desk.setupnames import in_words
from drydown.desk.setuppages import ALL, PAGES, keys_of, merged, own_sections, steps_of
from drydown.desk.setuppic import climate_of, plan_of
from drydown.desk.setuptoml import to_toml
from drydown.desk.views.problem import calm
from drydown.errors import InputError
from drydown.matter.routes import form_of_route
from drydown.station.gaps import gaps
from drydown.station.load import StationFileError, parse_station
from drydown.station.model import Station
from drydown.way.order import stages
from drydown.way.state import Stage
from drydown.words import say

__all__ = ["picture", "station_page"]


@require_http_methods(["GET", "HEAD", "POST"])
@calm
@guarded("station.description")
def station_page(request: HttpRequest) -> HttpResponse:
    """The station description in short pages; nothing is written until all that is needed is good."""
    file = settings.STATION_FILE
    try:
        text = file.read_text(encoding="utf-8") if file.exists() else ""
        values, lists = from_text(text)
    except (ValueError, RecursionError, TypeError, AttributeError) as error:
        words = _(
            "The station file cannot be read (%(why)s). Mend it by hand, then: drydown station check %(file)s"
        )
        return render(
            request, "desk/problem.html", {"words": words % {"why": error, "file": file}}, status=400
        )
    draft, page = _draft(), _asked_page(request)
    if draft is not None:
        values, lists = draft
    if request.method != "POST":
        return _show(request, page, values, lists, {}, draft is not None, text)
    if request.POST.get("act") == "forget":
        _forget_draft()
        return redirect("station")
    return _take(request, page, values, lists, text)


def _asked_page(request: HttpRequest) -> str:
    page = request.POST.get("page") or request.GET.get("page") or ""
    return page if page in PAGES or page == ALL else "" if request.method != "POST" else ALL


def _typed(
    request: HttpRequest, page: str, values: dict[str, str], lists: dict[str, list[str]]
) -> tuple[dict[str, str], dict[str, list[str]]]:
    """What was known with this page as it was sent."""
    posted = {k: v for k, v in request.POST.items() if isinstance(v, str)}
    found = merged(values, posted, sections({**values, **posted}, lists, {}), page)
    if page in {ALL, "crop"}:
        lists = {k: request.POST.getlist(k) for k in ("species", "routes")}
    return found, lists


def _take(
    request: HttpRequest, page: str, base: dict[str, str], lists: dict[str, list[str]], text: str
) -> HttpResponse:
    """Keep what was sent: as the station's file where nothing that is needed lacks, else as a draft."""
    values, lists = _typed(request, page, base, lists)
    wrong_months = ""
    try:
        pasted = _pasted(request)
        values |= months_from(pasted) if pasted else {}
    except InputError as error:
        wrong_months = f"{error.what} {error.fix}"
    judged = _judged(values, lists, text)
    problems = dict(judged.wrong)
    if wrong_months:
        problems["months"] = wrong_months
    filling = request.POST.get("act") == "fill"
    if not problems and not filling:
        _write(judged.made)
        _forget_draft()
        messages.success(request, _("The station description is saved."))
        return redirect(f"{reverse('station')}?page={_next(page)}" if page != ALL else "yard")
    _keep_draft(values, lists)
    if filling and not wrong_months:
        messages.success(request, _("The months are filled in; nothing is saved yet."))
        return _show(request, page, values, lists, {}, False, text, judged)
    own = _own(problems, page, values, lists)
    if own or page == ALL:
        shown = own if page != ALL else problems
        return _show(request, page, values, lists, shown, False, text, judged)
    messages.success(request, _("Kept. The gate opens when the pages marked with a triangle are filled in."))
    return redirect(f"{reverse('station')}?page={_next(page)}")


def _own(
    problems: dict[str, str], page: str, values: dict[str, str], lists: dict[str, list[str]]
) -> dict[str, str]:
    """Mistakes on one page: on its fields, and of its rows. What another page lacks is no mistake here."""
    mine = keys_of(own_sections(sections(values, lists, {}), page))
    rows = {key.rpartition(".")[0] for key in mine}
    elsewhere = keys_of(sections(values, lists, {})) - mine
    others = {key.rpartition(".")[0] for key in elsewhere} - rows
    return {
        k: v for k, v in problems.items()
        if k in mine or k in rows or (page == "climate" and k == "months")
        or (k not in elsewhere and k not in others and _typed_here(k, mine, values))
    }  # fmt: skip


def _typed_here(key: str, mine: set[str], values: dict[str, str]) -> bool:
    """Whether a mistake about a whole table comes of what was typed on this page."""
    return any(k.startswith(f"{key}.") and values.get(k, "").strip() for k in mine)


def _next(page: str) -> str:
    names = list(PAGES)
    return names[min(names.index(page) + 1, len(names) - 1)] if page in names else names[0]


def _show(
    request: HttpRequest,
    page: str,
    values: dict[str, str],
    lists: dict[str, list[str]],
    problems: dict[str, str],
    is_draft: bool,
    text: str,
    judged: Judged | None = None,
) -> HttpResponse:
    """One page of the description, with what is known of the others."""
    shown, judged = sections(values, lists, problems), judged or _judged(values, lists, text)
    lacking = judged.wrong
    steps = steps_of(shown, lacking, page, lists)
    if not page:
        waits = [s.name for s in steps if s.state == "asked"]
        page = waits[0] if waits else "place"
        steps = steps_of(shown, lacking, page, lists)
    names = labels()
    general = [f"{names.get(key, '')}: {line}".lstrip(": ") for key, line in problems.items()]
    station = None if lacking or not text else judged.station
    context = {
        "sections": own_sections(shown, page), "general": general, "draft": is_draft, "is_new": not text,
        "months_problem": problems.get("months", ""), "page": page, "steps": steps,
        "question": PAGES[page][1] if page in PAGES else "",
        "open": not lacking, "gaps": gaps(station) if station else [],
        **_picture(page, values),
    }  # fmt: skip
    return render(request, "desk/station.html", context, status=400 if general else 200)


def _picture(page: str, values: dict[str, str]) -> dict[str, Any]:
    if page == "climate":
        return {"climate": climate_of(values)}
    return {"plan": plan_of(values)} if page in {"places", ALL} else {}


@require_http_methods(["POST"])
@calm
@guarded("station.description")
def picture(request: HttpRequest) -> HttpResponse:
    """The picture of what is typed on a page, before anything is kept."""
    values = {k: v for k, v in request.POST.items() if isinstance(v, str)}
    return render(request, "desk/_setup_picture.html", _picture(_asked_page(request), values))


class Judged(NamedTuple):
    """The file that would be written, every mistake at once by key, and the station where there is one."""

    made: str
    wrong: dict[str, str]
    station: Station | None = None


def _judged(values: dict[str, str], lists: dict[str, list[str]], text: str) -> Judged:
    """What comes of the fields as they stand."""
    data, wrong = from_post(values, lists)
    made = to_toml(data, text)
    try:
        station = parse_station(made)
    except StationFileError as error:
        told = _sort(error.lines)
        return Judged(made, {**{k: v for k, v in told.items() if k not in wrong}, **wrong})
    except InputError as error:
        return Judged(made, wrong | {error.where: f"{error.what} {error.fix}"})
    return Judged(made, wrong or _in_use(station), station)


def _in_use(station: Station) -> dict[str, str]:
    """What lots and books hold the description to; each as a sentence of its own."""
    found = {}
    for judge in (_keep_what_is_in_use, _keep_the_money):
        try:
            judge(station)
        except InputError as error:
            found[error.where or judge.__name__] = f"{error.what} {error.fix}".strip()
    return found


def _pasted(request: HttpRequest) -> str:
    """Rows of months, pasted or by file."""
    upload = request.FILES.get("months_file")
    if upload is None:
        return request.POST.get("paste_months", "").strip()
    if upload.size is not None and upload.size > 200_000:
        raise InputError("is far larger than twelve rows.", str(upload.name))
    return str(upload.read().decode("utf-8-sig", "replace"))


def _draft_file() -> Path:
    return Path(settings.DATA) / "station-draft.json"


def _draft() -> tuple[dict[str, str], dict[str, list[str]]] | None:
    """What was typed and not saved, if it is younger than the station file."""
    file = _draft_file()
    try:
        told = json.loads(file.read_text(encoding="utf-8"))
        return dict(told["values"]), {k: list(v) for k, v in told["lists"].items()}
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None


def _keep_draft(values: dict[str, str], lists: dict[str, list[str]]) -> None:
    """Keep what was typed, readable by this user only; a draft that cannot be kept stops nothing."""
    kept = {k: v for k, v in values.items() if k not in {"csrfmiddlewaretoken", "act", "paste_months"}}
    try:
        handle = os.open(_draft_file(), os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(handle, "w", encoding="utf-8") as out:
            json.dump({"values": kept, "lists": lists}, out)
    except OSError:
        return


def _forget_draft() -> None:
    _draft_file().unlink(missing_ok=True)


def _keep_what_is_in_use(station: Station) -> None:
    """Lots on their way keep their species, their drying table and the name of their place."""
    for lot in Lot.objects.exclude(
        stage__in=[s.name for s in stages().values() if s.lies == "store" or s.name == Stage.GONE]
    ):
        if lot.species not in station.species:
            raise InputError(
                say(
                    "Lot {code} is {species}; keep that species until it is stored.",
                    code=lot.code,
                    species=lot.species,
                )
            )
        if form_of_route(lot.route) not in station.drying or lot.route not in station.routes:
            raise InputError(
                say(
                    "Lot {code} goes {route_words}; keep that route and its drying table.",
                    code=lot.code,
                    route_words=lot.route_words(),
                )
            )
        if lot.stage == Stage.DRYING and lot.bed not in station.drying_places():
            raise InputError(
                say(
                    "'{bed}' has lot {code} drying on it; keep that name until it is bagged.",
                    bed=lot.bed,
                    code=lot.code,
                )
            )


def _keep_the_money(station: Station) -> None:
    """Books in one currency stay in it: another one, or other decimals, would say other amounts."""
    kept = Delivery.objects.order_by("-entry_id").first()
    now = station.money
    if kept and (kept.currency, kept.decimals) != (now.currency, now.decimals):
        raise InputError(
            say(
                "The books are in {currency} with {decimals} digits after the point; that stays.",
                currency=kept.currency,
                decimals=kept.decimals,
            ),
            "money.currency",
            "Begin new books for another currency.",
        )


def _sort(lines: list[str]) -> dict[str, str]:
    """Sentences by the field they are about, in the page's words; the rest under a number."""
    found: dict[str, str] = {}
    for number, line in enumerate(lines):
        match = re.match(r"^([a-z_]+(?:\.[A-Za-z0-9_]+)*)(:?\s+)(.*)$", line)
        if match and (
            "." in match[1] or match[1] in {"species", "routes", "weather", "drying", "money", "place"}
        ):
            found[match[1]] = in_words(match[3])
        else:
            found[f"sentence {number}"] = in_words(line)
    return found


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
