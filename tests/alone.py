"""A station in a process of its own, for tests that must really commit, fill disks or be killed."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
import requests

if TYPE_CHECKING:
    from django.test import Client

PREPARE = "import sys; from tests.alone import station; station(sys.argv[1]); print('ready')"
ROOT = Path(__file__).resolve().parent.parent


def station(folder: str) -> Client:
    """Prepare a data folder with the example station; returns a browser entered as its owner."""
    os.environ["DRYDOWN_DATA"] = folder
    os.environ["DRYDOWN_FUTURES"] = "40"
    os.environ["DJANGO_SETTINGS_MODULE"] = "drydown.desk.settings"
    import django

    from drydown.books.prepare import prepare_folder, prepare_tables
    from drydown.station.load import example_text

    prepare_folder(Path(folder))
    django.setup()
    prepare_tables()
    (Path(folder) / "station.toml").write_text(example_text(), encoding="utf-8")
    from django.conf import settings
    from django.contrib.auth.models import User
    from django.test import Client

    settings.ALLOWED_HOSTS = ["*"]
    owner = User.objects.filter(username="owner").first()
    client = Client()
    client.force_login(owner or User.objects.create_superuser("owner", password="a long enough word"))
    return client


def run_alone(script: str, *words: str, timeout: float = 200.0) -> str:
    """Run a script in a fresh Python; its output, or its failure shown."""
    env = {k: v for k, v in os.environ.items() if not k.startswith(("DRYDOWN", "DJANGO"))}
    if "DRYDOWN_DATABASE" in os.environ:
        env["DRYDOWN_DATABASE"] = ""
    call = [sys.executable, "-c", script, *words]
    done = subprocess.run(
        call, check=False, cwd=ROOT, env=env, capture_output=True, text=True, timeout=timeout
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


class Desk:
    """A served desk that can be killed and started again on the same books."""

    def __init__(self, folder: Path) -> None:
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = int(probe.getsockname()[1])
        self.folder, self.url = folder, f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        """Start the desk and wait until it answers."""
        drydown = str(Path(sys.executable).parent / "drydown")
        call = [drydown, "serve", "--data", str(self.folder), "--port", str(self.port), "--copy-every-h", "0"]
        env = {k: v for k, v in os.environ.items() if not k.startswith(("DRYDOWN", "DJANGO"))}
        self.process = subprocess.Popen(
            call, env=env, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True
        )
        deadline = time.monotonic() + 60
        while time.monotonic() < deadline:
            try:
                if requests.get(f"{self.url}/alive/", timeout=2).text == "alive":
                    return
            except requests.RequestException:
                time.sleep(0.05)
        pytest.fail("the desk did not start")

    def kill(self) -> None:
        """Kill the desk and everything it started, without a word."""
        os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait(20)


def entered(url: str) -> requests.Session:
    """A browser that has entered as the owner."""
    browser = requests.Session()
    page = browser.get(f"{url}/enter/", timeout=20)
    token = re.search(r'name="csrfmiddlewaretoken" value="([^"]+)"', page.text)
    assert token
    form = {"csrfmiddlewaretoken": token[1], "name": "owner", "password": "a long enough word"}
    answer = browser.post(
        f"{url}/enter/", form, headers={"Referer": url}, timeout=20, allow_redirects=False
    )  # the page that follows is not what is tried
    assert answer.status_code == 302
    assert "/enter/" not in answer.headers["Location"]
    return browser
