"""The steps a lot's page offers: which, in what order, what they ask, what can hurt."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest
from django.utils import timezone

from drydown.books.lots.flow import STEPS, Step, bagged_wet
from drydown.books.lots.habits import habits_of
from drydown.books.lots.places import Yard, machine_hours
from drydown.books.lots.take import lot_matter
from drydown.books.lots.watch import due, offered
from drydown.books.models import Lot
from drydown.desk.people import may_here
from drydown.desk.views.forms import StepForm
from drydown.outlook.cautions import Caution, at_step
from drydown.station.model import Station

__all__ = [
    "foot_cautions",
    "hours_words",
    "may_take",
    "step_asks",
    "step_cautions",
    "step_form",
    "steps_here",
]


def may_take(request: HttpRequest, kind: str) -> bool:
    """Whether whoever asks may record a step of this kind."""
    what = {"sell": "lots.sales", "sample": "samples.taken"}.get(kind, "lots.way")
    return may_here(request, what, write=True)


def steps_here(
    request: HttpRequest, lot: Lot, station: Station, bound: tuple[str, StepForm] | None
) -> list[Step]:
    """The steps that are shown: those that can succeed, and the one that was just sent."""
    shown = [s for s in offered(lot, station) if may_take(request, s.kind)]
    now_due = due(lot, station, timezone.now())
    shown.sort(key=lambda s: s.kind != now_due)
    if bound and bound[0] not in [s.kind for s in shown]:
        shown.append(STEPS[bound[0]])
    return shown


def _place_kinds(lot: Lot, station: Station, step: str) -> list[str]:
    """Kinds of the places a step is done at."""
    if step in {"ferment", "test", "wash"}:
        return ["tank"]
    if step in {"bag", "shift", "weigh", "sample"} and lot.stage != Lot.Stage.DRYING:
        return ["store"]
    places = station.drying_places()
    if step in {"spread", "move", "respread"}:
        return list(dict.fromkeys(spot.name for spot, _area in places.values()))
    return [places[lot.bed][0].name] if lot.bed in places and lot.stage == Lot.Stage.DRYING else []


def step_cautions(step: Step, lot: Lot, station: Station) -> tuple[Caution, ...]:
    """What can hurt at a step, where it is done."""
    return at_step(step.kind, *_place_kinds(lot, station, step.kind))


def foot_cautions(lot: Lot, station: Station) -> tuple[Caution, ...]:
    """What stands at the foot of the page: mould, and the place the lot is at."""
    here = {"fermenting": ["tank"], "stored": ["store"], "hulled": ["store"], "sorted": ["store"]}
    return at_step("read", *here.get(lot.stage, _place_kinds(lot, station, "read")))


def step_form(
    step: Step, lot: Lot, station: Station, yard: Yard, bound: tuple[str, StepForm] | None
) -> StepForm:
    """The form of a step: as it was sent, or new, with the station's own load filled in."""
    if bound and bound[0] == step.kind:
        return bound[1]
    habits = habits_of(lot, station)
    start: dict[str, Any] = {"load_kg_m2": f"{habits.load_kg_m2:g}"} if habits else {}
    form = StepForm(
        step_asks(step.kind, lot, station), station, initial=start, auto_id=f"id_{step.kind}_%s", yard=yard,
        hours=hours_words(step.kind, lot, station),
    )  # fmt: skip
    _only_choice(form)
    return form


def step_asks(kind: str, lot: Lot, station: Station) -> tuple[str, ...]:
    """What a step asks here: machines only where there are some, the yes for wet coffee where it is wet."""
    things = station.equipment
    asks = STEPS[kind].asks
    if not things.pulpers:
        asks = tuple(a for a in asks if a != "pulper?")
    if not things.hullers:
        asks = tuple(a for a in asks if a != "huller?")
    if not things.stores:
        asks = tuple(a for a in asks if a != "store?")
    return (*asks, "wet?") if kind == "bag" and bagged_wet(lot.known_wb) else asks


def hours_words(kind: str, lot: Lot, station: Station) -> dict[str, str]:
    """How long each machine takes for this lot, beside its name."""
    if kind not in {"pulp", "hull"}:
        return {}
    kg = lot_matter(lot).mass / 1000.0
    hours = machine_hours(station, {"pulp": "pulper", "hull": "huller"}[kind], kg)
    return {name: f"{name} ({kg:.0f} kg: {h:.1f} h)" for name, h in hours.items()}


def _only_choice(form: StepForm) -> None:
    """A menu with one answer has it chosen."""
    for name, field in form.fields.items():
        choices = [value for value, _label in getattr(field, "choices", []) if value]
        if len(choices) == 1 and name in {"tank", "store", "pulper", "huller"}:
            form.initial.setdefault(name, choices[0])
