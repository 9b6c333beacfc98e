"""Pulp: the skin comes off; carrying water goes from the supply to the drain."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from drydown.figures import Source, Status
from drydown.quality.pulper import GAP
from drydown.way.ask import number_of, pick
from drydown.way.matter import pulped
from drydown.way.names import Line
from drydown.way.needs import Setting, Takes, by_machine
from drydown.way.state import LotState, Stage
from drydown.way.step import Doing, Finding, Standing, Step
from drydown.words import say

__all__ = ["STEPS"]

GOOD_NIPPED, MOST_NIPPED, MOST_LOST = 2.0, 5.0, 3.0
_LOST = Source("more than 3 % of beans in the pulp, own choice", Status.OWN_ESTIMATE)


def _moves(doing: Doing) -> list[Line]:
    state, lost = doing.state, doing.details.get("in_pulp_percent")
    return pulped(
        doing.has, state.account, state.species, doing.station.practice().typical(), state.route,
        None if lost is None else float(lost) / 100.0,
    )  # fmt: skip


def _odd(doing: Doing) -> list[Finding]:
    """What the pulper's test sheet says of its gap."""
    nipped, lost = doing.typed("nipped_percent"), doing.typed("in_pulp_percent")
    found = []
    if nipped > MOST_NIPPED:
        words = say("{p:g} % nipped, more than {m:g} %: reset the gap, and grade this lot by itself.",
                    p=nipped, m=MOST_NIPPED)  # fmt: skip
        found.append(Finding(words, GAP))
    elif nipped > GOOD_NIPPED:
        words = say("{p:g} % nipped; a good gap nips {g:g} % and less.", p=nipped, g=GOOD_NIPPED)
        found.append(Finding(words, GAP))
    if lost > MOST_LOST:
        words = say("{p:g} % of the beans went with the pulp: sieve it, and close the gap.", p=lost)
        found.append(Finding(words, _LOST))
    return found


def _takes(state: LotState, setting: Setting) -> Takes:
    litres = float(np.asarray(setting.station.practice().typical().pulp_water_l_kg_cherry)) * state.held_kg
    return replace(by_machine(setting.station, "pulper", state.held_kg), water_l=litres)


STEPS = (
    Step(
        "pulp", "Pulp", "pulped", Standing(Stage.PULPED, "pulped", waits=True),
        (
            pick("pulper", "pulper").optional(),
            number_of("nipped_percent", "nipped or cut beans, % by count", 0, 50, "%", "% nipped").optional(),
            number_of(
                "in_pulp_percent", "beans lost with the pulp, % by count", 0, 50, "%", "% in the pulp"
            ).optional(),
        ),
        moves=_moves, odd=_odd, takes=_takes,
        hurts=("machine", "wet_electric", "noise", "pulp_heap", "effluent"),
    ),
)  # fmt: skip
