"""A roast under way as the pad keeps it, and its picture: what was read, and the band of what comes."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from django.core.cache import cache

from drydown.books.models import BenchSheet
from drydown.desk.roastview import fit_of
from drydown.errors import DrydownError
from drydown.fingerprint import MODEL, fingerprint
from drydown.outlook.roast import Fit, RoastAhead, roast_ahead
from drydown.station.roasters import Roaster
from drydown.steps.roast.model import Batch

__all__ = ["EDGE", "WIDE", "Picture", "ahead_of", "height", "marks_c", "minutes", "picture_of"]

WIDE, EDGE, TOP, GROUND = 358.0, 30.0, 8.0, 218.0
LOW_C, HIGH_C, MARKS_C = 20.0, 250.0, (50.0, 100.0, 150.0, 200.0)
MEMBERS, LOOK_S = 40, 1200.0
SHEETS = 8


def minutes(seconds: float) -> str:
    """Seconds as minutes and seconds."""
    whole = round(seconds)
    return f"{whole // 60}:{whole % 60:02d}"


def _fit(roaster: Roaster) -> Fit | None:
    """What the last roasts on it and its probe told, kept until another is logged."""
    sheets = [
        s for s in BenchSheet.objects.filter(kind="roast", undone=False).order_by("-entry_id")[:40]
        if s.told.get("roaster") == roaster.name and s.told.get("probe", "") in {"", roaster.probe}
    ][:SHEETS]  # fmt: skip
    told = repr((fingerprint(*MODEL), roaster.model_dump_json(), [s.entry_id for s in sheets]))
    key = "roastfit-" + hashlib.sha256(told.encode()).hexdigest()[:32]
    found = cache.get(key)
    if found is None:
        made = fit_of(roaster, sheets)
        found = ("none",) if made is None else made
        cache.set(key, found, 30 * 86400)
    return found if isinstance(found, Fit) else None


def ahead_of(roaster: Roaster, told: dict[str, Any]) -> RoastAhead | None:
    """How the roast under way will go; None where the gas is not stated, or nothing can be told."""
    if roaster.inlet_c is None:
        return None
    try:
        batch = Batch(
            told["green_g"] / 1000.0,
            told["green_percent"] / 100.0,
            told["charge_c"],
            ((0.0, roaster.inlet_c),),
        )
        stones = {m.name: m.probe_c for m in roaster.milestones if m.probe_c is not None}
        seen = [(float(t), float(c)) for t, c in told["readings"]]
        return roast_ahead(
            roaster.machine(),
            batch,
            _fit(roaster),
            seen,
            stones,
            ("probe_c", roaster.drop_c or 0.0),
            LOOK_S,
            MEMBERS,
        )
    except DrydownError:
        return None


@dataclass(frozen=True, slots=True)
class Picture:
    """The curve: band and middle of what comes as paths, readings and milestones as points, axis marks."""

    band: str
    middle: str
    seen: tuple[tuple[float, float], ...]
    events: tuple[tuple[float, str], ...]
    across: tuple[tuple[float, str], ...]
    up: tuple[tuple[float, str], ...]
    now_x: float


def height(c: float, ground: float) -> float:
    """Where a probe temperature [C] stands in a picture whose 20 C lie at ground; 250 C at its top."""
    return TOP + (ground - TOP) * (1.0 - (min(max(c, LOW_C), HIGH_C) - LOW_C) / (HIGH_C - LOW_C))


def marks_c(ground: float) -> tuple[tuple[float, str], ...]:
    """The temperature axis: places and words."""
    return tuple((round(height(c, ground), 1), f"{c:.0f}") for c in MARKS_C)


def picture_of(
    told: dict[str, Any], ahead: RoastAhead | None, now_s: float, events: Sequence[Any]
) -> Picture:
    """The picture of a roast under way.

    Args: told, the pad's state; ahead; now_s; events, (name, second). Returns: places in a box of 358 by 240.
    Valid range: up to an hour. Source: none.
    """
    last = 600.0
    if ahead is not None and "out" in ahead.figures:
        last = max(last, ahead.figures["out"].high + 60.0)
    last = max(last, now_s + 60.0)

    def x(t: float) -> float:
        return EDGE + (WIDE - EDGE - 6.0) * min(max(t, 0.0), last) / last

    def y(c: float) -> float:
        return height(c, GROUND)

    band = middle = ""
    if ahead is not None:
        keep = np.flatnonzero(ahead.seconds <= last)[::20]
        low, mid, high = (
            [(x(float(ahead.seconds[k])), y(float(ahead.probe_c[row, k]))) for k in keep] for row in range(3)
        )
        band = "M" + "L".join(f"{a:.1f} {b:.1f}" for a, b in [*low, *reversed(high)]) + "Z"
        middle = "M" + "L".join(f"{a:.1f} {b:.1f}" for a, b in mid)
    return Picture(
        band, middle, tuple((round(x(t), 1), round(y(c), 1)) for t, c in told["readings"]),
        tuple((round(x(t), 1), str(n)) for n, t in events),
        tuple((round(x(60.0 * m), 1), str(m)) for m in range(0, int(last // 60) + 1, 2)),
        marks_c(GROUND), round(x(now_s), 1),
    )  # fmt: skip
