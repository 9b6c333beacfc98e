"""The station's air by its records: the climate it stated, what was measured, said or forecast since."""

from __future__ import annotations

import hashlib
import uuid
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path

from django.conf import settings
from django.utils import timezone

from drydown.air.series import HourlyWeather
from drydown.books.journal.write import Draft, Who, write
from drydown.books.loggers.told import felt_air, felt_stamp
from drydown.books.lots.airhours import ahead_pieces, own_skill, seen_pieces, told_stamp
from drydown.books.models import Entry, Happening
from drydown.errors import InputError, RangeError
from drydown.fingerprint import fingerprint_of_file
from drydown.outlook.skies import DAY_WORDS, ReadAir, Skies
from drydown.station.model import Station
from drydown.station.weather import station_weather
from drydown.way.state import Stage
from drydown.words import say

__all__ = [
    "AirStamp",
    "air_read",
    "air_stamp",
    "day_said",
    "days_said",
    "file_stamp",
    "folder",
    "read_air",
    "say_day",
    "station_skies",
]


def folder() -> Path:
    """Folder of the station file."""
    return Path(settings.STATION_FILE).parent


def station_skies(station: Station) -> Skies:
    """Everything known of the station's air."""
    site = station.place.site()
    return Skies(
        site, station_weather(station, folder()), seen_pieces(site), ahead_pieces(site), days_said(),
        own_skill(site, station.normals()).share, felt_air(timezone.now().astimezone(site.zone)),
        air_read(),
    )  # fmt: skip


def say_day(day: date, word: str, key: uuid.UUID, who: Who) -> Entry:
    """Keep what a day was: dry, showers, or rain all day; the last word on a day counts."""
    if word not in DAY_WORDS:
        raise InputError(say("'{word}' is not known of a day.", word=word), "weather")
    now = timezone.now()
    if not timedelta(days=-1) <= now.date() - day <= timedelta(days=60):
        raise InputError("a day is told of until two months later.", "weather")
    entry, _new = write(Draft("sky", key, {"day": day.isoformat(), "word": word}, [], now, who))
    return entry


def days_said() -> dict[date, str]:
    """What days of the last two months were, by what was said last."""
    since = timezone.now() - timedelta(days=75)
    found: dict[date, str] = {}
    for entry in Entry.objects.filter(kind="sky", reversed_by=None, happened_at__gte=since).order_by(
        "number"
    ):
        found[date.fromisoformat(entry.facts["day"])] = entry.facts["word"]
    return found


def read_air(at: datetime | None, temp_c: float, rh_percent: float, key: uuid.UUID, who: Who) -> Entry:
    """Keep a reading of the air outdoors by hand. Args: at, None for now; [C]; [%]."""
    if not -10.0 <= temp_c <= 60.0 or not 2.0 <= rh_percent <= 100.0:
        raise RangeError("air is from -10 to 60 C and from 2 to 100 % humid.", "the air")
    now = timezone.now()
    when = at or now
    if not timedelta(0) <= now - when <= timedelta(days=60):
        raise InputError("a reading is told of until two months later, and never ahead.", "the air")
    body = {"temp_c": temp_c, "rh_percent": rh_percent}
    return write(Draft("airread", key, body, [], when, who))[0]


def air_read() -> tuple[ReadAir, ...]:
    """Air that was read by hand outdoors in the last two months: by itself, or beside a lot that dries.

    Up to a whole quarter of a day (UTC), so that a reading does not move every outlook at once.
    """
    now = timezone.now()
    until = now.replace(hour=now.hour // 6 * 6, minute=0, second=0, microsecond=0)
    since = now - timedelta(days=75)
    found = [
        ReadAir(e.happened_at, float(e.facts["temp_c"]), float(e.facts["rh_percent"]) / 100.0)
        for e in Entry.objects.filter(kind="airread", reversed_by=None, happened_at__range=(since, until))
    ]
    rows = Happening.objects.filter(
        kind="air", undone=False, happened_at__range=(since, until), lot__stage=Stage.DRYING
    )
    found += [
        ReadAir(at, float(d["air_c"]), min(max(float(d["rh_percent"]) / 100.0, 0.02), 1.0))
        for at, d in rows.values_list("happened_at", "details")
    ]
    return tuple(sorted(found, key=lambda r: r.at))


def day_said(local: datetime) -> bool:
    """Whether somebody said what a day was."""
    return local.date() in days_said()


@dataclass(frozen=True, slots=True)
class AirStamp:
    """What decides the air of a station, for keys of what is kept: asked of the books once."""

    base: tuple[object, ...]
    said: tuple[tuple[date, str], ...]
    seen: tuple[HourlyWeather, ...]
    ahead: tuple[HourlyWeather, ...]
    read: tuple[ReadAir, ...] = ()

    def since(self, moment: datetime | None) -> tuple[object, ...]:
        """What decides the air from a moment on; all of it without one."""
        said = tuple(s for s in self.said if moment is None or s[0] >= moment.date())
        read = tuple(r for r in self.read if moment is None or r.at >= moment)
        return (*self.base, said, read, told_stamp(self.seen, moment), told_stamp(self.ahead, moment))

    @property
    def short(self) -> str:
        """A hash of what was stated alone: what a lot taught stays as it is when an hour is measured."""
        return hashlib.sha256(repr(self.base[:3]).encode()).hexdigest()[:16]


def air_stamp(station: Station) -> AirStamp:
    """What decides the station's air: site, climate, file, what was said of days."""
    p = station.place
    site = (p.latitude_deg, p.longitude_deg, p.elevation_m, p.utc_offset_h, tuple(sorted(p.climate.items())))
    here = p.site()
    ahead = ahead_pieces(here)
    trusted = own_skill(here, station.normals()).share if ahead else 1.0
    felt = felt_stamp(timezone.now().astimezone(here.zone))
    base = (site, station.weather.months, file_stamp(station), round(trusted, 2), felt)
    return AirStamp(base, tuple(sorted(days_said().items())), seen_pieces(here), ahead, air_read())


def file_stamp(station: Station) -> str:
    """A hash of the weather file, where forecasts use one."""
    if station.weather.months is not None or station.weather.file is None:
        return ""
    try:
        return fingerprint_of_file(folder() / station.weather.file)
    except OSError:
        return "missing"
