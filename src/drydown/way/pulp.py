"""Pulp: the skin comes off; carrying water goes from the supply to the drain."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from drydown.way.ask import pick
from drydown.way.matter import pulped
from drydown.way.names import Line
from drydown.way.needs import Setting, Takes, by_machine
from drydown.way.state import LotState, Stage
from drydown.way.step import Doing, Standing, Step

__all__ = ["STEPS"]


def _moves(doing: Doing) -> list[Line]:
    state = doing.state
    return pulped(doing.has, state.account, state.species, doing.station.practice().typical(), state.route)


def _takes(state: LotState, setting: Setting) -> Takes:
    litres = float(np.asarray(setting.station.practice().typical().pulp_water_l_kg_cherry)) * state.held_kg
    return replace(by_machine(setting.station, "pulper", state.held_kg), water_l=litres)


STEPS = (
    Step(
        "pulp", "Pulp", "pulped", Standing(Stage.PULPED, "pulped", waits=True),
        (pick("pulper", "pulper").optional(),),
        moves=_moves, takes=_takes,
        hurts=("machine", "wet_electric", "noise", "pulp_heap", "effluent"),
    ),
)  # fmt: skip
