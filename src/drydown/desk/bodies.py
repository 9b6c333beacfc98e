"""What a request carries: read whole within limits of length and time, so that nobody holds up the desk.

Strangers may send little and must be quick; those who are logged in may send photos and lists. A body that
does not come in time is given up, and its connection with it.
"""

from __future__ import annotations

import io
import threading
import time
from collections.abc import Callable
from typing import Any

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.utils.translation import gettext as _

__all__ = ["bounded_body"]

Answer = Callable[[HttpRequest], HttpResponse]
STRANGER_BYTES, STRANGER_S, STRANGERS = 16_384, 6.0, 4
KNOWN_BYTES, KNOWN_S, KNOWN = 20_000_000, 90.0, 12
"""Bytes, seconds, and how many bodies at once: what is above waits for nobody and is refused (own choice)."""
_strangers, _known = threading.Semaphore(STRANGERS), threading.Semaphore(KNOWN)


class _Body:
    """A body being read in a thread of its own, which ends with the connection."""

    def __init__(self, stream: Any, length: int) -> None:
        self.stream, self.length, self.parts, self.whole = stream, length, list[bytes](), False
        self.thread = threading.Thread(target=self._read, name="body", daemon=True)

    def _read(self) -> None:
        left = self.length
        try:
            while left > 0:
                part = self.stream.read(min(left, 1 << 16))
                if not part:
                    return
                self.parts.append(part)
                left -= len(part)
            self.whole = True
        except Exception:  # the connection was cut: what that raises is the server's own
            return

    def read(self, seconds: float) -> bytes | None:
        """The body, or None where it did not come in time or not whole."""
        self.thread.start()
        self.thread.join(seconds)
        return b"".join(self.parts) if self.whole else None


def bounded_body(answer: Answer) -> Answer:
    """Read what a request carries before anything waits for it; refuse what is too long or too slow."""

    def handle(request: HttpRequest) -> HttpResponse:
        if request.method in {"GET", "HEAD", "OPTIONS"}:
            return answer(request)
        known = request.user.is_authenticated
        most, seconds, slots = (
            (KNOWN_BYTES, KNOWN_S, _known) if known else (STRANGER_BYTES, STRANGER_S, _strangers)
        )
        length = _length(request)
        if length is None or length > most:
            return _refused(request, _("Too much was sent at once."), 413)
        begin = time.monotonic()
        if not slots.acquire(timeout=1.0):
            return _refused(request, _("Too many are sending at this moment. Try again."), 503)
        try:
            stream = request.environ["wsgi.input"]  # type: ignore[attr-defined]
            body = _Body(stream, length).read(seconds - (time.monotonic() - begin))
        finally:
            slots.release()
        if body is None:
            return _refused(request, _("What was sent did not come in time. Send it again."), 408)
        request._stream = io.BytesIO(body)
        return answer(request)

    return handle


def _length(request: HttpRequest) -> int | None:
    """Bytes that were announced; None where nobody said, or said nonsense."""
    said = request.META.get("CONTENT_LENGTH") or ("0" if "HTTP_TRANSFER_ENCODING" not in request.META else "")
    return int(said) if said.isascii() and said.isdecimal() and len(said) < 12 else None


def _refused(request: HttpRequest, words: str, status: int) -> HttpResponse:
    made: HttpResponse = HttpResponse(words, status=status, content_type="text/plain; charset=utf-8")
    if request.path.startswith("/api/"):
        made = JsonResponse({"words": words}, status=status)
    made.headers["Connection"] = "close"
    return made
