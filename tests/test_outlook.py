"""Forecasts, reasons and the fit to a station's own lots."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np
import pytest

from drydown.air.series import RANGES, HourlyWeather
from drydown.errors import InputError
from drydown.outlook.case import DryingCase, Stop
from drydown.outlook.cautions import cautions
from drydown.outlook.fit import PastLot, fit_station
from drydown.outlook.forecast import forecast
from drydown.outlook.reasons import overdrying_per_hour, reasons
from drydown.outlook.rules import check_rules, window_state
from drydown.station.load import example_text, parse_station
from drydown.steps.dry.airflow import ergun_pa_m
from drydown.steps.dry.data import form, place
from drydown.steps.dry.draws import draw_parameters, typical_parameters
from drydown.steps.dry.routine import Routine
from drydown.steps.dry.run import dry
from tests.dry.cases import SITE, fair_weather

STATION = parse_station(example_text())
START = datetime(2026, 6, 10, 9, tzinfo=SITE.zone)
CASE = DryingCase("arabica", "parchment", "raised_bed", 12.0, 0.11, START, Routine())


def test_band_widens_with_what_is_not_known() -> None:
    normals = STATION.normals()
    assert normals is not None
    weather_known = forecast(CASE, SITE, fair_weather(60), 60).figures["dry_days"]
    both = forecast(CASE, SITE, normals, 60).figures["dry_days"]
    liberica = forecast(replace(CASE, species="liberica"), SITE, fair_weather(60), 60).figures["dry_days"]
    assert weather_known.low < weather_known.value < weather_known.high
    assert np.log(both.high / both.low) > 0.8 * np.log(weather_known.high / weather_known.low)
    assert liberica.high - liberica.low > weather_known.high - weather_known.low


def test_a_reading_narrows_the_band() -> None:
    fresh = forecast(CASE, SITE, fair_weather(60), 60).figures["dry_days"]
    read = forecast(replace(CASE, moisture_wb_now=0.16), SITE, fair_weather(60), 60).figures["dry_days"]
    assert read.high - read.low < fresh.high - fresh.low
    assert read.value < fresh.value


def test_a_lot_that_never_dries_is_said() -> None:
    damp = fair_weather(60, sun_kwh=0.6, rh_factor=1.25)
    found = forecast(CASE, SITE, damp, 10)
    assert found.undried == 1.0
    assert found.dry_on() == (None, None, None)
    assert np.isnan(found.figures["dry_days"].value)
    assert any("not dry" in note for note in found.notes)


def test_stops_before_a_bin() -> None:
    case = replace(
        CASE, place="static_bin", load_kg_m2=250.0, stops=(Stop(place("raised_bed"), 12.0, 72),),
        routine=Routine(cover_from=17.5),
    )  # fmt: skip
    found = forecast(case, SITE, fair_weather(60), 20)
    assert found.figures["heat_mj_kg"].value > 5.0
    assert "before, 1" in found.figures["dry_days"].inputs
    assert found.as_dict()["stops"] == [{"place": "raised_bed", "load_kg_m2": 12.0, "hours": 72}]


def test_a_machine_tells_its_pressure_and_its_fuel() -> None:
    # Working by hand: fuel = heat / (18.98 MJ/kg x burner); pressure 2 x Ergun x depth, see airflow tests.
    stated = place("static_bin").set_to(burner=0.5, fuel_name="coffee_husk")
    case = replace(CASE, place="static_bin", load_kg_m2=250.0, spot=stated, routine=Routine())
    found = forecast(case, SITE, fair_weather(60), 20)
    figures = found.figures
    assert figures["fuel_kg_m2"].value == pytest.approx(figures["heat_mj_m2"].value / 18.98 / 0.5, rel=1e-9)
    assert "no fuel" not in " ".join(found.notes)
    kind = form("parchment")
    depth = kind.dry_load(250.0) / 315.0
    density = SITE.pressure_pa / 287.042 / 323.15
    swollen = 323.15 / 293.15  # outside air of 20 C at 50 C
    hand = 2.0 * ergun_pa_m(0.16 * swollen, 0.0082, 0.45, density, 1.81e-5 * swollen**0.7) * depth
    pressure = figures["pressure_pa"]
    assert pressure.low < hand < pressure.high
    assert pressure.value == pytest.approx(hand, rel=0.5)
    assert figures["air_power_w_m2"].value == pytest.approx(0.16 * swollen * pressure.value, rel=1e-6)
    assert not any("leave" in note for note in found.notes)
    trays = place("tray_dryer").set_to(air_set_c=60.0)
    thin = forecast(
        replace(case, place="tray_dryer", load_kg_m2=12.0, spot=trays), SITE, fair_weather(60), 10
    )
    assert any("most heat leaves unused" in note for note in thin.notes)
    assert any("the burner is turned down" in note for note in thin.notes)
    drum = forecast(replace(case, place="drum", spot=place("drum")), SITE, fair_weather(60), 10)
    assert "pressure_pa" not in drum.figures
    unsaid = forecast(replace(case, spot=place("static_bin")), SITE, fair_weather(60), 20)
    assert "fuel_kg_m2" not in unsaid.figures
    assert any("no fuel is named" in note for note in unsaid.notes)
    banded = forecast(
        replace(case, spot=place("static_bin").set_to(fuel_name="wood")), SITE, fair_weather(60), 40
    )
    assert any("40 to 70 %" in note for note in banded.notes)
    wood = banded.figures["fuel_kg_m2"]
    assert wood.high / wood.low > 1.02 * banded.figures["heat_mj_m2"].high / banded.figures["heat_mj_m2"].low


def test_reasons_name_the_open_nights() -> None:
    normals = STATION.normals()
    assert normals is not None
    said = []
    for month in range(1, 13):
        careless = replace(CASE, start=CASE.start.replace(month=month), routine=Routine(cover_from=None))
        said += [w for w in reasons(careless, SITE, normals) if w.startswith("covered at night")]
    # Behind its hull a lot takes up little in a night: only some months gain half a day.
    assert sum(w.endswith("sooner") for w in said) >= sum(w.endswith("later") for w in said)
    typical, damp = typical_parameters(form("parchment")), fair_weather(40, rh_factor=1.2)
    covered, open_ = (
        float(dry(typical, place("raised_bed"), damp, Routine(cover_from=hour), 5.6, 0.12).done_h[0])
        for hour in (17.5, None)
    )
    assert covered < open_
    shaded = replace(CASE, routine=Routine(shade_from=10.0, shade_until=15.0))
    assert any(w.startswith("not shaded") for w in reasons(shaded, SITE, fair_weather(60)))
    assert reasons(replace(CASE, place="drum", load_kg_m2=150.0), SITE, fair_weather(60)) == ()


def test_cost_of_leaving_a_lot_on() -> None:
    # From memory of the trade: one more sunny day takes 11 % to about 10 %, 1.1 % of weight
    # (exact arithmetic), so 0.05 to 0.3 % for each of about eight hours of sun.
    lost = overdrying_per_hour(CASE, SITE, fair_weather(60))
    assert lost is not None
    assert 0.0005 < lost < 0.003


def test_rules_and_window() -> None:
    inside = check_rules(0.11, 20.0, "parchment", "arabica")
    assert [r.inside for r in inside] == [True, True, True]
    assert "inside the rule" in inside[0].words()
    wet = check_rules(0.30, 20.0, "cherry", "robusta")
    assert wet[0].inside is False
    assert wet[-1].inside is None
    assert "cannot be told" in wet[-1].words()
    assert "inside both" in window_state(10.0, 20.0)[0]
    assert "longer rule only" in window_state(10.0, 100.0)[0]
    assert "outside both" in window_state(121.0, 130.0)[0]
    assert "cannot be told" in window_state(0.0, 0.0, 1080.0, 1.0)[0]
    assert "do not count" in window_state(0.0, 0.0, 1080.0, 1.0)[0]
    for caution in cautions("mould", "tank", "effluent", "machine", "dust", "smoke"):
        assert caution.source.text


def _past(
    name: str,
    sun: float,
    factor: float,
    absorptance: float,
    noise: float,
    rng: np.random.Generator,
    spot: str = "raised_bed",
) -> PastLot:
    """A lot dried by the model with known numbers, read twice a day (in a machine, every 3 h)."""
    where = place(spot)
    parameters = typical_parameters(form("parchment"))
    for key in ("d40_m2_s", "hull_kg_m2_s_pa"):
        parameters[key] = parameters[key] * factor
    parameters["absorptance"] = np.array([absorptance])
    weather = fair_weather(14, sun_kwh=sun)
    run = dry(parameters, where, weather, Routine(), 5.6, 0.05, 0.9)
    hours = np.arange(2.0, 240.0, 3.0 if where.machine else 12.0)
    truth = np.interp(hours, np.arange(run.values.shape[1]), run.moisture_wb()[0])
    keep = truth > 0.10
    readings = truth[keep] + noise * rng.standard_normal(int(keep.sum()))
    return PastLot(name, where, Routine(), 5.6, weather, hours[keep], readings, 0.9 / 1.9)


def test_fit_finds_known_numbers_and_its_interval_holds_them() -> None:
    # Synthetic lots with known numbers: checks the fitting, says nothing about nature.
    rng = np.random.default_rng(4)
    lots = [
        _past("dull", 2.2, 1.3, 0.72, 0.004, rng),
        _past("bright", 6.5, 1.3, 0.72, 0.004, rng),
        _past("trays", 4.0, 1.3, 0.72, 0.004, rng, "tray_dryer"),
    ]
    found = fit_station(form("parchment"), lots)
    assert found.inside_factor.low < 1.3 < found.inside_factor.high
    assert found.absorptance.low < 0.72 < found.absorptance.high
    assert found.residual_points < 0.9


def _covered(stations: int, differ: float) -> tuple[int, int, int]:
    """Stations fitted, and how often each interval holds the truth, when lots differ by `differ`."""
    rng, fits, held = np.random.default_rng(2), 0, [0, 0]
    for _ in range(stations):
        suns = [(s, "raised_bed") for s in (3.0, 4.5, 6.0)] + [(4.0, "tray_dryer")] * 2
        lots = [
            _past(str(n), sun, 1.2 * float(np.exp(differ * rng.standard_normal())), 0.68, 0.006, rng, spot)
            for n, (sun, spot) in enumerate(suns)
        ]
        try:
            found = fit_station(form("parchment"), lots)
        except InputError:
            continue
        fits += 1
        held[0] += found.inside_factor.low < 1.2 < found.inside_factor.high
        held[1] += found.absorptance.low < 0.68 < found.absorptance.high
    return fits, held[0], held[1]


def test_fit_intervals_hold_when_lots_differ(monkeypatch: pytest.MonkeyPatch) -> None:
    # Simulation with a seed: beans of each lot 10 % apart in diffusivity. A 90 % interval should hold the
    # truth in about nine stations of ten (in 40 stations it held 27 and 30 of 32 that were not refused);
    # from the scatter of readings alone it holds absorptance in a third.
    fits, diffusivity, absorptance = _covered(10, 0.10)
    assert fits >= 6
    assert diffusivity >= 0.75 * fits
    assert absorptance >= 0.75 * fits
    monkeypatch.setattr("drydown.outlook.fit._between_lots", lambda _found, _lots, _ways: np.zeros(4))
    fits, _diffusivity, alone = _covered(10, 0.10)
    assert alone <= 0.6 * fits


def test_fit_on_some_lots_predicts_the_others() -> None:
    rng = np.random.default_rng(5)
    known = [_past(str(s), s, 0.75, 0.60, 0.004, rng) for s in (2.2, 5.0, 6.8)]
    known.append(_past("trays", 5.0, 0.75, 0.60, 0.004, rng, "tray_dryer"))
    unseen = _past("unseen", 3.4, 0.75, 0.60, 0.0, rng)
    found = fit_station(form("parchment"), known)
    parameters = typical_parameters(form("parchment"))
    before = dry(parameters, unseen.place, unseen.weather, Routine(), 5.6, 0.05, 0.9).moisture_wb()[0]
    for key in ("d40_m2_s", "hull_kg_m2_s_pa"):
        parameters[key] = parameters[key] * found.inside_factor.value
    parameters["absorptance"] = np.array([found.absorptance.value])
    after = dry(parameters, unseen.place, unseen.weather, Routine(), 5.6, 0.05, 0.9).moisture_wb()[0]
    at = unseen.hours.astype(int)
    assert np.abs(after[at] - unseen.moisture_wb).max() < 0.5 * np.abs(before[at] - unseen.moisture_wb).max()


def test_fit_refuses_what_cannot_be_told() -> None:
    rng = np.random.default_rng(6)
    lot = _past("one", 5.0, 1.0, 0.65, 0.004, rng)
    with pytest.raises(InputError, match="too few"):
        fit_station(form("parchment"), [lot])
    days_only = replace(lot, hours=lot.hours[[0, -1]], moisture_wb=lot.moisture_wb[[0, -1]])
    with pytest.raises(InputError, match="too few"):
        fit_station(form("parchment"), [days_only, days_only])
    with pytest.raises(InputError, match="3 lots"):
        fit_station(form("parchment"), [lot, lot])
    trays = _past("trays", 5.0, 1.0, 0.65, 0.004, rng, "tray_dryer")
    late = replace(lot, hours=lot.hours + 24 * 14)
    with pytest.raises(InputError, match="outside the weather"):
        fit_station(form("parchment"), [trays, trays, late])
    broken = replace(lot, moisture_wb=np.where(lot.hours < 20, np.nan, lot.moisture_wb))
    with pytest.raises(InputError, match="not a finite number"):
        fit_station(form("parchment"), [trays, trays, broken])
    nonsense = replace(lot, moisture_wb=lot.moisture_wb[::-1].copy())
    with pytest.raises(InputError, match=r"does not describe|far from|cannot tell"):
        fit_station(form("parchment"), [trays, trays, nonsense])


def test_sun_alone_tells_how_quick_the_lots_are() -> None:
    # Synthetic lots with known numbers, dried in the sun only: the two are not told apart, what they do
    # together is found, and the interval of it holds the truth and is far narrower than what went before.
    rng = np.random.default_rng(6)
    truth, lots = (1.4, 0.72), []
    for sun in (3.0, 5.0, 6.5):
        lots.append(_past(str(sun), sun, *truth, 0.004, rng))
    found = fit_station(form("parchment"), lots)
    assert not found.told_apart
    hours = []
    for lot in lots:
        plain = typical_parameters(form("parchment"))
        quick = dict(plain) | {k: plain[k] * truth[0] for k in ("d40_m2_s", "hull_kg_m2_s_pa")}
        quick["absorptance"] = np.array([truth[1]])
        end = float(lot.moisture_wb[-1])
        hours.append([
            float(dry(p, lot.place, lot.weather, Routine(), 5.6, end, 0.9).done_h[0]) for p in (plain, quick)
        ])  # fmt: skip
    known = float(np.exp(np.mean([np.log(a / b) for a, b in hours])))
    assert found.quickness.low < known < found.quickness.high
    prior = form("parchment").ranges["pace"]
    assert np.log(found.quickness.high / found.quickness.low) < 0.3 * np.log(prior.high / prior.low)


def test_a_weather_forecast_covers_the_first_days() -> None:
    normals = STATION.normals()
    assert normals is not None
    dull = replace_start(fair_weather(4, sun_kwh=0.8, rh_factor=1.2))
    bright = replace_start(fair_weather(4, sun_kwh=7.0, rh_factor=0.9))
    days = [forecast(CASE, SITE, normals, 40, 1, ahead).figures["dry_days"].value for ahead in (bright, dull)]
    assert days[0] < days[1]
    assert "forecast for" in forecast(CASE, SITE, normals, 10, 1, dull).weather_words
    late = fair_weather(2)
    with pytest.raises(InputError, match=r"does not reach|are needed"):
        forecast(replace(CASE, start=late.start.replace(year=2031)), SITE, normals, 10, 1, late)


def replace_start(weather: HourlyWeather) -> HourlyWeather:
    """The same weather, beginning with the case."""
    return HourlyWeather.of(SITE, START, {key: getattr(weather, key) for key in RANGES})


def test_past_years_serve_as_futures() -> None:
    normals = STATION.normals()
    assert normals is not None
    from drydown.air.generator import generate

    years = generate(SITE, normals, START.replace(year=2021, month=1, day=1, hour=0), 9600, 1, 3)
    long = {key: np.tile(getattr(years, key)[:, :8760], 4) for key in RANGES}
    series = HourlyWeather.of(SITE, years.start, long)
    found = forecast(CASE, SITE, series, 12)
    assert "futures of its own days" in found.weather_words
    assert series.years(START, 480) is not None
    assert fair_weather(40).years(START, 480) is None


def test_the_mould_window_is_counted_between_080_and_095_by_the_runs_own_surfaces() -> None:
    # Codex CXC 69-2009, rule 37, as quoted: water activity 0.80 to 0.95. Counted anew from the run.
    found = forecast(CASE, SITE, fair_weather(60), 24)
    drawn = draw_parameters(form("parchment"), 24, 1)
    run = dry(drawn, place("raised_bed"), fair_weather(60).window(START, 20 * 24), Routine(),
              form("parchment").dry_load(12.0), 0.11)  # fmt: skip
    aw, x, warm = (run.column(c) for c in ("surface_aw", "moisture_db", "bean_temp_c"))
    scale = drawn["isotherm_scale"][:, None]
    core = 1.0 / (1.0 + ((12.453 - 0.05011 * warm) * scale / (100.0 * x)) ** 3.8514)  # D4 of docs/drying.md
    inside = ((aw >= 0.80) & (aw <= 0.95)) | ((core >= 0.80) & (core <= 0.95))
    hours = [int(inside[m, 1 : int(np.ceil(run.done_h[m])) + 1].sum()) for m in range(24)]
    middle = np.percentile(hours, 50, method="higher")
    assert found.figures["mould_window_h"].value == pytest.approx(middle, abs=1.0)
    skin = [sum(0.80 <= aw[m, h] <= 0.95 for h in range(1, int(run.done_h[m]) + 1)) for m in range(24)]
    assert middle - np.percentile(skin, 50) > 3  # a skin that dries by day does not hide a wet core
    narrower = [sum(0.80 <= aw[m, h] <= 0.90 for h in range(1, int(run.done_h[m]) + 1)) for m in range(24)]
    assert middle - np.percentile(narrower, 50) > 3  # the upper end matters here


def test_a_reading_has_the_spread_of_a_field_meter() -> None:
    # Field methods err by 0.59 to 0.77 points against the oven (Oliveros et al. 2010); our spread of 0.4
    # point is a standard deviation: P10 to P90 is 2 x 1.2816 x 0.4 = 1.03 points wide at the start.
    found = forecast(replace(CASE, moisture_wb_now=0.20), SITE, fair_weather(60), 600)
    low, middle, high = 100.0 * found.curve_wb[:, 0]
    assert middle == pytest.approx(20.0, abs=0.1)
    assert high - low == pytest.approx(2.0 * 1.2816 * 0.4, abs=0.12)


def test_the_first_hour_of_a_forecast_is_the_hour_it_starts() -> None:
    # One blazing hour in otherwise grey days: a lot that starts in it dries sooner than one that starts
    # right after it, and the curve drops in its first hour.
    grey = fair_weather(30, sun_kwh=0.5)
    at = grey.start.replace(hour=12)
    sun = grey.ghi_wm2.copy()
    sun[0, int((at - grey.start) / timedelta(hours=1))] = 1000.0
    bright = replace(grey, ghi_wm2=sun)
    case = replace(CASE, start=at, moisture_wb_now=0.25)
    first = np.diff(forecast(case, SITE, bright, 12).curve_wb[1])[:2]
    grey_first = np.diff(forecast(case, SITE, grey, 12).curve_wb[1])[:2]
    assert first[0] < grey_first[0] - 0.002  # the drop stands in the first hour, and in no other
    assert abs(first[1] - grey_first[1]) < 0.4 * abs(first[0] - grey_first[0])
    late = replace(case, start=at + timedelta(hours=1))
    later = np.diff(forecast(late, SITE, bright, 12).curve_wb[1])[0]
    assert later > first[0] + 0.002
    found = forecast(case, SITE, fair_weather(60), 12)
    middle = found.dry_on()[1]
    assert middle is not None
    assert (middle - at) / timedelta(days=1) == pytest.approx(found.figures["dry_days"].value, abs=0.05)
