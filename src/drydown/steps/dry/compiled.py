"""One decorator for the compiled kernel: numba where it is installed, plain Python where not.

The answers are the same; without the compiler they come some hundred times slower. What was compiled
is kept in a folder of its own, named after the code it was made of, so that an old kernel is never
run by a new Drydown.
"""

from __future__ import annotations

import shutil
import sys
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any, TypeVar, cast

from drydown.fingerprint import fingerprint

__all__ = ["COLD", "HAVE_COMPILER", "compiled", "inlined", "keep_compiled"]

LOOSE = {"contract", "nsz", "arcp"}
"""What the compiler may take lightly: fused products, the sign of nought, reciprocals. Never a nan."""
COLD = "Compiling the drying engine once, about a minute."
KEPT = 4
"""Folders of compiled code that are kept, the newest first."""
F = TypeVar("F", bound=Callable[..., Any])

try:
    from numba import njit

    HAVE_COMPILER = True
except ImportError:  # pragma: no cover (exercised by a test that hides numba)
    HAVE_COMPILER = False

_waiting: list[Any] = []
_folder: list[Path] = []


def compiled(function: F) -> F:
    """Compile a function of numbers and arrays; release the interpreter lock while it runs."""
    if not HAVE_COMPILER:
        return function
    made: Any = njit(nogil=True, error_model="numpy", fastmath=LOOSE)(function)
    if _folder:
        _keep(made, _folder[0])
    else:
        _waiting.append(made)
    return cast("F", made)


def inlined(function: F) -> F:
    """As `compiled`, and laid into its callers, where row numbers become constants."""
    if not HAVE_COMPILER:
        return function
    made: Any = njit(nogil=True, error_model="numpy", forceinline=True, fastmath=LOOSE)(function)
    return cast("F", made)


def keep_compiled(tell: Callable[[str], None] | None = None) -> Path | None:
    """Keep what is compiled from now on, and take what was kept; once a process.

    Args: tell, is handed a line where everything must be compiled first (stderr without). Returns:
    the folder; None without a compiler, or where no folder can be written.
    """
    if not HAVE_COMPILER or _folder:
        return _folder[0] if _folder else None
    folder = _home()
    if folder is None:
        return None
    if not any(folder.rglob("*.nbi")):
        (tell or _say)(COLD)
    _folder.append(folder)
    for made in _waiting:
        _keep(made, folder)
    _waiting.clear()
    return folder


def _home() -> Path | None:
    """The folder for this very code, made where it is missing; older ones go."""
    import numba  # noqa: PLC0415
    from platformdirs import user_cache_path  # noqa: PLC0415

    made_of = fingerprint("steps/dry", "matter", "units.py")
    home = user_cache_path("drydown", appauthor=False)
    folder = home / f"compiled-{made_of}-{numba.__version__}"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        folder.touch()
    except OSError:
        return None
    with suppress(OSError):
        others = sorted(home.glob("compiled-*"), key=lambda p: p.stat().st_mtime, reverse=True)
        for old in others[KEPT:]:
            shutil.rmtree(old, ignore_errors=True)
    return folder


def _keep(made: Any, folder: Path) -> None:
    """Let a compiled function keep its code in the folder, whatever folder others keep theirs in."""
    from numba.core import config as found  # noqa: PLC0415

    config: Any = found
    before = config.CACHE_DIR
    config.CACHE_DIR = str(folder)
    try:
        made.enable_caching()
    except RuntimeError:
        return  # no folder can be written: it is compiled anew by every process
    finally:
        config.CACHE_DIR = before


def _say(line: str) -> None:
    sys.stderr.write(line + "\n")
    sys.stderr.flush()
