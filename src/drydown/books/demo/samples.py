"""The demo's bench: invented samples of invented lots, counted by a published scheme, and one tasting."""

from __future__ import annotations

import uuid
import zlib
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from drydown.books.bench.sheets import lots_sampled, record_sheet
from drydown.books.bench.tastings import keep_tasting, open_session
from drydown.books.journal.write import Who
from drydown.books.lots.states import lot_matter
from drydown.books.lots.take import take_step
from drydown.books.models import Lot
from drydown.quality.cup import attributes
from drydown.station.model import Station

__all__ = ["new_key", "sample_lot", "taste"]

SCHEME = "france-1966"
MEANS = {
    "half_black": 3,
    "broken": 8,
    "bored": 6,
    "immature": 7,
    "shell": 4,
    "withered": 5,
    "black": 0.8,
    "sour": 0.7,
}
SPREAD = {"18": 8, "17": 24, "16": 31, "15": 22, "14": 9, "12.5": 4, "pan": 2}
LARGE = {"20": 20, "19": 22, "18": 25, "17": 18, "16": 10, "15": 4, "pan": 1}
TASTERS = ("Hani", "Jora", "Lumo", "Mira", "Nabo")


def new_key(rng: np.random.Generator) -> uuid.UUID:
    """A key for an entry, from the demo's own draws."""
    return uuid.UUID(bytes=rng.bytes(16), version=4)


def sample_lot(code: str, station: Station, who: Who, when: datetime) -> None:
    """Draw a sample of a lot, measure, sieve and count it within the hour."""
    rng = np.random.default_rng(zlib.crc32(code.encode()))
    lot = Lot.objects.get(code=code)
    bags = max(1, -(-lot_matter(lot).mass // 60_000))
    details = {
        "sample_g": 600, "bags_in_lot": bags, "bags_opened": min(bags, 10), "kept_back_g": 300,
        "tool": "trier for green coffee", "drawn_by": "Mira", "purpose": "grade before sale",
    }  # fmt: skip
    taken = take_step(lot, "sample", new_key(rng), when, who, details, station).happening
    number, minutes = taken.entry_id, timedelta(minutes=20)
    moist = [round(11.0 + float(rng.normal(0, 0.15)), 1) for _ in range(3)]
    told: dict[str, Any] = {"method": "meter", "meter": "meter 2", "replicates": moist, "pairs": []}
    record_sheet("moisture", told, new_key(rng), when + minutes, who, sample=number)
    names = LARGE if lot.species == "liberica" else SPREAD
    held = rng.dirichlet(3.0 * np.array([*names.values()], dtype=float)) * 299.0
    told = {"taken_g": 300.0, "screens_g": {n: round(float(g), 1) for n, g in zip(names, held, strict=True)}}
    record_sheet("screens", told, new_key(rng), when + 2 * minutes, who, sample=number)
    counts = {name: int(rng.poisson(mean)) for name, mean in MEANS.items()}
    told = {"scheme": SCHEME, "sample_g": 300.0, "counts": counts}
    record_sheet("count", told, new_key(rng), when + 3 * minutes, who, sample=number)


def taste(who: Who, when: datetime) -> None:
    """A tasting of the last four samples, one of them twice, by five invented tasters."""
    rng = np.random.default_rng(4)
    samples = [h.entry_id for h in lots_sampled(4) if h.happened_at <= when]
    if len(samples) < 3:
        return
    session = open_session(
        "Weekly tasting", samples, len(TASTERS), 3, samples[0], "medium", new_key(rng), when, who
    )
    codes = session.told["codes"]
    served = dict(zip(codes, session.told["samples"], strict=True))
    truth = {n: {a: float(rng.uniform(3, 7)) for a in attributes()} for n in samples}
    for seat, taster in enumerate(TASTERS, start=1):
        bias = float(rng.normal(0, 0.5))
        marks = {
            c: {
                a: round(float(np.clip(truth[n][a] + bias + rng.normal(0, 0.7), 0, 10)), 1)
                for a in attributes()
            }
            for c, n in served.items()
        }
        off = {codes[1]: {"3": {"fermented": 2}}} if rng.uniform() < 0.8 else {}
        told = {"taster": taster, "seat": seat, "marks": marks, "off": off, "words": {}}
        keep_tasting(session.entry_id, told, new_key(rng), when + timedelta(minutes=40), who)
