"""Make a data folder ready: secret, tables, owner link, demo season."""

from __future__ import annotations

import os
import secrets
import time
from contextlib import suppress
from datetime import datetime
from pathlib import Path

from drydown.errors import DrydownError, InputError
from drydown.words import say

__all__ = [
    "fill_demo",
    "make_owner_link",
    "needs_owner",
    "prepare_folder",
    "prepare_tables",
    "refuse_other_kind",
    "warm_forecasts",
]


DEMO_MARK = "demo.txt"


def prepare_folder(data: Path) -> None:
    """Create the folder and its secret, readable by this user only."""
    try:
        data.mkdir(parents=True, exist_ok=True, mode=0o700)
        secret = data / "secret.key"
        if not secret.exists():
            handle = os.open(secret, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            with os.fdopen(handle, "w", encoding="ascii") as out:
                out.write(secrets.token_hex(32))
    except OSError as error:
        raise InputError(
            say("cannot be written ({strerror}).", strerror=error.strerror),
            str(data),
            "Choose a folder with --data.",
        ) from error


def refuse_other_kind(data: Path, demo: bool) -> None:
    """A demo never opens real books, and real work never begins in a demo's folder."""
    mark, used = (
        (data / DEMO_MARK).exists(),
        (data / "books.sqlite3").exists() or (data / "station.toml").exists(),
    )
    if demo and used and not mark:
        raise InputError("holds a real station.", str(data), "Give the demo a folder of its own with --data.")
    if mark and not demo:
        raise InputError(
            "is a demo's folder.", str(data), "Give your station a folder of its own with --data."
        )
    if demo:
        (data / DEMO_MARK).write_text("A demo's folder: everything in it is invented.\n", encoding="utf-8")


def prepare_tables() -> None:
    """Bring the tables up to date."""
    from django.core.management import call_command  # noqa: PLC0415
    from django.db import DatabaseError  # noqa: PLC0415

    try:
        _refuse_newer()
        call_command("migrate", verbosity=0, interactive=False)
    except DatabaseError as error:
        raise InputError(say("the database did not answer: {error}.", error=error), "the books") from error


def _refuse_newer() -> None:
    """Refuse books that a newer Drydown has changed: what it added is unknown here."""
    from django.db import connection  # noqa: PLC0415
    from django.db.migrations.loader import MigrationLoader  # noqa: PLC0415

    loader = MigrationLoader(connection)
    unknown = [
        name
        for app, name in loader.applied_migrations or {}
        if app == "books" and (app, name) not in loader.disk_migrations
    ]
    if unknown:
        raise InputError(
            say("were changed by a newer Drydown ({value}).", value=sorted(unknown)[-1]), "the books",
            "Install that version; nothing was changed.",
        )  # fmt: skip


def needs_owner() -> bool:
    """True until somebody owns the station."""
    from django.contrib.auth.models import User  # noqa: PLC0415

    return not User.objects.filter(is_superuser=True).exists()


def make_owner_link() -> str:
    """A new one-time token for the owner; earlier unused ones stop working. Only the hash is kept."""
    from drydown.books.people.register import make_link  # noqa: PLC0415

    return make_link(None)


def fill_demo(station_file: Path, now: datetime) -> int:
    """Write the demo's station file, owner and season, once; returns deliveries written."""
    from django.contrib.auth.models import User  # noqa: PLC0415

    from drydown.books.demo.season import fill  # noqa: PLC0415
    from drydown.books.models import Delivery  # noqa: PLC0415
    from drydown.station.load import example_text, load_station  # noqa: PLC0415

    if Delivery.objects.exists():
        return 0
    if not station_file.exists():
        station_file.write_text(example_text(), encoding="utf-8")
    owner = User.objects.filter(is_superuser=True).first() or User(
        username="Demo owner", is_superuser=True, is_staff=False
    )
    if owner.pk is None:
        owner.set_unusable_password()
        owner.save()
    return fill(load_station(station_file), now, owner)


def warm_forecasts(seconds: float = 8.0) -> None:
    """Compute outlooks the yard shows while there is time; what is left its pages reckon as they open."""
    from django.conf import settings  # noqa: PLC0415

    from drydown.books.lots.outlook import lot_outlook  # noqa: PLC0415
    from drydown.books.models import Lot  # noqa: PLC0415
    from drydown.station.load import load_station  # noqa: PLC0415
    from drydown.way.state import Stage  # noqa: PLC0415

    station, until = load_station(settings.STATION_FILE), time.monotonic() + seconds
    for lot in Lot.objects.filter(stage=Stage.DRYING).order_by("-opened_on"):
        if time.monotonic() > until:
            return
        with suppress(DrydownError):  # its page says why there is none
            lot_outlook(lot, station)
