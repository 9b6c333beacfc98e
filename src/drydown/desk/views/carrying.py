"""Carry everything out, bring lists in."""

from __future__ import annotations

import base64
import tempfile
from typing import Any

from django import forms
from django.contrib import messages
from django.core import signing
from django.http import FileResponse, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods, require_safe

from drydown.books.copies.export import FORMATS, carry_out
from drydown.books.copies.imports import COLUMNS, keep, preview
from drydown.books.copies.tablefile import MOST_BYTES
from drydown.desk.context import need_station
from drydown.desk.people import guarded, who
from drydown.desk.views.problem import answered
from drydown.errors import InputError
from drydown.words import say

__all__ = ["bring_in", "everything"]

KINDS = [(kind, kind) for kind in COLUMNS]
TYPES = {
    "csv": ("application/zip", "zip"), "json": ("application/json", "json"),
    "xlsx": ("application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", "xlsx"),
}  # fmt: skip


class BringForm(forms.Form):
    """A list to look at."""

    kind = forms.ChoiceField(label=gettext_lazy("rows are"), choices=KINDS)
    file = forms.FileField(label=gettext_lazy("CSV (UTF-8) or XLSX file"), allow_empty_file=True)


@require_safe
@answered
@guarded("journal.carry")
def everything(request: HttpRequest, fmt: str) -> HttpResponse:  # noqa: ARG001
    """Every table in one file."""
    if fmt not in FORMATS:
        raise InputError(
            say("'{fmt}' is not a format.", fmt=fmt), fix=say("One of {formats}.", formats=", ".join(FORMATS))
        )
    content, ending = TYPES[fmt]
    spool: Any = tempfile.SpooledTemporaryFile(5_000_000)  # noqa: SIM115 (the answer closes it)
    carry_out(fmt, spool)
    spool.seek(0)
    name = f"drydown-{timezone.now():%Y%m%d}.{ending}"
    answer: HttpResponseBase = FileResponse(spool, as_attachment=True, filename=name, content_type=content)
    return answer  # type: ignore[return-value]


@require_http_methods(["GET", "HEAD", "POST"])
@answered
@guarded("journal.carry")
def bring_in(request: HttpRequest) -> HttpResponse:
    """Look at a list first; keep it when asked."""
    if "sealed" in request.POST:
        return _keep(request)
    form = BringForm(request.POST or None, request.FILES or None, label_suffix="")
    context: dict[str, Any] = {"form": form, "columns": COLUMNS}
    if request.method == "POST" and form.is_valid():
        upload = form.cleaned_data["file"]
        try:
            if upload.size > MOST_BYTES:
                raise InputError(
                    say("is larger than {most_bytes} MB.", most_bytes=MOST_BYTES // 1000000),
                    upload.name,
                    "Split it.",
                )
            content = upload.read()
            context["found"] = preview(form.cleaned_data["kind"], upload.name, content, need_station())
            text = base64.b64encode(content).decode()
            sealed = {"kind": form.cleaned_data["kind"], "name": upload.name, "content": text}
            context["sealed"] = signing.dumps(sealed, salt="bring", compress=True)
        except InputError as error:
            form.add_error(None, str(error))
    return render(request, "desk/bring.html", context, status=400 if form.errors else 200)


def _keep(request: HttpRequest) -> HttpResponse:
    """Keep what was looked at: the very same file, judged once more."""
    try:
        sealed = signing.loads(request.POST["sealed"], salt="bring", max_age=3600)
    except signing.BadSignature as error:
        raise InputError(
            "this list was looked at too long ago, or was changed.", fix="Choose it again."
        ) from error
    content = base64.b64decode(sealed["content"])
    found = preview(sealed["kind"], sealed["name"], content, need_station())
    if not found.good:
        raise InputError("there is nothing new to keep in it.", sealed["name"])
    count = keep(found, who(request))
    messages.success(request, _("%(n)d %(kind)s imported.") % {"n": count, "kind": found.kind})
    return redirect("bring")
