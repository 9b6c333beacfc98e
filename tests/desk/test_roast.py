"""From a green sample to the cup, through the desk: pad, sheets, the lot's own roast, labels."""

from __future__ import annotations

import re
import uuid
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from tests.desk.forms import step, weigh
from tests.desk.test_day import ago

if TYPE_CHECKING:
    from django.test import Client


@pytest.fixture
def hulled(client: Client) -> str:
    """A hulled natural lot, its code."""
    from drydown.books.models import Lot

    assert weigh(client, at=ago(days=30), gross="301,5", route="natural").status_code == 302
    code = Lot.objects.get().code
    for days, kind, more in (
        (29, "float", {"floaters_kg": "3"}), (29, "spread", {"bed": "Old patio", "load_kg_m2": "20"}),
    ):  # fmt: skip
        assert step(client, code, kind, at=ago(days=days), **more).status_code == 302
    form = {"key": str(uuid.uuid4()), "moisture": "11.5", "method": "meter", "at": ago(days=12)}
    client.post(f"/lot/{code}/reading/", form)
    bag = {"mass_kg": "100", "store": "Main store", "wet": "on"}
    assert step(client, code, "bag", at=ago(days=10), **bag).status_code == 302
    hull = {"green_kg": "48", "husk_kg": "50", "moisture_percent": "11"}
    assert step(client, code, "hull", at=ago(days=8), **hull).status_code == 302
    return code


def sample(client: Client, code: str) -> int:
    from drydown.books.models import Happening

    assert step(client, code, "sample", sample_g="500").status_code == 302
    return int(Happening.objects.get(kind="sample").entry_id)


def test_a_walk_from_green_sample_to_cup(client: Client, hulled: str) -> None:
    from drydown.books.models import BenchSheet

    n = sample(client, hulled)
    pad = f"/bench/{n}/roast/"
    assert "Beans in" in client.get(pad).content.decode()
    begin = {
        "what": "in",
        "roaster": "Sample drum",
        "green_g": "100",
        "green_percent": "11",
        "charge_c": "190",
    }
    for wrong in ({"green_g": "wet"}, {"green_g": "5000"}, {"charge_c": "340"}):
        assert client.post(pad, begin | wrong).status_code == 400
    assert client.post(pad, begin).status_code == 302
    text = client.get(pad).content.decode()
    assert "out about" in text
    assert "Never compare them between machines" in text
    for slip in ("abc", "985", "290"):
        again = client.post(pad, {"what": "read", "probe_c": slip})
        assert again.status_code == 400
        assert "Out: beans leave now" in again.content.decode()  # the pad stays
    for tap in ({"what": "read", "probe_c": "98,5"}, {"what": "event", "event": "pops"}, {"what": "out"}):
        assert client.post(pad, tap).status_code == 302
    assert client.post(pad, {"what": "read", "probe_c": "120"}).status_code == 400  # out already
    lost = client.post(pad, {"what": "weigh", "roasted_g": "20"})  # 80 g cannot have left
    assert lost.status_code == 400
    assert "cannot be" in lost.content.decode()
    done = {"what": "weigh", "roasted_g": "85,5", "roasted_percent": "2", "lightness": "31"}
    assert client.post(pad, done).status_code == 302
    kept = BenchSheet.objects.get(kind="roast")
    assert kept.told["readings"][0][1] == 98.5
    assert [e[0] for e in kept.told["events"]] == ["pops", "out"]
    grind = {"key": str(uuid.uuid4()), "grinder": "Bench grinder", "setting": "4", "charge_g": "80",
             "sieves": "850 20", "pan_g": "60"}  # fmt: skip
    assert client.post(f"/bench/{n}/sheet/grind/", grind).status_code == 302
    brew = {"key": str(uuid.uuid4()), "brewer": "Tasting bowl", "kind": "immersion", "dose_g": "8.25",
            "water_g": "150", "strength": "1,15"}  # fmt: skip
    assert client.post(f"/bench/{n}/sheet/brew/", brew).status_code == 302
    page = client.get(f"/bench/{n}/").content.decode()
    for words in (
        "14.5",
        "for tasting",
        "One sieve tells one share",
        ": inside the old bounds",
        "green equivalent",
    ):
        assert words in page, words
    assert client.get(f"/lot/{hulled}/").status_code == 200


def test_what_the_pad_says_of_organic_loss_is_the_hand_sum(client: Client, hulled: str) -> None:
    """11 and 2 % wb, 14.5 % loss: 1 - 0.855 x 0.98/0.89 = 5.85 %."""
    from drydown.books.bench.roasts import RoastTold
    from drydown.desk.roastview import roast_figures
    from drydown.station.load import example_text, parse_station

    told = RoastTold(roaster="Sample drum", green_g=100, roasted_g=85.5, green_percent=11, roasted_percent=2,
                     charge_c=190, drop_s=500)  # fmt: skip
    figures, _words = roast_figures(told, parse_station(example_text()))
    assert figures["organic_loss"].value == pytest.approx(5.854, abs=0.001)


def test_a_lot_is_roasted_by_the_books_to_the_gram(client: Client, hulled: str) -> None:
    """48 kg of green at 11 %: 42 720 g dry, 5 280 g water. 41 kg out at 2 %: 40 180 dry, 820 water."""
    from drydown.books.journal.write import held
    from drydown.books.lots.states import lot_matter
    from drydown.books.models import Lot

    lot = Lot.objects.get()
    assert (lot_matter(lot).dry, lot_matter(lot).water) == (42_720, 5_280)
    air = held("air", "water")
    assert "carbon monoxide" in client.get(f"/lot/{hulled}/").content.decode()  # beside the step
    assert step(client, hulled, "roast", roasted_kg="20", roasted_percent="2").status_code == 400
    done = step(client, hulled, "roast", roasted_kg="41", roasted_percent="2", roast="for the shop")
    assert done.status_code == 302
    lot.refresh_from_db()
    assert (lot_matter(lot).dry, lot_matter(lot).water) == (40_180, 820)
    assert held("roast loss", "dry") == 42_720 - 40_180
    assert held("air", "water") == air + 5_280 - 820
    assert lot.stage == "roasted"
    assert "Labels (PDF)" in client.get(f"/lot/{hulled}/").content.decode()
    made = client.get(f"/lot/{hulled}/labels.pdf?grams=250&count=6&language=fr")
    assert made.content.startswith(b"%PDF")
    assert client.get(f"/lot/{hulled}/labels.pdf?grams=1&count=6").status_code == 400
    sold = step(client, hulled, "sell", buyer="Invented Kiosk", mass_kg="1", price_per_kg="12000")
    assert sold.status_code == 302
    assert "roasted" in client.get("/season/").content.decode()


def test_green_is_no_roast(client: Client, hulled: str) -> None:
    assert client.get(f"/lot/{hulled}/labels.pdf").status_code == 400


def test_a_station_without_roaster_has_a_pad_that_says_so(client: Client, hulled: str, books: Path) -> None:
    from django.conf import settings

    n = sample(client, hulled)
    path = Path(settings.STATION_FILE)
    text = path.read_text(encoding="utf-8")
    bare = re.sub(r"(?s)\[\[equipment\.roasters\]\].*?(?=\[\[equipment\.grinders\]\])", "", text)
    path.write_text(bare, encoding="utf-8")
    try:
        assert "No roaster is stated" in client.get(f"/bench/{n}/roast/").content.decode()
        assert client.get(f"/bench/{n}/").status_code == 200
        assert client.get(f"/lot/{hulled}/").status_code == 200
    finally:
        path.write_text(text, encoding="utf-8")


def bad(client: Client, n: int, kind: str, told: dict[str, Any]) -> int:
    return int(client.post(f"/bench/{n}/sheet/{kind}/", {"key": str(uuid.uuid4()), **told}).status_code)


def test_bad_sheets_are_refused_and_kill_no_page(client: Client, hulled: str) -> None:
    n = sample(client, hulled)
    grind = {"grinder": "Bench grinder", "setting": "4", "charge_g": "100", "sieves": "850 20", "pan_g": "60"}
    assert bad(client, n, "grind", grind) == 400  # 20 g missing
    assert bad(client, n, "grind", grind | {"sieves": "coarse 40"}) == 400
    brew = {
        "brewer": "Tasting bowl",
        "kind": "percolation",
        "dose_g": "60",
        "water_g": "100",
        "strength": "1.2",
    }
    assert bad(client, n, "brew", brew) == 400  # the grounds hold more than was poured
    roast = {"roaster": "Sample drum", "green_g": "100", "charge_c": "190", "drop_s": "500",
             "readings": "60 98\n30 90"}  # fmt: skip
    assert bad(client, n, "roast", roast) == 400
    assert bad(client, n, "roast", roast | {"readings": "30 90\n60 98", "events": "pops 400"}) == 302
    from django.core.files.uploadedfile import SimpleUploadedFile

    table = SimpleUploadedFile("log.csv", b"time;probe\n0:30;90,5\n1:00;99\nxx;1\n")
    assert bad(client, n, "roast", roast | {"readings": "", "table": table}) == 302
    from drydown.books.models import BenchSheet

    last = BenchSheet.objects.filter(kind="roast").order_by("-entry_id")[0]
    assert last.told["readings"] == [[30.0, 90.5], [60.0, 99.0]]
    wrong = SimpleUploadedFile("log.csv", b"a,b\n1,2\n")
    assert bad(client, n, "roast", roast | {"readings": "", "table": wrong}) == 400
    assert client.get(f"/bench/{n}/").status_code == 200
    for _again in range(2):
        assert client.get(f"/bench/{n}/roast/").status_code == 200


def roasted(client: Client, n: int, probe_at_pops: str, pops: int, out: int, roaster: str = "") -> None:
    """A roast from paper: two readings a minute apart around the milestone."""
    form = {
        "key": str(uuid.uuid4()), "roaster": roaster or "Sample drum", "green_g": "100", "roasted_g": "86",
        "charge_c": "190", "drop_s": str(out), "readings": f"{pops - 30} 180\n{pops} {probe_at_pops}",
        "events": f"pops {pops}", "green_percent": "11",
    }  # fmt: skip
    answer = client.post(f"/bench/{n}/sheet/roast/", form)
    assert answer.status_code == 302, answer.content.decode()[-2000:]


def test_roasts_stand_beside_each_other_from_a_milestone(client: Client, hulled: str) -> None:
    """By hand: pops at 6:00 and out at 7:30 is out 1:30 after; pops at 7:10 and out at 8:00, 0:50 after."""
    empty = client.get("/bench/roasts/").content.decode()
    assert "No roast is logged on it yet" in empty
    n = sample(client, hulled)
    roasted(client, n, "196", 360, 450)
    roasted(client, n, "205", 430, 480)
    page = client.get("/bench/roasts/").content.decode()
    assert "minutes after beans in" in page
    assert "7:30" in page
    assert "8:00" in page
    page = client.get("/bench/roasts/?from=POPS").content.decode()
    assert "minutes before and after pops" in page
    times = re.findall(r'<td class="n">([^<]*)</td>', page)
    assert times == ["0:00", "0:50", "205", "14.0", "\u00b7", "0:00", "1:30", "196", "14.0", "\u00b7"]
    again = client.get("/bench/roasts/?from=nothing&roaster=none").content.decode()
    assert "No roast has the milestone" in again


def test_roasts_on_another_probe_are_never_beside(client: Client, hulled: str) -> None:
    from drydown.books.models import BenchSheet

    n = sample(client, hulled)
    roasted(client, n, "196", 360, 450)
    old = BenchSheet.objects.get(kind="roast")
    from drydown.books.bench.sheets import record_sheet
    from drydown.books.journal.write import Who

    told = {**old.told, "probe": "thick one"}
    record_sheet("roast", told, uuid.uuid4(), None, Who(), sample=n)
    page = client.get("/bench/roasts/").content.decode()
    assert "1 roasts on another probe are left out" in page
    assert page.count('<th scope="row">') == 1


@pytest.mark.parametrize(("probe", "learnt"), [("thick one", False), ("", True)])
def test_what_is_learnt_belongs_to_roaster_and_probe(
    client: Client, hulled: str, probe: str, learnt: bool
) -> None:
    import numpy as np

    from drydown.books.bench.sheets import record_sheet
    from drydown.books.journal.write import Who
    from drydown.desk.roastpad import _fit
    from drydown.station.load import example_text, parse_station
    from drydown.steps.roast.model import Batch, roast

    roaster = parse_station(example_text()).equipment.roasters[0]
    n = sample(client, hulled)
    for green_g, inlet_c in ((100.0, 270.0), (90.0, 280.0)):
        run = roast(roaster.machine(), Batch(green_g / 1000.0, 0.11, 190.0, ((0.0, inlet_c),)), 500.0)
        at = np.arange(20.0, 480.0, 20.0)
        seen = np.interp(at, run.seconds, run.column("probe_c")[0]).round(1)
        told = {
            "roaster": roaster.name, "probe": probe or roaster.probe, "green_g": green_g, "charge_c": 190.0,
            "inlet_c": inlet_c, "green_percent": 11.0, "drop_s": 480.0,
            "readings": [list(p) for p in zip(at.tolist(), seen.tolist(), strict=True)],
        }  # fmt: skip
        record_sheet("roast", told, uuid.uuid4(), None, Who(), sample=n)
    assert (_fit(roaster) is not None) == learnt
