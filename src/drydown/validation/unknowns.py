"""What is estimated: each unknown with its prior, and which of them a form's members take."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drydown.steps.dry.data import Form
from drydown.steps.dry.draws import typical_parameters

__all__ = ["PACE", "PACE_SD", "UNKNOWNS", "Unknown", "of_form", "parameters_of"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Unknown:
    """One unknown: middle and spread of its prior (of the logarithm where `log`), and where they are from."""

    name: str
    middle: float
    sd: float
    log: bool
    why: str

    def value(self, z: Array) -> Array:
        """The unknown at z prior standard deviations from its middle."""
        return np.asarray(self.middle * np.exp(self.sd * z) if self.log else self.middle + self.sd * z)


_ROWS = (
    ("d40_parchment", 3.0e-11, 0.50, True, "1.4e-11 to 5e-11 in print, wide"),
    ("ea_bean", 45000.0, 7000.0, False, "23 to 53 kJ/mol in print"),
    ("hull_parchment", 2.2e-9, 0.60, True, "the published thin-layer law, wide"),
    ("x_bean_parchment", 0.98, 0.09, True, "between skin-dry 0.85 and drained 1.13"),
    ("absorptance_parchment", 0.68, 0.12, True, "pale grains 0.65 to 0.8"),
    ("d40_green", 2.4e-11, 0.45, True, "one curve of dry beans; wide"),
    ("d40_mucilage_share", 1.0, 0.15, True, "of parchment's, own estimate"),
    ("hull_mucilage_share", 0.8, 0.40, True, "of parchment's, own estimate"),
    ("d40_cherry", 3.0e-11, 0.60, True, "1.9e-11 to 5.5e-11 in print, one paper ten times higher"),
    ("ea_cherry", 50000.0, 7000.0, False, "23 to 53 kJ/mol in print"),
    ("hull_cherry", 5.0e-9, 1.00, True, "no value found"),
    ("absorptance_cherry", 0.82, 0.09, True, "dark fruit, own estimate"),
    ("robusta_pace", 1.0, 0.25, True, "diffusivity of robusta over arabica, own estimate"),
    ("h_scale", 1.3, 0.30, True, "wind laws in print span 0.7 to 1.9"),
    ("wind_draw", 0.008, 0.80, True, "pressure across a flat mesh is near nought in the mean; own estimate"),
)
UNKNOWNS: tuple[Unknown, ...] = tuple(Unknown(*row) for row in _ROWS)
PACE, PACE_SD = len(UNKNOWNS), 0.35
"""Position of the pace of a source among the columns, after all unknowns, and the spread it is run with."""
_INDEX = {u.name: i for i, u in enumerate(UNKNOWNS)}

_OF = {
    "parchment": ("d40_parchment", "ea_bean", "hull_parchment", "x_bean_parchment", "absorptance_parchment"),
    "mucilage": (
        "d40_parchment", "ea_bean", "hull_parchment", "d40_mucilage_share", "hull_mucilage_share",
        "absorptance_parchment",
    ),
    "green": ("d40_green", "ea_bean", "absorptance_parchment"),
    "cherry": ("d40_cherry", "ea_cherry", "hull_cherry", "absorptance_cherry"),
}  # fmt: skip
MUCILAGE_DARKER, GREEN_DARKER = 1.10, 1.08
"""Absorptance over washed parchment's, own estimate."""


def of_form(form: str, species: str, sunny: bool) -> tuple[int, ...]:
    """Positions of the unknowns that a form's forecast hangs on, with or without sun and wind."""
    names: Sequence[str] = _OF[form]
    if not sunny:
        names = [n for n in names if not n.startswith("absorptance")]
    else:
        names = [*names, "h_scale", "wind_draw"]
    names = [*names, "robusta_pace"] if species == "robusta" else [*names]
    return (*(_INDEX[n] for n in names), PACE)


def parameters_of(kind: Form, species: str, z: Array) -> dict[str, Array]:
    """Members of a form for rows of z (member, unknown and pace), in prior standard deviations.

    What is not estimated is typical.
    """
    t = {u.name: u.value(z[:, i]) for i, u in enumerate(UNKNOWNS)}
    plain = {k: np.repeat(v, len(z)) for k, v in typical_parameters(kind).items()}
    quick = t["robusta_pace"] if species == "robusta" else np.ones(len(z))
    cherry, green = kind.name == "cherry", kind.name == "green"
    inner = "cherry" if cherry else "green" if green else "parchment"
    share = kind.name == "mucilage"
    plain["d40_m2_s"] = t[f"d40_{inner}"] * quick * (t["d40_mucilage_share"] if share else 1.0)
    plain["ea_j_mol"] = t["ea_cherry" if cherry else "ea_bean"]
    if not green:
        hull = t["hull_cherry" if cherry else "hull_parchment"] * quick
        plain["hull_kg_m2_s_pa"] = hull * (t["hull_mucilage_share"] if share else 1.0)
    darker = MUCILAGE_DARKER if share else GREEN_DARKER if green else 1.0
    plain["absorptance"] = np.minimum(
        t["absorptance_cherry" if cherry else "absorptance_parchment"] * darker, 0.95
    )
    plain["pace"] = np.exp(PACE_SD * z[:, PACE])
    plain["h_scale"], plain["wind_draw"] = t["h_scale"], t["wind_draw"]
    if kind.name == "parchment":
        plain["x_bean"] = np.minimum(t["x_bean_parchment"], plain["x_full"])
    return plain
