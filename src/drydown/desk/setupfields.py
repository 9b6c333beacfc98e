"""What the station form asks: fields, groups, labels."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from django.utils.translation import gettext_noop as _

from drydown.desk.setupnames import (
    APART,
    HEADS,
    MONTHS,
    YES_NO,
    choices_of,
    form_titles,
    route_words,
)
from drydown.matter.routes import route_names
from drydown.matter.species import species_names
from drydown.words import say

__all__ = ["MACHINES", "Field", "Section", "all_fields", "labels", "sections"]

SPARE_ROWS = 2
WIDEST_TABLE = 4


@dataclass(frozen=True, slots=True)
class Field:
    """One input: its name is the key in the station file."""

    key: str
    label: str
    kind: str = "number"
    unit: str = ""
    value: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    """Value and words."""
    problem: str = ""
    chosen: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Section:
    """A group of inputs; a table when it has column heads, a card a row where they are many."""

    title: str
    help: str = ""
    fields: list[Field] = field(default_factory=list)
    heads: tuple[str, ...] = ()
    rows: list[tuple[str, list[Field]]] = field(default_factory=list)
    spare: int = 0

    @property
    def cards(self) -> list[tuple[str, list[Field]]]:
        """Rows that are in use (and the first spare one), where a table would be too wide."""
        return self.rows[: 1 - self.spare] if self.spare > 1 else self.rows

    @property
    def spares(self) -> list[tuple[str, list[Field]]]:
        """The other spare rows."""
        return self.rows[1 - self.spare :] if self.spare > 1 else []

    @property
    def wide(self) -> bool:
        """Too wide for a table on a phone."""
        return bool(self.spare) and len(self.heads) > WIDEST_TABLE


_PLACE = [
    ("place.name", _("station name"), "text", ""),
    ("place.district", _("district"), "text", ""),
    ("place.latitude_deg", _("latitude, south negative"), "number", "degrees"),
    ("place.longitude_deg", _("longitude, west negative"), "number", "degrees"),
    ("place.elevation_m", _("height above sea"), "number", "m"),
    ("place.utc_offset_h", _("standard time, hours from UTC"), "number", "h"),
]
_MONEY = [
    ("money.currency", _("currency, three letters"), "text", ""),
    ("money.decimals", _("digits after the point"), "number", ""),
]
_MONTH = [
    ("tmax_c", "highest C"),
    ("tmin_c", "lowest C"),
    ("rh_percent", "humidity %"),
    ("rain_mm", "rain mm"),
    ("rain_days", "days of 1 mm and more"),
    ("wind_ms", "wind m/s"),
    ("ghi_kwh_m2_day", "sun kWh/m2 day"),
]
MACHINES = {
    "equipment.pulpers": (
        _("Pulpers"),
        (("name", "text"), ("kind", "text"), ("capacity_kg_h", "number")),
    ),
    "equipment.tanks": (_("Tanks"), (("name", "text"), ("volume_l", "number"))),
    "equipment.beds": (
        _("Drying places (film and vents of tunnels, where known)"),
        (
            ("name", "text"),
            ("place", "choice"),
            ("area_m2", "number"),
            ("film_age_years", "number"),
            ("air_changes_h", "number"),
            ("height_m", "number"),
        ),
    ),
    "equipment.dryers": (
        _("Dryers with a fan (air only where it was measured)"),
        (
            ("name", "text"),
            ("kind", "choice"),
            ("area_m2", "number"),
            ("holds_kg", "number"),
            ("air_c", "number"),
            ("air_m3_min_m2", "number"),
            ("bean_cap_c", "number"),
            ("recirculated_percent", "number"),
            ("burner_percent", "number"),
            ("fuel", "choice"),
        ),
    ),
    "equipment.stores": (
        _("Stores (temperature where it was measured)"),
        (("name", "text"), ("holds_kg", "number"), ("temperature_c", "number")),
    ),
    "money.classes": (
        _("Price classes by ripeness"),
        (("name", "text"), ("ripe_from_percent", "number"), ("price_percent", "number")),
    ),
    "money.deductions": (
        _("Held back from each delivery"),
        (("name", "text"), ("percent", "number"), ("per_kg", "number")),
    ),
    "gate.containers": (
        _("Containers"),
        (("name", "text"), ("litres", "number"), ("tare_kg", "number")),
    ),
}


_GATE = [
    ("gate.lots_apart_by", _("lots kept apart by"), "choice", ""),
    ("gate.lot_max_kg", _("most fruit in one lot"), "number", "kg"),
]
_DRYING = [
    ("load_kg_m2", _("load as spread"), "number", "kg/m2"),
    ("target_moisture_percent_wb", _("target moisture"), "number", "% wb"),
    ("rake_hours", _("raked at: 8 10 12 14 16"), "hours", ""),
    ("cover_from_h", _("covered from, such as 17:30 (empty: never)"), "clock", ""),
    ("cover_until_h", _("covered until, such as 7:30"), "clock", ""),
    ("cover_for_rain", _("covered when it rains"), "choice", ""),
    ("heap_share", _("heap when covered, share of the spread area (empty: not heaped)"), "number", ""),
]
_WET = [
    ("wet.supply_l_day", _("water that can be drawn in a day"), "number", "L"),
    ("wet.may_let_out_l_day", _("effluent that may be let out in a day, by your permit"), "number", "L"),
    ("wet.ponds_l", _("what the ponds hold"), "number", "L"),
    ("wet.pulp_heap_kg", _("pulp that has room"), "number", "kg"),
]
_CROP = [
    ("crop.fruit_kg", _("fruit expected of this season, as said before it"), "number", "kg"),
    ("crop.begins", _("from, such as 2026-09-15"), "text", ""),
    ("crop.ends", _("until"), "text", ""),
]
_MEASURED = [
    ("measured.float_share", _("float share, 0 to 0.9"), "number", ""),
    ("measured.pulp_water_l_kg_cherry", _("pulping water"), "number", "L/kg fruit"),
    ("measured.wash_water_l_kg_parchment", _("washing water"), "number", "L/kg parchment"),
]


def sections(values: dict[str, str], lists: dict[str, list[str]], problems: dict[str, str]) -> list[Section]:
    """All groups of the form with their values and problems."""

    def make(
        key: str, label: str, kind: str, unit: str = "", choices: tuple[tuple[str, str], ...] = ()
    ) -> Field:
        value = values.get(key, "")
        shown = _clock_text(value) if kind == "clock" else value
        return Field(key, label, kind, unit, shown, choices, problems.get(key, ""))

    kinds, ways = species_names(), tuple((r, route_words(r)) for r in route_names())
    found = [Section(_("Place"), fields=[make(*row) for row in _PLACE])]
    ticks = [
        Field("species", _("species received"), "ticks", choices=tuple((s, s) for s in kinds),
              problem=problems.get("species", ""), chosen=tuple(lists.get("species", []))),
        Field("routes", _("routes possible"), "ticks", choices=ways,
              problem=problems.get("routes", ""), chosen=tuple(lists.get("routes", []))),
    ]  # fmt: skip
    found.append(Section(_("Crop"), fields=ticks))
    found.append(Section(_("Money"), fields=[make(*row) for row in (*_MONEY, *_prices())]))
    months = [
        (name, [make(f"weather.months.{i}.{key}", f"{name} {label}", "number") for key, label in _MONTH])
        for i, name in enumerate(MONTHS, 1)
    ]
    help_text = _("Long-term means of each month. Leave all sun cells empty if unknown.")
    found.append(Section(_("Monthly weather"), help_text, [], tuple(h for _k, h in _MONTH), months))
    found.append(
        Section(_("Lots"), fields=[make(*row, APART if row[2] == "choice" else ()) for row in _GATE])
    )
    found.extend(_machine_section(prefix, make, _rows(prefix, values)) for prefix in MACHINES)
    for form, title in form_titles().items():
        rows = [
            make(f"drying.{form}.{key}", label, kind, unit, YES_NO if kind == "choice" else ())
            for key, label, kind, unit in _DRYING
        ]
        found.append(Section(f"Drying: {title}", _("Leave all empty if not dried here."), rows))
    wet = _("Only what is known; local law says what may be let out, and where.")
    found.append(Section(_("Water and pulp"), wet, [make(*row) for row in _WET]))
    found.append(
        Section(_("Crop expected"), _("Leave empty where none was said."), [make(*r) for r in _CROP])
    )
    measured = _("Only what you have measured; the rest is assumed and shown as such.")
    found.append(Section(_("Measured"), measured, [make(*row) for row in _MEASURED]))
    return found


def _prices() -> list[tuple[str, str, str, str]]:
    """A price for each species group."""
    return [
        (f"money.cherry_price_per_kg.{s}", say("price of ripe {s}", s=s), "number", "per kg")
        for s in species_names()
    ]


def _rows(prefix: str, values: dict[str, str]) -> int:
    """Rows to show: all that are there, and some spare ones."""
    numbers = [int(key.split(".")[2]) for key in values if key.startswith(prefix + ".")]
    return max(numbers, default=0) + SPARE_ROWS


def _machine_section(prefix: str, make: Any, count: int) -> Section:
    title, columns = MACHINES[prefix]
    narrow, rows = len(columns) <= WIDEST_TABLE, []
    for i in range(1, count + 1):
        row = [
            make(f"{prefix}.{i}.{key}", f"{title} {i} {_head(key)}" if narrow else _head(key), kind, "",
                 choices_of(key) if kind == "choice" else ())
            for key, kind in columns
        ]  # fmt: skip
        rows.append((str(i), row))
    return Section(title, "", [], tuple(_head(key) for key, _kind in columns), rows, SPARE_ROWS)


def _head(key: str) -> str:
    """What a column is called."""
    return HEADS.get(key, key.replace("_", " "))


def labels() -> dict[str, str]:
    """What each field is called, with its section, by key; rows of lists by their place."""
    rows = {f"{prefix}.{i}.name": "1" for prefix in MACHINES for i in range(1, 41)}
    found: dict[str, str] = {}
    for section in sections(rows, {}, {}):
        for shown in section.fields:
            found[shown.key] = (
                shown.label if section.title in {"Place", "Money"} else f"{section.title}, {shown.label}"
            )
        for name, row in section.rows:
            found[row[0].key.rpartition(".")[0]] = f"{section.title.partition(' (')[0]}, row {name}"
            for shown in row:
                plain = (
                    shown.label
                    if shown.label.startswith((section.title, name))
                    else f"{section.title} {name}, {shown.label}"
                )
                found[shown.key] = plain
    return found


def all_fields(section: Section) -> list[Field]:
    """Every input of a group."""
    return section.fields + [f for _name, row in section.rows for f in row]


def _clock_text(value: str) -> str:
    """Hours and a fraction as a clock shows them; what is not a number stays as it was typed."""
    try:
        hours = float(value.replace(",", "."))
    except ValueError:
        return value
    minutes = round(hours * 60)
    return f"{minutes // 60}:{minutes % 60:02d}"
