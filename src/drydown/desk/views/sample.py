"""The bench: samples, their sheets, the grade, the report."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from django.http import FileResponse, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from drydown.books.bench.contracts import contract_troubles, known_scheme, known_schemes
from drydown.books.bench.sheets import latest, lots_sampled, record_sheet, sample_of
from drydown.books.journal.photos import photo_file
from drydown.books.models import BenchSheet, Happening
from drydown.desk.chart import screens_svg
from drydown.desk.context import need_station
from drydown.desk.people import guarded, told, who
from drydown.desk.prints import languages
from drydown.desk.sampleprint import report_pdf
from drydown.desk.sampleview import BenchView, bench_view, sheet_words
from drydown.desk.stairs import stairs
from drydown.desk.views.forms import Keyed
from drydown.desk.views.problem import answered
from drydown.desk.views.sampleforms import CountForm, PhotoForm, sheet_forms
from drydown.errors import InputError
from drydown.outlook.cautions import FIRST
from drydown.quality.photo import HONEST
from drydown.quality.scheme import Scheme
from drydown.way.hurts import at_step
from drydown.words import say

__all__ = ["add_count", "add_sheet", "bench", "sample_page", "sample_photo", "sample_report", "screens"]


@require_safe
@answered
@guarded("samples.taken")
def bench(request: HttpRequest) -> HttpResponse:
    """Samples, newest first, and tasting sessions."""
    rows = lots_sampled()
    done: dict[int, set[str]] = {}
    for number, kind in BenchSheet.objects.filter(
        sample_no__in=[h.entry_id for h in rows], undone=False
    ).values_list("sample_no", "kind"):
        done.setdefault(number or 0, set()).add(kind)
    kinds = dict(BenchSheet.Kind.choices)
    samples = [(h, [kinds[k] for k in kinds if k in done.get(h.entry_id, set())]) for h in rows]
    sessions = BenchSheet.objects.filter(kind="session", undone=False).order_by("-entry_id")[:50]
    return render(
        request,
        "desk/bench.html",
        {"samples": samples, "sessions": sessions, "troubles": contract_troubles()},
    )


def _named(request: HttpRequest, sample: Happening) -> str:
    """The scheme asked for, else that of the last count."""
    asked = request.GET.get("scheme") or request.POST.get("scheme", "")
    if asked:
        return known_scheme(asked).name if _known(asked) else ""
    last = latest(sample.entry_id, "count")
    name = str(last.told["scheme"]) if last else ""
    return known_scheme(name).name if _known(name) else ""


def _known(name: str) -> bool:
    return any(name in (s.name, *s.formerly) for s in known_schemes())


def _serves(rules: Scheme, sample: Happening) -> bool:
    """Whether a scheme is for the sample's species."""
    return not rules.species or sample.lot.species in rules.species


def _query(request: HttpRequest, name: str) -> str:
    """The scheme and the options chosen, to take along to the report."""
    rules = known_scheme(name) if name else None
    return urlencode({"scheme": name, **{f"option {k}": v for k, v in _choices(request, rules).items()}})


def _choices(request: HttpRequest, rules: Scheme | None) -> dict[str, str]:
    """Where sources differ: what was chosen on the page."""
    if rules is None:
        return {}
    asked = {o.name: request.GET.get(f"option {o.name}", "") for o in rules.options}
    return {name: choice for name, choice in asked.items() if choice}


@require_safe
@answered
@guarded("samples.taken")
def sample_page(request: HttpRequest, number: int) -> HttpResponse:
    """One sample: chain of hands, sheets, figures, grade."""
    return _page(request, sample_of(number))


def _page(request: HttpRequest, sample: Happening, bound: tuple[str, Keyed] | None = None) -> HttpResponse:
    name, prices = _named(request, sample), request.GET.get("prices", "")[:500]
    rules = known_scheme(name) if name else None
    view = bench_view(sample, need_station(), name, _choices(request, rules), prices)
    kinds = dict(BenchSheet.Kind.choices)
    made = {kind: form(auto_id=f"id_{kind}_%s") for kind, form in sheet_forms().items()}
    forms: dict[str, Keyed] = {**made, "photo": PhotoForm(auto_id="id_photo_%s")}
    if bound and bound[0] != "count":
        forms[bound[0]] = bound[1]
    count = (
        bound[1]
        if bound and bound[0] == "count"
        else CountForm(rules, auto_id="id_count_%s")
        if rules
        else None
    )
    context = {
        "stairs": stairs([(name, held) for name, held, _share in view.screens]),
        "view": view, "sample": sample, "lot": sample.lot, "scheme_name": name, "prices": prices,
        "schemes": [(s.name, s.words) for s in known_schemes() if _serves(s, sample)],
        "count_form": count,
        "forms": [(kind, kinds[kind], form) for kind, form in forms.items()],
        "bound": bound[1] if bound else None,
        "bound_kind": bound[0] if bound else "", "rows": [(s, sheet_words(s)) for s in view.sheets],
        "chosen": _query(request, name), "honest": HONEST,
        "cautions": at_step("sample", "store"), "local_first": FIRST, "options": _shown_options(view),
        "languages": languages().items(),
    }  # fmt: skip
    return render(request, "desk/sample.html", context, status=400 if bound else 200)


def _shown_options(view: BenchView) -> list[tuple[str, str, list[str]]]:
    """Options of the scheme: name, what is chosen, the choices."""
    if view.graded is None:
        return []
    found = view.graded.verdict
    return [(o.name, found.options[o.name], list(o.choices)) for o in found.scheme.options]


@require_http_methods(["POST"])
@answered
@guarded("samples.taken")
def add_sheet(request: HttpRequest, number: int, kind: str) -> HttpResponse:
    """Keep a typed sheet of a sample."""
    sample = sample_of(number)
    known = sheet_forms()
    if kind not in known:
        raise InputError(say("'{kind}' is not a sheet that is typed here.", kind=kind), "bench")
    return _keep(request, sample, kind, known[kind](request.POST, request.FILES, auto_id=f"id_{kind}_%s"))


@require_http_methods(["POST"])
@answered
@guarded("samples.taken")
def add_count(request: HttpRequest, number: int) -> HttpResponse:
    """Keep a typed count."""
    sample = sample_of(number)
    name = request.POST.get("scheme", "")
    if not _known(name):
        raise InputError("no scheme was chosen.", "count")
    return _keep(request, sample, "count", CountForm(known_scheme(name), request.POST, auto_id="id_count_%s"))


def _keep(request: HttpRequest, sample: Happening, kind: str, form: Any) -> HttpResponse:
    if form.is_valid():
        try:
            data = form.cleaned_data
            made = record_sheet(
                kind, form.told(), data["key"], form.stated(), who(request), sample=sample.entry_id
            )
        except InputError as error:
            form.add_error(None, str(error))
        else:
            told(request, _("Recorded: %s.") % dict(BenchSheet.Kind.choices)[kind], made.entry_id)
            return redirect("sample", number=sample.entry_id)
    return _page(request, sample, (kind, form))


@require_safe
@answered
@guarded("samples.taken")
def screens(request: HttpRequest, number: int) -> HttpResponse:
    """Shares by screen as a picture; of the photo when asked."""
    view = bench_view(sample_of(number), need_station())
    if request.GET.get("by") == "photo":
        rows = [(r.number, 100 * r.by_mass) for r in view.photo_rows]
    else:
        rows = [(name, percent) for name, percent, _share in view.screens]
    if not rows:
        raise InputError("nothing was sieved.", say("sample {number}", number=number))
    response = HttpResponse(screens_svg(rows), content_type="image/svg+xml")
    response.headers["Content-Security-Policy"] = "default-src 'none'; style-src 'unsafe-inline'"
    return response


@require_safe
@answered
@guarded("samples.taken")
def sample_photo(request: HttpRequest, number: int) -> Any:  # noqa: ARG001
    """The photo a sample was sized by."""
    sheet = latest(sample_of(number).entry_id, "photo")
    file = photo_file(str(sheet.told["photo"])) if sheet else None
    if file is None:
        raise InputError("has no photo.", say("sample {number}", number=number))
    kind = "image/png" if file.suffix == ".png" else "image/jpeg"
    return FileResponse(file.open("rb"), content_type=kind)


@require_safe
@answered
@guarded("samples.taken")
def sample_report(request: HttpRequest, number: int) -> HttpResponse:
    """The report on a sample, to print, in the language asked for."""
    sample = sample_of(number)
    name, station = _named(request, sample), need_station()
    rules = known_scheme(name) if name else None
    view = bench_view(sample, station, name, _choices(request, rules))
    asked = request.GET.get("language", "")
    content = report_pdf(view, station, timezone.now(), asked if asked in languages() else "en")
    response = HttpResponse(content, content_type="application/pdf")
    response.headers["Content-Disposition"] = f'inline; filename="sample-{number}.pdf"'
    return response
