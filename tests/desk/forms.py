"""Forms of the desk as a browser sends them, shared by the tests of its pages."""

from __future__ import annotations

import re
import uuid
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from django.test import Client

__all__ = ["station_clock", "station_fields", "step", "weigh"]


def weigh(client: Client, **change: str) -> Any:
    """Send the gate's form."""
    form = {
        "key": str(uuid.uuid4()), "grower": "Ama Tessaro", "new_grower": "on", "village": "Kell Ridge",
        "species": "arabica", "route": "washed", "gross": "101,5", "tare": "1.5", "ripe": "93", "at": "",
    }  # fmt: skip
    return client.post("/gate/", form | change)


def step(client: Client, code: str, kind: str, **more: str) -> Any:
    """Send the next step of a lot."""
    return client.post(f"/lot/{code}/step/", {"kind": kind, "key": str(uuid.uuid4()), "at": "", **more})


def station_clock(moment: datetime) -> str:
    """A moment as someone at the example station would type it (UTC+3)."""
    return (moment + timedelta(hours=3)).strftime("%Y-%m-%dT%H:%M")


def station_fields(page: str) -> dict[str, str]:
    fields = dict(re.findall(r'<input name="([^"]+)" id="[^"]+" value="([^"]*)"', page))
    for name, body in re.findall(r'<select name="([^"]+)"[^>]*>(.*?)</select>', page, re.S):
        chosen = re.search(r'<option value="([^"]*)" selected>', body)
        fields[name] = chosen[1] if chosen else ""
    return fields
