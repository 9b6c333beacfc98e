"""What is done to a lot on its page: a step, a moisture reading."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from drydown.books.lots.readings import readable, record_reading
from drydown.books.lots.states import yard_now
from drydown.books.lots.take import take_step
from drydown.books.models import Lot, Reading
from drydown.books.people.access import NotAllowedError
from drydown.desk.context import need_station
from drydown.desk.lotsteps import (
    hours_words,
    may_take,
    step_asks,
)
from drydown.desk.people import guarded, told, who
from drydown.desk.views.forms import ReadingForm, StepForm
from drydown.desk.views.lot import whole_page
from drydown.desk.views.problem import answered
from drydown.errors import InputError
from drydown.outlook.cautions import cautions
from drydown.way.order import may_follow
from drydown.way.order import step as find_step
from drydown.way.order import steps as all_steps
from drydown.words import say

__all__ = ["reading", "step"]


@require_http_methods(["GET", "HEAD", "POST"])
@answered
def step(request: HttpRequest, code: str) -> HttpResponse:
    """Record a step that can follow; loaded anew after a refusal, it is the lot's page."""
    if request.method != "POST":
        return redirect("lot", code=code)
    lot, station = get_object_or_404(Lot, code=code), need_station()
    kind = request.POST.get("kind", "")
    if kind not in all_steps():
        raise InputError(say("'{kind}' is not a step.", kind=kind), code)
    if not may_take(request, kind):
        raise NotAllowedError(_("Your role does not record this step. Ask the owner."))
    if kind not in may_follow(lot.route, lot.stage):
        words = _("Not recorded: the lot is %(stage)s already. Someone else may have been quicker.")
        messages.error(request, words % {"stage": lot.stage_words()})
        return redirect("lot", code=code)
    form = StepForm(
        step_asks(kind, lot, station), station, request.POST, auto_id=f"id_{kind}_%s",
        yard=yard_now(station, without=lot), hours=hours_words(kind, lot, station),
    )  # fmt: skip
    if form.is_valid():
        try:
            key, at = form.cleaned_data["key"], form.stated()
            taken = take_step(lot, kind, key, at, who(request), form.details(), station)
        except InputError as error:
            form.add_error(None, str(error))
        else:
            told(request, _("Recorded: %s.") % _(find_step(kind).past), taken.happening.entry_id)
            for odd in taken.findings:
                messages.warning(request, f"{odd.words} [{odd.source.text}, {odd.source.status}]")
            if kind == "sample":
                return redirect("sample", number=taken.happening.entry_id)
            return redirect("lot", code=code)
    return whole_page(request, lot, station, bound=(kind, form))


@require_http_methods(["GET", "HEAD", "POST"])
@answered
@guarded("readings.moisture")
def reading(request: HttpRequest, code: str) -> HttpResponse:
    """Record a moisture reading; loaded anew after a refusal, it is the lot's page."""
    if request.method != "POST":
        return redirect("lot", code=code)
    lot, station = get_object_or_404(Lot, code=code), need_station()
    form = ReadingForm(request.POST)
    if not readable(lot):
        raise InputError(
            say(
                "is {stage_words}, so it is not spread yet, or gone; a reading belongs to a drying "
                "or stored lot.",
                stage_words=lot.stage_words(),
            ),
            code,
        )
    if form.is_valid():
        data = form.cleaned_data
        try:
            kept = record_reading(
                lot, data["key"], data["moisture"], data["method"], data["bean_temp"], form.stated(),
                who(request),
            )  # fmt: skip
        except InputError as error:
            form.add_error(None, str(error))
        else:
            _warn_of_rise(request, lot, kept)
            words = _("Recorded: %(m)g %% wet basis.") % {"m": round(kept.moisture_wb * 100, 6)}
            told(request, words, kept.entry_id)
            return redirect("lot", code=code)
    return whole_page(request, lot, station, reading_form=form)


def _warn_of_rise(request: HttpRequest, lot: Lot, kept: Reading) -> None:
    """A lot that reads two points wetter than before in time was rewetted, or one reading is wrong."""
    earlier = lot.readings.filter(undone=False, happened_at__lte=kept.happened_at).exclude(pk=kept.pk)
    before = earlier.order_by("-happened_at", "-entry_id").first()
    rise = 100.0 * (kept.moisture_wb - before.moisture_wb) if before is not None else 0.0
    if rise > 2.0:
        words = _("%(rise).1f points wetter than the reading before: was it rewetted? %(caution)s")
        messages.warning(request, words % {"rise": rise, "caution": cautions("mould")[0].text})
