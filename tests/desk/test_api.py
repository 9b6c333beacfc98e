"""The interface for programs against its own description, by Schemathesis: every status declared."""

from __future__ import annotations

import json
import os
import uuid
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from tests.alone import PREPARE, Desk, entered, run_alone
from tests.desk.forms import weigh


@pytest.mark.skipif("DRYDOWN_DATABASE" in os.environ, reason="its desk runs on the embedded database")
def test_described_statuses_and_shapes(tmp_path: Path) -> None:
    """Random calls to a served desk, good and bad: no 500, no status and no shape undeclared."""
    import schemathesis
    from hypothesis import HealthCheck, Phase, given, settings

    run_alone(PREPARE, str(tmp_path))
    desk = Desk(tmp_path)
    desk.start()
    browser = entered(desk.url)
    form = {"csrfmiddlewaretoken": browser.cookies["csrftoken"], "name": "gate phone"}
    browser.post(f"{desk.url}/devices/", form, headers={"Referer": desk.url}, timeout=20)
    jar = {str(k): str(v) for k, v in browser.cookies.get_dict().items()}
    headers = {"X-CSRFToken": jar["csrftoken"]}
    raw = browser.get(f"{desk.url}/api/openapi.json", timeout=20).json()
    del raw["components"]["securitySchemes"]  # who may enter is tested below
    for methods in raw["paths"].values():
        for described in methods.values():
            described.pop("security", None)
    schema = schemathesis.openapi.from_dict(raw)
    seen: dict[str, set[int]] = {}
    for found in schema.get_all_operations():
        operation: Any = found.ok()  # type: ignore[union-attr]
        modes = [schemathesis.GenerationMode.POSITIVE, schemathesis.GenerationMode.NEGATIVE]
        free = ("state", "{code}")  # these take nothing, or any text: nothing to get wrong
        for mode in modes[:1] if any(part in operation.path for part in free) else modes:

            def check(case: Any) -> None:
                answer = case.call_and_validate(base_url=desk.url, headers=headers, cookies=jar)
                seen.setdefault(f"{case.method} {case.operation.path}", set()).add(answer.status_code)

            run = settings(
                max_examples=60, deadline=None, derandomize=True, database=None, phases=[Phase.generate],
                suppress_health_check=list(HealthCheck),
            )(given(case=operation.as_strategy(generation_mode=mode))(check))  # fmt: skip
            run()
    desk.kill()
    assert len(seen) == 5
    assert seen["POST /api/field/items"] >= {200, 422}
    assert seen["GET /api/lots/{code}"] >= {404}


def test_strangers_and_forged_forms(client: Any) -> None:
    from django.test import Client

    for path in ("/api/lots", "/api/deliveries", "/api/field/state", "/api/lots/x"):
        answer = Client().get(path)
        assert answer.status_code == 401
        assert "known person" in answer.json()["words"]
    strict = Client(enforce_csrf_checks=True)
    strict.cookies = client.cookies
    body = json.dumps({"sent_at": datetime.now(UTC).isoformat(), "items": []})
    assert strict.post("/api/field/items", body, content_type="application/json").status_code in {401, 403}


def test_reading_pages(client: Any) -> None:

    weigh(client)
    lot = client.get("/api/lots").json()[0]
    assert lot["dry_g"] + lot["water_g"] == 100_000
    assert client.get(f"/api/lots/{lot['code']}").json() == lot
    assert client.get("/api/lots?stage=gathering").json() == [lot]
    assert client.get("/api/lots?stage=lost").status_code == 422
    words = client.get("/api/openapi.json").json()["paths"]["/api/lots"]["get"]["parameters"]
    shape = next(p for p in words if p["name"] == "stage")["schema"]
    told = shape.get("enum") or next(s["enum"] for s in shape["anyOf"] if "enum" in s)
    assert told == [
        "gathering", "floated", "pulped", "fermenting", "washed", "drying", "stored", "hulled", "sorted",
        "roasted", "gone",
    ]  # fmt: skip
    rows = client.get("/api/deliveries").json()
    assert rows[0]["net_g"] == 100_000
    assert "pays" not in rows[0]
    assert client.get("/api/deliveries?offset=100").json() == []


def test_what_a_phone_keeps_has_no_names_and_no_prices(client: Any) -> None:
    weigh(client)
    assert client.get("/api/field/state").status_code == 403
    client.post("/devices/", {"name": "gate phone"})
    text = client.get("/api/field/state").content.decode()
    assert "Ama" not in text
    assert "620" not in text
    assert json.loads(text)["growers"] == [101]


@pytest.mark.parametrize("seqs", [[3, 1, 2], [2]])
def test_missing_numbers_of_a_phone_are_shown(client: Any, seqs: list[int]) -> None:
    weigh(client)
    client.post("/devices/", {"name": "gate phone"})
    now = datetime.now(UTC).isoformat()
    body = {"grower": 101, "species": "arabica", "route": "washed", "gross_g": 51_500, "tare_g": 1_500}
    items = [
        {"key": str(uuid.uuid4()), "seq": s, "phone_time": now, "kind": "delivery", "body": body}
        for s in seqs
    ]
    answer = client.post(
        "/api/field/items", json.dumps({"sent_at": now, "items": items}), content_type="application/json"
    )
    assert {a["outcome"] for a in answer.json()["answers"]} == {"kept"}
    page = client.get("/devices/").content.decode()
    assert ("not come in yet" in page) == (seqs == [2])
