"""The command line: JSON shapes, exit codes, one sentence for bad input."""

from __future__ import annotations

import json
from datetime import timedelta
from pathlib import Path

import pytest
from typer.testing import CliRunner

from drydown.cli import app
from tests.quality.scenes import scene

RUN = CliRunner()


def call(*words: str) -> tuple[int, str, str]:
    """Exit code, standard output and standard error of a command."""
    done = RUN.invoke(app, list(words))
    assert done.exception is None or isinstance(done.exception, SystemExit)
    return done.exit_code, done.stdout, done.stderr


@pytest.fixture
def station(tmp_path: Path) -> Path:
    """A fresh example station file."""
    path = tmp_path / "station.toml"
    assert call("station", "new", str(path))[0] == 0
    return path


@pytest.mark.parametrize("species", ["arabica", "robusta", "liberica"])
@pytest.mark.parametrize("route", ["washed", "pulped_natural", "natural"])
def test_balance_closes_and_is_inside_the_published_range(species: str, route: str) -> None:
    code, text, _ = call("balance", "--species", species, "--route", route, "--cherry-kg", "1000", "--json")
    data = json.loads(text)
    assert code == 0
    assert data["shape"] == "drydown.balance/1"
    assert max(data["closure"].values()) <= 1e-9
    outturn, published = data["figures"]["outturn"]["value"], data["published_outturn"]
    assert published["low"] <= outturn <= published["high"]
    assert data["assumptions"]["float_share"]["status"] == "from memory"


def test_balance_in_words_states_what_was_assumed() -> None:
    code, text, _ = call("balance", "--species", "arabica", "--route", "washed", "--cherry-kg", "1000")
    assert code == 0
    for words in ("Taken as", "float share", "Published outturn", "Caution", "Closure"):
        assert words in text


def test_dry_with_a_station(station: Path) -> None:
    code, text, _ = call(
        "dry",
        "--form",
        "parchment",
        "--start",
        "2026-06-10",
        "--station",
        str(station),
        "--members",
        "20",
        "--json",
    )
    data = json.loads(text)
    assert code == 0
    assert data["shape"] == "drydown.dry/2"
    assert data["dry_on"]["p10"] < data["dry_on"]["p50"] < data["dry_on"]["p90"]
    assert 3 < data["figures"]["dry_days"]["value"] < 15
    assert len(data["curve"]["hours"]) == len(data["curve"]["moisture_wb_p50"])


def test_dry_in_words_names_rules_and_never_says_safe(station: Path) -> None:
    args = (
        "dry",
        "--form",
        "cherry",
        "--start",
        "2026-06-10T07:30",
        "--station",
        str(station),
        "--members",
        "10",
    )
    code, text, _ = call(*args, "--species", "robusta")
    assert code == 0
    assert "inside the rule" in text
    assert "not fitted" in text
    assert "safe" not in text.lower()
    assert "Caution" in text


def test_same_seed_same_answer(station: Path) -> None:
    args = (
        "dry",
        "--form",
        "mucilage",
        "--start",
        "2026-06-10",
        "--station",
        str(station),
        "--members",
        "8",
        "--json",
    )
    assert call(*args)[1] == call(*args)[1]
    assert call(*args)[1] != call(*args, "--seed", "2")[1]


BAD = [
    (("balance", "--species", "lib", "--route", "washed", "--cherry-kg", "1"), "Choose one of: arabica"),
    (("balance", "--species", "arabica", "--route", "wet", "--cherry-kg", "1"), "Choose: washed"),
    (("balance", "--species", "arabica", "--route", "washed", "--cherry-kg", "0"), "above 0"),
    (
        ("balance", "--species", "arabica", "--route", "washed", "--cherry-kg", "9", "--float-share", "2"),
        "float_share",
    ),
    (("dry", "--form", "parchment", "--start", "2026-06-10"), "Give --station"),
    (("dry", "--form", "parchment", "--start", "10/06/2026", "--weather-file", "x.epw"), "x.epw"),
    (
        ("dry", "--form", "parchment", "--start", "2026-06-10", "--weather-file", "w.csv"),
        "station file as well",
    ),
    (("station", "check", "nothing.toml"), "station new"),
    (("dry", "--form", "washed", "--start", "2026-06-10"), "Choose: parchment"),
    (("dry", "--form", "cherry", "--start", "2026-06-10", "--weather-file", "w.xls"), "ends in '.xls'"),
]


@pytest.mark.parametrize(("words", "sentence"), BAD)
def test_bad_input_is_one_sentence_and_exit_2(words: tuple[str, ...], sentence: str) -> None:
    code, out, err = call(*words)
    assert code == 2
    assert sentence in err
    assert "Traceback" not in err
    assert out == ""
    assert len(err.strip().splitlines()) == 1


def test_times_that_are_not_times(station: Path) -> None:
    args = ("dry", "--form", "parchment", "--station", str(station), "--start")
    assert "is not a time" in call(*args, "10/06/2026")[2]
    assert "without a zone" in call(*args, "2026-06-10T09:00+02:00")[2]


def test_station_file_is_never_overwritten(station: Path) -> None:
    before = station.read_text(encoding="utf-8")
    station.write_text(before + "# mine\n", encoding="utf-8")
    code, _, err = call("station", "new", str(station))
    assert code == 2
    assert "nothing was written" in err
    assert station.read_text(encoding="utf-8").endswith("# mine\n")


def test_station_check_in_json(station: Path) -> None:
    assert json.loads(call("station", "check", str(station), "--json")[1])["good"] is True
    station.write_text(station.read_text().replace("area_m2 = 420.0", "area_m2 = -1"), encoding="utf-8")
    code, text, _ = call("station", "check", str(station), "--json")
    assert code == 2
    assert json.loads(text)["problems"] == ["equipment.beds.1.area_m2 is -1; it must be above 0."]


def test_a_station_with_an_own_weather_file(station: Path, tmp_path: Path) -> None:
    from tests.weatherfiles import csv_lines

    file = tmp_path / "w.csv"
    file.write_text("\n".join(csv_lines(24 * 28)), encoding="utf-8")
    args = (
        "dry",
        "--form",
        "parchment",
        "--start",
        "2026-03-02",
        "--station",
        str(station),
        "--members",
        "5",
    )
    code, text, _ = call(*args, "--weather-file", str(file), "--json")
    assert code == 0
    assert "band without weather" in json.loads(text)["weather"]


@pytest.mark.parametrize(
    ("more", "sentence"),
    [(("--moisture-now-percent-wb", "0.4"), "write 40"),
     (("--moisture-now-percent-wb", "150"), "from 3 to 80"),
     (("--moisture-now-percent-wb", "nan"), "is not a number"), (("--target-percent-wb", "0.11"), "write 11"),
     (("--members", "1"), "from 2 to 2000"), (("--load-kg-m2", "900"), "load")],
)  # fmt: skip
def test_numbers_out_of_range(station: Path, more: tuple[str, ...], sentence: str) -> None:
    code, _, err = call(
        "dry", "--form", "parchment", "--start", "2026-06-10", "--station", str(station), *more
    )
    assert code == 2
    assert sentence in err
    assert len(err.strip().splitlines()) == 1


def test_years_and_seeds_out_of_range(station: Path) -> None:
    args = ("dry", "--form", "parchment", "--station", str(station), "--start")
    assert "year must be" in call(*args, "9999-12-30")[2]
    assert call(*args, "2026-06-10", "--seed", "-1")[0] == 2


def test_a_lot_already_at_its_target(station: Path) -> None:
    args = (
        "dry",
        "--form",
        "parchment",
        "--start",
        "2026-06-10",
        "--station",
        str(station),
        "--members",
        "9",
    )
    code, text, _ = call(*args, "--moisture-now-percent-wb", "9", "--json")
    assert code == 0
    assert json.loads(text)["figures"]["dry_days"]["value"] == 0.0


def _readings(tmp_path: Path) -> tuple[Path, Path]:
    """Weather and readings of two sun lots and one tray lot, made by the model with known numbers."""

    from drydown.air.csvfile import read_csv
    from drydown.air.series import Site
    from drydown.station.load import example_text, parse_station
    from drydown.steps.dry.data import form, place
    from drydown.steps.dry.draws import typical_parameters
    from drydown.steps.dry.run import dry
    from tests.weatherfiles import csv_lines

    weather_file = tmp_path / "w.csv"
    weather_file.write_text("\n".join(csv_lines(24 * 28)), encoding="utf-8")
    weather = read_csv(weather_file, Site(-3.4, 45.0, 1690.0, 3.0))
    routine = parse_station(example_text()).drying["parchment"].routine()
    rows = ["lot,place,load_kg_m2,spread_at,read_at,moisture_percent_wb"]
    for name, where, day in (("one", "raised_bed", 2), ("two", "patio", 6), ("three", "tray_dryer", 4)):
        parameters = typical_parameters(form("parchment"))
        for key in ("d40_m2_s", "hull_kg_m2_s_pa"):
            parameters[key] = parameters[key] * 1.25
        start = weather.start.replace(day=day, hour=9)
        run = dry(parameters, place(where), weather.window(start, 24 * 16), routine, 12 / 2.13, 0.05)
        for h in range(3, 24 * 9, 3 if where == "tray_dryer" else 7):
            wb = 100 * float(run.moisture_wb()[0, h])
            if wb > 10.0:
                at = (start + timedelta(hours=h)).strftime("%Y-%m-%d %H:%M")
                rows.append(f"{name},{where},12,2026-03-{day:02d} 09:00,{at},{wb:.2f}")
    file = tmp_path / "readings.csv"
    file.write_text("\n".join(rows), encoding="utf-8")
    return file, weather_file


def test_fit_from_files(station: Path, tmp_path: Path) -> None:
    readings, weather = _readings(tmp_path)
    args = ("fit", "--readings", str(readings), "--weather-file", str(weather), "--station", str(station))
    code, text, err = call(*args, "--form", "parchment", "--json")
    assert code == 0, err
    data = json.loads(text)
    assert data["shape"] == "drydown.fit/2"
    assert data["inside_factor"]["low"] < 1.25 < data["inside_factor"]["high"]
    readings.write_text(readings.read_text().replace("2026-03-02 09:00", "soon", 1), encoding="utf-8")
    code, _, err = call(*args, "--form", "parchment")
    assert code == 2
    assert "line 2, column spread_at" in err


def test_fit_takes_the_station_s_own_places_by_name(station: Path, tmp_path: Path) -> None:
    # The same readings, said to come from the station's own trays of the usual air, or of hotter air.
    readings, weather = _readings(tmp_path)
    text = readings.read_text().replace(",tray_dryer,", ",Tray house,")
    readings.write_text(text, encoding="utf-8")
    whole = station.read_text(encoding="utf-8")
    args = ("fit", "--readings", str(readings), "--weather-file", str(weather), "--station", str(station))

    def fitted(air_c: float) -> tuple[int, str, str]:
        rows = ("[[equipment.dryers]]", 'name = "Tray house"', 'kind = "tray_dryer"', "area_m2 = 9")
        more = ("holds_kg = 100", f"air_c = {air_c}", "bean_cap_c = 60", "", "[[equipment.stores]]")
        made = whole.replace("[[equipment.stores]]", "\n".join((*rows, *more)), 1)
        station.write_text(made.replace("bean_cap_c = 60\n", "") if air_c == 45.0 else made, encoding="utf-8")
        return call(*args, "--form", "parchment", "--json")

    code, out, err = fitted(45.0)
    assert code == 0, err
    assert json.loads(out)["inside_factor"]["value"] == pytest.approx(1.25, abs=0.08)
    code, out, err = fitted(50.0)  # hotter than it was: then the beans look slower than they are
    assert code == 2 or json.loads(out)["inside_factor"]["value"] < 1.17
    readings.write_text(text.replace(",Tray house,", ",Attic,"), encoding="utf-8")
    code, _, err = call(*args, "--form", "parchment")
    assert code == 2
    assert "place 'Attic' is not known" in err
    assert "Tray house" in err


@pytest.mark.parametrize("form", ["parchment", "mucilage", "cherry", "green"])
@pytest.mark.parametrize(
    "place", ["raised_bed", "roofed_bed", "tunnel", "patio", "static_bin", "tray_dryer", "drum"]
)
def test_dry_answers_for_each_form_and_place(station: Path, form: str, place: str) -> None:
    load = "150" if place in {"static_bin", "drum"} else "12"
    args = ("dry", "--form", form, "--place", place, "--load-kg-m2", load, "--start", "2026-06-10")
    own = ("--target-percent-wb", "12") if form == "green" else ()  # the station says nothing of it
    code, text, err = call(*args, *own, "--station", str(station), "--members", "8", "--json")
    assert code == 0, err
    data = json.loads(text)
    assert data["figures"]["dry_days"]["value"] > 0
    assert ("heat_mj_kg" in data["figures"]) == (place in {"static_bin", "tray_dryer", "drum"})


def test_dry_in_a_machine_that_takes_its_air_again(station: Path) -> None:
    args = ("dry", "--form", "parchment", "--start", "2026-06-10", "--place", "drum", "--load-kg-m2", "150")
    rest = ("--station", str(station), "--members", "8", "--json")
    heat = []
    for share in ("0", "60"):
        more = ("--recirculated-percent", share, "--burner-percent", "50", "--fuel", "wood")
        code, text, err = call(*args, *more, *rest)
        assert code == 0, err
        figures = json.loads(text)["figures"]
        assert figures["fuel_kg_m2"]["inputs"]["blown in again"] == f"{share} % of the leaving air"
        heat.append(figures["heat_mj_kg"]["value"])
    assert heat[1] < heat[0]
    for bad, words in (
        (("--recirculated-percent", "0.7"), "write 70, not 0.7"),
        (("--recirculated-percent", "99"), "from 1 to 95"),
        (("--burner-percent", "0.5"), "write 50, not 0.5"),
        (("--fuel", "peat"), "fuel 'peat' is not known"),
    ):
        code, text, err = call(*args, *bad, *rest)
        assert (code, text) == (2, "")
        assert words in err


def test_dry_through_several_places(station: Path) -> None:
    args = (
        "dry",
        "--form",
        "parchment",
        "--start",
        "2026-06-10",
        "--station",
        str(station),
        "--members",
        "8",
    )
    code, text, _ = call(
        *args,
        "--place",
        "static_bin",
        "--load-kg-m2",
        "200",
        "--before",
        "raised_bed@12/72 rest_heap@60/24",
        "--json",
    )
    assert code == 0
    assert [stop["place"] for stop in json.loads(text)["stops"]] == ["raised_bed", "rest_heap"]
    assert "is not place@kg_m2/hours" in call(*args, "--before", "somewhere")[2]


def test_places_of_the_station_and_a_lot_that_joins(station: Path) -> None:
    args = (
        "dry",
        "--form",
        "parchment",
        "--start",
        "2026-06-10",
        "--station",
        str(station),
        "--members",
        "8",
    )
    code, text, _ = call(*args, "--place", "Film house", "--json")
    assert code == 0
    assert json.loads(text)["place"] == "roofed_bed"
    two = (*args, "--before", "raised_bed@12/96", "--load-kg-m2", "24", "--json")
    days = []
    for joined in ("0.5@40", "0.5@14"):
        code, text, _ = call(*two, "--join", joined)
        assert code == 0
        days.append(json.loads(text)["figures"]["dry_days"]["value"])
    assert days[0] > days[1]


def test_how_to_draw_and_bean_sizes(tmp_path: Path) -> None:
    code, text, _ = call("draw", "--bags", "320", "--rule", "iso-4072", "--json")
    assert code == 0
    assert json.loads(text)["bags"] == 32
    photo = tmp_path / "beans.jpg"
    made = scene(12)
    photo.write_bytes(made.content)
    code, text, _ = call("size", str(photo), "--json")
    assert code == 0
    found = json.loads(text)
    assert len(found["beans"]) == len(made.beans)
    assert found["screens"][-1]["screen"] == "pan"
    code, text, _ = call("size", str(photo))
    assert "not held against sieves" in " ".join(text.split())
    photo.write_bytes(b"nothing")
    assert "cannot be read" in call("size", str(photo))[2]
    assert "is not known" in call("draw", "--bags", "10", "--rule", "mine")[2]


@pytest.mark.parametrize(
    ("more", "sentence"),
    [(("--before", "raised_bed@1.2.3/96"), "is not place@kg_m2/hours"),
     (("--film-age-years", "3"), "has no film"),
     (("--join", "0.5x30"), "is not share@percent"),
     (("--place", "Nowhere"), "Film house"),
     (("--place", "static_bin"), "--load-kg-m2: is needed")],
)  # fmt: skip
def test_places_that_do_not_fit(station: Path, more: tuple[str, ...], sentence: str) -> None:
    code, _, err = call(
        "dry", "--form", "parchment", "--start", "2026-06-10", "--station", str(station), *more
    )
    assert code == 2
    assert sentence in err


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [("two,patio", "two,raised_bed", "differs from line"),
     ("three,tray_dryer,12", "three,tray_dryer,", "is empty"),
     (",2026-03-02 12:00,", ",2026-03-02 12:00,nan", "is not a number")],
)  # fmt: skip
def test_fit_readings_that_disagree(station: Path, tmp_path: Path, old: str, new: str, sentence: str) -> None:
    readings, weather = _readings(tmp_path)
    text = readings.read_text(encoding="utf-8")
    assert old in text
    readings.write_text(text.replace(old, new, 1), encoding="utf-8")
    args = ("fit", "--readings", str(readings), "--weather-file", str(weather), "--station", str(station))
    code, _, err = call(*args, "--form", "parchment")
    assert code == 2
    assert sentence in err


def test_owner_link_needs_a_station(tmp_path: Path) -> None:
    code, _, err = call("owner-link", "--data", str(tmp_path / "typo"))
    assert code == 2
    assert "holds no station" in err
    assert not (tmp_path / "typo").exists()
