"""How the command line speaks: tables of figures, assumptions, cautions, JSON, errors."""

from __future__ import annotations

import json
import math
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

import typer
from rich.console import Console
from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn
from rich.table import Table
from typer.core import TyperGroup

from drydown.errors import BalanceError, DrydownError, InputError
from drydown.figures import Band, Figure, weakest
from drydown.matter.species import Range
from drydown.numerals import number
from drydown.outlook.cautions import FIRST, Caution
from drydown.words import say

__all__ = [
    "EXIT_BALANCE",
    "EXIT_INPUT",
    "Plainly",
    "amount",
    "answering",
    "out",
    "percent",
    "positive",
    "print_json",
    "table_of",
    "waiting",
]

out = Console(soft_wrap=True, highlight=False)
err = Console(stderr=True, soft_wrap=True, highlight=False)

EXIT_INPUT = 2
EXIT_BALANCE = 3
FULL_DIGITS = {
    "kg green per kg fruit": 3,
    "C": 0,
    "h": 0,
    "L": 0,
    "MJ/m2": 0,
    "(0 to 1)": 3,
    "times the form's": 2,
    "of the sun": 2,
}


@contextmanager
def answering() -> Iterator[None]:
    """Turn an error of ours into one sentence and an exit code; never a traceback."""
    try:
        yield
    except BalanceError as error:
        err.print(f"[bold]Drydown stopped:[/bold] {error} Please report this.", markup=True)
        sys.exit(EXIT_BALANCE)
    except DrydownError as error:
        err.print(str(error), markup=False)
        sys.exit(EXIT_INPUT)


def amount(text: str | float) -> float:
    """A number typed with point or comma, and with blanks between groups; what is doubtful is refused."""
    from drydown.books.numbers import parse_decimal  # noqa: PLC0415

    if isinstance(text, float | int):
        return float(text)
    sign = -1.0 if text.strip().startswith("-") else 1.0
    try:
        return sign * float(parse_decimal(text.strip().removeprefix("-"), ""))
    except InputError as error:
        raise typer.BadParameter(f"{error.what} {error.fix}") from error


def positive(text: str | float) -> float:
    """As `amount`, of things that cannot be below zero."""
    found = amount(text)
    if found < 0.0:
        raise typer.BadParameter(say("{found:g} is below zero. Write a number of zero or more.", found=found))
    return found


def percent(text: str | float) -> float:
    """As `amount`, in per cent: from 0 to 100; a share typed for it is noticed."""
    found = positive(text)
    if 0.0 < found < 1.0:
        raise typer.BadParameter(
            say(
                "{found:g} looks like a share. Per cent: write {found_2:g}.", found=found, found_2=100 * found
            )
        )
    if found > 100.0:
        raise typer.BadParameter(say("{found:g} is more than 100 per cent.", found=found))
    return found


class Plainly(TyperGroup):
    """The command line's own errors in one sentence on stderr, as all of Drydown's."""

    def main(  # type: ignore[override]
        self, args: Any = None, prog_name: str | None = None, standalone_mode: bool = True, **extra: Any
    ) -> Any:
        """Run; what cannot be understood is one line and exit code 2."""
        if not standalone_mode:
            return super().main(args, prog_name, standalone_mode=False, **extra)
        try:
            result = super().main(args, prog_name, standalone_mode=False, **extra)
        except typer.BadParameter as error:
            param = getattr(error, "param", None)
            where = param.opts[0] if param is not None else "drydown"
            err.print(f"{where}: {error.message or 'is needed.'}", markup=False, soft_wrap=True)
            sys.exit(EXIT_INPUT)
        except typer.Abort:
            err.print("Stopped.")
            sys.exit(1)
        except Exception as error:
            told = getattr(error, "format_message", None)
            if told is None:
                raise
            err.print(" ".join(f"drydown: {told()} See --help.".split()), markup=False, soft_wrap=True)
            sys.exit(getattr(error, "exit_code", EXIT_INPUT))
        sys.exit(result if isinstance(result, int) else 0)


@contextmanager
def waiting(words: str, quiet: bool) -> Iterator[None]:
    """A moving line on stderr for work that may take over two seconds."""
    if quiet or not err.is_terminal:
        yield
        return
    parts = (SpinnerColumn(), TextColumn("{task.description}"), TimeElapsedColumn())
    with Progress(*parts, console=err, transient=True) as progress:
        progress.add_task(words)
        yield


def print_json(data: Mapping[str, object]) -> None:
    """One JSON object on stdout; numbers that do not exist are null."""
    print(json.dumps(_plain(data), indent=2, ensure_ascii=False, allow_nan=False))  # noqa: T201


def table_of(*heads: str, right: tuple[str, ...] = ()) -> Table:
    """A table without lines; heads named in `right` stand to the right."""
    table = Table(box=None)
    for head in heads:
        table.add_column(head, justify="right" if head in right else "left")
    return table


def _plain(value: object) -> object:
    if isinstance(value, Mapping):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(v) for v in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def figures_table(title: str, figures: Mapping[str, Figure]) -> Table:
    """Figures with bands and how well each is known."""
    table = Table(title=title, title_justify="left", header_style="bold")
    bands = {str(f.band) for f in figures.values() if f.band is not Band.EXACT}
    head = bands.pop() if len(bands) == 1 else "band"
    for name in ("", "value", head, "unit", "known as"):
        table.add_column(name, justify="right" if name in {"value", head} else "left")
    for key, f in figures.items():
        digits = FULL_DIGITS.get(f.unit, 1)
        span = "" if f.low == f.high else f"{number(f.low, digits)} to {number(f.high, digits)}"
        known = say("weakest input: {weakest}", weakest=weakest(f.sources))
        table.add_row(words(key), number(f.value, digits), span, f.unit, known)
    return table


_NAMES = {"heat_mj_kg": "heat for the water", "heat_mj_m2": "heat in all", "fuel_kg_m2": "fuel in all"}


def words(key: str) -> str:
    """A key as words: units at the end of a name are shown in their own column."""
    if key in _NAMES:
        return _NAMES[key]
    for tail in ("_w_m2", "_mj_kg", "_mj_m2", "_kg_m2", "_kg", "_l", "_h", "_c", "_days", "_points", "_pa"):
        key = key.removesuffix(tail) if key != "dry_days" else key
    return key.replace("_", " ")


def assumptions_table(rows: Mapping[str, Range]) -> Table:
    """What was assumed or stated, with range, status and source."""
    table = Table(title="Taken as", title_justify="left", header_style="bold")
    for name in ("", "typical", "range", "status", "source"):
        table.add_column(name)
    for key, r in rows.items():
        span = "" if r.low == r.high else f"{r.low:g} to {r.high:g}"
        table.add_row(key.replace("_", " "), f"{r.typical:g}", span, str(r.source.status), r.source.text)
    return table


def print_cautions(cautions: tuple[Caution, ...]) -> None:
    """Usual cautions, after the numbers."""
    for caution in cautions:
        out.print(f"Caution: {caution.text} ({caution.source.text})", markup=False)
    if cautions:
        out.print(FIRST, markup=False)
