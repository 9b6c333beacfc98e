"""Pages and records through Django's test client."""

from __future__ import annotations

import hashlib
import io
import re
import uuid
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from tests.desk.forms import station_clock, step, weigh

if TYPE_CHECKING:
    from django.test import Client


def test_gate_to_dry_date(client: Client) -> None:
    from drydown.books.models import Delivery, Lot

    assert weigh(client).status_code == 302
    kept = Delivery.objects.get()
    assert (kept.gross_g, kept.tare_g, kept.net_g) == (101_500, 1_500, 100_000)
    assert (kept.pays, kept.held_back) == (60_760, 1_240)  # class B; 2 % to the members fund
    code = Lot.objects.get().code
    for kind, more in (
        ("float", {"floaters_kg": "4"}), ("pulp", {}), ("ferment", {"tank": "Tank 1"}), ("wash", {}),
        ("spread", {"bed": "Upper beds", "load_kg_m2": "12"}),
    ):  # fmt: skip
        assert step(client, code, kind, **more).status_code == 302
    page = client.get(f"/lot/{code}/").content.decode()
    assert "Dry on" in page
    assert "show the working" in page
    assert "P10 to P90" in page
    svg = client.get(f"/lot/{code}/curve.svg")
    assert svg["Content-Type"] == "image/svg+xml"
    assert b"<svg" in svg.content
    reading = {"key": str(uuid.uuid4()), "moisture": "30,5", "method": "meter 2", "bean_temp": "", "at": ""}
    assert client.post(f"/lot/{code}/reading/", reading).status_code == 302
    assert "from the last reading" in client.get(f"/lot/{code}/").content.decode()
    assert "outside the rule" in client.get(f"/lot/{code}/").content.decode()


def test_a_form_sent_twice_is_kept_once(client: Client) -> None:
    from drydown.books.models import Delivery, Grower

    key = str(uuid.uuid4())
    first, second = weigh(client, key=key), weigh(client, key=key)
    assert first.headers["Location"] == second.headers["Location"]
    assert Delivery.objects.count() == 1
    assert Grower.objects.count() == 1


def test_times_are_the_station_s_own(client: Client) -> None:
    from django.utils import timezone

    from drydown.books.models import Delivery

    ago = timezone.now() - timedelta(minutes=30)
    assert weigh(client, at=station_clock(ago)).status_code == 302
    kept = Delivery.objects.get()
    assert abs(kept.happened_at - ago) < timedelta(minutes=1)
    shown = (kept.happened_at + timedelta(hours=3)).strftime("%H:%M")
    assert shown in client.get(f"/gate/slip/{kept.pk}/").content.decode()


def test_one_key_stands_for_one_content(client: Client) -> None:
    from drydown.books.models import Delivery, Grower

    key = str(uuid.uuid4())
    weigh(client, key=key)
    answer = weigh(client, key=key, gross="33", new_grower="", grower="101")
    assert "sent before with other values" in answer.content.decode()
    assert Delivery.objects.get().net_g == 100_000
    assert Grower.objects.count() == 1
    assert client.get("/gate/").headers["Cache-Control"] == "no-store"


def test_a_refused_weighing_leaves_no_grower(client: Client) -> None:
    from drydown.books.models import Grower

    weigh(client, gross="40000")
    assert Grower.objects.count() == 0
    weigh(client)
    assert "There is a grower" in weigh(client).content.decode()
    assert Grower.objects.count() == 1


@pytest.mark.parametrize(
    ("typed", "answer"),
    [("an", "Did you mean 101 Janu Orteb"), ("101 Somebody Else", "No grower is called"),
     ("Janu Orteb", ""),
     ("101 Janu Orteb", ""), ("101", ""), ("3 Brothers", "")],
)  # fmt: skip
def test_the_grower_is_never_guessed(client: Client, typed: str, answer: str) -> None:
    from drydown.books.lots.gate import add_grower

    add_grower("Janu Orteb", "Kell Ridge")
    add_grower("3 Brothers", "")
    page = weigh(client, new_grower="", grower=typed)
    assert page.status_code == (200 if answer else 302)
    assert answer in page.content.decode()


def test_old_slips_keep_their_money(client: Client, books: Path) -> None:
    weigh(client)
    file = books / "station.toml"
    text = file.read_text(encoding="utf-8").replace('"XTS"', '"XXX"').replace("decimals = 0", "decimals = 2")
    file.write_text(text, encoding="utf-8")
    from drydown.books.models import Delivery

    assert "60 760 XTS" in client.get(f"/gate/slip/{Delivery.objects.get().pk}/").content.decode()


def test_impossible_quantities_are_refused(client: Client) -> None:
    from drydown.books.models import Lot

    weigh(client, route="natural")
    code = Lot.objects.get().code
    assert "more than can come of" in step(client, code, "float", floaters_kg="5000").content.decode()
    step(client, code, "float", floaters_kg="5")
    step(client, code, "spread", bed="Old patio", load_kg_m2="25")
    bagged = step(client, code, "bag", mass_kg="99999999", wet="on")
    assert "more than can come of" in bagged.content.decode()
    old = weigh(client, at="1990-01-01T10:00").content.decode()
    assert "more than 400 days ago" in old


def test_a_reading_at_the_target_says_so(client: Client) -> None:
    from drydown.books.models import Lot

    weigh(client, route="natural")
    code = Lot.objects.get().code
    step(client, code, "float", floaters_kg="5")
    step(client, code, "spread", bed="Old patio", load_kg_m2="25")
    reading = {"key": str(uuid.uuid4()), "moisture": "9", "method": "oven", "bean_temp": "", "at": ""}
    client.post(f"/lot/{code}/reading/", reading)
    page = client.get(f"/lot/{code}/").content.decode()
    assert "at its target by your last reading" in page
    step(client, code, "bag", mass_kg="30")
    late = client.post(f"/lot/{code}/reading/", reading | {"key": str(uuid.uuid4())})
    assert late.status_code == 302  # a stored lot can be read too
    assert Lot.objects.get().stage == "stored"


def test_wet_hours_before_a_reading_are_counted(client: Client) -> None:
    from django.utils import timezone

    from drydown.books.journal.write import Who
    from drydown.books.lots.readings import record_reading
    from drydown.books.lots.window import hours_above_window
    from drydown.books.models import Lot

    weigh(client, route="natural")
    lot = Lot.objects.get()
    lot.stage, lot.bed, lot.load_kg_m2 = "drying", "Old patio", 25.0
    lot.spread_at = timezone.now() - timedelta(days=8)
    lot.save()
    record_reading(lot, uuid.uuid4(), 30.0, "meter", None, timezone.now(), Who())
    assert hours_above_window(lot) == pytest.approx(7 * 24, abs=0.1)
    assert "outside both rules" in client.get(f"/lot/{lot.code}/").content.decode()


TABLES = ("delivery", "reading")


def test_a_demo_never_opens_real_books(tmp_path: Path) -> None:
    from drydown.books.prepare import refuse_other_kind
    from drydown.errors import InputError

    real, invented = tmp_path / "real", tmp_path / "demo"
    real.mkdir()
    invented.mkdir()
    (real / "books.sqlite3").touch()
    with pytest.raises(InputError, match="holds a real station"):
        refuse_other_kind(real, demo=True)
    refuse_other_kind(invented, demo=True)
    refuse_other_kind(invented, demo=True)
    with pytest.raises(InputError, match="is a demo"):
        refuse_other_kind(invented, demo=False)


def test_an_owner_who_forgot_can_come_back(books: Path) -> None:
    from django.contrib.auth.models import User
    from django.test import Client

    from drydown.books.prepare import make_owner_link

    User.objects.create_superuser("sefi", password="wide river bend")
    token = make_owner_link()
    Client().post(f"/first/{token}/", {"name": "sefi", "password": "another river bend"})
    assert User.objects.get().check_password("another river bend")


BAD_FORMS = [
    ({"gross": ""}, "This field is required"),
    ({"gross": "1,234"}, "could be read two ways"),
    ({"gross": "a lot"}, "is not a number"),
    ({"gross": "1.5", "tare": "101.5"}, "swapped"),
    ({"gross": "99999", "tare": "0"}, "above 30 000 kg"),
    ({"species": "racemosa"}, "racemosa is not one of the available choices"),
    ({"route": ""}, "This field is required"),
    ({"ripe": "140"}, "must be from 0 to 100"),
    ({"new_grower": "", "grower": "Nobody Known"}, "No grower is called"),
    ({"new_grower": "", "grower": "977"}, "No grower has the number 977"),
    ({"at": "2090-01-01T10:00"}, "is in the future"),
    ({"at": "yesterday"}, "is not a time"),
    ({"key": "not-a-key"}, "had lost its key"),
]


@pytest.mark.parametrize(("change", "sentence"), BAD_FORMS, ids=[s for _c, s in BAD_FORMS])
def test_gate_mistakes_keep_nothing_and_lose_nothing(
    client: Client, change: dict[str, str], sentence: str
) -> None:
    from drydown.books.models import Delivery

    answer = weigh(client, **change)
    page = answer.content.decode()
    assert answer.status_code == 200
    assert sentence in page.replace("&#x27;", "'").replace("&quot;", '"')
    assert Delivery.objects.count() == 0
    if "grower" not in change:
        assert "Ama Tessaro" in page


def test_names_of_markup_are_shown_as_text(client: Client) -> None:
    weigh(client, grower="<script>alert(1)</script>")
    page = client.get("/gate/").content.decode()
    assert "<script>alert" not in page
    assert "&lt;script&gt;" in page


def test_only_possible_steps(client: Client) -> None:
    from drydown.books.models import Happening, Lot

    weigh(client)
    lot = Lot.objects.get()
    refused = step(client, lot.code, "wash")
    assert "Not recorded" in client.get(refused.headers["Location"]).content.decode()
    assert step(client, lot.code, "dance").status_code == 400
    assert Happening.objects.count() == 0
    bad = step(client, lot.code, "float", floaters_kg="x")
    assert bad.status_code == 400
    assert step(client, lot.code, "float", floaters_kg="2").status_code == 302


def test_a_step_before_the_last_one_is_refused(client: Client) -> None:
    from django.utils import timezone

    from drydown.books.models import Delivery, Lot

    weigh(client)
    code = Lot.objects.get().code
    step(client, code, "float")
    early = station_clock(timezone.now() - timedelta(hours=2))
    answer = step(client, code, "pulp", at=early)
    assert answer.status_code == 400
    assert "before the lot" in answer.content.decode()
    Delivery.objects.update(happened_at=timezone.now() - timedelta(hours=9))
    Lot.objects.update(moved_at=timezone.now() - timedelta(hours=1))
    assert "before the last step" in step(client, code, "pulp", at=early).content.decode()


def test_readings_out_of_range(client: Client) -> None:
    from drydown.books.models import Lot, Reading

    weigh(client, route="natural")
    code = Lot.objects.get().code
    reading = {"key": str(uuid.uuid4()), "moisture": "60", "method": "oven", "bean_temp": "", "at": ""}
    assert "so it is not spread yet" in client.post(f"/lot/{code}/reading/", reading).content.decode()
    step(client, code, "float")
    step(client, code, "spread", bed="Old patio", load_kg_m2="25")
    for moisture, sentence in (
        ("0.11", "must be from 3"),
        ("95", "must be from 3"),
        ("11,5 %", "is not a number"),
    ):
        page = client.post(f"/lot/{code}/reading/", reading | {"moisture": moisture}).content.decode()
        assert sentence in page
    assert Reading.objects.count() == 0


def test_a_new_lot_begins_when_the_old_one_has_moved_on(client: Client) -> None:
    from drydown.books.models import Lot

    weigh(client)
    first = Lot.objects.get()
    weigh(client, grower="Beno Vembi")
    assert Lot.objects.count() == 1
    step(client, first.code, "float")
    weigh(client, grower="Dari Okkal")
    assert sorted(lot.code[-1] for lot in Lot.objects.all()) == ["A", "B"]


def test_the_database_itself_refuses_impossible_weights(books: Path) -> None:
    from django.db import IntegrityError, transaction
    from django.utils import timezone

    from drydown.books.lots.gate import add_grower
    from drydown.books.models import Delivery, Lot

    grower = add_grower("Eko Durane", "")
    today = timezone.now().date()
    lot = Lot.objects.create(code="AW-1-A", species="arabica", route="washed", opened_on=today)
    with pytest.raises(IntegrityError), transaction.atomic():
        Delivery.objects.create(
            entry_id=99, grower=grower, lot=lot, gross_g=100, tare_g=10, net_g=95,
            price_per_kg=1, pays=1, happened_at=timezone.now(), currency="XTS", decimals=0,
        )  # fmt: skip


def test_the_embedded_database_is_set_for_power_cuts(books: Path) -> None:
    from django.db import connection

    if connection.vendor != "sqlite":
        pytest.skip("about the embedded database")
    with connection.cursor() as cursor:
        found = {}
        for name in ("journal_mode", "synchronous", "foreign_keys"):
            cursor.execute(f"PRAGMA {name}")
            found[name] = cursor.fetchone()[0]
    assert found == {"journal_mode": "wal", "synchronous": 2, "foreign_keys": 1}


def test_echo_says_the_weight_in_words(client: Client) -> None:
    words = client.post("/gate/echo/", {"gross": "41,25", "tare": "1"}).content.decode()
    assert "Net: 40 kilograms and 250 grams" in words
    assert "Keep 40.25 kg" in words  # on the button
    assert "two ways" in client.post("/gate/echo/", {"gross": "1,250", "tare": ""}).content.decode()


def test_strangers_are_sent_to_the_door(books: Path) -> None:
    from django.test import Client

    stranger = Client()
    for path in ("/", "/gate/", "/yard/", "/station/", "/lot/AW-0101-A/", "/gate/slip/1/"):
        assert stranger.get(path).headers["Location"] == "/enter/"
    assert stranger.get("/alive/").content == b"alive"


def test_owner_link_works_once_and_leaves_only_a_hash(books: Path) -> None:
    from django.contrib.auth.models import User
    from django.test import Client

    from drydown.books.models import OwnerLink
    from drydown.books.prepare import make_owner_link, needs_owner

    User.objects.all().delete()
    assert needs_owner()
    token = make_owner_link()
    assert OwnerLink.objects.get().digest == hashlib.sha256(token.encode()).hexdigest()
    browser = Client()
    assert browser.post(f"/first/{token}/", {"name": "sefi", "password": "short"}).status_code == 200
    assert User.objects.count() == 0
    answer = browser.post(f"/first/{token}/", {"name": "sefi", "password": "wide river bend"})
    assert answer.headers["Location"] == "/station/"
    assert User.objects.get().password.startswith("argon2")
    assert Client().get(f"/first/{token}/").status_code == 404
    other = Client()
    assert "do not fit" in other.post("/enter/", {"name": "sefi", "password": "no"}).content.decode()
    assert other.post("/enter/", {"name": "sefi", "password": "wide river bend"}).status_code == 302


def test_demo_season_has_all_routes_and_species_and_is_written_once(filled_demo: Path) -> None:
    import sqlite3

    with sqlite3.connect(filled_demo / "books.sqlite3") as books:
        count = {t: books.execute(f"select count(*) from books_{t}").fetchone()[0] for t in TABLES}
        ways = set(books.execute("select distinct species, route from books_lot"))
    assert count["delivery"] > 300
    assert count["reading"] > 100
    assert ways >= {
        ("arabica", "washed"), ("arabica", "natural"), ("arabica", "pulped_natural"), ("robusta", "natural"),
        ("liberica", "natural"),
    }  # fmt: skip


def test_yard_counts_the_area_that_is_taken(client: Client) -> None:
    from drydown.books.models import Lot

    weigh(client, route="natural", gross="251", tare="1")
    code = Lot.objects.get().code
    step(client, code, "float", floaters_kg="0")
    step(client, code, "spread", bed="Old patio", load_kg_m2="25")
    page = client.get("/yard/").content.decode()
    # 250 kg fruit less the assumed 5 % float, at 25 kg/m2, is 9.5 m2 of 200.
    assert re.search(r"<b>Old patio</b>.*?>(9|10) of 200<", page, re.S)


def test_a_rise_between_readings_is_questioned_and_counted(client: Client) -> None:
    from django.utils import timezone

    from drydown.books.journal.write import Who
    from drydown.books.lots.readings import record_reading
    from drydown.books.lots.window import hours_above_window
    from drydown.books.models import Lot

    weigh(client, route="natural")
    lot = Lot.objects.get()
    lot.stage, lot.bed, lot.load_kg_m2 = "drying", "Old patio", 25.0
    lot.spread_at = timezone.now() - timedelta(days=10)
    lot.save()
    for days, moisture in ((5, 0.12), (3, 0.13)):
        at = timezone.now() - timedelta(days=days)
        record_reading(lot, uuid.uuid4(), 100 * moisture, "m", None, at, Who())
    assert hours_above_window(lot) == pytest.approx(4 * 24, abs=0.1)
    reading = {"key": str(uuid.uuid4()), "moisture": "20", "method": "oven", "bean_temp": "", "at": ""}
    page = client.post(f"/lot/{lot.code}/reading/", reading, follow=True).content.decode()
    assert "was it rewetted?" in page
    assert hours_above_window(lot) == pytest.approx(7 * 24, abs=0.1)
    lot.deliveries.update(happened_at=timezone.now() - timedelta(days=11))
    early = station_clock(timezone.now() - timedelta(days=1))
    assert (
        "before the last moisture reading"
        in step(client, lot.code, "bag", mass_kg="30", at=early).content.decode()
    )


def test_a_photo_is_kept_beside_the_books_and_its_hash_in_them(client: Client) -> None:
    from django.core.files.uploadedfile import SimpleUploadedFile
    from PIL import Image

    from drydown.books.models import Delivery

    made = io.BytesIO()
    Image.effect_noise((60, 40), 40).save(made, "JPEG")
    picture = made.getvalue()
    weigh(client, photo=SimpleUploadedFile("x.jpg", picture))  # type: ignore[arg-type]
    kept = Delivery.objects.get()
    assert kept.entry.facts["photo"] == hashlib.sha256(picture).hexdigest() + ".jpg"
    answer = client.get(f"/gate/slip/{kept.pk}/photo/")
    assert (answer.content, answer["Content-Type"]) == (picture, "image/jpeg")
    script = SimpleUploadedFile("x.jpg", b"<script>alert(1)</script>")
    refused = weigh(client, grower="Beno Okkal", photo=script)  # type: ignore[arg-type]
    assert "is not a JPEG or PNG picture" in refused.content.decode()
    assert Delivery.objects.count() == 1
