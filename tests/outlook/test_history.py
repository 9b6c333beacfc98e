"""From what was noted of a lot to the case that the engine runs: stays, nights by the log, kinds of
readings."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from drydown.errors import InputError, RangeError
from drydown.outlook.told import Told, checked, predicted
from drydown.station.load import example_text, parse_station
from drydown.way.history import Done, ReadOff, drying_history, kind_of_method
from drydown.way.state import LotState, Stage, Stay

STATION = parse_station(example_text())
ZONE = STATION.place.site().zone
SPREAD = datetime(2026, 11, 10, 9, 20, tzinfo=ZONE)
FIRST, OTHER = list(STATION.drying_places())[:2]


def lot(bed: str = FIRST) -> LotState:
    return LotState(
        "AW-1", "arabica", "washed", Stage.DRYING, stays=(Stay("bed", bed),), load_kg_m2=12.0,
        spread_at=SPREAD,
    )  # fmt: skip


def spread(bed: str = FIRST) -> Done:
    return Done("spread", SPREAD, {"bed": bed, "load_kg_m2": 12.0})


def at(days: int, hour: float) -> datetime:
    return (SPREAD + timedelta(days=days)).replace(hour=int(hour), minute=round(60 * (hour % 1)))


def test_a_move_makes_two_stays() -> None:
    moved = Done("move", at(2, 9), {"bed": OTHER, "load_kg_m2": 8.0})
    found = drying_history(lot(OTHER), [spread(), moved], [], STATION, at(3, 12))
    assert found is not None
    assert found.whole
    assert found.case.start == SPREAD.replace(hour=10, minute=0)  # the next whole hour
    (stop,) = found.case.stops
    assert (stop.hours, stop.load_kg_m2) == (47, 12.0)
    assert (found.case.load_kg_m2, found.case.place) == (8.0, STATION.drying_places()[OTHER][0].name)


def test_nights_go_by_the_log_where_there_is_one() -> None:
    """Covered on the first and third evening, nothing noted of the second: that night lay open."""
    done = [
        spread(), Done("cover", at(0, 17), {}), Done("uncover", at(1, 8), {}), Done("cover", at(2, 18), {}),
        Done("uncover", at(3, 7), {}),
    ]  # fmt: skip
    found = drying_history(lot(), done, [], STATION, at(3, 12))
    assert found is not None
    events = {(e.what, e.from_h, e.until_h) for e in found.case.routine.events}
    hours = [(e.what, e.from_h // 24) for e in found.case.routine.events]
    assert ("cover", 7, 22) in events
    assert ("cover", 0) in hours
    assert ("uncover", 1) in hours
    assert sum(what == "uncover" for what, _day in hours) == 1
    plain = drying_history(lot(), [spread()], [], STATION, at(3, 12))
    assert plain is not None
    assert plain.case.routine.events == ()  # nothing noted at all: the habit


def test_a_day_with_a_rake_has_that_rake_only() -> None:
    found = drying_history(lot(), [spread(), Done("rake", at(1, 11), {})], [], STATION, at(2, 12))
    assert found is not None
    events = [(e.what, e.until_h - e.from_h) for e in found.case.routine.events]
    assert events == [("still", 24), ("rake", 1)]


def test_readings_keep_their_kind_and_instrument() -> None:
    reads = [
        ReadOff(at(2, 15), 0.31, "Meter  2", 27.0), ReadOff(at(3, 15), 0.24, "ISO 6673 oven"),
    ]  # fmt: skip
    done = [spread(), Done("tray", at(0, 10), {"tray_g": 1000.0}), Done("tray", at(2, 10), {"tray_g": 640.0})]
    found = drying_history(lot(), done, reads, STATION, at(4, 9))
    assert found is not None
    kinds = [(t.kind, t.by) for t in found.told]
    assert sorted(kinds) == [("bed_c", ""), ("meter", "meter 2"), ("oven", ""), ("tray", "")]
    tray = next(t for t in found.told if t.kind == "tray")
    assert (tray.value, tray.since, tray.hour) == (0.64, 0.0, 48.0)
    assert kind_of_method("Oven 105 C") == ("oven", "")


def test_without_its_spreading_it_is_followed_from_the_last_reading() -> None:
    found = drying_history(lot(), [], [], STATION, at(4, 9))
    assert found is not None
    assert not found.whole
    assert found.told == ()


def test_a_tray_is_the_ratio_of_its_masses() -> None:
    import numpy as np

    x = np.array([[1.0, 0.8, 0.6]])
    told = checked([Told(1.5, "tray", 0.8), Told(2.0, "meter", 0.37, "m"), Told(1.0, "bed_c", 30.0)])
    shown = predicted(told, x, np.array([[20.0, 30.0, 25.0]]))[0]
    assert shown == pytest.approx([30.0, 1.7 / 2.0, 0.6 / 1.6])


@pytest.mark.parametrize("bad", [Told(1.0, "nose", 0.3), Told(1.0, "meter", 30.0), Told(-2.0, "oven", 0.3)])
def test_a_reading_that_cannot_be_is_refused(bad: Told) -> None:
    with pytest.raises((InputError, RangeError)):
        checked([bad])
