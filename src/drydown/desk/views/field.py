"""The page that works without network, its worker, and outboxes carried by file."""

from __future__ import annotations

import json
from importlib.resources import files
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods, require_safe
from pydantic import ValidationError

from drydown.books.daybook.acts import BED_KINDS
from drydown.books.models import Device
from drydown.books.people.access import NotAllowedError
from drydown.desk.api.shapes import OutboxIn
from drydown.desk.fieldwork import keep_each
from drydown.desk.people import device, guarded, may_here
from drydown.desk.views.problem import answered
from drydown.errors import InputError
from drydown.way.order import step
from drydown.words import say

__all__ = ["carry_in", "count", "field", "worker"]

MOST_BYTES = 5_000_000
WORDS = {
    "number": gettext_lazy("not a number, or could be read two ways:"),
    "choose": gettext_lazy("choose"),
    "offline": gettext_lazy("No network: notes are kept on this phone."),
    "discarded": gettext_lazy("given up"),
    "why": gettext_lazy("Write a reason first."),
    "reason": gettext_lazy("reason"),
    "giveup": gettext_lazy("Give it up"),
    "edit": gettext_lazy("Edit it"),
    "editing": gettext_lazy("Edit this note, then note it anew; the old one is given up. Number"),
    "edited": gettext_lazy("edited"),
    "improbable": gettext_lazy("is it right?"),
    "mend": gettext_lazy("Mend the weight, then note it."),
    "tare": gettext_lazy("Write the empty weight, 0 if tared, or choose containers."),
    "swapped": gettext_lazy("The empty container weighs as much as the full one. Were the two swapped?"),
    "unknown": gettext_lazy("No grower with this number was known when this phone was last online:"),
    "choose_both": gettext_lazy("Choose species and route."),
    "everywhere": gettext_lazy("all places"),
    "choose_lot": gettext_lazy("Choose a lot."),
    "method": gettext_lazy("Name the meter or oven method."),
    "kept": gettext_lazy("Noted on this phone as number"),
    "sample": gettext_lazy("sample"),
    "nostate": gettext_lazy("Open this page once with network first, so that it knows the station."),
}


COUNT_WORDS = {
    "choose": gettext_lazy("choose"),
    "offline": gettext_lazy("No network: the count is kept on this phone."),
    "kept": gettext_lazy("Noted on this phone as number"),
    "nostate": gettext_lazy("Open this page once with network first, so that it knows samples and schemes."),
    "mass": gettext_lazy("Write the mass that was counted, in grams, without thousands marks."),
    "sample": gettext_lazy("Choose a sample."),
    "scheme": gettext_lazy("Choose a scheme."),
    "full": gettext_lazy("full defects"),
    "pieces": gettext_lazy("pieces"),
    "counts": gettext_lazy("counts"),
    "none": gettext_lazy("Nothing was counted. If there were no defects, tick that."),
    "other_mass": gettext_lazy("This scheme counts a sample of"),
    "too_much": gettext_lazy("More was counted than was taken:"),
    "not_clean": gettext_lazy("Pieces were counted, and no defects is ticked. Which is it?"),
    "sure": gettext_lazy("Throw this count away?"),
    "elsewhere": gettext_lazy(
        "The counting sheet is open on another page of this phone. Close that one, then open this anew."
    ),
}


@require_safe
@answered
def field(request: HttpRequest) -> HttpResponse:
    """Weigh in and read moisture, with or without network."""
    weighs = may_here(request, "deliveries.weights", write=True)
    reads = may_here(request, "readings.moisture", write=True)
    if not (weighs or reads):
        raise NotAllowedError(_("Your role neither weighs in nor reads moisture. Ask the owner."))
    words = {k: str(v) for k, v in WORDS.items()}
    context: dict[str, Any] = {"weighs": weighs, "reads": reads, "device": device(request), "words": words}
    if may_here(request, "lots.way", write=True):
        context["kinds"] = [(kind, _(step(kind).words)) for kind in BED_KINDS]
    context["counts"] = may_here(request, "samples.taken", write=True)
    return render(request, "desk/field.html", context)


@require_safe
@answered
@guarded("samples.taken", write=True)
def count(request: HttpRequest) -> HttpResponse:
    """Count defects with big keys, with or without network."""
    words = {k: str(v) for k, v in COUNT_WORDS.items()}
    return render(request, "desk/count.html", {"device": device(request), "words": words})


@require_safe
def worker(request: HttpRequest) -> HttpResponse:  # noqa: ARG001
    """The worker that keeps the page on the phone."""
    text = (files("drydown.desk") / "static" / "desk" / "worker.js").read_text(encoding="utf-8")
    response = HttpResponse(text, content_type="text/javascript")
    response.headers["Cache-Control"] = "no-cache"
    return response


@require_http_methods(["GET", "HEAD", "POST"])
@answered
@guarded("devices.enrolled")
def carry_in(request: HttpRequest) -> HttpResponse:
    """An outbox that came by file: the same items, the same answers."""
    answers: list[Any] = []
    if request.method == "POST":
        upload = request.FILES.get("file")
        if upload is None or upload.size is None:
            raise InputError("no file was chosen.", "outbox")
        if upload.size > MOST_BYTES:
            raise InputError(
                say("is larger than {most_bytes} MB.", most_bytes=MOST_BYTES // 1000000), str(upload.name)
            )
        sender, outbox = _read(upload.read())
        answers = keep_each(outbox.items, sender, request.user, "")
        kept = sum(a.outcome == "kept" for a in answers)
        words = _("%(kept)d of %(all)d items are in the books.")
        messages.success(request, words % {"kept": kept, "all": len(answers)})
        if kept == len(answers):
            return redirect("devices")
    return render(request, "desk/carry.html", {"answers": answers})


def _read(content: bytes) -> tuple[Device, OutboxIn]:
    try:
        data = json.loads(content.decode("utf-8"))
        if not isinstance(data, dict) or data.pop("shape", None) != "drydown.outbox/1":
            raise ValueError("not an outbox of Drydown")
        name = str(data.pop("device", ""))
        outbox = OutboxIn.model_validate(data)
    except (UnicodeDecodeError, ValueError, ValidationError, RecursionError) as error:
        words = str(error).splitlines()[0][:120]
        raise InputError(
            say("cannot be read ({words}).", words=words), "outbox", "Save it from the Field page again."
        ) from error
    sender = Device.objects.filter(name=name, closed_at=None).order_by("-id").first()
    if sender is None:
        raise InputError(say("no enrolled device is called '{value}'.", value=name[:60]), "outbox")
    return sender, outbox
