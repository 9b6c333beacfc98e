"""Each source predicted by what all others say: the calibration done again without it."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from importlib.resources import files

import numpy as np

from drydown.validation.calibrate import Calibration, calibrate
from drydown.validation.cases import Case
from drydown.validation.emulate import Emulator
from drydown.validation.score import Held, held
from drydown.validation.unknowns import PACE_SD

__all__ = ["as_csv", "kept", "predict_left_out"]

SEED = 3
COLUMNS = ("case", "p10", "p50", "p90")


def predict_left_out(
    cases: Mapping[str, Case], emulators: dict[str, Emulator], workers: int = 2
) -> dict[str, Held]:
    """Every case forecast by draws that never saw its source, with the spread of a new source on top.

    Args: cases and emulators by name; workers [processes]. Returns: `Held` by name; ratios are not predicted.
    Valid range: two sources or more. Source: leave-one-out over sources.
    """
    origins = sorted({c.origin for c in cases.values()})
    jobs = [([c for c in cases.values() if c.origin != o], emulators) for o in origins]
    with ProcessPoolExecutor(workers) as pool:
        found = list(pool.map(_one, jobs))
    made = {}
    for origin, calibration in zip(origins, found, strict=True):
        for name, case in cases.items():
            if case.origin == origin and not case.ratio:
                made[name] = _predicted(case, emulators[name], calibration)
    return made


def _one(job: tuple[Sequence[Case], dict[str, Emulator]]) -> Calibration:
    return calibrate(job[0], job[1], 1)


def _predicted(case: Case, emulator: Emulator, by: Calibration) -> Held:
    rng = np.random.default_rng(SEED)
    pace = by.pace_sd / PACE_SD * rng.standard_normal((len(by.z), 1))
    ln_hours = emulator.ln_hours(np.hstack([by.z, pace])) + emulator.error * rng.standard_normal(len(by.z))
    return held(case, np.exp(ln_hours))


def as_csv(rows: Mapping[str, Held]) -> str:
    """The predictions as they are kept."""
    out = io.StringIO()
    write = csv.writer(out, lineterminator="\n")
    write.writerow(COLUMNS)
    write.writerows([name, f"{r.p10:.4g}", f"{r.p50:.4g}", f"{r.p90:.4g}"] for name, r in rows.items())
    return out.getvalue()


def kept(cases: Mapping[str, Case]) -> dict[str, Held]:
    """The predictions kept from the last calibration, by case."""
    text = (files("drydown.validation") / "left_out.csv").read_text(encoding="utf-8")
    rows = csv.DictReader(io.StringIO(text))
    return {
        row["case"]: Held(cases[row["case"]], float(row["p10"]), float(row["p50"]), float(row["p90"]))
        for row in rows
        if row["case"] in cases
    }
