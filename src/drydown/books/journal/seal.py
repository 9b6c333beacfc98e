"""The seal of an entry: one text for one content, and its hash together with the hash before it."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from datetime import UTC
from typing import Any

from drydown.books.models import Entry
from drydown.way.names import Line

__all__ = ["canonical", "content_of", "digest_of"]


def canonical(body: Any) -> str:
    """One text for one content: sorted keys, no spaces, no floats that could be written two ways."""
    return json.dumps(body, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)


def content_of(entry: Entry, lines: Sequence[Line], previous: str) -> dict[str, Any]:
    """All that a seal covers."""
    return {
        "number": entry.number,
        "key": str(entry.key),
        "kind": entry.kind,
        "body": entry.body,
        "happened_at": entry.happened_at.astimezone(UTC).isoformat(),
        "received_at": entry.received_at.astimezone(UTC).isoformat(),
        "by": entry.by_id,
        "by_name": entry.by_name,
        "device": entry.device_id,
        "device_seq": entry.device_seq,
        "reason": entry.reason,
        "reverses": entry.reverses_id,
        "postings": [list(line) for line in lines],
        "previous": previous,
    }


def digest_of(entry: Entry, lines: Sequence[Line], previous: str) -> str:
    """SHA-256 of an entry with its postings and the digest before it."""
    return hashlib.sha256(canonical(content_of(entry, lines, previous)).encode()).hexdigest()
