"""Shared fixtures. The desk's tests run on a throw-away data folder."""

from __future__ import annotations

import importlib.util
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

_FOLDER = Path(tempfile.mkdtemp(prefix="drydown-tests-"))
os.environ["DRYDOWN_DATA"] = str(_FOLDER)
os.environ["DRYDOWN_FUTURES"] = "40"  # bands of pages are held elsewhere; pages are many
os.environ["DRYDOWN_HARVESTS"] = "5"
os.environ["DRYDOWN_DESIGNS"] = "4"
os.environ["DRYDOWN_SOLVE"] = "1"  # how good a plan is, is held elsewhere
os.environ["DJANGO_SETTINGS_MODULE"] = "drydown.desk.settings"
os.environ.pop("DRYDOWN_DATABASE", None)
if os.environ.get("DRYDOWN_TEST_POSTGRES") == "1":
    from tests.postgres import start

    os.environ["DRYDOWN_DATABASE"] = start()


FILL = """
import os, sys
from datetime import UTC, datetime
from pathlib import Path
os.environ["DRYDOWN_FUTURES"] = "40"
from drydown.cli.desk import begin
folder = Path(sys.argv[1])
begin(folder, demo=True)
from drydown.books.prepare import fill_demo
for _ in range(2):
    print(fill_demo(folder / "station.toml", datetime.now(UTC)))
"""


@pytest.fixture(scope="session", autouse=True)
def compiled_code() -> None:
    """What tests compile is kept too, and what was kept is taken."""
    from drydown.steps.dry.compiled import keep_compiled

    keep_compiled()


settings.register_profile("house", deadline=None, max_examples=60, derandomize=True)
settings.load_profile("house")


@pytest.fixture(scope="session")
def data_folder() -> Path:
    """The data folder of this run, with tables."""
    import django

    from drydown.books.prepare import prepare_folder, prepare_tables

    prepare_folder(_FOLDER)
    django.setup()
    prepare_tables()
    return _FOLDER


@pytest.fixture
def books(data_folder: Path) -> Iterator[Path]:
    """Empty tables and the example station; everything is rolled back afterwards."""
    from django.core.cache import cache, caches
    from django.db import transaction
    from django.test.utils import setup_test_environment, teardown_test_environment

    from drydown.station.load import example_text

    station = data_folder / "station.toml"
    station.write_text(example_text(), encoding="utf-8")
    cache.clear()
    caches["pads"].clear()
    setup_test_environment()
    with transaction.atomic():
        yield data_folder
        transaction.set_rollback(True)
    teardown_test_environment()
    station.unlink(missing_ok=True)
    (data_folder / "station-draft.json").unlink(missing_ok=True)


@pytest.fixture(scope="session")
def filled_demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A demo's folder with its season written once for all tests; copy it to change or serve it."""
    from tests.alone import run_alone

    folder = tmp_path_factory.mktemp("filled") / "demo"
    written, again = run_alone(FILL, str(folder)).split()[-2:]
    assert int(written) > 300
    assert int(again) == 0  # the season is written once
    return folder


@pytest.fixture(scope="session")
def epw_folder() -> Path:
    """Folder of the highland weather files that the package sinergym carries.

    They are read where that package is installed and never copied.
    """
    spec = importlib.util.find_spec("sinergym")
    if spec is None or spec.origin is None:
        pytest.skip("the package with the sample weather is not installed")
    return Path(spec.origin).parent / "data" / "weather"


@pytest.fixture
def client(books: Path) -> Any:
    """A browser that has entered as the owner."""
    from django.contrib.auth.models import User
    from django.test import Client

    made = Client()
    made.force_login(User.objects.create_superuser("owner", password="a long enough word"))
    return made
