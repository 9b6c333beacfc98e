"""The yard: its picture by hand, its lists narrowed and sorted by address, dates that come later."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from tests.desk.forms import station_clock, step, weigh

if TYPE_CHECKING:
    from django.test import Client

NOW = datetime.now(UTC)


def ago(**spell: float) -> str:
    return station_clock(NOW - timedelta(**spell))


def spread(client: Client, grower: str, gross: str, bed: str, days: float, species: str = "arabica") -> str:
    """A natural lot on a drying place."""
    from drydown.books.models import Lot

    before = set(Lot.objects.values_list("code", flat=True))
    weigh(client, grower=grower, gross=gross, route="natural", species=species, at=ago(days=days + 0.2))
    code = (set(Lot.objects.values_list("code", flat=True)) - before).pop()
    assert step(client, code, "float", floaters_kg="1", at=ago(days=days + 0.1)).status_code == 302
    made = step(client, code, "spread", bed=bed, load_kg_m2="25", at=ago(days=days))
    assert made.status_code == 302
    return code


@pytest.fixture
def three(client: Client) -> list[str]:
    """Two on the patio, one on the beds."""
    return [
        spread(client, "Ama Vembi", "101.5", "Old patio", 3),
        spread(client, "Beno Okkal", "201.5", "Old patio", 1, "robusta"),
        spread(client, "Dari Bellit", "151.5", "Upper beds", 2),
    ]


def listed(client: Client, query: str = "") -> list[str]:
    text = client.get(f"/yard/{query}").content.decode()
    rows = text[text.index("<tbody>") : text.index("<tfoot>")] if "<tfoot>" in text else ""
    return re.findall(r'<tr><th scope="row"><a href="/lot/([^/]+)/"', rows)


def test_the_list_is_narrowed_and_sorted_by_address(client: Client, three: list[str]) -> None:
    a, b, c = three
    assert set(listed(client)) == {a, b, c}
    assert set(listed(client, "?place=Old+patio")) == {a, b}
    assert listed(client, "?species=robusta") == [b]
    assert listed(client, "?route=washed") == []
    assert listed(client, "?sort=kg") == [b, c, a]  # 200, 150, 100 kg of fruit
    assert listed(client, "?sort=place")[-1] == c  # Old patio before Upper beds
    assert listed(client, "?danger=wet") == []
    assert set(listed(client, "?sort=dance&show=dance")) == {a, b, c}


def test_anything_can_be_sought(client: Client, three: list[str]) -> None:
    a, b, _c = three
    assert listed(client, "?q=beno") == [b]  # by whose fruit it is
    assert set(listed(client, "?q=patio")) == {a, b}
    found = client.get(f"/yard/?q={a.lower()}")
    assert found.status_code == 302
    assert found.headers["Location"] == f"/lot/{a}/"
    text = client.get("/yard/?q=Ama").content.decode()
    assert re.search(r'Found besides.*href="/growers/101/"', text, re.S)
    assert "No lot fits this" in client.get("/yard/?q=zzz").content.decode()


def test_a_bar_is_drawn_to_its_days(client: Client, three: list[str]) -> None:
    """A hundred units a day from midnight a week back: the lot of three days ago begins 300 before now."""
    from drydown.books.prepare import warm_forecasts

    warm_forecasts()
    text = client.get("/yard/").content.decode()
    now = re.search(r'class="gn" d="M([\d.]+) 0V10"', text)
    assert now
    here = datetime.now(UTC) + timedelta(hours=3)
    want = 700 + 100 * (here.hour + here.minute / 60) / 24
    assert abs(float(now[1]) - want) < 2
    for code, days in zip(three, (3, 1, 2), strict=True):
        row = re.search(rf'<a class="row" href="/lot/{code}/">.*?</a>', text, re.S)
        assert row
        box = re.search(r'class="bn" d="M(\d+) 2H(\d+)V12', row[0])  # hollow: nobody read it
        assert box
        assert abs(int(box[1]) - (float(now[1]) - 100 * days)) < 3
        assert abs(int(box[2]) - float(now[1])) < 5
        assert 'class="ba"' in row[0]


def test_the_taper_is_the_chance_that_it_is_still_wet() -> None:
    """Full height is 10 units about 7: nine tenths at early, half at the middle, a tenth at late."""
    from drydown.desk.yardpic import _taper

    above = _taper(700.0, 900.0, 1000.0, 1300.0).removesuffix("Z").split("L")[0].removeprefix("M")
    numbers = [float(n) for n in above.split()]
    points = list(zip(numbers[::2], numbers[1::2], strict=True))
    assert points == [(700.0, 2.0), (900.0, 2.5), (1000.0, 4.5), (1300.0, 6.5)]


def test_free_area_by_day_is_the_middle_before_any_new_lot(client: Client, three: list[str]) -> None:
    """The patio's 200 m2: what its lots take today; all of it once both have passed their middle."""
    text = client.get("/yard/").content.decode()
    part = text[text.index("<b>Old patio</b>") :]
    used = re.search(r"(\d+) of 200<", part)
    assert used
    free = [int(n) for n in re.findall(r"<span>(\d+)</span>", part.split('class="used"')[0])]
    assert abs(free[0] - (200 - int(used[1]))) <= 1
    assert free == sorted(free)
    assert free[-1] > free[0]


def test_dates_that_are_not_reckoned_yet_come_later(
    client: Client, three: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing kept and no time: the page comes with names, places and readings, and says what is missing."""
    from django.core.cache import cache

    from drydown.books.lots import outlook
    from drydown.desk.views import yard as view

    cache.clear()
    outlook._near.clear()
    monkeypatch.setattr(view, "AT_ONCE_S", -1.0)
    text = client.get("/yard/").content.decode()
    assert "3 dates are still being reckoned" in text
    assert 'hx-trigger="load"' in text
    assert all(code in text for code in three)
    assert "Old patio" in text
    filled = client.get("/yard/", headers={"HX-Request": "true"}).content.decode()
    assert "still being reckoned" not in filled
    assert 'hx-trigger="load"' not in filled
    kept = client.get("/yard/").content.decode()  # and now they are kept
    assert "still being reckoned" not in kept


def test_a_lot_past_its_date_is_hatched_and_keeps_its_place() -> None:
    from types import SimpleNamespace

    from drydown.desk.yardpic import Axis, _drying, _free_by_day

    here = datetime(2026, 11, 26, 12, tzinfo=UTC)
    begin = datetime(2026, 11, 19, tzinfo=UTC)
    days: Any = tuple(SimpleNamespace(at=begin + timedelta(days=d)) for d in range(24))
    axis = Axis(begin, here, days)
    late = here - timedelta(days=1)
    lot = SimpleNamespace(spread_at=here - timedelta(days=5), moved_at=None, known_wb=0.115)
    row: Any = SimpleNamespace(
        lot=lot, dry_on=(late, late, late), middle=late, forecast=object(), waiting=False, m2=20.0
    )
    kinds = dict(_drying(row, axis).paths)
    assert kinds["bo"] == "M650 2H750V12H650Z"
    spot: Any = SimpleNamespace(free=80.0, size=100.0, used=20.0)
    assert set(_free_by_day(spot, [row], axis)) == {80.0}


def test_stored_lots_show_what_they_hold(client: Client, three: list[str]) -> None:
    code = three[0]
    assert step(client, code, "bag", mass_kg="21.5", wet="on").status_code == 302
    text = client.get("/yard/?show=stored").content.decode()
    row = re.search(rf'<tr><th scope="row"><a href="/lot/{code}/">.*?</tr>', text, re.S)
    assert row
    assert "21.5" in row[0]
    assert listed(client, "?show=stored") == [code]
    assert code not in listed(client)


def test_a_narrowed_list_changes_no_free_area(client: Client, three: list[str]) -> None:
    """Lots that are not drawn still leave their place on their day."""

    def free(query: str) -> list[str]:
        text = client.get(f"/yard/{query}").content.decode()
        part = text[text.index("<b>Old patio</b>") :]
        return re.findall(r"<span>(\d+)</span>", part.split('class="used"')[0])

    assert free("?species=robusta") == free("") != []
    assert "<b>Upper beds</b>" not in client.get("/yard/?species=robusta").content.decode()


def test_a_stored_lot_outside_both_rules_is_held_not_sold(client: Client) -> None:
    """FAO's and the Codex's days in the mould window, as quoted in rules.toml: past five, it is held."""
    code = spread(client, "Ama Vembi", "101.5", "Old patio", 20)
    reads = ((14, "20"), (11, "19"), (8, "18.5"), (5, "18"), (2, "17.5"), (0, "10.9"))
    for number, (days, moisture) in enumerate(reads):
        sent = {
            "key": f"00000000-0000-4000-8000-00000000000{number}", "moisture": moisture, "method": "oven",
            "bean_temp": "", "at": ago(days=days) if days else "",
        }  # fmt: skip
        assert client.post(f"/lot/{code}/reading/", sent).status_code == 302
    assert step(client, code, "bag", mass_kg="18").status_code == 302
    text = client.get("/yard/?show=stored").content.decode()
    row = re.search(rf'<tr><th scope="row"><a href="/lot/{code}/">.*?</tr>', text, re.S)
    assert row
    assert "next: hold it apart" in row[0]
    page = client.get(f"/lot/{code}/").content.decode()
    assert "<h2>Next: hold it apart" in page
    assert "<h2>Next step:" not in page


def test_days_dry_stand_beside_the_forecast(client: Client) -> None:
    """Spread nine days ago, first read at its 11 % a day ago: eight days, by hand."""
    from drydown.books.lots.dried import dried_lots
    from drydown.desk.context import need_station

    code = spread(client, "Ama Vembi", "101.5", "Old patio", 9)
    moved = spread(client, "Beno Okkal", "101.5", "Old patio", 9, "robusta")
    assert step(client, moved, "move", bed="Upper beds", load_kg_m2="20", at=ago(days=5)).status_code == 302
    for number, (name, percent, days) in enumerate(
        ((code, "13", 3.0), (code, "10.9", 1.0), (code, "10.2", 0.2), (moved, "10.5", 1.0))
    ):
        form = {"key": f"00000000-0000-4000-8000-00000000000{number}", "moisture": percent,
                "method": "oven", "bean_temp": "", "at": ago(days=days)}  # fmt: skip
        assert client.post(f"/lot/{name}/reading/", form).status_code == 302
    for name in (code, moved):
        assert step(client, name, "bag", mass_kg="18").status_code == 302
    found, waiting = dried_lots(need_station())
    assert [d.code for d in found] == [code]  # the other one was moved
    assert waiting == 0
    assert abs(found[0].days - 8.0) < 0.01
    late = found[0].late
    assert found[0].inside == (found[0].early - 0.5 <= 8.0 and (late is None or late + 0.5 >= 8.0))
    assert client.get("/yard/dried/").status_code == 200
    assert dried_lots(need_station(), budget_s=-1.0)[1] == 0  # kept by now


def test_the_map_is_as_the_station_drew_it(client: Client, books: Path) -> None:
    """Areas of the rectangles are those of the places; without a drawing there is no map."""
    import re

    text = client.get("/yard/").content.decode()
    found = re.findall(r'<rect class="plot[^"]*" x="[^"]*" y="[^"]*" width="([^"]*)" height="([^"]*)"', text)
    assert [round(float(w) * float(h)) for w, h in found] == [420, 360, 150, 200]
    file = books / "station.toml"
    plain = re.sub(r"\n(at_m|wide_m) = [^\n]*", "", file.read_text(encoding="utf-8"))
    file.write_text(plain.replace('name = "Old patio"', 'name = "Old patio"\nat_m = [0, 0]\nwide_m = 10'))
    drawn = client.get("/yard/").content.decode()
    assert drawn.count('class="plot') == 1
    assert "Not drawn: Upper beds, Lower beds, Film house" in drawn
    file.write_text(plain)
    assert "yardmap" not in client.get("/yard/").content.decode()
