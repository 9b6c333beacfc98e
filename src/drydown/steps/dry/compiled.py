"""One decorator for the compiled kernel: numba where it is installed, plain Python where not.

The answers are the same; without the compiler they come some hundred times slower.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar, cast

__all__ = ["HAVE_COMPILER", "compiled", "inlined"]

LOOSE = {"contract", "nsz", "arcp"}
"""What the compiler may take lightly: fused products, the sign of nought, reciprocals. Never a nan."""
F = TypeVar("F", bound=Callable[..., Any])

try:
    from numba import njit

    HAVE_COMPILER = True
except ImportError:  # pragma: no cover (exercised by a test that hides numba)
    HAVE_COMPILER = False


def compiled(function: F) -> F:
    """Compile a function of numbers and arrays; release the interpreter lock while it runs."""
    if not HAVE_COMPILER:
        return function
    made: Any = njit(cache=True, nogil=True, error_model="numpy", fastmath=LOOSE)(function)
    return cast("F", made)


def inlined(function: F) -> F:
    """As `compiled`, and laid into its callers, where row numbers become constants."""
    if not HAVE_COMPILER:
        return function
    made: Any = njit(cache=True, nogil=True, error_model="numpy", forceinline=True, fastmath=LOOSE)(function)
    return cast("F", made)
