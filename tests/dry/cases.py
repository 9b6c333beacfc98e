"""Invented weather and lots shared by the drying tests."""

from __future__ import annotations

from datetime import datetime

import numpy as np

from drydown.air.series import HourlyWeather, Site
from drydown.steps.dry.begin import start as start_of
from drydown.steps.dry.data import Place, form
from drydown.steps.dry.draws import typical_parameters
from drydown.steps.dry.inputs import hourly_air, parameter_table
from drydown.steps.dry.routine import Routine

__all__ = ["SITE", "fair_weather", "one_member", "typical"]

SITE = Site(-3.4, 45.0, 1690.0, 3.0)


def fair_weather(
    days: int = 20,
    sun_kwh: float = 5.1,
    warmer_c: float = 0.0,
    rh_factor: float = 1.0,
    rain_mm: float = 0.0,
) -> HourlyWeather:
    """A repeated invented day from 08:00: 18.5 C mean, 73 % humidity, light wind."""
    hour = (np.arange(24 * days) + 8.5) % 24
    temp = 18.5 + warmer_c + 6.0 * np.cos(2 * np.pi * (hour - 14) / 24)
    rh = np.clip((0.73 - 0.18 * np.cos(2 * np.pi * (hour - 14) / 24)) * rh_factor, 0.05, 1.0)
    sun = np.maximum(0.0, np.sin(np.pi * (hour - 6) / 12)) * sun_kwh * 1000 * np.pi / 24
    rain = np.where((hour > 14) & (hour < 16), rain_mm / 2, 0.0)
    columns = {
        "temp_c": temp,
        "rh": rh,
        "ghi_wm2": sun,
        "wind_ms": 2.0 + np.cos(2 * np.pi * (hour - 14) / 24),
        "rain_mm": rain,
        "sky_wm2": 0.85 * 5.67e-8 * (temp + 273.15) ** 4,
    }
    return HourlyWeather.of(SITE, datetime(2026, 6, 1, 8, tzinfo=SITE.zone), columns)


def typical(name: str) -> dict[str, np.ndarray]:
    """Typical parameters of a form, one member."""
    return typical_parameters(form(name))


def one_member(
    parameters: dict[str, np.ndarray], where: Place, weather: HourlyWeather, routine: Routine, load: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """What the kernel gets for one member: parameter table, hourly air, rakes, starting state."""
    table = parameter_table(parameters, where, load, weather, 1)[0]
    hourly, raked = hourly_air(where, weather, routine)
    air_c = weather.temp_c[0, 0]
    start = np.append(start_of(parameters, load, None, 1)[0], [air_c, air_c])
    return table, hourly[0], raked, start
