"""Ask an address that the station file names, with limits of time and length."""

from __future__ import annotations

import urllib.error
import urllib.parse
import urllib.request

from drydown.errors import InputError
from drydown.words import say

__all__ = ["fetched"]

WAIT_S, MOST_BYTES = 10.0, 2_000_000


def fetched(address: str) -> str:
    """The text at an address.

    Args: address, http or https. Raises `InputError` with a sentence where nothing, too much or no text
    comes.
    """
    if urllib.parse.urlsplit(address).scheme not in {"http", "https"}:
        raise InputError("is no http or https address.", address[:80])
    request = urllib.request.Request(address, headers={"User-Agent": "Drydown"})  # noqa: S310 (scheme checked)
    try:
        with urllib.request.urlopen(request, timeout=WAIT_S) as answer:  # noqa: S310 (scheme checked)
            content = answer.read(MOST_BYTES + 1)
    except (urllib.error.URLError, OSError, ValueError) as error:
        words = str(getattr(error, "reason", error))[:120]
        raise InputError(
            say("did not answer ({words}).", words=words), address[:80], "Try again later."
        ) from error
    if len(content) > MOST_BYTES:
        raise InputError(say("sends more than {mb} MB.", mb=MOST_BYTES // 1_000_000), address[:80])
    return bytes(content).decode("utf-8", errors="replace")
