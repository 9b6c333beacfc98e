"""A batch in a drum or in hot air as one bean, one piece of metal and one probe (lumped), many members at
once.

Equations: Schwartzberg 2002, "Modeling bean heating during batch roasting of coffee beans", from memory;
loss of
organic matter is our own closure, zero order in what is left, set by four assumed anchors.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from drydown.errors import RangeError
from drydown.figures import Source, Status
from drydown.units import GAS_CONSTANT, ZERO_C_K
from drydown.words import say

__all__ = [
    "COLUMNS",
    "HEATS",
    "ROAST_SOURCE",
    "Batch",
    "RoastRun",
    "Roaster",
    "bean_heat_kj_kg_k",
    "drying_rate",
    "organic_rate",
    "organic_share",
    "reaction_kw_kg",
    "roast",
]

Array = NDArray[np.float64]
ROAST_SOURCE = Source(
    "Schwartzberg 2002, Modeling bean heating during batch roasting of coffee beans; organic loss: own law",
    Status.FROM_MEMORY,
)
EVAPORATION_KJ_KG = 2790.0
REACTION_KJ_KG = 232.0
GAS_KJ_KG_K = 1.05
ORGANIC_220, ORGANIC_J_MOL = 1.817e-4, 44_000.0
STEP_S = 0.5
COLUMNS = (
    "bean_c",
    "metal_c",
    "moisture_db",
    "reaction_kj_kg",
    "organic",
    "probe_c",
    "gas_kj",
    "beans_kj",
    "shell_kj",
)
"""Columns of a run: temperatures [C], moisture [kg/kg dry], heat set free [kJ/kg dry], organic loss
[fraction of
dry matter], and sums: heat given by the gas, taken by beans, lost by the shell [kJ]."""
BEAN, METAL, WATER, HEAT, ORGANIC, PROBE, GAS, TAKEN, SHELL = range(len(COLUMNS))
HEATS = ("inlet_c", "heat_kw")


@dataclass(frozen=True, slots=True)
class Roaster:
    """A roaster. gas_kg_s, air through it; h_w_m2k, gas to beans; metal_share, heat the gas gives the
    metal over
    what it gives beans at the same difference; contact_w_k, metal to beans; metal_kg and metal_kj_kg_k;
    shell_w_k,
    metal to the room; probe_s, lag of the probe. A hot-air roaster has no metal that matters: metal_share and
    contact 0."""

    gas_kg_s: float = 0.006
    h_w_m2k: float = 20.0
    metal_share: float = 0.15
    contact_w_k: float = 3.0
    metal_kg: float = 8.0
    metal_kj_kg_k: float = 0.5
    shell_w_k: float = 1.0
    probe_s: float = 30.0
    room_c: float = 25.0

    def __post_init__(self) -> None:
        spans = {
            "gas_kg_s": (1e-5, 2.0), "h_w_m2k": (1.0, 300.0), "metal_share": (0.0, 5.0),
            "contact_w_k": (0.0, 1e4),
            "metal_kg": (0.05, 5000.0), "metal_kj_kg_k": (0.1, 2.0), "shell_w_k": (0.0, 500.0),
            "probe_s": (0.5, 300.0), "room_c": (-20.0, 60.0),
        }  # fmt: skip
        for name, (low, high) in spans.items():
            if not low <= getattr(self, name) <= high:
                raise RangeError(say("must be from {a:g} to {b:g}.", a=low, b=high), name)


@dataclass(frozen=True, slots=True)
class Batch:
    """What is roasted and how. green_kg; moisture_wb of the green; bean_mm, diameter; bean_kg_m3;
    charge_c, the
    roaster when beans fall in; heat, (second, value) pairs that hold until the next: inlet_c, gas into the
    beans
    [C], or heat_kw, heat that burner or element gives the air [kW]."""

    green_kg: float
    moisture_wb: float
    charge_c: float
    heat: tuple[tuple[float, float], ...]
    kind: str = "inlet_c"
    bean_mm: float = 6.5
    bean_kg_m3: float = 1200.0
    green_c: float = 25.0

    def __post_init__(self) -> None:
        checks = (
            ("green", 0.02 <= self.green_kg <= 500.0, say("0.02 to 500 kg")),
            ("moisture", 0.05 <= self.moisture_wb <= 0.20, say("5 to 20 % wb")),
            ("charge temperature", 20.0 <= self.charge_c <= 350.0, say("20 to 350 C")),
            ("bean diameter", 3.0 <= self.bean_mm <= 12.0, say("3 to 12 mm")),
            ("heat", bool(self.heat) and self.heat[0][0] == 0.0, say("a value from second 0 on")),
            ("heat", self.kind in HEATS, say("inlet_c or heat_kw")),
            ("heat", list(self.heat) == sorted(self.heat), say("times that rise")),
        )
        for name, good, span in checks:
            if not good:
                raise RangeError(say("must be: {span}.", span=span), name)
        top = 510.0 if self.kind == "inlet_c" else 2000.0
        if any(not 0.0 <= v <= top for _t, v in self.heat):
            raise RangeError(say("must be 0 to {t:g}; beans char in gas above 510 C.", t=top), "heat")

    @property
    def dry_kg(self) -> float:
        """Dry matter [kg]."""
        return self.green_kg * (1.0 - self.moisture_wb)

    def hottest(self, roaster: Roaster) -> float:
        """The hottest gas it ever meets [C]."""
        if self.kind == "inlet_c":
            return max(v for _t, v in self.heat)
        return max(roaster.room_c + v / (roaster.gas_kg_s * GAS_KJ_KG_K) for _t, v in self.heat)


@dataclass(frozen=True, slots=True)
class RoastRun:
    """A run: seconds (time,), values (member, time, `COLUMNS`)."""

    seconds: Array
    values: Array
    batch: Batch
    roaster: Roaster

    def column(self, name: str) -> Array:
        """One column, (member, time)."""
        return np.asarray(self.values[:, :, COLUMNS.index(name)])

    def when(self, name: str, level: float) -> Array:
        """Second at which a column first passes a level upwards, (member,); inf where it never does. A
        probe is
        followed from its lowest point on: it falls after the charge."""
        values = self.column(name)
        turn = values.argmin(axis=1) if name == "probe_c" else np.zeros(values.shape[0], dtype=int)
        found = np.full(values.shape[0], np.inf)
        for m in range(values.shape[0]):
            over = np.flatnonzero(values[m, turn[m] :] >= level)
            if not over.size:
                continue
            k = int(over[0]) + int(turn[m])
            if k == 0:
                found[m] = 0.0
                continue
            a, b = values[m, k - 1], values[m, k]
            found[m] = self.seconds[k - 1] + (level - a) / (b - a) * (self.seconds[k] - self.seconds[k - 1])
        return found

    def at(self, seconds: Array) -> Array:
        """All columns of each member at a second of its own, (member, `COLUMNS`)."""
        return np.stack([
            [np.interp(seconds[m], self.seconds, self.values[m, :, c]) for c in range(len(COLUMNS))]
            for m in range(self.values.shape[0])
        ])  # fmt: skip

    def loss(self, seconds: Array) -> Array:
        """Share of the green mass that is gone at a second, water and organic matter, (member,)."""
        here = self.at(seconds)
        left = (1.0 - here[:, ORGANIC]) + here[:, WATER]
        return np.asarray(1.0 - left * (1.0 - self.batch.moisture_wb))


def bean_heat_kj_kg_k(temp_c: float | Array, moisture_db: float | Array) -> Array:
    """Heat capacity of a bean with its water.

    Equation: (1.099 + 0.0070 T + 5.0 X)/(1 + X). Args: temp_c [C]; moisture_db [kg/kg]. Returns: [kJ/(kg K)].
    Valid range: 20 to 260 C, 0 to 0.3. Source: Schwartzberg 2002, from memory.

    >>> bean_heat_kj_kg_k(28.0, 0.13).round(3).item()
    1.721
    """
    x = np.asarray(moisture_db, dtype=float)
    return np.asarray((1.099 + 0.0070 * np.asarray(temp_c) + 5.0 * x) / (1.0 + x))


def drying_rate(temp_c: float | Array, bean_mm: float | Array) -> Array:
    """Rate constant of the loss of water, in -dX/dt = k X2.

    Equation: 4.32e9/d2 exp(-9889/T). Args: temp_c [C]; bean_mm [mm]. Returns: [1/s]. Valid range: 20 to
    260 C.
    Source: Schwartzberg 2002, from memory.

    >>> drying_rate(200.0, 6.5).round(5).item()
    0.08565
    """
    return np.asarray(4.32e9 / np.square(bean_mm) * np.exp(-9889.0 / (np.asarray(temp_c) + ZERO_C_K)))


def reaction_kw_kg(temp_c: float | Array, released: float | Array) -> Array:
    """Heat that the reactions set free.

    Equation: 116200 exp(-5500/T) (232 - He)/232. Args: temp_c [C]; released, set free so far [kJ/kg dry].
    Returns: [kW/kg dry]. Valid range: 20 to 260 C. Source: Schwartzberg 2002, from memory; another source
    finds
    less than 5 C of effect (Abdul Ghani 2019, second-hand).

    >>> reaction_kw_kg(200.0, 232.0).item()
    0.0
    """
    left = (REACTION_KJ_KG - np.asarray(released)) / REACTION_KJ_KG
    return np.asarray(116_200.0 * np.exp(-5500.0 / (np.asarray(temp_c) + ZERO_C_K)) * left)


def organic_rate(temp_c: float | Array, scale: float | Array = 1.0) -> Array:
    """Rate at which organic matter leaves.

    Equation: k220 exp(-E/R (1/T - 1/493.15)). Args: temp_c [C]; scale, a roaster's own over k220 [-].
    Returns:
    [1/s of the dry matter]. Valid range: 150 to 250 C. Source: own closure on assumed anchors (205 C 2.5
    %, 218
    5 %, 228 7.5 %, 240 11.5 %); weigh your own.

    >>> organic_rate(220.0).round(7).item()
    0.0001817
    """
    kelvin = np.asarray(temp_c) + ZERO_C_K
    return np.asarray(
        scale * ORGANIC_220 * np.exp(-ORGANIC_J_MOL / GAS_CONSTANT * (1.0 / kelvin - 1.0 / 493.15))
    )


def organic_share(green_wb: float, roasted_wb: float, loss: float) -> float:
    """Organic loss over dry matter, from weighings.

    Equation: 1 - (1 - L)(1 - w1)/(1 - w0). Args: green_wb, roasted_wb [fraction]; loss of mass [fraction].
    Returns: [fraction of dry matter]. Valid range: loss of 0 to 0.4. Source: conservation of mass.

    >>> round(100 * organic_share(0.11, 0.02, 0.15), 2)
    6.4
    """
    if not (0.0 <= roasted_wb < 0.3 and 0.0 < green_wb < 0.3 and -0.05 <= loss <= 0.5):
        raise RangeError("must be: moistures of 0 to 30 %, a loss of 0 to 50 %.", "roast loss")
    return 1.0 - (1.0 - loss) * (1.0 - roasted_wb) / (1.0 - green_wb)


NAMES = ("h_w_m2k", "contact_w_k", "probe_s", "organic", "bean_mm")
"""What may differ between members: factors over the roaster's (and the batch's) own."""


@dataclass(slots=True)
class _Side:
    """Constants of a run, (member,) where they differ."""

    roaster: Roaster
    batch: Batch
    drawn: Mapping[str, Array]
    members: int
    area: Array = field(init=False)
    h: Array = field(init=False)
    contact: Array = field(init=False)
    probe: Array = field(init=False)
    mm: Array = field(init=False)
    organic: Array = field(init=False)

    def __post_init__(self) -> None:
        one = np.ones(self.members)
        f = {n: np.asarray(self.drawn.get(n, one)) * one for n in NAMES}
        b, r = self.batch, self.roaster
        self.mm = b.bean_mm * f["bean_mm"]
        self.area = 6.0 * b.green_kg / (b.bean_kg_m3 * self.mm * 1e-3)
        self.h = 1e-3 * r.h_w_m2k * f["h_w_m2k"]
        self.contact = 1e-3 * r.contact_w_k * f["contact_w_k"]
        self.probe = r.probe_s * f["probe_s"]
        self.organic = f["organic"]

    def inlet(self, second: float) -> float:
        """Gas into the beans [C]."""
        value = next(v for t, v in reversed(self.batch.heat) if t <= second + 1e-9)
        if self.batch.kind == "inlet_c":
            return value
        return self.roaster.room_c + value / (self.roaster.gas_kg_s * GAS_KJ_KG_K)

    def rates(self, y: Array, inlet: float) -> Array:
        """Right-hand side, (member, `COLUMNS`)."""
        r, dry = self.roaster, self.batch.dry_kg
        bean, metal, x = y[:, BEAN], y[:, METAL], np.maximum(y[:, WATER], 0.0)
        flow, share = r.gas_kg_s * GAS_KJ_KG_K, r.metal_share
        reach = 1.0 - np.exp(-self.h * self.area * (1.0 + share) / flow)
        gas = flow * (inlet - (bean + share * metal) / (1.0 + share)) * reach
        to_metal = share * (self.h * self.area * (bean - metal) + gas) / (1.0 + share)
        contact = self.contact * (metal - bean)
        drying = -drying_rate(bean, self.mm) * x * x
        reacts = reaction_kw_kg(bean, y[:, HEAT])
        taken = gas - to_metal + contact
        shell = 1e-3 * r.shell_w_k * (metal - r.room_c)
        out = np.empty_like(y)
        out[:, BEAN] = (taken + dry * (reacts + EVAPORATION_KJ_KG * drying)) / (
            dry * (1.0 + x) * bean_heat_kj_kg_k(bean, x)
        )
        out[:, METAL] = (to_metal - contact - shell) / (r.metal_kg * r.metal_kj_kg_k)
        out[:, WATER], out[:, HEAT] = drying, reacts
        out[:, ORGANIC] = organic_rate(bean, self.organic)
        out[:, PROBE] = (bean - y[:, PROBE]) / self.probe
        out[:, GAS], out[:, TAKEN], out[:, SHELL] = gas, taken, shell
        return out


def roast(
    roaster: Roaster, batch: Batch, seconds: float, drawn: Mapping[str, Array] | None = None,
    marks: Sequence[float] = (),
) -> RoastRun:  # fmt: skip
    """Follow a batch.

    Args: roaster; batch; seconds to follow it [s]; drawn, factors by name (member,) over h_w_m2k,
    contact_w_k,
    probe_s, organic, bean_mm; marks, seconds that must be steps' ends. Returns: `RoastRun` at each half
    second.
    Valid range: 10 to 3600 s. Runge-Kutta of fourth order, half a second (within 0.1 K of CVODE, tests).
    Source:
    `ROAST_SOURCE`.

    >>> batch = Batch(1.0, 0.12 / 1.12, 210.0, ((0.0, 303.0),))
    >>> run = roast(Roaster(), batch, 800.0)
    >>> round(float(run.when("bean_c", 228.0)[0]))
    719
    """
    if not 10.0 <= seconds <= 3600.0:
        raise RangeError(say("must be from 10 to 3600 s, got {s:g}.", s=seconds), "roast")
    given = dict(drawn or {})
    members = max((np.asarray(v).size for v in given.values()), default=1)
    side = _Side(roaster, batch, given, members)
    times = np.unique(
        np.concatenate([np.arange(0.0, seconds + STEP_S, STEP_S), np.asarray(marks, dtype=float)])
    )
    times = np.unique(np.concatenate([times, [t for t, _v in batch.heat if t < times[-1]]]))
    y = np.zeros((members, len(COLUMNS)))
    y[:, BEAN], y[:, METAL], y[:, PROBE] = batch.green_c, batch.charge_c, batch.charge_c
    y[:, WATER] = batch.moisture_wb / (1.0 - batch.moisture_wb)
    values = np.empty((members, times.size, len(COLUMNS)))
    values[:, 0] = y
    for k in range(1, times.size):
        step, inlet = times[k] - times[k - 1], side.inlet(times[k - 1])
        a = side.rates(y, inlet)
        b = side.rates(y + 0.5 * step * a, inlet)
        c = side.rates(y + 0.5 * step * b, inlet)
        d = side.rates(y + step * c, inlet)
        y = y + step / 6.0 * (a + 2.0 * b + 2.0 * c + d)
        values[:, k] = y
    return RoastRun(times, values, batch, roaster)
