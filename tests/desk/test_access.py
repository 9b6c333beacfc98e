"""Who may do what: the matrix of roles walked through page by page, locks, PINs, sessions, links."""

from __future__ import annotations

import re
import uuid
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from tests.desk.forms import weigh

if TYPE_CHECKING:
    from django.test import Client

ROLES = ("owner", "manager", "weigher", "yard", "quality", "reader")
# Who may what, written down by hand: nothing here is read from the code.
GIVEN: dict[str, str] = {
    # field              owner manager weigher yard quality reader: w writes and reads, r reads, - neither
    "growers.names":       "w w w r r -",
    "deliveries.weights":  "w w w r r r",
    "deliveries.money":    "w w r - - -",
    "lots.way":            "w w r w r r",
    "readings.moisture":   "w w r w w r",
    "samples.taken":       "w w - w w r",
    "money.accounts":      "w w - - - -",
    "station.description": "w w - - - -",
    "people.access":       "w r - - - -",
    "devices.enrolled":    "w w - - - -",
    "journal.audit":       "r r - - - -",
    "journal.undo":        "w w - - - -",
    "journal.carry":       "w w - - - -",
}  # fmt: skip


def given(role: str, field: str, writes: bool) -> bool:
    """Whether a role is given a field, by the table above."""
    mark = GIVEN[field].split()[ROLES.index(role)]
    return mark == "w" or (mark == "r" and not writes)


# Which field of the matrix guards which page, and whether the call writes. Every address of the
# desk that shows or changes records is here; a test below sees to it.
CALLS: list[tuple[str, str, str, bool]] = [
    ("get", "/gate/", "deliveries.weights", False),
    ("post", "/gate/", "deliveries.weights", True),
    ("post", "/gate/echo/", "deliveries.weights", True),
    ("get", "/gate/slip/{slip}/photo/", "growers.names", False),
    ("get", "/gate/slip/{slip}/owed/", "journal.undo", True),
    ("post", "/gate/slip/{slip}/owed/", "journal.undo", True),
    ("get", "/gate/scale/", "deliveries.weights", True),
    ("get", "/gate/slip/{slip}/", "deliveries.weights", False),
    ("get", "/gate/slip/{slip}.pdf", "deliveries.money", False),
    ("get", "/growers/", "growers.names", False),
    ("get", "/growers/101/", "growers.names", False),
    ("post", "/growers/101/", "growers.names", True),
    ("get", "/growers/cards.pdf", "growers.names", False),
    ("get", "/growers/101/statement.pdf", "money.accounts", False),
    ("get", "/money/", "money.accounts", False),
    ("post", "/money/", "money.accounts", True),
    ("post", "/money/run/", "money.accounts", True),
    ("get", "/day/", "lots.way", False),
    ("get", "/day/ahead/", "lots.way", False),
    ("post", "/day/done/", "lots.way", True),
    ("post", "/day/later/", "lots.way", True),
    ("post", "/day/sky/", "lots.way", True),
    ("get", "/round/", "readings.moisture", False),
    ("post", "/round/", "readings.moisture", True),
    ("post", "/round/bed/", "lots.way", True),
    ("get", "/room/", "lots.way", False),
    ("get", "/air/", "lots.way", False),
    ("post", "/air/", "lots.way", True),
    ("post", "/air/place/", "lots.way", True),
    ("post", "/air/ask/", "lots.way", True),
    ("post", "/air/read/", "lots.way", True),
    ("get", "/season/", "deliveries.weights", False),
    ("get", "/week/", "lots.way", False),
    ("get", "/routes/", "deliveries.money", False),
    ("get", "/bench/1/roast/", "samples.taken", False),
    ("post", "/bench/1/roast/", "samples.taken", True),
    ("get", "/build/", "station.description", False),
    ("post", "/build/start/", "station.description", True),
    ("get", "/build/print/", "station.description", False),
    ("get", "/advice/", "deliveries.money", False),
    ("get", "/advice/print/", "deliveries.money", False),
    ("get", "/week/before/", "lots.way", False),
    ("get", "/week/print/", "lots.way", False),
    ("post", "/week/accept/", "lots.way", True),
    ("post", "/week/expect/", "lots.way", True),
    ("get", "/yard/", "lots.way", False),
    ("get", "/yard/dried/", "lots.way", False),
    ("get", "/lot/{lot}/", "lots.way", False),
    ("get", "/lot/{lot}/family.svg", "lots.way", False),
    ("get", "/lot/{lot}/labels.pdf", "lots.way", False),
    ("get", "/lot/{lot}/split/", "lots.way", False),
    ("post", "/lot/{lot}/split/", "lots.way", True),
    ("get", "/lot/{lot}/join/", "lots.way", False),
    ("post", "/lot/{lot}/join/", "lots.way", True),
    ("post", "/lot/{lot}/step/", "lots.way", True),
    ("post", "/lot/{lot}/reading/", "readings.moisture", True),
    ("get", "/journal/", "journal.audit", False),
    ("get", "/journal/1/", "journal.audit", False),
    ("post", "/journal/1/take-back/", "journal.undo", True),
    ("get", "/station/", "station.description", False),
    ("post", "/station/", "station.description", True),
    ("post", "/station/picture/", "station.description", False),
    ("get", "/people/", "people.access", False),
    ("post", "/people/", "people.access", True),
    ("post", "/people/{person}/", "people.access", True),
    ("get", "/field/", "deliveries.weights", True),
    ("get", "/field/count/", "samples.taken", True),
    ("get", "/bench/", "samples.taken", False),
    ("get", "/reckon/", "lots.way", False),
    ("get", "/bench/drawing/", "samples.taken", False),
    ("get", "/bench/roasts/", "samples.taken", False),
    ("get", "/bench/tasting/", "samples.taken", True),
    ("post", "/bench/tasting/", "samples.taken", True),
    ("get", "/bench/tasting/1/", "samples.taken", False),
    ("get", "/bench/tasting/1/1/", "samples.taken", True),
    ("post", "/bench/tasting/1/1/", "samples.taken", True),
    ("get", "/bench/1/", "samples.taken", False),
    ("get", "/bench/1.pdf", "samples.taken", False),
    ("post", "/bench/1/count/", "samples.taken", True),
    ("get", "/bench/1/photo/", "samples.taken", True),
    ("post", "/bench/1/photo/", "samples.taken", True),
    ("get", "/bench/1/photo/file/", "samples.taken", False),
    ("get", "/bench/1/screens.svg", "samples.taken", False),
    ("post", "/bench/1/sheet/moisture/", "samples.taken", True),
    ("get", "/carry/", "journal.carry", False),
    ("post", "/carry/", "journal.carry", True),
    ("get", "/carry/everything.json", "journal.carry", False),
    ("get", "/devices/carry-in/", "devices.enrolled", False),
    ("post", "/devices/carry-in/", "devices.enrolled", True),
    ("get", "/api/field/state", "deliveries.weights", True),
    ("get", "/api/lots", "lots.way", False),
    ("get", "/api/lots/{lot}", "lots.way", False),
    ("get", "/api/deliveries", "deliveries.weights", False),
    ("get", "/devices/", "devices.enrolled", False),
    ("post", "/devices/", "devices.enrolled", True),
    ("post", "/devices/{device}/close/", "devices.enrolled", True),
]
OPEN = {"", "alive/", "enter/", "leave/", "first/<str:token>/", "more/", "me/", "me/leave-all/", "me/pin/",
        "switch/", "field/worker.js", "lot/<str:code>/curve.svg",
        "calendar/<str:token>.ics"}  # fmt: skip


@pytest.fixture
def owner(books: Path) -> Client:
    """The owner's browser, with one delivery kept."""
    from django.contrib.auth.models import User
    from django.test import Client

    client = Client()
    client.force_login(User.objects.create_superuser("owner", password="a long enough word"))
    weigh(client)
    return client


def enter_as(role: str) -> Client:
    """A browser of someone with a role."""
    from django.contrib.auth.models import User
    from django.test import Client

    from drydown.books.models import Person

    client = Client()
    if role == "owner":
        client.force_login(User.objects.get(is_superuser=True))
        return client
    user = User.objects.create_user(f"some {role}", password="another long word")
    Person.objects.create(user=user, role=role)
    client.force_login(user)
    return client


def _addresses() -> dict[str, Any]:
    from drydown.books.journal.write import Who
    from drydown.books.models import Delivery, Device, Lot, Person
    from drydown.books.people.register import enrol

    person = Person.objects.filter(user__username="target").first()
    if person is None:
        from django.contrib.auth.models import User

        person = Person.objects.create(user=User.objects.create_user("target"), role="yard")
    device = Device.objects.first() or enrol("gate phone", Who())
    return {
        "slip": Delivery.objects.get().pk, "lot": Lot.objects.get().code, "person": person.pk,
        "device": device.pk,
    }  # fmt: skip


@pytest.mark.parametrize("role", ROLES)
def test_the_matrix_page_by_page(owner: Client, role: str) -> None:
    client, spots = enter_as(role), _addresses()
    for method, path, field, writes in CALLS:
        allowed = given(role, field, writes)
        answer = getattr(client, method)(path.format(**spots), {})
        if path in {"/field/", "/api/field/state"}:  # whoever may note one of the things a phone sends
            allowed = allowed or given(role, "readings.moisture", True)
        if path == "/api/field/state":
            allowed = allowed or given(role, "samples.taken", True)
        if path == "/api/field/state":  # refused for another reason, too: not an enrolled device
            assert (b"enrolled" in answer.content) == allowed
            continue
        if path == "/lot/{lot}/step/":  # without a kind of step nothing is decided yet
            answer = client.post(path.format(**spots), {"kind": "float", "key": str(uuid.uuid4())})
        assert (answer.status_code != 403) == allowed, (role, method, path, answer.status_code)


ALL_METHODS = ("get", "head", "post", "put", "patch", "delete", "options", "trace")


@pytest.mark.parametrize("role", [*ROLES, "stranger"])
def test_every_address_with_every_method(owner: Client, role: str) -> None:
    """No method that a page does not know reaches anything, and strangers reach nothing at all."""
    from django.test import Client as Browser

    client, spots = Browser() if role == "stranger" else enter_as(role), _addresses()
    known = {(method, path) for method, path, _f, _w in CALLS}
    for path in sorted({p for _m, p, _f, _w in CALLS}):
        for method in ALL_METHODS:
            answer = getattr(client, method)(path.format(**spots))
            if role == "stranger":
                assert answer.status_code in {302, 401, 403, 405}, (method, path, answer.status_code)
                if answer.status_code == 302:
                    assert answer.headers["Location"].startswith("/enter/"), (method, path)
            elif (method, path) not in known and method not in {"head", "get", "post"}:
                assert answer.status_code in {403, 405}, (role, method, path, answer.status_code)
            elif method == "head":
                field = next(f for m, p, f, _w in CALLS if p == path)
                if not given(role, field, False) and path not in {"/field/", "/api/field/state"}:
                    assert answer.status_code in {403, 405}, (role, path, answer.status_code)


# Mending follows no field: owner and manager mend everyone's, all others only their own last entry.
MENDING = ("/gate/slip/{slip}/grower/", "/journal/{slip}/mend/")


@pytest.mark.parametrize("role", ROLES)
@pytest.mark.parametrize("path", MENDING)
def test_another_s_entry_is_mended_by_owner_and_manager_alone(owner: Client, role: str, path: str) -> None:
    client, spots = enter_as(role), _addresses()
    expected = 200 if role in {"owner", "manager"} else 403
    assert client.get(path.format(**spots)).status_code == expected


def test_every_address_is_in_the_matrix_or_open() -> None:
    from drydown.desk.urls import urlpatterns

    paths = [path for _m, path, _f, _w in CALLS] + list(MENDING)
    known = {re.sub(r"\{[a-z]+\}|/\d+(?=/|\.)", "#", path).strip("/") for path in paths}
    for pattern in urlpatterns:
        route = str(getattr(pattern, "pattern", ""))
        if route in OPEN or route.startswith("api/"):
            continue
        route = route.replace("<str:fmt>", "json")
        route = route.replace("<str:kind>", "moisture")
        plain = re.sub(r"<[a-z]+:[a-z]+>", "#", route).strip("/")
        assert plain.replace("/#", "#") in {k.replace("/#", "#") for k in known}, route


def test_fields_that_a_role_may_not_see_are_not_in_the_page(owner: Client) -> None:
    from drydown.books.models import Delivery, Lot

    slip, code = Delivery.objects.get().pk, Lot.objects.get().code
    for role, sees_money, sees_names in (
        ("weigher", True, True), ("yard", False, True), ("reader", False, False),
    ):  # fmt: skip
        client = enter_as(role)
        pages = (
            client.get(f"/gate/slip/{slip}/").content.decode() + client.get(f"/lot/{code}/").content.decode()
        )
        assert ("60 760" in pages) == sees_money, role
        assert ("Ama Tessaro" in pages) == sees_names, role


def test_the_matrix_can_be_printed(owner: Client) -> None:
    page = owner.get("/people/").content.decode()
    for words in ("price and worth of deliveries", "taking back", "the journal"):
        assert f'<th scope="row">{words}</th>' in page


def test_sales_and_samples_follow_their_own_rows(owner: Client) -> None:
    from drydown.books.models import Lot

    code = Lot.objects.get().code
    Lot.objects.update(stage="stored")
    for role, kind, allowed in (
        ("yard", "sell", False), ("manager", "sell", True), ("weigher", "sample", False),
        ("quality", "sample", True), ("quality", "hull", False),
    ):  # fmt: skip
        answer = enter_as(role).post(f"/lot/{code}/step/", {"kind": kind, "key": str(uuid.uuid4())})
        assert (answer.status_code != 403) == allowed, (role, kind)
        from django.contrib.auth.models import User

        User.objects.filter(username=f"some {role}").delete()


def test_someone_new_chooses_a_password_by_a_link_that_works_once(owner: Client) -> None:
    from django.contrib.auth.models import User
    from django.test import Client

    page = owner.post("/people/", {"name": "Fela", "role": "weigher"}).content.decode()
    token = re.search(r"/first/([^/<]+)/", page)
    assert token
    browser = Client()
    assert browser.post(f"/first/{token[1]}/", {"password": "short"}).status_code == 200
    assert browser.post(f"/first/{token[1]}/", {"password": "wide river bend"}).status_code == 302
    assert browser.get("/gate/").status_code == 200
    assert Client().get(f"/first/{token[1]}/").status_code == 404
    assert not User.objects.get(username="Fela").is_superuser
    assert owner.post("/people/", {"name": "Fela", "role": "weigher"}).status_code == 400
    assert owner.post("/people/", {"name": "Goro", "role": "owner"}).status_code == 400


def test_ended_access_ends_at_once(owner: Client) -> None:
    from drydown.books.models import Person

    weigher = enter_as("weigher")
    assert weigher.get("/gate/").status_code == 200
    person = Person.objects.get(user__username="some weigher")
    owner.post(f"/people/{person.pk}/", {"role": "weigher"})
    assert weigher.get("/gate/").headers["Location"] == "/enter/"


def test_wrong_passwords_lock_a_name_at_an_address_not_the_whole_router(owner: Client) -> None:
    from django.contrib.auth.models import User
    from django.test import Client

    for name in ("fela", "goro"):
        User.objects.create_user(name, password="another long word")
    for _ in range(6):
        last = Client(REMOTE_ADDR="10.0.0.7").post("/enter/", {"name": "fela", "password": "no"})
    assert last.status_code == 429
    right = {"name": "fela", "password": "another long word"}
    assert Client(REMOTE_ADDR="10.0.0.7").post("/enter/", right).status_code == 429
    assert Client(REMOTE_ADDR="10.0.0.8").post("/enter/", right).status_code == 302
    other = {"name": "goro", "password": "another long word"}
    assert Client(REMOTE_ADDR="10.0.0.7").post("/enter/", other).status_code == 302


def test_sessions_are_listed_and_ended(owner: Client) -> None:
    from django.test import Client

    away = Client(headers={"user-agent": "lost phone"})
    assert away.post("/enter/", {"name": "owner", "password": "a long enough word"}).status_code == 302
    assert "lost phone" in owner.get("/me/").content.decode()
    owner.post("/me/leave-all/")
    assert away.get("/gate/").status_code == 302
    assert owner.get("/gate/").status_code == 200


def test_a_pin_switches_only_on_an_enrolled_device(owner: Client) -> None:
    from django.test import Client

    from drydown.books.models import Person

    weigher = enter_as("weigher")
    for bad in ("12", "1111", "1234", "abcd"):
        assert weigher.post("/me/pin/", {"pin": bad}).status_code == 400
    assert weigher.post("/me/pin/", {"pin": "7391"}).status_code == 400  # the password is asked for
    own = {"pin": "7391", "password": "another long word"}
    assert weigher.post("/me/pin/", own).status_code == 302
    person = Person.objects.get(user__username="some weigher")
    assert person.pin.startswith("argon2")
    assert Client().post("/switch/", {"person": person.pk, "pin": "7391"}).status_code == 403
    owner.post("/devices/", {"name": "gate phone"})
    assert owner.post("/switch/", {"person": person.pk, "pin": "7392"}).status_code == 403
    assert owner.post("/switch/", {"person": person.pk, "pin": "7391"}).headers["Location"] == "/"
    assert "some weigher" in owner.get("/gate/").content.decode()
    for _ in range(6):
        owner.post("/switch/", {"person": person.pk, "pin": "0000"})
    assert owner.post("/switch/", {"person": person.pk, "pin": "7391"}).status_code == 403


def test_a_closed_device_switches_no_more_and_its_sessions_end(owner: Client) -> None:
    from django.test import Client

    from drydown.books.models import Device, Person

    owner.post("/devices/", {"name": "gate phone"})
    assert owner.post("/devices/", {"name": "Gate phone"}).status_code == 400  # one open device a name
    weigher = enter_as("weigher")
    weigher.post("/me/pin/", {"pin": "7391", "password": "another long word"})
    person = Person.objects.get(user__username="some weigher")
    phone = Client()
    phone.cookies["drydown_device"] = owner.cookies["drydown_device"].value
    assert phone.post("/switch/", {"person": person.pk, "pin": "7391"}).status_code == 302
    assert phone.get("/gate/").status_code == 200
    owner.post(f"/devices/{Device.objects.get().pk}/close/")
    assert owner.get("/switch/").status_code == 403
    assert phone.get("/gate/").headers["Location"] == "/enter/"  # the lost phone is out


def test_changes_of_access_leave_a_trail(owner: Client) -> None:
    owner.post("/people/", {"name": "Fela", "role": "weigher"})
    owner.post("/devices/", {"name": "gate phone"})
    page = owner.get("/journal/").content.decode()
    for words in ("person added: Fela", "device enrolled: gate phone", "grower added: grower 101"):
        assert words in page


def test_old_links_and_capitals(owner: Client) -> None:
    from datetime import timedelta

    from django.contrib.auth.models import User
    from django.test import Client
    from django.utils import timezone

    from drydown.books.models import OwnerLink
    from drydown.books.prepare import make_owner_link

    token = make_owner_link()
    OwnerLink.objects.update(made_at=timezone.now() - timedelta(days=8))
    assert Client().get(f"/first/{token}/").status_code == 404
    User.objects.create_user("Wema", password="another long word")
    assert Client().post("/enter/", {"name": "wema", "password": "another long word"}).status_code == 302


def test_readers_see_no_names_and_nobody_but_managers_sees_sales(owner: Client) -> None:
    import uuid as ids

    from drydown.books.models import Lot

    code = Lot.objects.get().code
    Lot.objects.update(stage="stored")
    sale = {"kind": "sell", "key": str(ids.uuid4()), "buyer": "Invented Buyer One", "mass_kg": "20",
            "price_per_kg": "5611"}  # fmt: skip
    assert owner.post(f"/lot/{code}/step/", sale).status_code == 302
    assert "5 611" in owner.get(f"/lot/{code}/").content.decode()
    for role in ("weigher", "yard", "quality", "reader"):
        page = enter_as(role).get(f"/lot/{code}/").content.decode()
        assert "Invented Buyer One" not in page, role
        assert "5 611" not in page, role
    from django.contrib.auth.models import User
    from django.test import Client

    other = Client()
    other.force_login(User.objects.get(username="some reader"))
    assert "Tessaro" not in other.get("/gate/").content.decode()
