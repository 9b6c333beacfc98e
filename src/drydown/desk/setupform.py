"""The station description as form fields, and back to a commented TOML file."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field
from typing import Any

import tomlkit
from django.utils.translation import gettext_noop as _

from drydown.books.numbers import parse_decimal
from drydown.errors import InputError

__all__ = ["Field", "Section", "from_post", "from_text", "sections", "to_toml"]

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
ROWS = {"equipment.pulpers": 2, "equipment.tanks": 4, "equipment.beds": 6, "equipment.stores": 2}
SPECIES = ("arabica", "robusta", "liberica")
ROUTES = ("washed", "pulped_natural", "natural")
FORMS = {
    "parchment": _("Washed parchment"),
    "mucilage": _("Pulped, mucilage on"),
    "cherry": _("Whole cherry"),
}
PLACES = ("raised_bed", "roofed_bed", "patio")


@dataclass(frozen=True, slots=True)
class Field:
    """One input: its name is the key in the station file."""

    key: str
    label: str
    kind: str = "number"
    unit: str = ""
    value: str = ""
    choices: tuple[str, ...] = ()
    problem: str = ""
    chosen: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Section:
    """A group of inputs; a table when it has column heads."""

    title: str
    help: str = ""
    fields: list[Field] = field(default_factory=list)
    heads: tuple[str, ...] = ()
    rows: list[tuple[str, list[Field]]] = field(default_factory=list)


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
    *((f"money.cherry_price_per_kg.{s}", f"price of ripe {s}", "number", "per kg") for s in SPECIES),
]
_MONTH = [
    ("tmax_c", "highest C"),
    ("tmin_c", "lowest C"),
    ("rh_percent", "humidity %"),
    ("rain_mm", "rain mm"),
    ("rain_days", "rain days"),
    ("wind_ms", "wind m/s"),
    ("ghi_kwh_m2_day", "sun kWh/m2 day"),
]
_MACHINES = {
    "equipment.pulpers": (
        _("Pulpers"),
        (("name", "text"), ("kind", "text"), ("capacity_kg_h", "number")),
    ),
    "equipment.tanks": (_("Tanks"), (("name", "text"), ("volume_l", "number"))),
    "equipment.beds": (
        _("Drying places"),
        (("name", "text"), ("place", "choice"), ("area_m2", "number")),
    ),
    "equipment.stores": (_("Stores"), (("name", "text"), ("holds_kg", "number"))),
}
_DRYING = [
    ("load_kg_m2", _("load as spread"), "number", "kg/m2"),
    ("target_moisture_percent_wb", _("target moisture"), "number", "% wb"),
    ("rake_hours", _("raked at, hours of the day"), "hours", ""),
    ("cover_from_h", _("covered from (empty: never)"), "number", "h"),
    ("cover_until_h", _("covered until"), "number", "h"),
    ("cover_for_rain", _("covered when it rains"), "choice", ""),
]
_MEASURED = [
    ("measured.float_share", _("float share, 0 to 0.9"), "number", ""),
    ("measured.pulp_water_l_kg_cherry", _("pulping water"), "number", "L/kg fruit"),
    ("measured.wash_water_l_kg_parchment", _("washing water"), "number", "L/kg parchment"),
]


def sections(values: dict[str, str], lists: dict[str, list[str]], problems: dict[str, str]) -> list[Section]:
    """All groups of the form with their values and problems."""

    def make(key: str, label: str, kind: str, unit: str = "", choices: tuple[str, ...] = ()) -> Field:
        return Field(key, label, kind, unit, values.get(key, ""), choices, problems.get(key, ""))

    found = [Section(_("Place"), fields=[make(*row) for row in _PLACE])]
    ticks = [
        Field("species", _("species received"), "ticks", choices=SPECIES,
              problem=problems.get("species", ""), chosen=tuple(lists.get("species", []))),
        Field("routes", _("routes possible"), "ticks", choices=ROUTES,
              problem=problems.get("routes", ""), chosen=tuple(lists.get("routes", []))),
    ]  # fmt: skip
    found.append(Section(_("Crop"), fields=ticks))
    found.append(Section(_("Money"), fields=[make(*row) for row in _MONEY]))
    months = [
        (name, [make(f"weather.months.{i}.{key}", f"{name} {label}", "number") for key, label in _MONTH])
        for i, name in enumerate(MONTHS, 1)
    ]
    help_text = _("Long-term means of each month. Leave all sun cells empty if unknown.")
    found.append(Section(_("Monthly weather"), help_text, [], tuple(h for _k, h in _MONTH), months))
    found.extend(_machine_section(prefix, make) for prefix in _MACHINES)
    for form, title in FORMS.items():
        yes = ("true", "false")
        rows = [
            make(f"drying.{form}.{key}", label, kind, unit, yes if kind == "choice" else ())
            for key, label, kind, unit in _DRYING
        ]
        found.append(Section(f"Drying: {title}", _("Leave all empty if not dried here."), rows))
    measured = _("Only what you have measured; the rest is assumed and shown as such.")
    found.append(Section(_("Measured"), measured, [make(*row) for row in _MEASURED]))
    return found


def _machine_section(prefix: str, make: Any) -> Section:
    title, columns = _MACHINES[prefix]
    rows = []
    for i in range(1, ROWS[prefix] + 1):
        row = [
            make(f"{prefix}.{i}.{key}", f"{title} {i} {key.replace('_', ' ')}", kind, "",
                 PLACES if kind == "choice" else ())
            for key, kind in columns
        ]  # fmt: skip
        rows.append((str(i), row))
    heads = tuple(key.replace("_", " ") for key, _kind in columns)
    return Section(title, "", [], heads, rows)


def from_text(text: str) -> tuple[dict[str, str], dict[str, list[str]]]:
    """Field values of a station file; empty for a new station."""
    if not text:
        return {}, {}
    data = tomllib.loads(text)
    lists = {k: list(data.get(k, [])) for k in ("species", "routes")}
    values: dict[str, str] = {}
    _flatten("", {k: v for k, v in data.items() if k not in lists}, values)
    return values, lists


def _flatten(prefix: str, node: Any, values: dict[str, str]) -> None:
    if isinstance(node, dict):
        for key, inner in node.items():
            _flatten(f"{prefix}.{key}" if prefix else key, inner, values)
    elif isinstance(node, list) and node and isinstance(node[0], dict):
        for i, inner in enumerate(node, 1):
            _flatten(f"{prefix}.{i}", inner, values)
    elif isinstance(node, list):
        values[prefix] = ", ".join(str(v) for v in node)
    elif isinstance(node, bool):
        values[prefix] = "true" if node else "false"
    else:
        values[prefix] = f"{node:g}" if isinstance(node, float) and abs(node) < 1e5 else str(node)


def from_post(values: dict[str, str], lists: dict[str, list[str]]) -> dict[str, Any]:
    """Nested data from posted fields; empty fields are left out."""
    data: dict[str, Any] = {k: v for k, v in lists.items() if v}
    kinds = {f.key: f.kind for s in sections({}, {}, {}) for f in _all_fields(s)}
    for key, kind in kinds.items():
        text = values.get(key, "").strip()
        if kind != "ticks" and text:
            _put(data, key.split("."), _typed(text, kind, key))
    nested: dict[str, Any] = _lists(data)
    return nested


def _all_fields(section: Section) -> list[Field]:
    return section.fields + [f for _name, row in section.rows for f in row]


def _typed(text: str, kind: str, key: str) -> Any:
    if kind == "text":
        return text
    if kind == "choice":
        return {"true": True, "false": False}.get(text, text)
    if kind == "hours":
        try:
            return [int(part) for part in text.replace(",", " ").split()]
        except ValueError as error:
            raise InputError(f"'{text}' is not a list of hours.", key, "Write 8 10 12 14.") from error
    sign = -1 if text.startswith("-") else 1
    number = sign * _number(text.removeprefix("-"), key)
    return int(number) if number == int(number) else number


def _number(text: str, key: str) -> float:
    """Coordinates have many digits; everything else follows the rule of the gate."""
    if key.startswith("place.") and text.replace(".", "", 1).replace(",", "", 1).isdigit():
        return float(text.replace(",", "."))
    return float(parse_decimal(text, key))


def _put(data: dict[str, Any], path: list[str], value: Any) -> None:
    for part in path[:-1]:
        data = data.setdefault(part, {})
    data[path[-1]] = value


def _lists(node: Any) -> Any:
    """Tables whose keys are 1, 2, 3 become lists, in order."""
    if not isinstance(node, dict):
        return node
    if node and all(key.isdigit() for key in node):
        return [_lists(node[key]) for key in sorted(node, key=int)]
    return {key: _lists(inner) for key, inner in node.items()}


def to_toml(data: dict[str, Any], text: str) -> str:
    """The file text: the old file's comments and the keys this form does not show are kept."""
    document = tomlkit.parse(text) if text else tomlkit.document()
    if not text:
        document.add(tomlkit.comment("Station file, written by the Station page; edit freely."))
    kept = tomllib.loads(text) if text else {}
    for hidden in ("hullers", "dryers"):
        if hidden in kept.get("equipment", {}):
            data.setdefault("equipment", {}).setdefault(hidden, kept["equipment"][hidden])
    if "file" in kept.get("weather", {}):
        data.setdefault("weather", {}).setdefault("file", kept["weather"]["file"])
    _merge(document, data)
    return tomlkit.dumps(document)


def _merge(document: Any, data: dict[str, Any]) -> None:
    for key in [k for k in document if k not in data]:
        del document[key]
    for key, value in data.items():
        if isinstance(value, dict) and isinstance(document.get(key), dict):
            _merge(document[key], value)
        elif key not in document or document[key] != value:
            document[key] = value
