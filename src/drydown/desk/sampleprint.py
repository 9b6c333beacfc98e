"""A sample's report: what was drawn, measured, counted, and which limits it keeps."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.conf import settings

from drydown.books.models import BenchSheet
from drydown.desk.prints import pdf, words
from drydown.desk.sampleview import BenchView, Graded
from drydown.figures import Figure
from drydown.quality.grade import NO_GRADE, OR_BETTER, Verdict
from drydown.station.model import Station
from drydown.words import say

__all__ = ["report_pdf"]

KEPT = {True: "met", False: "not_met", None: "unknown"}


def _figure(name: str, found: Figure) -> list[str]:
    said = [f"{k}: {v}" for k, v in found.inputs.items()]
    said += [f"[{s.text}, {s.status}]" for s in found.sources]
    return [name.replace("_", " "), f"{found.text()} {found.band}", "; ".join(said)]


def _grade(found: Graded | None, said: dict[str, str]) -> dict[str, Any] | None:
    if found is None:
        return None
    verdict = found.verdict
    rules = verdict.scheme
    counts = [
        [rules.defect(code).words, str(n), f"{float(verdict.counted.get(code, 0)):g}"]
        for code, n in verdict.sheet.counts.items() if n
    ]  # fmt: skip
    notes = [verdict.scaled[:1].upper() + verdict.scaled[1:] + "."] if verdict.scaled else []
    notes += [say("Sources differ on {k}: taken as '{v}'.", k=k, v=v) for k, v in verdict.options.items()]
    for better in verdict.possible:
        lacks = ", ".join(m.words for m in better.open)
        notes.append(f"'{better.grade.name.strip()}' {said['stays_open']}: {lacks}.")
    return {
        "scheme": rules.words, "grade": _headline(verdict, said),
        "counted": f"{verdict.sheet.sample_g:g} g" + _and_none(verdict, said),
        "masses": [[rules.defect(c).words, f"{g:g}"] for c, g in verdict.sheet.masses_g.items()
                   if c in {d.code for d in rules.defects}], "limits_of": found.best.grade.name.strip(),
        "total": found.total.text() + " (95 %)" if found.total else "", "counts": counts,
        "limits": [[m.words, m.found, m.allowed, said[KEPT[m.kept]]] for m in found.limits],
        "chances": [[name, f"{100 * p:.0f} %"] for name, p in found.chances.items()],
        "notes": [n for n in (*notes, rules.rounding_note, *rules.notes) if n],
        "sources": [f"{s.text} ({s.status})" for s in verdict.sources()],
    }  # fmt: skip


def _and_none(verdict: Verdict, said: dict[str, str]) -> str:
    return f"; {said['rest_none']}" if verdict.sheet.rest_none else ""


def _headline(verdict: Verdict, said: dict[str, str]) -> str:
    """The grade in the language of the sheet; what the scheme itself says stays as it says it."""
    return verdict.headline.replace(NO_GRADE, said["no_grade"]).replace(OR_BETTER, f" {said['or_better']}")


def _drawn(view: BenchView, said: dict[str, str]) -> list[list[str]]:
    told = view.sample.details
    names = {
        "sample_g": (said["taken"], "g"), "bags_in_lot": (said["bags_in_lot"], ""),
        "bags_opened": (said["bags_opened"], ""), "kept_back_g": (said["kept_back"], "g"),
        "tool": (said["tool"], ""), "drawn_by": (said["drawn_by"], ""), "purpose": (said["purpose"], ""),
    }  # fmt: skip
    rows = []
    for key, (name, unit) in names.items():
        if key in told:
            value = f"{told[key]:g}" if isinstance(told[key], int | float) else str(told[key])
            rows.append([name, f"{value} {unit}".strip()])
    return rows


def _time(at: datetime, zone: Any) -> str:
    return f"{at.astimezone(zone):%d %b %Y %H:%M}"


def _hands(view: BenchView, zone: Any) -> list[list[str]]:
    return [
        [_time(s.happened_at, zone), *(str(s.told[k]) for k in ("part", "mass_g", "to", "mark"))]
        for s in view.sheets
        if s.kind == BenchSheet.Kind.HANDED and not s.undone
    ]


def _notes(view: BenchView) -> list[str]:
    """What a reader of the sizes should know."""
    found: list[str] = []
    if view.screens and view.bean_g:
        found.append(
            say(
                "Intervals of the sieves reckon with {bean_g:g} g a bean, assumed: none was weighed.",
                bean_g=view.bean_g,
            )
        )
    if view.peaberry_percent is not None:
        found.append(f"Peaberries: {view.peaberry_percent:.1f} % m/m.")
    if view.photo:
        found.append(
            say("Photo: {told} beans; not held against sieves.", told=len(view.photo.told["widths_mm"]))
        )
        found += view.photo.told["remarks"]
    if view.trouble:
        found.append(say("Not graded: {trouble}", trouble=view.trouble))
    return found


def report_pdf(view: BenchView, station: Station, now: datetime, language: str = "en") -> bytes:
    """The report on a sample as PDF, with the seal of the last entry it rests on.

    Args: view; station; now, aware; language, a code of `languages`. Returns: the PDF's bytes.
    """
    sample, zone = view.sample, station.place.site().zone
    said = words(language)
    standing = [s for s in view.sheets if not s.undone]
    last = max((s.entry for s in standing), key=lambda e: e.number, default=sample.entry)
    data = {
        "demo": bool(settings.DEMO), "place": station.place.name, "number": sample.entry_id,
        "at": _time(sample.happened_at, zone), "printed": _time(now, zone),
        "lot": sample.lot.code, "species": sample.lot.species, "route": sample.lot.route_words(),
        "drawn": _drawn(view, said), "hands": _hands(view, zone),
        "figures": [_figure(k, f) for k, f in view.figures.items()],
        "screens": [
            [name, f"{held:.1f} %", f"{100 * s.share:.1f} % ({100 * s.low:.1f} to {100 * s.high:.1f})"]
            for name, held, s in view.screens
        ],
        "screens_by": view.screens_by, "slots": [[name, f"{held:.1f} %"] for name, held, _s in view.slots],
        "notes": _notes(view), "grade": _grade(view.graded, said),
        "photo": [[r.number, str(r.beans), f"{100 * r.by_mass:.1f} %"] for r in view.photo_rows if r.beans],
        "photo_by": str(view.photo.told["table"]) if view.photo else "",
        "seal": last.seal.digest, "entry": last.number,
    }  # fmt: skip
    return pdf("report", data, language)
