"""Size beans by a photo: measured here, kept with the sample's sheets."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from drydown.books.bench.sheets import record_sheet, sample_of
from drydown.books.journal.photos import MOST_BYTES, keep_photo
from drydown.desk.people import guarded, who
from drydown.desk.views.problem import answered
from drydown.desk.views.sampleforms import PhotoForm
from drydown.errors import InputError
from drydown.quality.photo.worker import measured_apart
from drydown.words import say

__all__ = ["add_photo"]


@require_http_methods(["GET", "HEAD", "POST"])
@answered
@guarded("samples.taken", write=True)
def add_photo(request: HttpRequest, number: int) -> HttpResponse:
    """Measure a photo and keep it, or say why it cannot be used."""
    sample = sample_of(number)
    form = PhotoForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        try:
            upload = form.cleaned_data["photo"]
            if upload.size > MOST_BYTES:
                raise InputError(
                    say("is larger than {most_bytes} MB.", most_bytes=MOST_BYTES // 1000000),
                    "photo",
                    "Take it smaller.",
                )
            content = upload.read()
            at = form.stated()
            found = measured_apart(content)
            told = {"photo": keep_photo(content), "table": form.cleaned_data["table"], **found}
            record_sheet("photo", told, form.cleaned_data["key"], at, who(request), sample=number)
        except InputError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("%(n)d beans measured.") % {"n": len(found["widths_mm"])})
            return redirect("sample", number=number)
    context = {"form": form, "sample": sample, "lot": sample.lot}
    return render(request, "desk/photo.html", context, status=400 if form.errors else 200)
