"""A thermocouple reader followed while a roast is on the pad: read by the server, whichever phone looks."""

from __future__ import annotations

import threading
import time
from typing import Any

from django.core.cache import caches
from django.utils.connection import ConnectionProxy

from drydown.desk.probe import Followed, reader_of, watch
from drydown.errors import DrydownError
from drydown.station.roasters import Roaster, Thermometer

__all__ = ["KEPT_S", "MOST_S", "ensure", "followed", "pads", "shown_of"]

MOST_S = 3600.0
KEPT_S = 2 * 86400
LEASE_S = 15
LEAST_EVERY_S = 2.0
"""A roast is read no oftener, so that an hour of it is kept whole."""
_GATE = threading.Lock()

pads = ConnectionProxy(caches, "pads")
"""Roasts under way, kept as files: not thinned out as what can be worked out again is."""


def _held(state: dict[str, Any]) -> dict[str, Any]:
    return pads.get(f"probe-{state['key']}") or {"readings": [], "remarks": []}


def followed(state: dict[str, Any]) -> tuple[list[list[float]], list[str]]:
    """What was typed and what the reader gave, by time, nothing after the roast is out; and what was odd
    about
    the reader, in words."""
    last, held = state.get("drop_s", MOST_S), _held(state)
    return sorted([*state["readings"], *(r for r in held["readings"] if r[0] <= last)]), held["remarks"]


def shown_of(readings: list[list[float]], apart_s: float = 10.0) -> list[list[float]]:
    """Readings to look at: one in ten seconds, and the last."""
    kept: list[list[float]] = []
    for row in readings:
        if not kept or row[0] - kept[-1][0] >= apart_s:
            kept.append(row)
    return kept if not readings or kept[-1] == readings[-1] else [*kept, readings[-1]]


def ensure(name: str, state: dict[str, Any], roaster: Roaster) -> None:
    """Follow the roaster's reader, unless it has none, is followed already or the roast is out.

    Args: name, the pad's in `pads`; state, what it keeps; roaster. A server that was stopped follows on with
    the next look at the pad.
    """
    told = roaster.thermometer
    if told is None or "drop_s" in state or time.time() - state["begun"] > MOST_S:
        return
    with _GATE:
        if not pads.add(f"lease-{state['key']}", 1, LEASE_S):
            return
    threading.Thread(target=_run, args=(name, state, told), name="probe", daemon=True).start()


def _run(name: str, state: dict[str, Any], thermometer: Thermometer) -> None:
    held = _held(state)
    told = Followed(remarks=list(held["remarks"]))

    def tell() -> None:
        pads.set(f"probe-{state['key']}", {**held, "remarks": told.remarks}, KEPT_S)

    def on(now: float) -> bool:
        pads.set(f"lease-{state['key']}", 1, LEASE_S)
        if told.remarks != held["remarks"]:
            held["remarks"] = list(told.remarks)
            tell()
        kept = pads.get(name)
        return kept is not None and kept["key"] == state["key"] and "drop_s" not in kept and now < MOST_S

    def keep(now: float, value: float) -> None:
        held["readings"].append([round(now, 1), round(value, 1)])
        tell()

    try:
        every = max(thermometer.every_s, LEAST_EVERY_S)
        watch(reader_of(thermometer), told, keep, on, every, lambda: time.time() - state["begun"], time.sleep)
    except DrydownError as error:  # asked again once the lease is over and somebody looks
        told.remark(str(error))
        tell()
