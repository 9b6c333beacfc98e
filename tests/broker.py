"""A Mosquitto of its own for a test: a free port, a folder that outlives a kill, gone afterwards."""

from __future__ import annotations

import shutil
import socket
import subprocess
import time
from pathlib import Path

__all__ = ["Broker"]


class Broker:
    """A broker that keeps sessions and messages on disk at each change, so that a kill loses none it took."""

    def __init__(self, folder: Path, user: str = "", password: str = "") -> None:
        self.folder = folder
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = int(probe.getsockname()[1])
        lines = [
            f"listener {self.port} 127.0.0.1", "persistence true", f"persistence_location {folder}/",
            "autosave_on_changes true", "autosave_interval 1", "max_queued_messages 0", "user root",
        ]  # fmt: skip
        if user:
            secret = folder / "secret"
            program = shutil.which("mosquitto_passwd") or "/usr/bin/mosquitto_passwd"
            subprocess.run(
                [program, "-b", "-c", str(secret), user, password], check=True, capture_output=True
            )
            lines += ["allow_anonymous false", f"password_file {secret}"]
        else:
            lines.append("allow_anonymous true")
        (folder / "conf").write_text("\n".join(lines) + "\n", encoding="utf-8")
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> Broker:
        """Start it, and wait until it answers."""
        program = shutil.which("mosquitto", path="/usr/sbin:/usr/bin:/usr/local/sbin")
        assert program, "Mosquitto is missing: run `make test`, which installs it"
        self.process = subprocess.Popen(
            [program, "-c", str(self.folder / "conf")], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        until = time.monotonic() + 10.0
        while time.monotonic() < until:
            with socket.socket() as probe:
                if probe.connect_ex(("127.0.0.1", self.port)) == 0:
                    return self
            time.sleep(0.05)
        raise AssertionError("Mosquitto did not start")

    def kill(self) -> None:
        """As a power cut would."""
        if self.process is not None:
            self.process.kill()
            self.process.wait()
            self.process = None
