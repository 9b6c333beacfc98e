"""The day: what must be done now, done or put off with one tap; and its private calendar."""

from __future__ import annotations

import uuid
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any
from urllib.parse import quote

from django.contrib import messages
from django.contrib.auth.models import User
from django.core import signing
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from drydown.books.daybook.acts import Outcome, do_line
from drydown.books.daybook.gather import day_now
from drydown.books.daybook.marks import say_of
from drydown.books.daybook.plans import last_accepted
from drydown.books.lots.air import say_day
from drydown.books.people.access import may, need, role_of
from drydown.day.line import ORDER_SOURCE, Line, Rank
from drydown.day.lines import Lines, lines_of
from drydown.day.now import DayNow
from drydown.desk.alarms import mail_state
from drydown.desk.context import need_station
from drydown.desk.dayview import side_of, when_words
from drydown.desk.listening import state
from drydown.desk.people import guarded, may_here, role, told, who
from drydown.desk.views.problem import answered
from drydown.errors import InputError
from drydown.outlook.skies import DAY_WORDS
from drydown.plan.feed import Event, feed, task_key
from drydown.way.order import steps as all_steps
from drydown.words import say

__all__ = ["ahead", "calendar", "day", "line_done", "line_later", "sky"]

AT_ONCE_S, FILLING_S = 0.8, 2.0
SALT = "day-calendar"
JOINED = {"hold", "faster", "late"}
"""Kinds of lines that stand for many lots: one more may have joined since the page was made."""
MOST_WALK, SHOWN = 4, 4
"""Lots of a place named on a walk, and lines that stand open; the rest is folded."""


@require_safe
@answered
@guarded("lots.way")
def day(request: HttpRequest) -> HttpResponse:
    """What must be done now, what can wait, what is going wrong."""
    filling = request.headers.get("HX-Request") is not None
    here, lines = _lines(request, FILLING_S if filling else AT_ONCE_S)
    pressing = [_row(x, here.now) for x in lines.now if x.rank < Rank.LATER]
    context = {
        "day": here, "side": side_of(here), "rows": pressing[:SHOWN], "more": pressing[SHOWN:],
        "later": [_row(x, here.now) for x in lines.now if x.rank == Rank.LATER],
        "off": [(x, here.put_off[x.key]) for x in lines.put_off], "order": ORDER_SOURCE,
        "sky_words": DAY_WORDS,
        "calendar": reverse("day-calendar", args=[_token(request.user)]), "key": uuid.uuid4(),
    }  # fmt: skip
    return render(request, "desk/day.html", context)


@require_safe
@answered
@guarded("lots.way")
def ahead(request: HttpRequest) -> HttpResponse:
    """What stands beside the lines, alone, for a narrow screen."""
    here, _lines_too = _lines(request, FILLING_S)
    context = {"day": here, "side": side_of(here), "sky_words": DAY_WORDS, "key": uuid.uuid4()}
    return render(request, "desk/dayahead.html", context)


def _lines(request: HttpRequest, budget_s: float) -> tuple[DayNow, Lines]:
    here = day_now(need_station(), timezone.now(), budget_s, may_here(request, "deliveries.money"))
    away, _since = state()
    unsent = mail_state()
    more = [(key, words) for key, words in (("broker", away), ("mail", unsent)) if words]
    here = replace(here, troubles=(*here.troubles, *more)) if more else here
    return here, lines_of(here)


def _row(line: Line, now: datetime) -> dict[str, Any]:
    large, small = when_words(line, now)
    codes = [c for c in line.lots if c in str(line.verb)]
    return {
        "line": line, "when": large, "far": small, "key": uuid.uuid4(), "asks": _asks(line),
        "bad": line.rank == Rank.DANGER or line.mark == "lose", "code": codes[0] if len(codes) == 1 else "",
        "puts": [(h, _put_words(h)) for h in line.puts],
        "walk": [(name, own[:MOST_WALK], max(len(own) - MOST_WALK, 0)) for name, own in line.walk],
    }  # fmt: skip


def _put_words(hours: int) -> str:
    if hours >= 168:
        return _("1 week")
    return (
        _("until tomorrow")
        if hours == 24
        else _("%d days") % (hours // 24)
        if hours > 24
        else _("%d h") % hours
    )


def _asks(line: Line) -> str:
    """Address of the page that a line must be done on; empty where one tap does it."""
    what, _sep, rest = line.asks.partition(":")
    if what == "lot":
        code, _sep, kind = rest.rpartition(":")
        return f"{reverse('lot', args=[code])}?do={quote(kind)}#do"
    if what == "round":
        return f"{reverse('round')}?of={quote(rest)}"
    return reverse("pay-run") if what == "pay" else ""


def _found(request: HttpRequest) -> tuple[DayNow, Line | None]:
    """The line that a tap means, as it stands now."""
    here, lines = _lines(request, FILLING_S)
    wanted = request.POST.get("line", "")
    every = (*lines.now, *lines.put_off)
    same = next((x for x in every if x.key == wanted), None)
    of_the_day = wanted.rpartition(":")[0] if wanted.partition(":")[0] in JOINED else None
    return here, same or next((x for x in every if x.key.rpartition(":")[0] == of_the_day), None)


def _key(request: HttpRequest) -> uuid.UUID:
    try:
        return uuid.UUID(request.POST.get("key", ""))
    except ValueError as error:
        raise InputError("this form has no key.", fix="Open the page anew.") from error


@require_POST
@answered
@guarded("lots.way")
def line_done(request: HttpRequest) -> HttpResponse:
    """A line is done: its step for every lot, or a word that it was."""
    here, line = _found(request)
    if line is None:
        messages.info(request, _("This line is no longer open: someone was quicker, or it is no longer so."))
        return redirect("day")
    if line.act is None:
        return redirect(_asks(line) or "day")
    if line.act.kind:
        need(role(request), all_steps()[line.act.kind].area, write=True)
    _tell(request, line, do_line(line, _key(request), here.now, who(request), here.station))
    return redirect("day")


def _tell(request: HttpRequest, line: Line, out: Outcome) -> None:
    """Say what was kept, what was refused and why, and what looked odd."""
    if out.entry is not None:
        told(request, _("Recorded: %s.") % line.done, out.entry)
    for code, why in out.refused[:5]:
        messages.error(request, f"{code}: {why}")
    for odd in out.findings[:5]:
        messages.warning(request, f"{odd.words} [{odd.source.text}, {odd.source.status}]")


@require_POST
@answered
@guarded("lots.way")
def line_later(request: HttpRequest) -> HttpResponse:
    """A line is put off, for some hours, with a reason where one was written."""
    here, line = _found(request)
    if line is None:
        messages.info(request, _("This line is no longer open: someone was quicker, or it is no longer so."))
        return redirect("day")
    try:
        hours = int(request.POST.get("hours", ""))
    except ValueError as error:
        raise InputError("say for how many hours.", "put off") from error
    if hours not in line.puts:
        raise InputError(
            say("a line like this is put off for {puts} h.", puts=", ".join(map(str, line.puts))), "put off"
        )
    until, reason = here.now + timedelta(hours=hours), request.POST.get("reason", "")
    entry = say_of(line, "put off", until, reason, _key(request), here.now, who(request))
    told(request, _("Put off until %s.") % until.strftime("%H:%M" if hours < 24 else "%d.%m."), entry.pk)
    return redirect("day")


@require_POST
@answered
@guarded("lots.way")
def sky(request: HttpRequest) -> HttpResponse:
    """What a day was: dry, showers, or rain all day."""
    try:
        when = date.fromisoformat(request.POST.get("day", ""))
    except ValueError as error:
        raise InputError("is no date.", "day") from error
    entry = say_day(when, request.POST.get("word", ""), _key(request), who(request))
    told(request, _("Recorded: the day was %s.") % _(entry.facts["word"]), entry.pk)
    return redirect("day")


def _token(user: Any) -> str:
    """A private address: it names the user and the password of today, so that a new password ends it."""
    return signing.dumps([user.pk, user.password[-12:]], salt=SALT, compress=True)


@require_safe
def calendar(request: HttpRequest, token: str) -> HttpResponse:  # noqa: ARG001
    """The day's lines that have an hour, as a calendar (RFC 5545), for whoever holds the private address."""
    try:
        pk, word = signing.loads(token, salt=SALT)
    except signing.BadSignature as error:
        raise Http404 from error
    user = User.objects.filter(pk=pk, is_active=True).first()
    if user is None or user.password[-12:] != word or not may(role_of(user), "lots.way"):
        raise Http404
    station = need_station()
    here = day_now(station, timezone.now(), AT_ONCE_S, may(role_of(user), "deliveries.money"))
    text = _calendar_text(station.place.name, lines_of(here).now, here.now, _planned(here.now))
    response = HttpResponse(text, content_type="text/calendar; charset=utf-8")
    response.headers["Cache-Control"] = "private, no-store"
    return response


def _planned(now: datetime) -> list[dict[str, Any]]:
    """Tasks of the accepted plan that are further off than the day's lines reach."""
    found = last_accepted()
    tasks = found.tasks if found else ()
    return [t for t in tasks if not t["expected"] and t["begin"] > now + timedelta(hours=12)]


def _calendar_text(name: str, lines: tuple[Line, ...], now: datetime, planned: list[dict[str, Any]]) -> bytes:
    events = [
        *(e for line in lines if (e := _event(line)) is not None),
        *(
            Event(
                task_key(t["kind"], t["lot"], t["begin"]), t["begin"].astimezone(UTC),
                t["end"].astimezone(UTC), t["words"],
            )
            for t in planned
        ),
    ]  # fmt: skip
    return feed(name, "Day", events, now.astimezone(UTC))


def _event(line: Line) -> Event | None:
    """A line that has an hour: from when it opens until it ends, else the half hour before."""
    moment = line.until or line.opens
    if moment is None:
        return None
    opens = line.opens if line.opens and line.until and line.opens < line.until else None
    begin = opens or moment - timedelta(minutes=30)
    why = " ".join(filter(None, (str(line.reason), str(line.band))))
    return Event(line.key, begin.astimezone(UTC), moment.astimezone(UTC), str(line.verb), why)
