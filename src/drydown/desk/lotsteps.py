"""The steps a lot's page offers: which, in what order, what they ask, what can hurt."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest
from django.utils import timezone

from drydown.books.lots.states import shape_of, states_of
from drydown.books.lots.story import Story
from drydown.books.models import Lot
from drydown.desk.people import may_here
from drydown.desk.views.forms import StepForm
from drydown.outlook.cautions import Caution
from drydown.station.model import Station
from drydown.way.ask import Ask
from drydown.way.ask import here as asked_here
from drydown.way.dry import its_place
from drydown.way.habits import habits_of
from drydown.way.hurts import at_step
from drydown.way.needs import Setting
from drydown.way.order import stage
from drydown.way.order import step as find_step
from drydown.way.state import LotState
from drydown.way.step import Step
from drydown.way.yard import Yard

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
    return may_here(request, find_step(kind).area, write=True)


def steps_here(request: HttpRequest, story: Story, bound: tuple[str, StepForm] | None) -> list[Step]:
    """The steps that are shown: those that can succeed, and the one that was just sent."""
    shown = [s for s in story.steps if may_take(request, s.kind)]
    shown.sort(key=lambda s: s.kind != story.due)
    if bound and bound[0] not in [s.kind for s in shown]:
        shown.append(find_step(bound[0]))
    return shown


def step_cautions(step: Step, state: LotState, station: Station) -> tuple[Caution, ...]:
    """What can hurt at a step, where it is done."""
    return at_step(step.kind, *step.at(state, station))


def foot_cautions(state: LotState, station: Station) -> tuple[Caution, ...]:
    """What stands at the foot of the page: mould, and the place the lot is at."""
    lies = stage(state.stage).lies
    return at_step("read", *([lies] if lies in {"tank", "store"} else its_place(state, station)))


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


def step_asks(kind: str, lot: Lot, station: Station) -> tuple[Ask, ...]:
    """What a step asks here: machines only where there are some, the yes for wet coffee where it is wet."""
    return asked_here(find_step(kind).fields(shape_of(lot)), station)


def hours_words(kind: str, lot: Lot, station: Station) -> dict[str, str]:
    """How long each machine takes for this lot, beside its name."""
    state = states_of([lot])[lot.code]
    if not any(ask.of in {"pulper", "huller"} for ask in find_step(kind).asks):
        return {}
    takes = find_step(kind).takes(state, Setting(station, timezone.now()))
    return {name: f"{name} ({state.held_kg:.0f} kg: {h:.1f} h)" for name, h in takes.machine_h.items()}


def _only_choice(form: StepForm) -> None:
    """A menu with one answer has it chosen."""
    for name, field in form.fields.items():
        choices = [value for value, _label in getattr(field, "choices", []) if value]
        if len(choices) == 1 and name in {"tank", "store", "pulper", "huller"}:
            form.initial.setdefault(name, choices[0])
