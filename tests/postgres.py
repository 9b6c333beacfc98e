"""A PostgreSQL cluster of its own for a test run: made in a temporary folder, gone afterwards."""

from __future__ import annotations

import atexit
import os
import pwd
import shutil
import socket
import subprocess
import tempfile
from pathlib import Path

__all__ = ["start"]


def _programs() -> Path:
    """Folder of PostgreSQL's server programs: on the path, or where Debian keeps them."""
    found = shutil.which("initdb")
    if found:
        return Path(found).resolve().parent
    newest = sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda p: float(p.parent.name))
    assert newest, "PostgreSQL is missing: run `make test`, which installs it"
    return newest[-1]


def _as_server_user() -> list[str]:
    """PostgreSQL refuses to run as root; use its own user then."""
    return ["runuser", "-u", "postgres", "--"] if os.geteuid() == 0 else []


def start() -> str:
    """Start a cluster with one database; returns its address. It ends with this process."""
    folder = Path(tempfile.mkdtemp(prefix="drydown-pg-"))
    if os.geteuid() == 0:
        shutil.chown(folder, "postgres", pwd.getpwnam("postgres").pw_gid)
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = int(probe.getsockname()[1])
    programs, user = _programs(), _as_server_user()
    data = folder / "data"
    words = [
        str(programs / "initdb"),
        "-D",
        str(data),
        "-U",
        "drydown",
        "-A",
        "trust",
        "--no-sync",
        "-E",
        "UTF8",
    ]
    subprocess.run([*user, *words, "--locale=C.UTF-8"], check=True, capture_output=True)
    options = f"-p {port} -k {folder} -c listen_addresses=127.0.0.1 -c fsync=off"
    control = [*user, str(programs / "pg_ctl"), "-D", str(data), "-w", "-s", "-l", str(folder / "log")]
    subprocess.run([*control, "-o", options, "start"], check=True)
    atexit.register(_stop, [*control, "-m", "immediate", "stop"], folder)
    psql = [*user, str(programs / "psql"), "-h", "127.0.0.1", "-p", str(port), "-U", "drydown", "-q"]
    subprocess.run([*psql, "-c", "CREATE DATABASE station", "postgres"], check=True)
    return f"postgresql://drydown:@127.0.0.1:{port}/station"


def _stop(words: list[str], folder: Path) -> None:
    subprocess.run(words, check=False, capture_output=True)
    shutil.rmtree(folder, ignore_errors=True)
