"""Figures of a machine: heat, fuel, pressure of the air, with what is not known about it."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from drydown.air.series import Site
from drydown.figures import Figure, Source, Status, ln_sd
from drydown.outlook.case import DryingCase
from drydown.steps.dry.airflow import ergun_pa_m
from drydown.steps.dry.constants import AIR_VISCOSITY
from drydown.steps.dry.data import Form, Place
from drydown.steps.dry.fuel import BURNER_BAND, BURNER_SOURCE, fuel
from drydown.steps.dry.run import DryingRun
from drydown.units import GAS_CONSTANT_AIR, ZERO_C_K
from drydown.words import say

__all__ = ["machine_inputs", "machine_notes", "machine_rows", "machine_sources"]

Array = NDArray[np.float64]
WASTEFUL_MJ_KG = 20.0
"""Heat per kg of water above which something is odd: published machines need 5 to 17 MJ/kg."""
OUTSIDE_C = 20.0
"""Temperature at which the stated air is taken to be measured, in the pressure figure only."""
INLET = "temperature the burner aims at: beans next to the incoming air come near it, above the layers' means"
Rows = dict[str, tuple[Array, str, str]]


def machine_rows(
    case: DryingCase,
    kind: Form,
    run: DryingRun,
    last: NDArray[np.int64],
    parameters: Mapping[str, Array],
    site: Site,
) -> Rows:
    """Heat to the air, fuel where the station named it, and the pressure the fan must give.

    Args: case; kind of form; run; last hour of drying of each member; drawn parameters; site.
    Returns: name -> (value of each member, unit, rule). Valid range: places with a fan.
    Source: columns of the run; Ergun's relation times the resistance factor of `forms.toml`.
    """
    spot, members = case.where(), np.arange(last.size)
    burner = _at_end(run.column("burner_mj_m2"), run.done_h, last)
    rows = _pressure(case, kind, parameters, site)
    if burner.max() <= 0.0:
        return rows
    gone = run.column("evaporated_kg_m2")
    lit = np.argmax(run.column("burner_mj_m2") > 0.0, axis=1)
    rows["air_inlet_c"] = (np.full(last.size, spot.air_set_c), "C", INLET)
    taken = _at_end(gone, run.done_h, last) - gone[members, np.maximum(lit - 1, 0)]
    water = np.where(taken > 0.0, taken, np.nan)  # a member that is dry already has no such figure
    rows["heat_mj_kg"] = (
        burner / water,
        "MJ/kg water",
        "heat given to the air over the water taken off meanwhile; divide by burner efficiency for fuel",
    )
    rows["heat_mj_m2"] = (burner, "MJ/m2", "heat given to the air of the machine")
    if spot.fuel is not None:
        burns = fuel(spot.fuel)
        rows["fuel_kg_m2"] = (
            burner / burns.mj_kg / _efficiencies(spot, last.size),
            f"kg {burns.label}/m2",
            say("heat over {mj_kg:g} MJ/kg and over the burner's efficiency", mj_kg=burns.mj_kg),
        )
    return rows


def _at_end(sums: Array, done_h: Array, last: NDArray[np.int64]) -> Array:
    """A running sum of each member at the moment it was dry, between whole hours."""
    members, before = np.arange(last.size), np.maximum(last - 1, 0)
    part = np.where(np.isnan(done_h), 1.0, np.clip(done_h - before, 0.0, 1.0))
    return np.asarray(sums[members, before] + part * (sums[members, last] - sums[members, before]))


def _efficiencies(spot: Place, members: int) -> Array:
    """The burner's efficiency of each member: stated, or spread over the band of indirect burners."""
    if spot.burner is not None:
        return np.full(members, spot.burner)
    low, middle, high = BURNER_BAND
    drawn = middle * np.exp(ln_sd(low, high) * np.random.default_rng(members).standard_normal(members))
    drawn[0] = middle
    return np.asarray(drawn)


def _pressure(case: DryingCase, kind: Form, parameters: Mapping[str, Array], site: Site) -> Rows:
    """Pressure drop of the fresh, still layer and the power in that air; none for what tumbles."""
    spot = case.where()
    if spot.mixed_always or spot.over:
        return {}
    hot = max(spot.air_set_c, OUTSIDE_C) + ZERO_C_K
    swollen = hot / (OUTSIDE_C + ZERO_C_K)  # the flow is stated as outside air
    depth = kind.dry_load(case.load_kg_m2) / parameters["dm_wet_kg_m3"]
    density = site.pressure_pa / (GAS_CONSTANT_AIR * hot)
    metre = ergun_pa_m(
        spot.air_m_s * swollen, 2.0 * parameters["radius_m"], parameters["porosity"], density,
        AIR_VISCOSITY * swollen**0.7,
    )  # fmt: skip
    drop = metre * parameters["air_resistance"] * depth
    return {
        "pressure_pa": (
            drop,
            "Pa",
            "Ergun for spheres times a resistance factor, fresh layer; ducts and floor add to it; measure it",
        ),
        "air_power_w_m2": (
            drop * spot.air_m_s * swollen,
            "W/m2",
            "pressure times air; divide by the efficiency of fan and motor for electricity",
        ),
    }


def machine_inputs(spot: Place) -> dict[str, str]:
    """What the machine is set to, for the working."""
    if spot.over:
        return {
            "air": say("{air_m_s:g} m/s over the layer", air_m_s=spot.air_m_s),
            "air temperature": say("{hot:g} C", hot=min(spot.air_set_c, spot.bean_cap_c)),
        }
    said: dict[str, str] = {
        "air": say("{air_m_s:g} m3 of outside air a minute per m2", air_m_s=60.0 * spot.air_m_s),
        "air temperature": say(
            "{air_set_c:g} C, turned down as beans near {bean_cap_c:g} C",
            air_set_c=spot.air_set_c,
            bean_cap_c=spot.bean_cap_c,
        ),
        "blown in again": say(
            "{recirculated:g} % of the leaving air", recirculated=100.0 * spot.recirculated
        ),
    }
    if spot.fuel is not None:
        stated = spot.burner is not None
        said["burner"] = f"{100.0 * (spot.burner or 0):g} %" if stated else "40 to 70 %, not stated"
    return said


def machine_sources(spot: Place) -> tuple[Source, ...]:
    """Sources of a machine's own figures."""
    found = [Source("Ergun 1952, Fluid flow through packed columns", Status.FROM_MEMORY), spot.source]
    if spot.fuel is not None:
        found.append(fuel(spot.fuel).source)
        found.append(Source("burner as stated", Status.STATED) if spot.burner is not None else BURNER_SOURCE)
    return tuple(found)


def machine_notes(spot: Place, figures: Mapping[str, Figure]) -> list[str]:
    """What a reader of a machine's figures should know."""
    if spot.over:
        return [
            say(
                "the air goes over the layer, at most as hot as the beans may be ({cap:g} C); the heat it "
                "takes is not worked out",
                cap=spot.bean_cap_c,
            )
        ]
    notes = ["no heat is lost through walls and ducts here; a bare housing can add a tenth and more"]
    heat, hot = figures.get("heat_mj_kg"), figures["hottest_bean_c"].value
    if heat is not None and heat.value > WASTEFUL_MJ_KG:
        again = "" if spot.recirculated > 0.0 else ", or say the share of air that is blown in again"
        notes.append(
            say(
                "{value:.0f} MJ for a kg of water, where water itself needs 2.4: most heat leaves "
                "unused. Check area, load and air; load more or blow less{again}",
                value=heat.value,
                again=again,
            )
        )
    if hot > spot.bean_cap_c - 0.5 and spot.air_set_c > spot.bean_cap_c:
        notes.append(
            say(
                "the burner is turned down: beans are held near {bean_cap_c:g} C, so air of "
                "{air_set_c:g} C is not reached all the time",
                bean_cap_c=spot.bean_cap_c,
                air_set_c=spot.air_set_c,
            )
        )
    if spot.mixed_always:
        notes.append("what tumbles has no pressure figure")
    if spot.fuel is None:
        notes.append("no fuel is named: kilograms of fuel are not worked out")
    elif spot.burner is None:
        notes.append("the burner's efficiency is not stated: fuel is spread over 40 to 70 % (indirect wood)")
    return notes
