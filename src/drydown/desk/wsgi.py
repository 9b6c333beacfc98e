"""The desk as a WSGI application, for granian."""

from __future__ import annotations

import contextlib
import os
import threading
import time

from django.core.wsgi import get_wsgi_application

__all__ = ["application"]

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "drydown.desk.settings")
application = get_wsgi_application()


def _follow(parent: int) -> None:
    """End with the process that started us, however it ends: two servers on one set of books never."""
    while os.getppid() == parent:
        time.sleep(1.0)
    os._exit(0)


def _tidy() -> None:
    """Sessions that ended by themselves leave the books' file, a few times a day."""
    from django.contrib.sessions.backends.db import SessionStore  # noqa: PLC0415
    from django.db import connection  # noqa: PLC0415

    while True:
        with contextlib.suppress(Exception):
            SessionStore.clear_expired()
        connection.close()
        time.sleep(4 * 3600.0)


def _listen() -> None:
    """Listen to the station's broker, where its file names one; what is wrong with the file its pages say."""
    from django.conf import settings  # noqa: PLC0415

    from drydown.desk.listening import listen_if_told  # noqa: PLC0415
    from drydown.station.load import load_station  # noqa: PLC0415

    with contextlib.suppress(Exception):
        listen_if_told(load_station(settings.STATION_FILE), settings.DATA)


def _alarm() -> None:
    """Alarms by mail, where the station file names a server."""
    from django.conf import settings  # noqa: PLC0415

    from drydown.desk.alarms import keep_watch  # noqa: PLC0415

    keep_watch(settings.STATION_FILE, settings.DATA)


threading.Thread(target=_alarm, name="alarm", daemon=True).start()
threading.Thread(target=_listen, name="listen", daemon=True).start()
threading.Thread(target=_tidy, name="tidy", daemon=True).start()
if hasattr(os, "getppid") and os.environ.get("DRYDOWN_PARENT") == str(os.getppid()):
    threading.Thread(target=_follow, args=(os.getppid(),), daemon=True).start()
