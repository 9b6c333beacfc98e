"""The process that stays while the desk serves: starts the server, hands out the certificate, makes copies.

The command that prepared the books becomes this one (`exec`), so that nothing of the preparation stays in
memory; the folder's lock comes along as an open file.
"""

from __future__ import annotations

import json
import os
import signal
import sys
import threading
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

__all__ = ["become", "serve"]

THREADS = 24
LOOK_S = 6 * 3600.0


def become(plan: dict[str, Any], lock: int) -> None:
    """Go on as the lean process. Args: plan, as `serve` takes it; lock, the folder's open lock."""
    if os.name == "nt":  # there `exec` would leave the terminal; the preparation stays in memory
        serve(plan)
        return
    os.set_inheritable(lock, True)
    os.environ["DRYDOWN_PLAN"] = json.dumps(plan)
    sys.stdout.flush()
    sys.stderr.flush()
    os.execv(sys.executable, [sys.executable, "-m", "drydown.desk.lean"])  # noqa: S606 (ourselves)


def serve(plan: dict[str, Any]) -> None:
    """Serve until stopped; with certificates, start anew when they were renewed.

    `plan`: host, port; data (folder); copies (folder, hours, how many) or None; tls (names, own, station,
    address) or None.
    """
    if plan["copies"]:
        from drydown.desk.schedule import start_copies  # noqa: PLC0415

        folder, every_h, keep = plan["copies"]
        start_copies(Path(plan["data"]), Path(folder), every_h, keep)
    files, renewed = None, threading.Event()
    if plan["tls"]:
        from drydown.desk.tls import hand_out  # noqa: PLC0415

        files = _certificates(plan)
        tls = plan["tls"]
        hand_out(plan["host"], plan["port"] - 1, files, tls["station"], tls["address"])
        threading.Thread(target=_watch, args=(plan, renewed), name="certificates", daemon=True).start()
    os.environ["DRYDOWN_PARENT"] = str(os.getpid())
    while True:
        _server(plan, files).serve()
        if not renewed.is_set():
            return
        renewed.clear()
        files = _certificates(plan)


def _certificates(plan: dict[str, Any]) -> Any:
    from drydown.desk.tls import ensure  # noqa: PLC0415

    tls = plan["tls"]
    return ensure(Path(plan["data"]) / "tls", tls["station"], tls["names"], own=set(tls["own"]))


def _watch(plan: dict[str, Any], renewed: threading.Event) -> None:
    """Renew certificates in time, and have the server take the new ones."""
    known = _certificates(plan).certificate.read_bytes()
    while True:
        time.sleep(LOOK_S)
        try:
            now = _certificates(plan).certificate.read_bytes()
        except Exception as error:  # told, and looked at again: the desk goes on with what it has
            sys.stderr.write(f"certificates: {error} ({datetime.now(UTC):%d %b %Y %H:%M} UTC)\n")
            continue
        if now != known:
            known = now
            renewed.set()
            os.kill(os.getpid(), signal.SIGTERM)


def _server(plan: dict[str, Any], files: Any) -> Any:
    """One process writes; more threads answer than bodies may be waited for."""
    from granian import Granian  # noqa: PLC0415
    from granian.constants import Interfaces  # noqa: PLC0415
    from granian.http import HTTP1Settings  # noqa: PLC0415
    from granian.log import LogLevels  # noqa: PLC0415

    return Granian(
        "drydown.desk.wsgi:application",
        address=plan["host"],
        port=plan["port"],
        interface=Interfaces.WSGI,
        workers=1,
        respawn_failed_workers=True,
        blocking_threads=THREADS,
        http1_settings=HTTP1Settings(header_read_timeout=10_000),
        log_level=LogLevels.error,
        ssl_cert=files.certificate if files else None,
        ssl_key=files.key if files else None,
    )


if __name__ == "__main__":
    serve(json.loads(os.environ.pop("DRYDOWN_PLAN")))
