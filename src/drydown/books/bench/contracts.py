"""Schemes a sample can be held against: the packaged ones, and the station's own contracts.

A contract is a scheme file in the folder `schemes` beside the books. What was counted by it names it;
the source says which text it was, so that a sample report shows when a contract was changed.
"""

from __future__ import annotations

import hashlib
from functools import lru_cache
from pathlib import Path

from django.conf import settings

from drydown.errors import InputError
from drydown.quality.scheme import Scheme, read_scheme, scheme, scheme_names
from drydown.words import say

__all__ = ["contract_troubles", "known_scheme", "known_schemes"]


def _folder() -> Path:
    return Path(settings.DATA) / "schemes"


@lru_cache(maxsize=64)
def _read(path: str, _stamp: int) -> Scheme:
    file = Path(path)
    try:
        text = file.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(say("cannot be read ({error}).", error=error), file.name) from error
    made = read_scheme(text, file.name)
    if made.name in scheme_names():
        raise InputError(
            say("is called '{name}', as a packaged scheme is.", name=made.name),
            file.name,
            "Give it another name.",
        )
    digest = hashlib.sha256(text.encode()).hexdigest()[:12]
    return made.model_copy(
        update={
            "source": say(
                "{source}; contract file {name}, text {digest}",
                source=made.source,
                name=file.name,
                digest=digest,
            )
        }
    )


def _own() -> tuple[dict[str, Scheme], list[str]]:
    """The station's contracts by name, and what is wrong with those that cannot be read."""
    folder = _folder()
    files = sorted(folder.glob("*.toml")) if folder.is_dir() else []
    found: dict[str, Scheme] = {}
    troubles = []
    for file in files:
        try:
            made = _read(str(file), file.stat().st_mtime_ns)
            if made.name in found:
                raise InputError(say("two contracts are called '{name}'.", name=made.name), file.name)
            found[made.name] = made
        except (InputError, OSError) as error:
            troubles.append(str(error))
    return found, troubles


def contract_troubles() -> list[str]:
    """Contract files that cannot be used, each with the reason."""
    return _own()[1]


def known_schemes() -> list[Scheme]:
    """Packaged schemes, then the station's own."""
    return [*(scheme(name) for name in scheme_names()), *_own()[0].values()]


def known_scheme(name: str) -> Scheme:
    """A scheme by name; never a path."""
    found = next((s for s in known_schemes() if name in (s.name, *s.formerly)), None)
    if found is None:
        names = ", ".join(s.name for s in known_schemes())
        raise InputError(
            say("scheme '{value}' is not known.", value=name[:60]),
            "scheme",
            say("One of: {names}.", names=names),
        )
    return found
