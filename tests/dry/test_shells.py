"""Shells of the bean against the sphere series (Crank): printed values and exact roots."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.linalg import expm
from scipy.optimize import brentq

from drydown.steps.dry.layout import shell_geometry


def _matrix(film: float | None) -> tuple[np.ndarray, np.ndarray]:
    """dX/dt = A X of the shells in units of D/R2; skin fixed (None) or behind a film."""
    volumes, factors = shell_geometry()
    n = volumes.size
    a = np.zeros((n, n))
    for i, g in enumerate(factors):
        a[i, i] -= g
        a[i, i + 1] += g
        a[i + 1, i + 1] -= g
        a[i + 1, i] += g
    if film is None:
        a[-1] = 0.0
    else:
        a[-1, -1] -= 3.0 * film
    return a / volumes[:, None], volumes


def _ratio(fourier: float, film: float | None) -> float:
    a, volumes = _matrix(film)
    start = np.ones(volumes.size)
    if film is None:
        start[-1] = 0.0
    return float(volumes @ (expm(a * fourier) @ start))


# Crank, constant surface: MR = (6/pi2) sum exp(-n2 pi2 Fo)/n2; the uptakes at Fo 0.1 and 0.25
# (0.770478738, 0.948436898) are also read in an open chemical-engineering library.
SERIES = {0.02: 0.581269, 0.05: 0.393060, 0.1: 0.229521, 0.2: 0.084504, 0.3: 0.031475, 0.4: 0.011731}


@pytest.mark.parametrize("fourier", SERIES)
def test_constant_surface(fourier: float) -> None:
    # Six equal-volume shells: largest error from Fo 0.01 on is 0.003 to 0.008 (derived).
    assert _ratio(fourier, None) == pytest.approx(SERIES[fourier], abs=0.008)


@pytest.mark.parametrize("ratio", [0.5, 0.2, 0.1, 0.05])
def test_time_to_a_ratio(ratio: float) -> None:
    def series(fourier: float) -> float:
        n = np.arange(1, 200)
        return float(6.0 / np.pi**2 * np.sum(np.exp(-(n**2) * np.pi**2 * fourier) / n**2))

    exact = brentq(lambda f: series(f) - ratio, 1e-3, 2.0)
    ours = brentq(lambda f: _ratio(f, None) - ratio, 1e-3, 2.0)
    # Five shells are within 2.2 % (derived); six with a thin skin must not be worse.
    assert ours == pytest.approx(exact, rel=0.022)


@pytest.mark.parametrize(
    ("film", "fourier", "expected"),
    [(1.0, 0.05, 0.87523), (1.0, 0.1, 0.77136), (1.0, 0.2, 0.60181), (1.0, 0.4, 0.36732),
     (100.0, 0.05, 0.40934), (100.0, 0.1, 0.24118), (100.0, 0.2, 0.09050), (100.0, 0.4, 0.01306)],
)  # fmt: skip
def test_surface_film(film: float, fourier: float, expected: float) -> None:
    # Crank with a surface film (Biot 1 and 100), series recomputed (derived).
    assert _ratio(fourier, film) == pytest.approx(expected, abs=0.006)


def shells_ratio(shells: int, fourier: float) -> float:
    """Moisture ratio of so many equal-volume shells with their surface held dry."""
    volumes, factors = shell_geometry(shells, skin=1e-5)
    a = np.zeros((shells + 1, shells + 1))
    for i, g in enumerate(factors):
        a[i, i] -= g
        a[i, i + 1] += g
        if i + 1 < shells:
            a[i + 1, i + 1] -= g
            a[i + 1, i] += g
    start = np.append(np.ones(shells), 0.0)
    return float(volumes @ (expm(a / volumes[:, None] * fourier) @ start))


def test_more_shells_come_closer() -> None:
    errors = [abs(shells_ratio(n, 0.1) - SERIES[0.1]) for n in (3, 6, 12, 24)]
    # Second order in the number of shells: each doubling takes the error to about a quarter.
    assert errors == sorted(errors, reverse=True)
    assert errors[-1] < 0.1 * errors[0]
