"""`drydown panel`: what a tasting panel's table says, with statistics, critical values and rank sums."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from drydown.cli.show import answering, out, print_cautions, print_json
from drydown.errors import InputError
from drydown.words import say

if TYPE_CHECKING:
    from drydown.quality.panel import Ranking

__all__ = ["panel"]


def panel(
    scores: Annotated[
        Path | None,
        typer.Argument(help="CSV: one row a taster, one column a sample; first row names samples"),
    ] = None,
    trend: Annotated[
        bool, typer.Option("--trend", help="samples stand in an expected order: Page's test")
    ] = False,
    right: Annotated[int | None, typer.Option(help="triangle test: odd ones found", min=0)] = None,
    tried: Annotated[int | None, typer.Option(help="triangle test: answers in all", min=1)] = None,
    json: Annotated[bool, typer.Option("--json", help="print JSON, shape drydown.panel/1")] = False,
) -> None:
    """Friedman with ties, Kendall's W, least significant difference, Page, Cochran (0 and 1), triangle."""
    from drydown.outlook.cautions import at_command  # noqa: PLC0415 (keeps --help quick)

    with answering():
        if scores is None and right is None:
            raise InputError("nothing to work out.", "drydown panel", "Give a table, or --right and --tried.")
        found: dict[str, Any] = {"shape": "drydown.panel/1"}
        lines: list[str] = []
        if scores is not None:
            _table_tests(scores, trend, found, lines)
        if right is not None:
            _triangle(right, tried, found, lines)
        if json:
            print_json(found)
            return
        for line in lines:
            out.print(line, markup=False)
        print_cautions(at_command("panel"))


def _read(path: Path) -> tuple[list[str], list[list[float]]]:
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(say("cannot be read ({error}).", error=error), str(path)) from error
    lines = [line for line in text.splitlines() if line.strip()]
    mark = max(";\t,", key=(lines[0] if lines else "").count)
    rows = list(csv.reader(lines, delimiter=mark))
    if len(rows) < 3:
        raise InputError(
            "has fewer than two tasters.", path.name, "One row a taster under the samples' names."
        )
    names = [cell.strip() for cell in rows[0]]
    found = []
    for number, row in enumerate(rows[1:], 2):
        if len(row) != len(names):
            raise InputError(
                say(
                    "line {number} has {row} cells, the first row {names}.",
                    number=number,
                    row=len(row),
                    names=len(names),
                ),
                path.name,
            )
        try:
            found.append([float(cell.strip().replace(",", ".")) for cell in row])
        except ValueError as error:
            raise InputError(
                say("line {number}: a cell is not a number.", number=number),
                path.name,
                "Leave out tasters who did not answer all.",
            ) from error
    return names, found


def _table_tests(path: Path, trend: bool, found: dict[str, Any], lines: list[str]) -> None:
    from drydown.quality.panel import cochran_q, page_limits, page_trend, rank_panel  # noqa: PLC0415

    names, rows = _read(path)
    ranking = rank_panel(rows)
    found["friedman"] = _ranked(names, ranking)
    lines += [
        say("{name}: rank sum {total:g}", name=name, total=total)
        for name, total in zip(names, ranking.rank_sums, strict=True)
    ]
    lines.append(
        say(
            "Friedman F = {friedman:.2f}, critical {critical_5:.2f} at 5 %, p = {p:.4f} "
            "({method}); least significant difference of rank sums {lsrd:.2f}; Kendall's W = "
            "{kendall_w:.3f} ({assessors} tasters) [ISO 8587; Kendall and Babington Smith 1939]",
            friedman=ranking.friedman,
            critical_5=found["friedman"]["critical_5"],
            p=found["friedman"]["p"],
            method=found["friedman"]["method"],
            lsrd=ranking.lsrd,
            kendall_w=ranking.kendall_w,
            assessors=ranking.assessors,
        )
    )
    pairs = found["friedman"]["differ"]
    lines.append(
        "Differ at 5 %: " + ("; ".join(f"{a} and {b}" for a, b in pairs) if pairs else "no pair") + "."
    )
    if trend:
        statistic, p = page_trend(rows)
        five, one = page_limits(len(rows), len(names))
        found["page"] = {"L": statistic, "p_one_sided": p, "critical_5": five, "critical_1": one}
        lines.append(
            say(
                "Page L = {statistic:g}, shown from {five:g} (5 %) and {one:g} (1 %) on, p = "
                "{p:.4f}, in the order of the columns [Page 1963]",
                statistic=statistic,
                five=five,
                one=one,
                p=p,
            )
        )
    if all(v in (0.0, 1.0) for row in rows for v in row):
        q, p = cochran_q(rows)
        found["cochran"] = {"Q": q, "p": p, "degrees": len(names) - 1}
        lines.append(
            say(
                "Cochran Q = {q:.2f}, {len} degrees, p = {p:.4f} [Cochran 1950]", q=q, len=len(names) - 1, p=p
            )
        )


def _ranked(names: list[str], ranking: Ranking) -> dict[str, Any]:
    pairs = [
        (names[i], names[j])
        for i in range(len(names)) for j in range(i + 1, len(names)) if ranking.differ(i, j)
    ]  # fmt: skip
    p, critical = ranking.exact or (ranking.p_value, ranking.critical)
    return {
        "method": "exact" if ranking.exact else "chi-square",
        "samples": names, "rank_sums": list(ranking.rank_sums), "F": ranking.friedman,
        "critical_5": critical, "p": p, "lsrd": ranking.lsrd,
        "kendall_w": ranking.kendall_w, "assessors": ranking.assessors, "differ": pairs,
    }  # fmt: skip


def _triangle(right: int, tried: int | None, found: dict[str, Any], lines: list[str]) -> None:
    from drydown.quality.panel import triangle  # noqa: PLC0415

    if tried is None:
        raise InputError("is needed.", "--tried", "How many answers there were in all.")
    made = triangle(right, tried)
    found["triangle"] = {"right": right, "tried": tried, "p": made.p_value, "needed_5": made.needed}
    lines.append(
        say(
            "Triangle: {right} right of {tried}, p = {p_value:.4f} by guessing; {needed} are "
            "needed at 5 % [ISO 4120]",
            right=right,
            tried=tried,
            p_value=made.p_value,
            needed=made.needed,
        )
    )
