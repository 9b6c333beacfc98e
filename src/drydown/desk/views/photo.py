"""Size beans by a photo: measured here, kept with the sample's sheets."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from drydown.books.bench import record_sheet, sample_of
from drydown.books.photos import MOST_BYTES, keep_photo
from drydown.desk.people import guarded, who
from drydown.desk.views.benchforms import PhotoForm
from drydown.desk.views.problem import answered
from drydown.errors import InputError
from drydown.quality.photo import Photo, colour_summary, measure_photo, read_picture

__all__ = ["add_photo"]


def _told(found: Photo, name: str, table: str) -> dict[str, Any]:
    """A measured photo as the books keep it: axes to a hundredth of a millimetre."""
    colour = colour_summary(found.beans)
    return {
        "photo": name, "table": table,
        "widths_mm": [round(b.width_mm, 2) for b in found.beans],
        "lengths_mm": [round(b.length_mm, 2) for b in found.beans],
        "px_per_mm": round(found.px_per_mm, 2), "tilt_deg": round(found.tilt_deg, 1),
        "left_out": found.left_out, "remarks": list(found.remarks),
        "colour": {
            "lightness": round(colour.lightness, 1), "a": round(colour.a, 1), "b": round(colour.b, 1),
            "spread": round(colour.spread, 1), "odd": colour.odd,
        },
    }  # fmt: skip


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
                raise InputError(f"is larger than {MOST_BYTES // 1_000_000} MB.", "photo", "Take it smaller.")
            content = upload.read()
            at = form.stated()
            found = measure_photo(read_picture(content))
            told = _told(found, keep_photo(content), form.cleaned_data["table"])
            record_sheet("photo", told, form.cleaned_data["key"], at, who(request), sample=number)
        except InputError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("%(n)d beans measured.") % {"n": len(found.beans)})
            return redirect("sample", number=number)
    context = {"form": form, "sample": sample, "lot": sample.lot}
    return render(request, "desk/photo.html", context, status=400 if form.errors else 200)
