"""Copies under lock: the open age format, by a passphrase or by public keys."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

from drydown.errors import InputError
from drydown.words import say

__all__ = ["ENDING", "decrypt", "encrypt"]

ENDING = ".age"
LEAST = 12
"""Characters of a passphrase below which a copy is not locked (own choice)."""


def encrypt(path: Path, passphrase: str = "", keys: Sequence[str] = ()) -> Path:
    """Lock a copy; the plain one goes. Returns the locked file, readable by this user only.

    Args: path; passphrase, or keys ("age1..."), one of which opens it.
    """
    import pyrage  # noqa: PLC0415 (only where a copy is locked)

    target = path.with_name(path.name + ENDING)
    beside = target.with_suffix(".part")
    try:
        if keys:
            found = [pyrage.x25519.Recipient.from_str(key) for key in keys]
            locked = pyrage.encrypt(path.read_bytes(), found)
        elif len(passphrase) >= LEAST:
            locked = pyrage.passphrase.encrypt(path.read_bytes(), passphrase)
        else:
            raise InputError(
                say("is shorter than {least} characters.", least=LEAST), "passphrase", "Take several words."
            )
    except pyrage.RecipientError as error:
        raise InputError(
            say("is not an age key ({error}).", error=error), "key", "It begins with age1."
        ) from error
    handle = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(handle, "wb") as out:
        out.write(locked)
        out.flush()
        os.fsync(out.fileno())
    beside.replace(target)
    path.unlink()
    return target


def decrypt(path: Path, target: Path, passphrase: str = "", identity: str = "") -> None:
    """Open a locked copy into `target`, by a passphrase or by the secret key of one of its keys."""
    import pyrage  # noqa: PLC0415

    try:
        locked = path.read_bytes()
        if identity:
            plain = pyrage.decrypt(locked, [pyrage.x25519.Identity.from_str(identity.strip())])
        elif passphrase:
            plain = pyrage.passphrase.decrypt(locked, passphrase)
        else:
            raise InputError("is locked.", path.name, "Give --passphrase-file or --key-file.")
    except (pyrage.DecryptError, pyrage.IdentityError) as error:
        raise InputError(
            say("could not be opened ({error}).", error=error), path.name, "Is it the right key?"
        ) from error
    handle = os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "wb") as out:
        out.write(plain)
