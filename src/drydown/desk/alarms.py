"""Alarms by e-mail, where the station names a server: lines of danger, sensors that fail; once a day each."""

from __future__ import annotations

import contextlib
import hashlib
import sys
import time
from datetime import UTC, datetime
from pathlib import Path

from django.core.cache import cache
from django.core.mail import EmailMessage, get_connection
from django.db import connection

from drydown.books.daybook.gather import day_now
from drydown.day.line import Line, Rank
from drydown.day.lines import lines_of
from drydown.desk.listening import state
from drydown.station.model import Station
from drydown.station.trade import Alarms
from drydown.words import say

__all__ = ["SECRET", "keep_watch", "mail_state", "send_alarms"]

SECRET = "mail.secret"  # noqa: S105 (name of the file that holds it)
EVERY_S, AGAIN_S, WAIT_S = 600.0, 24 * 3600, 20
BUDGET_S = 5.0
STATE = "mail-state"


def mail_state() -> str:
    """Why the last mail was not sent; empty where it was, or none is named."""
    found = cache.get(STATE)
    return found if isinstance(found, str) else ""


def _alarming(lines: tuple[Line, ...]) -> list[Line]:
    return [x for x in lines if x.rank == Rank.DANGER or x.kind == "trouble"]


def _mark(line: Line) -> str:
    return "alarm-" + hashlib.sha256(line.key.encode()).hexdigest()


def send_alarms(station: Station, folder: Path, now: datetime) -> int:
    """Send what is new since yesterday, in one mail; returns how many lines it told.

    Args: station; folder of the books, whose `mail.secret` may hold the password; now. What could not be
    sent is tried again the next time, and is a line of the day page.
    """
    told = station.alarms
    if told is None:
        return 0
    lines = _alarming(lines_of(day_now(station, now, BUDGET_S, money=False)).now)
    new = [x for x in lines if cache.get(_mark(x)) is None]
    away, _since = state()
    if away and cache.get("alarm-broker") is None:
        new.append(Line("broker", "trouble", Rank.DUE, away, "", ""))
    if not new:
        return 0
    try:
        _send(told, folder, station.place.name, new)
    except OSError as error:  # what a mail server answers, too
        cache.set(STATE, say("mail to {s} was not sent: {why}", s=told.server, why=str(error)[:120]), None)
        return 0
    cache.delete(STATE)
    for line in new:
        cache.set("alarm-broker" if line.key == "broker" else _mark(line), True, AGAIN_S)
    return len(new)


def _send(told: Alarms, folder: Path, name: str, lines: list[Line]) -> None:
    secret = folder / SECRET
    password = secret.read_text(encoding="utf-8").strip() if secret.exists() else ""
    with get_connection(
        "django.core.mail.backends.smtp.EmailBackend", host=told.server, port=told.port, username=told.user,
        password=password, use_tls=told.security == "starttls", use_ssl=told.security == "tls",
        timeout=WAIT_S,
    ) as mail:  # fmt: skip
        subject = (
            say("{name}: {n} things now", name=name, n=len(lines))
            if len(lines) > 1
            else f"{name}: {lines[0].verb}"
        )
        text = "\n\n".join(f"{x.verb}\n{x.reason}" for x in lines)
        body = text + "\n\n" + say("Open the day page before you act: it is newer than this mail.")
        EmailMessage(
            " ".join(subject.split())[:120], body, told.sender, list(told.to), connection=mail
        ).send()


def keep_watch(station_file: Path, folder: Path) -> None:
    """Send alarms every ten minutes for as long as the desk runs, by the station file as it stands then."""
    from drydown.station.load import load_station  # noqa: PLC0415

    while True:
        time.sleep(EVERY_S)
        with contextlib.suppress(FileNotFoundError):
            try:
                send_alarms(load_station(station_file), folder, datetime.now(UTC))
            except Exception as error:  # an extra: the pages say what is wrong with the file or the books
                sys.stderr.write(f"alarms: {error}\n")
        connection.close()
