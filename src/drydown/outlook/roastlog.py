"""Logs of roasts from files: a table of time and probe, what was roasted in lines of `# name = value`
above it."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping

from drydown.errors import InputError
from drydown.outlook.roast import Log
from drydown.steps.roast.model import Batch
from drydown.words import say

__all__ = ["read_log", "read_table", "seconds_of"]

HEAD = re.compile(r"^#\s*([a-z_]+)\s*[=:]\s*(\S+)\s*$")
NEEDED = ("green_kg", "moisture_percent", "charge_c")
KNOWN = (*NEEDED, "inlet_c", "drop_s", "roasted_kg", "roasted_percent")
CLOCK = re.compile(r"^(\d{1,2}):(\d{2})(?::(\d{2}))?([.,]\d+)?$")


def seconds_of(text: str) -> float:
    """Seconds of a cell: 95, 95.5, 1:35 or 0:01:35.

    Args: text. Returns: [s]. Raises `ValueError` for what is none. Valid range: any. Source: definition.

    >>> seconds_of("1:35"), seconds_of("95,5")
    (95.0, 95.5)
    """
    found = CLOCK.match(text.strip())
    if not found:
        return float(text.strip().replace(",", "."))
    a, b, c, part = found.groups()
    whole = int(a) * 60 + int(b) if c is None else int(a) * 3600 + int(b) * 60 + int(c)
    return whole + float((part or ".0").replace(",", "."))


def read_log(text: str, columns: Mapping[str, str], name: str, inlet_c: float | None = None) -> Log:
    """A roast from a file.

    Args: text; columns, what the file calls "time" and "probe"; name, for messages; inlet_c, where the
    file does
    not say it. Returns: `Log`. Raises `InputError` naming line and cell. Valid range: up to an hour. Source:
    docs/roast.md.
    """
    head: dict[str, float] = {}
    lines = text.splitlines()
    body = [(n, x) for n, x in enumerate(lines, 1) if x.strip() and not x.startswith("#")]
    for number, line in enumerate(lines, 1):
        told = HEAD.match(line)
        if told and told[1] in KNOWN:
            try:
                head[told[1]] = float(told[2].replace(",", "."))
            except ValueError as error:
                raise InputError(
                    say("line {n}: '{t}' is not a number.", n=number, t=told[2][:40]), name
                ) from error
    missing = [k for k in NEEDED if k not in head]
    if missing:
        raise InputError(
            say("does not say {m}.", m=", ".join(missing)), name, "Write '# green_kg = 0.1' above the table."
        )
    if inlet_c is None and "inlet_c" not in head:
        raise InputError("does not say the gas into the beans (inlet_c).", name, "Write '# inlet_c = 300'.")
    readings, bad = _readings(body, columns, name)
    if not readings:
        raise InputError("has no readings.", name, bad or "A table with time and probe is needed.")
    batch = Batch(
        head["green_kg"], head["moisture_percent"] / 100.0, head["charge_c"],
        ((0.0, head.get("inlet_c", inlet_c or 0.0)),),
    )  # fmt: skip
    wet = head.get("roasted_percent")
    drop = head.get("drop_s", readings[-1][0])
    return Log(batch, tuple(readings), drop, head.get("roasted_kg"), None if wet is None else wet / 100.0)


def read_table(text: str, columns: Mapping[str, str], name: str) -> list[tuple[float, float]]:
    """The readings of a table alone.

    Args: text; columns and name as `read_log`. Returns: (second, probe [C]), rising. Raises `InputError`
    where
    there are none. Valid range: up to an hour. Source: docs/roast.md.
    """
    body = [(n, x) for n, x in enumerate(text.splitlines(), 1) if x.strip() and not x.startswith("#")]
    found, _bad = _readings(body, columns, name)
    if not found:
        raise InputError("has no readings.", name, "A table with time and probe is needed.")
    return found


def _readings(
    body: list[tuple[int, str]], columns: Mapping[str, str], name: str
) -> tuple[list[tuple[float, float]], str]:
    """Readings of the table; lines that are none are left out (a logger's garbage), unless most are."""
    if not body:
        return [], ""
    mark = max(";\t,", key=body[0][1].count)
    heads = [h.strip().casefold() for h in next(csv.reader(io.StringIO(body[0][1]), delimiter=mark))]
    at = {}
    for what in ("time", "probe"):
        wanted = columns.get(what, what).casefold()
        if wanted not in heads:
            raise InputError(
                say("has no column '{c}' for the {w}.", c=columns.get(what, what), w=say(what)), name,
                say("It has: {h}. Say which in the station file (columns).", h=", ".join(heads)[:200]),
            )  # fmt: skip
        at[what] = heads.index(wanted)
    found: list[tuple[float, float]] = []
    bad: list[int] = []
    for number, line in body[1:]:
        cells = next(csv.reader(io.StringIO(line), delimiter=mark))
        try:
            t, c = seconds_of(cells[at["time"]]), float(cells[at["probe"]].replace(",", "."))
        except (ValueError, IndexError):
            bad.append(number)
            continue
        if -20.0 <= c <= 400.0 and 0.0 <= t <= 3720.0 and (not found or t >= found[-1][0]):
            found.append((t, c))
        else:
            bad.append(number)
    if len(bad) > len(found):
        raise InputError(
            say(
                "{b} of {n} lines are no readings; the first is line {f}.",
                b=len(bad),
                n=len(body) - 1,
                f=bad[0],
            ),
            name,
        )
    return found, ""
