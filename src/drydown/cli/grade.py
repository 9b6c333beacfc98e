"""`drydown grade`: a sample's sheet against a published scheme, and how sure the grade is."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from drydown.cli.show import answering, out, print_cautions, print_json, table_of
from drydown.errors import InputError
from drydown.words import say

if TYPE_CHECKING:
    from drydown.figures import Figure
    from drydown.quality.grade import Verdict
    from drydown.quality.scheme import Scheme

__all__ = ["grade", "schemes"]

Json = Annotated[bool, typer.Option("--json", help="print JSON")]


def _pairs(texts: list[str] | None, what: str) -> dict[str, str]:
    found = {}
    for text in texts or []:
        name, mark, value = text.partition("=")
        if not mark:
            raise InputError(say("'{text}' is not {what}.", text=text, what=what), fix="Write name=value.")
        found[name.strip()] = value.strip()
    return found


def grade(
    sheet: Annotated[Path, typer.Argument(help="the sample's sheet, a TOML file")],
    by: Annotated[str, typer.Option("--scheme", help="a scheme by name, or a contract's own .toml file")],
    option: Annotated[list[str] | None, typer.Option(help="where sources differ: name=choice")] = None,
    price: Annotated[list[str] | None, typer.Option(help="price per kg of a grade: name=price")] = None,
    sure_only: Annotated[
        bool, typer.Option("--no-memory", help="refuse rows known from memory only")
    ] = False,
    huller: Annotated[
        str, typer.Option(help="kind of huller: what its broken beans alone would make in the sample")
    ] = "",
    json: Json = False,
) -> None:
    """Grade a sample by a published scheme, with every limit, its source, and the chance of each grade."""
    from drydown.outlook.cautions import at_command  # noqa: PLC0415 (keeps --help quick)
    from drydown.quality.broken import DRIEST_WB  # noqa: PLC0415
    from drydown.quality.grade import grade_sheet  # noqa: PLC0415
    from drydown.quality.sample import load_sheet  # noqa: PLC0415
    from drydown.quality.scheme import scheme  # noqa: PLC0415
    from drydown.quality.sure import another_sample, grade_probabilities, over_dispersion  # noqa: PLC0415

    with answering():
        rules = scheme(by)
        found = grade_sheet(load_sheet(sheet), rules, _pairs(option, "an option"))
        if sure_only:
            _refuse_memory(found)
        spread = (
            over_dispersion(found.sheet.bags, rules.weights(dict(found.options))) if found.sheet.bags else 1.0
        )
        chances = grade_probabilities(found, spread)
        advice = None
        if price:
            prices = {k: _number(v) for k, v in _pairs(price, "a price").items()}
            advice = another_sample(found, prices, dispersion=spread)
        broken = _broken(huller, rules)
        if json:
            more = ({"advice": vars_of(advice)} if advice else {}) | (
                {"broken_by_huller": broken.as_dict()} if broken else {}
            )
            print_json(_plain(found, spread, chances) | more)
            return
        _print(found, spread, chances)
        if advice:
            out.print(advice.words, markup=False)
        if broken:
            out.print(
                f"Broken beans of such a huller alone: {broken.text()} in a sample; parchment below "
                f"{DRIEST_WB * 100:g} % wb breaks more.",
                markup=False,
            )
        print_cautions(at_command("grade"))


def _broken(said: str, rules: Scheme) -> Figure | None:
    from drydown.quality.broken import broken_in_sample, huller  # noqa: PLC0415

    return broken_in_sample(huller(said), rules) if said else None


def _number(text: str) -> float:
    try:
        return float(text.replace(",", "."))
    except ValueError as error:
        raise InputError(
            say("'{text}' is not a number.", text=text), "--price", "Write grade=6.5."
        ) from error


def vars_of(advice: Any) -> dict[str, Any]:
    """Advice as plain data."""
    return {"change": advice.change, "worth_per_kg": advice.worth, "words": advice.words}


def _refuse_memory(found: Verdict) -> None:
    weak = [s.text for s in found.sources() if s.status == "from memory"]
    if weak:
        raise InputError(
            say("rests on memory only: {value}.", value=weak[0]),
            found.scheme.name,
            "Leave out --no-memory to see it.",
        )


def _plain(found: Verdict, spread: float, chances: dict[str, float]) -> dict[str, Any]:
    from drydown.quality.sure import total_figure  # noqa: PLC0415

    return {
        "shape": "drydown.grade/1", "scheme": found.scheme.name, "lot": found.sheet.lot, "grade": found.words,
        "headline": found.headline, "price_step": found.price_note,
        "total": total_figure(found, spread).as_dict() if found.sheet.counts else None,
        "over_dispersion": spread, "options": dict(found.options), "chances": chances,
        "tried": [
            {
                "grade": t.grade.name.strip(), "passed": t.passed,
                "limits": [
                    {"words": m.words, "found": m.found, "allowed": m.allowed, "kept": m.kept}
                    for m in t.limits
                ],
            }
            for t in found.tried
        ],
        "missing": [m.words for t in found.possible for m in t.open],
        "notes": [n for n in (found.scaled, found.scheme.rounding_note, *found.scheme.notes) if n],
        "sources": [s.as_dict() for s in found.sources()],
    }  # fmt: skip


def _print(found: Verdict, spread: float, chances: dict[str, float]) -> None:
    from drydown.quality.sure import total_figure  # noqa: PLC0415

    out.print(f"{found.scheme.words}: {found.headline}", markup=False)
    if found.sheet.counts:
        out.print(total_figure(found, spread).text() + " (95 %)", markup=False)
    for better in found.possible:
        missing = ", ".join(m.words for m in better.open)
        out.print(f"'{better.grade.name.strip()}' stays open: the sheet lacks {missing}.", markup=False)
    best = found.best or found.tried[-1]
    table = table_of(say("limits of '{name}'", name=best.grade.name.strip()), "found", "allowed", "")
    for m in (*best.limits, *filter(None, (found.condition,))):
        table.add_row(m.words, m.found, m.allowed, {True: "met", False: "not met", None: "unknown"}[m.kept])
    out.print(table)
    if len(chances) > 1:
        said = ", ".join(f"{name} {p:.0%}" for name, p in chances.items())
        out.print(f"Chances for the lot, from the counts alone: {said}.", markup=False)
    for name, choice in found.options.items():
        out.print(f"Sources differ on {name}: taken as '{choice}'.", markup=False)
    for note in (found.scaled, found.scheme.rounding_note, *found.scheme.notes):
        if note:
            out.print(f"Note: {note}", markup=False)
    for source in found.sources():
        out.print(f"[{source.text}, {source.status}]", markup=False)


def schemes(json: Json = False) -> None:
    """List the schemes with their sources; rows from memory are counted."""
    from drydown.outlook.cautions import at_command  # noqa: PLC0415
    from drydown.quality.scheme import scheme, scheme_names  # noqa: PLC0415

    rows = [(scheme(name), name) for name in scheme_names()]
    if json:
        print_json({
            "shape": "drydown.schemes/1",
            "schemes": [{"name": n, "words": s.words, "kind": s.kind, "grades": [g.name for g in s.grades],
                         "source": s.source, "status": s.status, "from_memory": _weak(s)} for s, n in rows],
        })  # fmt: skip
        return
    table = table_of("name", "what", "kind", "grades", "rows from memory")
    for s, name in rows:
        table.add_row(name, s.words, s.kind, str(len(s.grades)), str(_weak(s) or ""))
    out.print(table)
    print_cautions(at_command("schemes"))


def _weak(found: Scheme) -> int:
    return sum(row.status == "from memory" for row in (*found.defects, *found.grades, *found.options))
