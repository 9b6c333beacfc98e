"""The bench through its pages: a sample's sheets, grade, causes, report, photo, tasting."""

from __future__ import annotations

import json
import re
import uuid
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from tests.desk.forms import step, weigh
from tests.quality.scenes import scene

if TYPE_CHECKING:
    from django.test import Client


def stored_lot(client: Client, **change: str) -> str:
    """A natural lot that is dry, bagged and hulled; returns its code."""
    from drydown.books.models import Lot

    assert weigh(client, route="natural", floats="6", **change).status_code == 302
    code = str(Lot.objects.order_by("-id")[0].code)
    for kind, more in (
        ("float", {"floaters_kg": "4"}), ("spread", {"bed": "Upper beds", "load_kg_m2": "20"}),
        ("bag", {"mass_kg": "30", "wet": "on"}),
        ("hull", {"green_kg": "16", "husk_kg": "13", "moisture_percent": "9.1"}),
    ):  # fmt: skip
        answer = step(client, code, kind, **more)
        assert answer.status_code == 302, answer.content.decode()
    return code


def take_sample(client: Client, code: str, **more: str) -> int:
    """Record a sample of 600 g; returns its number."""
    from drydown.books.models import Happening

    told = {"sample_g": "600", "bags_in_lot": "20", "bags_opened": "10", "kept_back_g": "300", **more}
    answer = step(client, code, "sample", **told)
    assert answer.status_code == 302, answer.content.decode()
    return int(Happening.objects.filter(kind="sample").latest("entry_id").entry_id)


def send(client: Client, sample: int, kind: str, **fields: str) -> Any:
    """Send a sheet's form."""
    where = f"/bench/{sample}/count/" if kind == "count" else f"/bench/{sample}/sheet/{kind}/"
    return client.post(where, {"key": str(uuid.uuid4()), "at": "", **fields})


ROUND = {"sieve": "round", "table": "iso", "by": "mass", "taken_g": "300"}


@pytest.fixture
def sample(client: Client) -> int:
    """A sample of a hulled lot."""
    return take_sample(client, stored_lot(client))


def test_a_sample_from_drawing_to_report(client: Client, sample: int) -> None:
    assert send(client, sample, "moisture", method="meter", meter="meter 2", replicates="10,4; 10.6",
                pairs="10 10.5; 11 11.5; 12 12.5").status_code == 302  # fmt: skip
    assert send(client, sample, "screens", sieve="round", table="iso", by="mass", taken_g="300",
                screens="17 210; 15 80; pan 9", peaberry_g="12").status_code == 302  # fmt: skip
    assert (
        send(client, sample, "density", volume_l="0.5", masses_g="352; 349", hundred_g="15.2").status_code
        == 302
    )
    assert (
        send(
            client, sample, "handed", part="counter-test", mass_g="300", to="port bench", mark="S-7"
        ).status_code
        == 302
    )
    assert send(client, sample, "count", scheme="sni-2008", sample_g="300", n_black="5", n_part_black="8",
                n_broken="20", n_stone_large="1").status_code == 302  # fmt: skip
    page = client.get(f"/bench/{sample}/").content.decode()
    assert "18.0 full defects" in page  # 5 + 4 + 4 + 5, printed with the scheme's references
    assert "Grade: 2" in page
    assert "11.0 % wb" in page  # the meter's own pairs add half a point
    assert "hulled at 9.1 % wet basis" in page  # broken beans, and the record beside them
    assert "huller gap or over-dry" in page
    assert "Peaberries: 4.0 %" in page
    assert "10 of 20 bags opened" in " ".join(page.split())
    assert client.get(f"/bench/{sample}/screens.svg")["Content-Type"] == "image/svg+xml"
    answer = client.get(f"/bench/{sample}.pdf?scheme=sni-2008")
    assert answer.content.startswith(b"%PDF")
    assert f"sample-{sample}.pdf" in answer["Content-Disposition"]
    listed = client.get("/bench/").content.decode()
    assert "defects counted, sieved, moisture" in listed
    worth = client.get(
        f"/bench/{sample}/?scheme=sni-2008&prices=1=6.0;2=5.2;3=4.9;4=4,5;5=3;6=2"
    ).content.decode()
    assert "A second sample would change the grade" in worth
    for prices, says in (
        ("9=1", "is not a grade here"),
        ("1=6", "has no price"),
        ("x", "is not grade = price"),
    ):
        answer = client.get(f"/bench/{sample}/?scheme=sni-2008&prices={prices}")
        assert answer.status_code == 200
        assert says in answer.content.decode().replace("&#x27;", "'")


def test_beans_counted_on_sieves_have_the_interval_of_their_number(client: Client, sample: int) -> None:
    """Clopper-Pearson for 90 of 100: 82.4 to 95.1 %."""
    sent = {**ROUND, "by": "count", "taken_g": "100", "screens": "16 90; pan 10"}
    assert send(client, sample, "screens", **sent).status_code == 302
    page = " ".join(client.get(f"/bench/{sample}/").content.decode().split())
    assert "90.0 % (82.4 % to 95.1 %)" in page
    assert "iso, by count" in page


def test_sieved_mass_stands_for_the_counted_mass(client: Client, sample: int) -> None:
    """100 g on the sieves and 300 g counted are one sample: shares hold, nothing fails to add up."""
    send(
        client,
        sample,
        "screens",
        sieve="round",
        table="iso",
        by="mass",
        taken_g="100",
        screens="17 70; 15 27; pan 3",
    )
    send(client, sample, "count", scheme="us-older", sample_g="300", n_full_black="0")
    page = client.get(f"/bench/{sample}/?scheme=us-older")
    assert page.status_code == 200
    assert "97" in page.content.decode()


@pytest.mark.parametrize(
    ("kind", "fields", "says"),
    [
        ("count", {"scheme": "sni-2008", "sample_g": "300", "n_black": "-3"}, "not a number"),
        ("count", {"scheme": "sni-2008", "sample_g": "300", "n_black": "2.5"}, "whole numbers"),
        ("count", {"scheme": "sni-2008", "sample_g": ""}, "required"),
        ("count", {"scheme": "none such", "sample_g": "300"}, "no scheme"),
        ("screens", {**ROUND, "screens": "17 210; pan 10"}, "more than 2 % off"),
        ("screens", {**ROUND, "screens": "13 290; pan 10"}, "not a screen"),
        ("screens", {**ROUND, "screens": "17 300"}, "at least 2 are needed"),
        ("screens", {**ROUND, "screens": "17 200; 16 100"}, "pan is missing"),
        ("screens", {**ROUND, "sieve": "slotted", "screens": "45 290; pan 10"}, "2 to 10 mm"),
        ("screens", {**ROUND, "screens": "17 a"}, "not a number"),
        ("screens", {**ROUND, "screens": "17 100; 17 200"}, "stands twice"),
        ("moisture", {"method": "meter", "replicates": "110"}, "must be at most 60, got 110"),
        ("moisture", {"method": "", "replicates": "11"}, "required"),
        ("moisture", {"method": "meter", "replicates": "eleven"}, "not a number"),
        ("density", {"volume_l": "0.5"}, "vessel"),
        ("density", {}, "nothing was measured"),
        ("handed", {"part": "a", "mass_g": "30", "to": ""}, "required"),
        ("density", {"volume_l": "0.5", "masses_g": "352; 640"}, "250 to 900"),
        ("density", {"hundred_g": "90"}, "at most 60"),
        ("moisture", {"method": "meter", "replicates": "3; 60"}, "8 points apart"),
        ("moisture", {"method": "meter", "replicates": "11", "pairs": "10 5; 11 5; 12 55"}, "8 points"),
        ("moisture", {"method": "meter", "replicates": "11", "pairs": "10 11; 11 12"}, "one or two pairs"),
        (
            "moisture",
            {"method": "iso-6673-2003", "replicates": "11", "pairs": "9 10;10 11;11 12"},
            "only a meter",
        ),
        ("moisture", {"method": "meter", "replicates": "5", "pairs": "9 6; 10 6; 11 7"}, "cannot be"),
        ("count", {"scheme": "png", "sample_g": "900", "n_defect": "1"}, "more than the sample of 600"),
        ("count", {"scheme": "sni-2008", "sample_g": "100", "n_black": "1"}, "sni-2008 counts 300 g"),
        ("count", {"scheme": "sni-2008", "sample_g": "300", "n_black": "90000"}, "do not fit"),
        ("count", {"scheme": "sni-2008", "sample_g": "300"}, "nothing was counted"),
        ("screens", {**ROUND, "taken_g": "900", "screens": "17 890; pan 10"}, "more than the sample"),
        ("screens", {**ROUND, "screens": "12.5 100; 12½ 190; pan 10"}, "stands twice"),
        ("handed", {"part": "a", "mass_g": "90000", "to": "port"}, "more than the sample"),
        ("screens", {**ROUND, "by": "count", "screens": "17 200.5; pan 99.5"}, "whole numbers"),
    ],
)  # fmt: skip
def test_bad_sheets_are_answered_and_nothing_is_kept(
    client: Client, sample: int, kind: str, fields: dict[str, str], says: str
) -> None:
    from drydown.books.models import BenchSheet

    answer = send(client, sample, kind, **fields)
    assert answer.status_code == 400
    assert says in answer.content.decode()
    assert not BenchSheet.objects.exists()
    assert client.get(f"/bench/{sample}/").status_code == 200


def test_two_schemes_codes_are_not_mixed(client: Client, sample: int) -> None:
    from drydown.books.bench.sheets import record_sheet
    from drydown.books.journal.write import Who
    from drydown.errors import InputError

    told = {"scheme": "france-1966", "sample_g": 300, "counts": {"stone_large": 1}}
    with pytest.raises(InputError, match="'stone_large' is not a defect of france-1966"):
        record_sheet("count", told, uuid.uuid4(), None, Who(), sample=sample)
    with pytest.raises(InputError, match="is not known"):
        record_sheet("count", told | {"scheme": "/etc/x.toml"}, uuid.uuid4(), None, Who(), sample=sample)


def test_a_sheet_sent_twice_is_kept_once_and_can_be_taken_back(client: Client, sample: int) -> None:
    from drydown.books.copies.verify import verify
    from drydown.books.models import BenchSheet

    key = str(uuid.uuid4())
    for _ in range(2):
        assert send(client, sample, "moisture", key=key, method="meter", replicates="11").status_code == 302
    kept = BenchSheet.objects.get()
    held = client.post(f"/journal/{sample}/take-back/", {"reason": "wrong lot", "key": str(uuid.uuid4())})
    assert "stands on it" in held.content.decode()
    done = client.post(
        f"/journal/{kept.entry_id}/take-back/", {"reason": "wrong meter", "key": str(uuid.uuid4())}
    )
    assert done.status_code == 302
    kept.refresh_from_db()
    assert kept.undone
    assert "11.0 % wb" not in client.get(f"/bench/{sample}/").content.decode()
    assert verify(anew=True).good


def test_a_sample_that_cannot_be(client: Client) -> None:
    code = stored_lot(client)
    more = step(client, code, "sample", sample_g="600", bags_in_lot="5", bags_opened="9")
    assert "more bags were opened" in more.content.decode()
    kept = step(client, code, "sample", sample_g="600", kept_back_g="900")
    assert "more is kept back" in kept.content.decode()
    assert client.get("/bench/99/").status_code == 400


def test_the_newest_count_counts_not_the_last_to_arrive(client: Client, sample: int) -> None:
    from datetime import timedelta

    from django.utils import timezone

    from drydown.books.bench.sheets import record_sheet, sheet_for
    from drydown.books.journal.write import Who

    now = timezone.now()
    for minutes, black in ((5, 1), (50, 99)):  # the older one comes in later, from a phone
        told = {"scheme": "sni-2008", "sample_g": 300, "counts": {"black": black}}
        record_sheet("count", told, uuid.uuid4(), now - timedelta(minutes=minutes), Who(), sample=sample)
    found = sheet_for(sample, "sni-2008")
    assert found is not None
    assert found.counts == {"black": 1}


def test_sieves_of_another_table_count_by_their_holes(client: Client) -> None:
    """ISO 4150's 16 is 6.30 mm and stands for 16/64 inch (6.35 mm); one origin's is 6.5 mm and does not."""
    from drydown.books.bench.sheets import sheet_for
    from drydown.quality.grade import grade_sheet
    from drydown.quality.scheme import scheme

    number = take_sample(client, stored_lot(client, species="robusta"))
    inches = {**ROUND, "table": "inch64", "screens": "15 280; 13 15; 12 4; pan 1"}
    assert send(client, number, "screens", **inches).status_code == 302
    sheet = sheet_for(number, "robusta-409")
    assert sheet is not None
    limits = {m.words: m.kept for t in grade_sheet(sheet, scheme("robusta-409")).tried for m in t.limits}
    assert limits["on screen 13 and above, % m/m"] is True
    assert (
        send(
            client, number, "screens", **{**inches, "table": "iso", "screens": "15 280; 12.5 15; 12 4; pan 1"}
        ).status_code
        == 302
    )
    sheet = sheet_for(number, "robusta-409")
    assert sheet is not None
    limits = {m.words: m.kept for t in grade_sheet(sheet, scheme("robusta-409")).tried for m in t.limits}
    assert limits["on screen 15 and above, % m/m"] is True
    assert limits["on screen 13 and above, % m/m"] is True  # what stays on 15 would stay on 13
    open_still = {**inches, "table": "iso", "screens": "15 200; 12.5 95; 12 4; pan 1"}
    assert send(client, number, "screens", **open_still).status_code == 302
    sheet = sheet_for(number, "robusta-409")
    assert sheet is not None
    limits = {m.words: m.kept for t in grade_sheet(sheet, scheme("robusta-409")).tried for m in t.limits}
    assert limits["on screen 13 and above, % m/m"] is None  # 12½ is 5.00 mm, 13/64 inch is 5.16


def test_the_report_keeps_the_options_chosen(client: Client, sample: int) -> None:
    send(client, sample, "count", scheme="brazil-in8", sample_g="300", n_sour="4")
    page = client.get(f"/bench/{sample}/?scheme=brazil-in8&option+sour=two are one").content.decode()
    assert "option+sour=two+are+one" in page


CONTRACT = """
name = "harbour"
words = "contract with Invented Buyer One"
kind = "equivalents"
sample_g = 300
source = "contract 7"
below = "not as agreed"
[[defects]]
code = "black"
words = "black"
counts = 1
[[defects]]
code = "broken"
words = "broken"
counts = "1/5"
[[grades]]
name = "as agreed"
total = 10
"""


def test_the_station_s_own_contract(client: Client, sample: int, books: Path) -> None:
    folder = books / "schemes"
    folder.mkdir()
    (folder / "harbour.toml").write_text(CONTRACT, encoding="utf-8")
    (folder / "broken.toml").write_text("name = 3", encoding="utf-8")
    assert "A contract cannot be used: broken.toml" in client.get("/bench/").content.decode()
    assert (
        send(
            client, sample, "count", scheme="harbour", sample_g="300", n_black="4", n_broken="20"
        ).status_code
        == 302
    )
    page = client.get(f"/bench/{sample}/").content.decode()
    assert "Grade: as agreed" in page
    assert "contract file harbour.toml" in page
    assert "harbour" in {s["name"] for s in json.loads(_state(client))["bench"]["schemes"]}
    (folder / "harbour.toml").unlink()  # gone: the page stays, ungraded by it
    assert client.get(f"/bench/{sample}/").status_code == 200


def _state(client: Client) -> bytes:
    client.post("/devices/", {"name": "bench phone"})
    return client.get("/api/field/state").content


def test_an_open_tasting_holds_its_samples(client: Client, sample: int) -> None:
    second = take_sample(client, stored_lot(client, grower="Beno Okkal"))
    form = {
        "key": str(uuid.uuid4()),
        "at": "",
        "name": "x",
        "samples": [str(sample), str(second)],
        "seats": "2",
        "cups": "3",
        "roast": "light",
    }
    assert client.post("/bench/tasting/", form).status_code == 302
    held = client.post(f"/journal/{second}/take-back/", {"reason": "wrong lot", "key": str(uuid.uuid4())})
    assert "stands on it" in held.content.decode()


def test_a_photo_is_measured_and_kept(client: Client, sample: int, tmp_path: Path) -> None:
    from drydown.books.copies.verify import verify
    from drydown.books.models import BenchSheet

    file = tmp_path / "beans.jpg"
    file.write_bytes(scene(5).content)
    with file.open("rb") as photo:
        sent = {"key": str(uuid.uuid4()), "at": "", "table": "iso", "photo": photo}
        assert client.post(f"/bench/{sample}/photo/", sent).status_code == 302
    told = BenchSheet.objects.get().told
    assert len(told["widths_mm"]) == len(scene(5).beans)
    page = client.get(f"/bench/{sample}/").content.decode()
    assert "beans on it and above" in page
    assert "not held against sieves" in page
    assert client.get(f"/bench/{sample}/screens.svg?by=photo").status_code == 200
    shown = client.get(f"/bench/{sample}/photo/file/")
    assert b"".join(shown.streaming_content).startswith(b"\xff\xd8")  # type: ignore[attr-defined]
    file.write_bytes(b"\x89PNG\r\n\x1a\n not a picture")
    with file.open("rb") as photo:
        answer = client.post(
            f"/bench/{sample}/photo/", {"key": str(uuid.uuid4()), "table": "iso", "photo": photo}
        )
    assert "cannot be read" in answer.content.decode()
    assert verify(anew=True).good


def test_a_tasting_from_codes_to_results(client: Client, sample: int) -> None:
    from drydown.books.models import BenchSheet

    second = take_sample(client, stored_lot(client, grower="Beno Okkal"))
    opened = client.post("/bench/tasting/", {
        "key": str(uuid.uuid4()), "at": "", "name": "Monday", "samples": [str(sample), str(second)],
        "twice": str(sample), "seats": "3", "cups": "3", "roast": "medium",
    })  # fmt: skip
    assert opened.status_code == 302
    session = BenchSheet.objects.get(kind="session")
    assert session.told["samples"] == [sample, second, sample]
    first, other, again = session.told["codes"]
    hidden = client.get(opened["Location"]).content.decode()
    assert not re.search(rf"\b{first}\b", hidden)  # codes stay closed until all have answered
    for seat, mark in ((1, "7"), (2, "8,5"), (3, "6")):
        url = f"/bench/tasting/{session.entry_id}/{seat}/"
        sheet = client.get(url).content.decode()
        assert all(code in sheet for code in (first, other, again))
        sent = {
            "key": str(uuid.uuid4()), "at": "", "taster": f"taster {seat}", f"m_{first}_acidity": mark,
            f"m_{other}_acidity": "3", f"m_{again}_acidity": mark, f"o_{other}_2": "mouldy",
            f"s_{other}_2": "2",
            f"w_{other}": "dull",
        }  # fmt: skip
        assert client.post(url, sent).status_code == 302
        repeat = client.post(url, sent | {"key": str(uuid.uuid4())})
        assert "has answered already" in repeat.content.decode()
    page = client.get(opened["Location"]).content.decode()
    assert f"{other}</strong>: 1 of 3 cups" in " ".join(page.split())
    assert "mouldy, musty 3\u00d7" in page
    assert "agreement W" in page
    assert "differed by 0.0 points" in " ".join(page.split())
    assert "dull" in page


def test_a_bad_tasting_sheet_is_answered(client: Client, sample: int) -> None:
    from drydown.books.models import BenchSheet

    second = take_sample(client, stored_lot(client, grower="Beno Okkal"))
    form = {
        "key": str(uuid.uuid4()),
        "at": "",
        "name": "x",
        "samples": [str(sample)],
        "seats": "2",
        "cups": "3",
        "roast": "light",
    }
    assert "2 to 12 samples" in client.post("/bench/tasting/", form).content.decode()
    form |= {"samples": [str(sample), str(second)]}
    assert client.post("/bench/tasting/", form).status_code == 302
    session = BenchSheet.objects.get(kind="session")
    code, url = session.told["codes"][0], f"/bench/tasting/{session.entry_id}/1/"
    sent = {"key": str(uuid.uuid4()), "at": "", "taster": "a"}
    for more, says in (
        ({}, "nothing is marked"), ({f"m_{code}_acidity": "11"}, "from 0 to 10"),
        ({f"o_{code}_1": "mouldy"}, "both the off-note"), ({f"m_{code}_acidity": "x"}, "not a number"),
    ):  # fmt: skip
        answer = client.post(url, sent | more)
        assert answer.status_code == 400
        assert says in answer.content.decode()
    assert client.get(f"/bench/tasting/{session.entry_id}/9/").status_code == 400
    assert client.get("/bench/tasting/77/").status_code == 400


def test_how_to_draw(client: Client) -> None:
    page = client.get("/bench/drawing/?bags=320&rule=iso-4072&form=green").content.decode()
    assert "Open 32 of 320 bags" in " ".join(page.split())
    assert "23 to 32 mm" in page
    page = client.get("/bench/drawing/?items=400&aql=1&level=II&history=").content.decode()
    assert "Look at 50; accept with 1 bad" in " ".join(page.split())
    tight = client.get("/bench/drawing/?items=400&aql=2.5&level=II&history=nn").content.decode()
    assert "Tightened inspection" in tight
    assert client.get("/bench/drawing/?items=1&aql=1&level=II").status_code == 400
    assert client.get("/bench/drawing/?items=400&aql=1&level=II&history=xyz").status_code == 400


def test_what_a_phone_counted_is_kept(client: Client, sample: int) -> None:
    from drydown.books.bench.sheets import sheets_of
    from drydown.books.people.register import enrol

    client.post("/devices/", {"name": "bench phone"})
    del enrol
    state = json.loads(client.get("/api/field/state").content)
    assert state["bench"]["samples"][0]["number"] == sample
    names = {s["name"] for s in state["bench"]["schemes"]}
    assert {"sni-2008", "washed-arabica-2018", "france-1966"} <= names
    us = next(s for s in state["bench"]["schemes"] if s["name"] == "washed-arabica-2018")
    assert us["defects"][0]["code"] == "mouldy"  # the gravest first
    told = {"scheme": "us-2018", "sample_g": 350, "counts": {"broken": 12}, "quakers": None}
    item = {
        "key": str(uuid.uuid4()), "seq": 1, "phone_time": "2026-11-25T08:00:00+03:00", "kind": "count",
        "body": {"sample": sample, "told": told, "noted_by": "owner"},
    }  # fmt: skip
    box = {"sent_at": "2026-11-25T08:00:01+03:00", "items": [item]}
    answer = client.post("/api/field/items", json.dumps(box), content_type="application/json")
    assert json.loads(answer.content)["answers"][0]["outcome"] == "kept"
    assert sheets_of(sample)[0].told["counts"] == {"broken": 12}
    bad = item | {
        "key": str(uuid.uuid4()),
        "seq": 2,
        "body": {"sample": sample, "told": told | {"counts": {"x": 1}}},
    }
    box["items"] = [bad]
    answer = client.post("/api/field/items", json.dumps(box), content_type="application/json")
    assert "not a defect of washed-arabica-2018" in json.loads(answer.content)["answers"][0]["words"]
