"""The gate and the hand: the improbable asked once, every slip mended where it was made."""

from __future__ import annotations

import re
import uuid
from datetime import UTC, datetime, timedelta, timezone
from typing import TYPE_CHECKING, Any

import pytest

from tests.desk.forms import station_clock, station_fields, step, weigh

if TYPE_CHECKING:
    from pathlib import Path

    from django.test import Client

NOW = datetime.now(UTC)


TO_TANK: tuple[tuple[str, dict[str, str]], ...] = (
    ("float", {"floaters_kg": "4"}),
    ("pulp", {}),
    ("ferment", {"tank": "Tank 1"}),
)


def ago(**spell: float) -> str:
    return station_clock(NOW - timedelta(**spell))


def token_of(answer: Any) -> str:
    found = re.search(r'name="sure" value="([^"]+)"', answer.content.decode())
    return found[1] if found else ""


def regular(client: Client, *grosses: str) -> None:
    """A smallholder with a history."""
    weigh(client, gross=grosses[0], at=ago(days=30))
    for i, gross in enumerate(grosses[1:], 1):
        weigh(client, grower="101", new_grower="", gross=gross, at=ago(days=30 - i))


# ---- asked once ----


def test_a_hundredfold_weight_of_a_smallholder_is_asked_once(client: Client) -> None:
    from drydown.books.models import Delivery

    regular(client, "61.5", "58", "70", "64")
    slip = {"grower": "101", "new_grower": "", "gross": "6151.5", "tare": "1.5"}
    asked = weigh(client, **slip)
    assert asked.status_code == 200
    text = asked.content.decode()
    assert "6 150" in text
    assert "61.5" in text or "615" in text  # the likely weight is said
    assert Delivery.objects.count() == 4
    assert "6151.5" in text  # nothing typed is lost
    token = token_of(asked)
    assert token
    assert weigh(client, **slip, sure="yes").status_code == 200  # not any word is a yes
    assert weigh(client, **slip, sure=token).status_code == 302
    assert Delivery.objects.count() == 5


def test_a_yes_is_for_the_values_it_was_given_for(client: Client) -> None:
    regular(client, "61.5", "58", "70", "64")
    slip = {"grower": "101", "new_grower": "", "tare": "1.5"}
    token = token_of(weigh(client, **slip, gross="6151.5"))
    assert weigh(client, **slip, gross="5151.5", sure=token).status_code == 200


@pytest.mark.parametrize("gross", ["1.9", "0.5"])
def test_next_to_nothing_is_asked(client: Client, gross: str) -> None:
    asked = weigh(client, gross=gross, tare="0.1" if gross == "0.5" else "1.5")
    assert asked.status_code == 200
    assert token_of(asked)


def test_the_same_weights_twice_in_a_minute_are_asked(client: Client) -> None:
    from drydown.books.models import Delivery

    assert weigh(client).status_code == 302
    again = {"grower": "101", "new_grower": ""}
    asked = weigh(client, **again)
    assert asked.status_code == 200
    assert "sent twice" in asked.content.decode()
    assert Delivery.objects.count() == 1
    assert weigh(client, **again, sure=token_of(asked)).status_code == 302
    assert weigh(client, **again, gross="99").status_code == 302  # other weights: no question


def test_usual_weights_are_never_asked(client: Client) -> None:
    regular(client, "61.5", "58", "70", "64")
    for gross in ("75", "33", "99", "140"):
        assert weigh(client, grower="101", new_grower="", gross=gross).status_code == 302


def test_a_namesake_is_asked_about_and_shown_with_the_village(client: Client) -> None:
    from drydown.books.models import Grower

    assert weigh(client).status_code == 302
    twin = {"grower": "Ama Tessaro", "new_grower": "on", "village": "Lower Kell", "gross": "77"}
    asked = weigh(client, **twin)
    assert asked.status_code == 200
    assert "Kell Ridge" in asked.content.decode()
    assert Grower.objects.count() == 1
    assert weigh(client, **twin, sure=token_of(asked)).status_code == 302
    text = client.get("/growers/").content.decode()
    assert "Kell Ridge" in text
    assert "Lower Kell" in text
    ambiguous = weigh(client, grower="Ama Tessaro", new_grower="", gross="50")
    assert ambiguous.status_code == 200
    said = ambiguous.content.decode()
    assert "Lower Kell" in said
    assert "Kell Ridge" in said


# ---- what the gate remembers and shows ----


def test_species_and_route_are_as_last_time(client: Client) -> None:
    weigh(client, species="robusta", route="natural")
    text = client.get("/gate/").content.decode()
    assert re.search(r'value="robusta"[^>]* checked', text)
    assert re.search(r'value="natural"[^>]* checked', text)
    assert "as last time" in text


def test_after_saving_the_hand_is_at_the_grower_and_may_mend(client: Client) -> None:
    answer = weigh(client)
    assert answer.headers["Location"].startswith("/gate/")
    text = client.get(answer.headers["Location"]).content.decode()
    assert "Wrong? Mend it" in text
    assert re.search(r'<input[^>]*name="grower"[^>]*autofocus', text)


def test_a_back_dated_weighing_shows(client: Client) -> None:
    weigh(client, gross="84.5", at=ago(days=3))
    assert re.search(r'<td class="n">83</td>', client.get("/gate/").content.decode())


def test_the_net_follows_both_fields(client: Client) -> None:
    text = client.get("/gate/").content.decode()
    for name in ("gross", "tare"):
        field = re.search(rf'<input[^>]*name="{name}"[^>]*>', text)
        assert field
        around = text[: text.index(field[0])]
        pair = (
            around[around.rindex("<div") :] if "hx-post" not in around else around[around.rindex("hx-post") :]
        )
        assert "/gate/echo/" in pair
        assert re.search(r'hx-trigger="input', pair)


# ---- wrong? mend it ----


def mend_fields(text: str) -> dict[str, str]:
    form = re.search(r'<form[^>]*method="post"[^>]*class="sheet".*?</form>', text, re.S)
    assert form
    fields = dict(re.findall(r'<input[^>]*?name="([^"]+)"[^>]*?value="([^"]*)"', form[0]))
    for name, body in re.findall(r'<select name="([^"]+)"[^>]*>(.*?)</select>', form[0], re.S):
        chosen = re.search(r'<option value="([^"]*)" selected>', body)
        fields[name] = chosen[1] if chosen else ""
    fields.pop("csrfmiddlewaretoken", None)
    return fields


def test_a_delivery_is_mended_in_one_go(client: Client) -> None:
    from drydown.books.models import Delivery, Entry, Holding

    weigh(client, gross="601.5")
    old = Delivery.objects.get()
    text = client.get(f"/journal/{old.pk}/mend/").content.decode()
    fields = mend_fields(text)
    assert fields["gross"] == "601.5"
    answer = client.post(f"/journal/{old.pk}/mend/", {**fields, "gross": "61.5"})
    assert answer.status_code == 302, answer.content.decode()[-2500:]
    assert Delivery.objects.get(undone=False).net_g == 60_000
    assert Delivery.objects.get(pk=old.pk).undone
    assert Entry.objects.filter(kind="reverse", reverses=old.pk).count() == 1
    owed = Holding.objects.get(account__name="grower/101", commodity="XTS").amount
    assert -owed == Delivery.objects.get(undone=False).pays
    again = client.post(f"/journal/{old.pk}/mend/", {**fields, "gross": "61.5"})
    assert again.status_code == 302  # sent twice, it is done once
    assert Delivery.objects.count() == 2


def test_a_mistake_while_mending_takes_nothing_back(client: Client) -> None:
    from drydown.books.models import Delivery

    weigh(client)
    old = Delivery.objects.get()
    fields = mend_fields(client.get(f"/journal/{old.pk}/mend/").content.decode())
    answer = client.post(f"/journal/{old.pk}/mend/", {**fields, "gross": "abc"})
    assert answer.status_code == 400
    assert not Delivery.objects.get().undone


def test_steps_and_readings_are_mended(client: Client) -> None:
    from drydown.books.models import Happening, Lot, Reading

    weigh(client, route="natural", gross="401.5", at=ago(days=3))
    code = Lot.objects.get().code
    step(client, code, "float", floaters_kg="40", at=ago(days=2.9))
    pk = Happening.objects.get(kind="float").entry_id
    fields = mend_fields(client.get(f"/journal/{pk}/mend/").content.decode())
    assert fields["floaters_kg"] == "40"
    assert client.post(f"/journal/{pk}/mend/", {**fields, "floaters_kg": "4"}).status_code == 302
    assert Happening.objects.get(kind="float", undone=False).details["floaters_kg"] == 4
    step(client, code, "spread", bed="Old patio", load_kg_m2="25", at=ago(days=2))
    reading = {
        "key": str(uuid.uuid4()),
        "moisture": "51",
        "method": "meter",
        "bean_temp": "",
        "at": ago(days=1),
    }
    assert client.post(f"/lot/{code}/reading/", reading).status_code == 302
    pk = Reading.objects.get().entry_id
    fields = mend_fields(client.get(f"/journal/{pk}/mend/").content.decode())
    assert client.post(f"/journal/{pk}/mend/", {**fields, "moisture": "15"}).status_code == 302
    assert Lot.objects.get().known_wb == pytest.approx(0.15)


def test_the_moment_stays_when_something_else_is_mended(client: Client) -> None:
    from drydown.books.models import Delivery

    weigh(client, at=ago(days=2))
    old = Delivery.objects.get()
    fields = mend_fields(client.get(f"/journal/{old.pk}/mend/").content.decode())
    client.post(f"/journal/{old.pk}/mend/", {**fields, "tare": "2.5"})
    new = Delivery.objects.get(undone=False)
    assert abs(new.happened_at - old.happened_at) <= timedelta(minutes=1)
    assert new.tare_g == 2_500


def as_weigher(name: str) -> Client:
    from django.contrib.auth.models import User
    from django.test import Client

    from drydown.books.models import Person

    user = User.objects.create_user(name, password="another long word")
    Person.objects.create(user=user, role="weigher")
    made = Client()
    made.force_login(user)
    return made


def test_a_weigher_mends_their_own_last_and_nobody_else_s(client: Client) -> None:
    from drydown.books.models import Delivery

    weigh(client, gross="44")
    mine, other = as_weigher("first weigher"), as_weigher("second weigher")
    weigh(mine, grower="101", new_grower="", gross="55")
    first = Delivery.objects.order_by("-pk")[0].pk
    assert mine.get(f"/journal/{first}/mend/").status_code == 200
    assert other.get(f"/journal/{first}/mend/").status_code == 403
    weigh(mine, grower="101", new_grower="", gross="66")
    assert mine.get(f"/journal/{first}/mend/").status_code == 403  # no longer the last
    last = Delivery.objects.order_by("-pk")[0].pk
    fields = mend_fields(mine.get(f"/journal/{last}/mend/").content.decode())
    assert mine.post(f"/journal/{last}/mend/", {**fields, "gross": "67"}).status_code == 302
    assert client.get(f"/journal/{first}/mend/").status_code == 200  # the owner mends everyone's


def test_a_delivery_goes_to_another_grower_also_when_its_lot_has_moved_on(client: Client) -> None:
    from drydown.books.copies.verify import verify
    from drydown.books.models import Delivery, Holding, Lot

    weigh(client)
    weigh(client, grower="Beno Okkal", gross="81.5", village="Lower Kell")
    step(client, Lot.objects.get().code, "float", floaters_kg="4")
    slip = Delivery.objects.order_by("pk")[0]
    form = {"key": str(uuid.uuid4()), "to": "102", "grower": "102", "reason": "wrong card"}
    answer = client.post(f"/gate/slip/{slip.pk}/grower/", form)
    assert answer.status_code == 302, re.findall(r"error.*?</", answer.content.decode(), re.S)[:3]
    slip.refresh_from_db()
    assert slip.grower.number == 102
    owed = {
        h.account.name: h.amount
        for h in Holding.objects.filter(commodity="XTS", account__name__startswith="grower/")
    }
    assert owed.get("grower/101", 0) == 0
    assert -owed["grower/102"] == sum(d.pays for d in Delivery.objects.all())
    assert verify(anew=True).good


def test_two_growers_become_one_and_part_again(client: Client) -> None:
    from drydown.books.copies.verify import verify
    from drydown.books.models import Entry, Grower, Holding

    weigh(client)
    weigh(client, grower="Ama Tesaro", gross="81.5", village="Kell Ridge")
    form = {"key": str(uuid.uuid4()), "act": "merge", "into": "101", "reason": "one person, two spellings"}
    answer = client.post("/growers/102/", form)
    assert answer.status_code == 302, re.findall(r"error.*?</", answer.content.decode(), re.S)[:3]
    assert Grower.objects.get(number=102).final.number == 101
    assert not Holding.objects.filter(account__name="grower/102", commodity="XTS").exclude(amount=0).exists()
    weigh(client, grower="102", new_grower="", gross="50")  # an old card still works
    from drydown.books.models import Delivery

    assert Delivery.objects.order_by("-pk")[0].grower.number == 101
    assert verify(anew=True).good
    entry = Entry.objects.get(kind="merge")
    back = client.post(f"/journal/{entry.pk}/take-back/", {"key": str(uuid.uuid4()), "reason": "two people"})
    assert back.status_code == 302
    assert Grower.objects.get(number=102).merged_into is None
    assert verify(anew=True).good


def test_a_statement_leaves_out_what_was_taken_back(client: Client) -> None:
    from drydown.books.models import Delivery, Grower
    from drydown.books.money.payments import statement

    weigh(client, gross="601.5")
    old = Delivery.objects.get()
    fields = mend_fields(client.get(f"/journal/{old.pk}/mend/").content.decode())
    client.post(f"/journal/{old.pk}/mend/", {**fields, "gross": "61.5"})
    lines = statement(Grower.objects.get(), "XTS", NOW - timedelta(days=2), NOW + timedelta(days=1))
    assert [line.kind for line in lines if line.kind != "forward"] == ["delivery"]
    assert lines[-1].balance == Delivery.objects.get(undone=False).pays


# ---- times, the same whatever the phone's language ----

ZONE = timezone(timedelta(hours=3))
AT = datetime(2026, 11, 26, 9, 30, tzinfo=UTC)  # 12:30 at the station


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("09:30", datetime(2026, 11, 26, 9, 30, tzinfo=ZONE)),
        ("9.30", datetime(2026, 11, 26, 9, 30, tzinfo=ZONE)),
        ("yesterday 17:00", datetime(2026, 11, 25, 17, 0, tzinfo=ZONE)),
        ("25 Nov 17:00", datetime(2026, 11, 25, 17, 0, tzinfo=ZONE)),
        ("28 dec 17:00", datetime(2025, 12, 28, 17, 0, tzinfo=ZONE)),
        ("25 November 2026, 17:00", datetime(2026, 11, 25, 17, 0, tzinfo=ZONE)),
        ("2026-11-25 17:00", datetime(2026, 11, 25, 17, 0, tzinfo=ZONE)),
        ("2026-11-25T17:00", datetime(2026, 11, 25, 17, 0, tzinfo=ZONE)),
        ("25.11.2026 17:00", datetime(2026, 11, 25, 17, 0, tzinfo=ZONE)),
    ],
)
def test_times_are_read(typed: str, meant: datetime) -> None:
    from drydown.books.moments import read_moment
    from drydown.way.when import moment_text

    assert read_moment(typed, AT, ZONE) == meant
    assert read_moment(moment_text(meant), AT, ZONE) == meant  # as shown, so typed


@pytest.mark.parametrize(
    "typed", ["11/26/2026 09:30", "26/11 09:30", "31 Feb 08:00", "25:10", "noon", "27 Nov 2026 08:00"]
)
def test_times_that_are_not_clear_are_refused_in_a_sentence(typed: str) -> None:
    from drydown.books.moments import read_moment
    from drydown.errors import InputError

    with pytest.raises(InputError) as told:
        read_moment(typed, AT, ZONE)
    assert told.value.fix


def test_an_empty_time_says_what_it_means(client: Client) -> None:
    text = client.get("/gate/").content.decode()
    assert "leave empty for now" not in text
    assert 'type="datetime-local"' not in text


# ---- equipment that is asked for is used ----


def test_two_lots_in_one_tank_are_told(client: Client, books: Path) -> None:
    from drydown.books.models import Lot

    weigh(client, gross="1301.5", at=ago(hours=30))
    weigh(client, grower="Beno Okkal", gross="1281.5", species="robusta", at=ago(hours=30))
    said = ""
    for lot in Lot.objects.order_by("id"):
        for kind, more in TO_TANK:
            answer = step(client, lot.code, kind, at=ago(hours=20), **more)
            assert answer.status_code == 302
            said = client.get(answer.headers["Location"]).content.decode()
    assert "Tank 1" in said
    assert Lot.objects.order_by("id")[0].code in said  # which lot is in it already


def test_an_over_full_bed_is_told_and_the_menu_says_what_is_free(client: Client) -> None:
    from drydown.books.models import Lot

    weigh(client, gross="1401.5", at=ago(days=3))
    code = Lot.objects.get().code
    for kind, more in (
        ("float", {"floaters_kg": "4"}),
        ("pulp", {}),
        ("ferment", {"tank": "Tank 1"}),
        ("wash", {}),
    ):
        step(client, code, kind, at=ago(days=2), **more)
    text = client.get(f"/lot/{code}/").content.decode()
    assert "Upper beds (420 m2 free)" in text
    answer = step(client, code, "spread", bed="Upper beds", load_kg_m2="2", at=ago(days=1))
    told = client.get(answer.headers["Location"]).content.decode()
    found = re.search(r"over-full: (\d+) %|needs ([\d.]+) m2; Upper beds has 420", told)
    assert found or "m2" in told
    yard = client.get("/yard/").content.decode()
    used = re.search(r"<b>Upper beds</b>.*?(\d+) of 420", yard, re.S)
    assert used
    assert int(used[1]) > 0
    weigh(client, grower="Beno Okkal", gross="81.5", route="natural")
    other = Lot.objects.exclude(code=code).get().code
    step(client, other, "float", floaters_kg="1")
    menu = re.search(r"Upper beds \((\d+) m2 free\)", client.get(f"/lot/{other}/").content.decode())
    assert menu
    assert int(menu[1]) < 420


# ---- the station form ----


def station_form(client: Client, books: Path) -> dict[str, Any]:
    from drydown.station.load import load_station

    station = load_station(books / "station.toml")
    ticks = {"species": list(station.species), "routes": list(station.routes)}
    return {**station_fields(client.get("/station/?page=all").content.decode()), **ticks}


def test_all_mistakes_at_once_and_by_label(client: Client, books: Path) -> None:
    fields = station_form(client, books)
    wrong = {"place.name": "", "place.elevation_m": "9000", "money.currency": "money",
             "weather.months.3.rh_percent": "700", "equipment.beds.2.area_m2": "1.234"}  # fmt: skip
    answer = client.post("/station/", fields | wrong)
    assert answer.status_code == 400
    box = re.search(r'<div class="error" role="alert".*?</div>', answer.content.decode(), re.S)
    assert box
    assert box[0].count("<li>") == 5
    assert not re.search(r"[a-z]+\.[a-z_]+|_percent|_m2|true|false", box[0].replace("1.234", "")), box[0]


def test_what_people_write_is_taken(client: Client, books: Path) -> None:
    from drydown.station.load import load_station

    fields = station_form(client, books)
    money = load_station(books / "station.toml").money
    typed = {"drying.parchment.cover_from_h": "17:30", "money.currency": money.currency.lower(),
             "equipment.beds.1.area_m2": "1 420"}  # fmt: skip
    answer = client.post("/station/", fields | typed)
    assert answer.status_code == 302, re.findall(r"<li>.*?</li>", answer.content.decode())
    station = load_station(books / "station.toml")
    assert station.drying["parchment"].cover_from_h == 17.5
    assert station.money.currency == money.currency
    assert station.equipment.beds[0].area_m2 == 1420
    text = client.get("/station/?page=all").content.decode()
    assert "17:30" in text
    assert not re.search(r">\s*(true|false)\s*<", text)


def test_months_are_pasted_from_a_spreadsheet(client: Client, books: Path) -> None:
    from drydown.station.load import load_station

    fields = station_form(client, books)
    rows = "\n".join("\t".join([str(i), "27,1", "14.2", "71", "80", "9", "1.9", "5,1"]) for i in range(1, 13))
    filled = client.post("/station/", fields | {"paste_months": rows, "act": "fill"})
    assert filled.status_code == 200, re.findall(r"<li>.*?</li>", filled.content.decode())
    shown = station_fields(filled.content.decode())
    assert shown["weather.months.7.rh_percent"] == "71"
    answer = client.post("/station/", fields | {"paste_months": rows})
    assert answer.status_code == 302, re.findall(r"<li>.*?</li>", answer.content.decode())
    assert (load_station(books / "station.toml").weather.months or ())[6].tmax_c == pytest.approx(27.1)


def test_a_draft_survives(client: Client, books: Path) -> None:
    fields = station_form(client, books)
    assert (
        client.post(
            "/station/", fields | {"place.name": "Kell Draft", "place.elevation_m": "9000"}
        ).status_code
        == 400
    )
    assert "Kell Draft" in client.get("/station/?page=all").content.decode()


def test_the_likely_weight_is_the_first_answer_and_can_be_taken(client: Client) -> None:
    """304.4 kg where the grower's most is 30: the first button keeps a tenth of it, the second all."""
    from drydown.books.models import Delivery

    weigh(client, gross="29", tare="1.5", at=ago(days=2))
    for gross in ("30", "31.5"):
        weigh(client, new_grower="", grower="101", gross=gross, tare="1.5", at=ago(days=2))
    asked = weigh(client, new_grower="", grower="101", gross="304.4", tare="1.5").content.decode()
    meant = re.search(r'name="meant" value="([^"]+)"', asked)
    assert meant
    assert meant[1] == "30.44"
    assert asked.index('name="meant"') < asked.index('name="sure"')
    assert Delivery.objects.count() == 3
    answer = weigh(client, new_grower="", grower="101", gross="304.4", tare="1.5", meant=meant[1])
    assert answer.status_code == 302
    assert Delivery.objects.first().gross_g == 30_440  # type: ignore[union-attr]


def test_one_more_container_keeps_nothing(client: Client) -> None:
    from drydown.books.models import Delivery

    text = weigh(client, count="2", container="crate", more="1").content.decode()
    assert Delivery.objects.count() == 0
    assert re.search(r'name="count"[^>]*value="3"', text)
    assert re.search(r'name="gross"[^>]*value="101.5"', text)


def test_a_typed_empty_weight_stands_for_a_container_that_was_only_shown(client: Client) -> None:
    from drydown.books.models import Delivery

    names = re.findall(r'<option value="([^"]+)">[^<]*kg</option>', client.get("/gate/").content.decode())
    assert names
    assert weigh(client, container=names[0], count="", tare="1.5").status_code == 302
    assert Delivery.objects.get().tare_g == 1_500
    both = weigh(client, new_grower="", grower="101", container=names[0], count="2", tare="1.5", gross="90")
    assert "not both" in both.content.decode()
    none = weigh(client, new_grower="", grower="101", container=names[0], count="0", tare="", gross="90")
    assert none.status_code == 302  # no container, said so
    assert Delivery.objects.first().tare_g == 0  # type: ignore[union-attr]


@pytest.mark.parametrize(("count", "tare"), [("2", ""), ("2.6", ""), ("", ""), ("0", ""), ("", "1.5")])
def test_the_net_that_is_shown_is_the_net_that_is_kept(client: Client, count: str, tare: str) -> None:
    """One rule for containers and typed weights, before and after keeping."""
    from drydown.books.models import Delivery

    name = re.findall(r'<option value="([^"]+)">[^<]*kg</option>', client.get("/gate/").content.decode())[0]
    typed = {"gross": "60", "container": name, "count": count, "tare": tare}
    shown = re.search(r"Keep ([\d.]+) kg", client.post("/gate/echo/", typed).content.decode())
    assert shown
    assert weigh(client, **typed).status_code == 302
    assert Delivery.objects.get().net_g == round(float(shown[1]) * 1000)
