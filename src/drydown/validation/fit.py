"""Estimate all unknowns from the cases, and write what ships: draws, and each source predicted without it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from drydown.validation.calibrate import Calibration, calibrate
from drydown.validation.cases import all_cases
from drydown.validation.emulate import emulate
from drydown.validation.left_out import as_csv, predict_left_out
from drydown.validation.unknowns import UNKNOWNS

__all__ = ["fit"]

Array = NDArray[np.float64]
SEED, EMULATOR_SEED, DRAWS = 1, 7, 400


def fit(package: Path) -> None:
    """Write `steps/dry/draws.csv` and `validation/left_out.csv` into the package, and print the ranges.

    The ranges printed belong into `steps/dry/forms.toml` by hand, with their sources; a test holds them
    against the draws.
    """
    cases = all_cases()
    emulators = {name: emulate(case, EMULATOR_SEED) for name, case in cases.items()}
    print(
        f"{len(cases)} cases as smooth functions; "
        f"worst error {max(e.error for e in emulators.values()):.2f} ln"
    )
    whole = calibrate(list(cases.values()), emulators, SEED)
    (package / "steps" / "dry" / "draws.csv").write_text(_draws(whole), encoding="utf-8")
    for unknown, values in zip(UNKNOWNS, _values(whole).T, strict=True):
        low, middle, high = np.percentile(values, (5, 50, 95))
        print(f"{unknown.name}: {middle:.4g} ({low:.4g} to {high:.4g}); prior {unknown.middle:g}")
    print(f"source {whole.source_sd.mean():.3f}, case {whole.case_sd.mean():.3f}, pace {whole.pace_sd:.3f}")
    apart = predict_left_out(cases, emulators)
    (package / "validation" / "left_out.csv").write_text(as_csv(apart), encoding="utf-8")


def _values(whole: Calibration) -> Array:
    return np.stack([u.value(whole.z[:, i]) for i, u in enumerate(UNKNOWNS)], axis=1)


def _draws(whole: Calibration) -> str:
    """Factors over the medians, DRAWS rows picked by a seeded draw."""
    values = _values(whole)
    picked = values[np.random.default_rng(SEED).choice(len(values), DRAWS, replace=False)]
    factors = picked / np.median(picked, axis=0)
    lines = [",".join(u.name for u in UNKNOWNS)]
    lines += [",".join(f"{v:.4g}" for v in factors[r]) for r in range(DRAWS)]
    return "\n".join(lines) + "\n"
