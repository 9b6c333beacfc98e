"""The desk as a WSGI application, for granian."""

from __future__ import annotations

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


if hasattr(os, "getppid") and os.environ.get("DRYDOWN_PARENT") == str(os.getppid()):
    threading.Thread(target=_follow, args=(os.getppid(),), daemon=True).start()
