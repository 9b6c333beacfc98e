"""The day page of 60 live lots: nothing kept, one new reading, warm; the smoother against a library.

The demo's season is filled, and the sixty lots that were spread last are kept. Times are those of the
page's own gathering and ordering on this machine; members 200 (the desk's own) and 400.
"""

from __future__ import annotations

import os
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np

__all__ = ["main"]

LOTS = 60


def main() -> None:
    """Run all parts."""
    smoother()
    with tempfile.TemporaryDirectory() as folder:
        os.environ["DRYDOWN_DATA"] = folder
        os.environ["DJANGO_SETTINGS_MODULE"] = "drydown.desk.settings"
        _prepare(Path(folder))
        for members in (200, 400):
            _day(members)


def smoother() -> None:
    """One part of the smoother for 400 members, 60 unknowns and 12 readings, against a library's."""
    from iterative_ensemble_smoother import ESMDA

    from drydown.outlook.smoother import update

    rng = np.random.default_rng(1)
    z, law = rng.standard_normal((400, 60)), rng.standard_normal((60, 12))
    seen, told, sd = z @ law, rng.standard_normal(12), np.full(12, 0.5)
    ours = _best(lambda: update(z, seen, told, sd, 2.0, np.random.default_rng(2)))

    def theirs() -> Any:
        other = ESMDA(sd**2, told, alpha=2, seed=2)
        other.prepare_assimilation(Y=seen.T)
        return other.assimilate_batch(X=z.T)

    library = _best(theirs)
    print(f"smoother, one part: {1e3 * ours:.2f} ms; iterative-ensemble-smoother {1e3 * library:.2f} ms, "
          f"{library / ours:.1f} times ours")  # fmt: skip


def _best(work: Any, times: int = 20) -> float:
    found = []
    for _ in range(times):
        begun = time.perf_counter()
        work()
        found.append(time.perf_counter() - begun)
    return min(found)


def _prepare(folder: Path) -> None:
    import django

    from drydown.books.prepare import fill_demo, prepare_folder, prepare_tables

    prepare_folder(folder)
    django.setup()
    prepare_tables()
    fill_demo(folder / "station.toml", datetime.now(UTC))
    from drydown.books.models import Lot
    from drydown.way.state import Stage

    kept = list(
        Lot.objects.filter(stage=Stage.DRYING).order_by("-spread_at").values_list("pk", flat=True)[:LOTS]
    )
    Lot.objects.filter(stage=Stage.DRYING).exclude(pk__in=kept).update(stage=Stage.GONE)


def _day(members: int) -> None:
    import uuid

    from django.conf import settings
    from django.core.cache import cache
    from django.utils import timezone

    from drydown.books.daybook.gather import day_now
    from drydown.books.journal.write import Who
    from drydown.books.lots import outlook
    from drydown.books.lots.readings import record_reading
    from drydown.books.models import Lot
    from drydown.day.lines import lines_of
    from drydown.desk.context import need_station
    from drydown.outlook.skies import _block
    from drydown.way.state import Stage

    settings.FUTURES = members
    cache.clear()
    outlook._near.clear()
    _block.cache_clear()
    station = need_station()

    def once(budget: float) -> tuple[float, int, int]:
        begun = time.perf_counter()
        here = day_now(station, timezone.now(), budget)
        count = len(lines_of(here).now)
        return time.perf_counter() - begun, here.waiting, count

    first, waiting, _n = once(0.8)
    cold, left, count = once(600.0)
    lot = Lot.objects.filter(stage=Stage.DRYING).order_by("-spread_at")[10]
    for _ in range(3):
        once(600.0)
    warm = min(once(600.0)[0] for _ in range(3))
    record_reading(lot, uuid.uuid4(), 30.0, "meter 2", None, None, Who(None))
    again, _w, _n = once(600.0)
    lots = Lot.objects.filter(stage=Stage.DRYING).count()
    parts = (
        f"{members} futures, {lots} lots: first answer {first:.1f} s ({waiting} still to come)",
        f"all reckoned after {first + cold:.1f} s ({left} left, {count} lines)",
        f"after one reading {again:.2f} s", f"warm {1e3 * warm:.0f} ms",
    )  # fmt: skip
    print(", ".join(parts))


if __name__ == "__main__":
    main()
