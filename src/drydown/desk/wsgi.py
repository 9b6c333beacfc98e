"""The desk as a WSGI application, for granian."""

from __future__ import annotations

import os

from django.core.wsgi import get_wsgi_application

__all__ = ["application"]

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "drydown.desk.settings")
application = get_wsgi_application()
