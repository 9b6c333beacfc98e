"""What a member is: parameters of a form drawn together, or the typical ones."""

from __future__ import annotations

from functools import lru_cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

from drydown.figures import ln_sd
from drydown.matter.species import Range
from drydown.steps.dry.data import Form

__all__ = ["draw_parameters", "joint_draws", "typical_parameters"]

Array = NDArray[np.float64]
OF_THE_PLACE = {"h_scale", "wind_draw"}
"""Drawn with the rest, but no property of what dries: another species does not widen them."""


def typical_parameters(form: Form) -> dict[str, Array]:
    """One member at the typical values. Returns name -> array of length 1."""
    return {k: np.array([r.typical]) for k, r in form.ranges.items()}


def draw_parameters(form: Form, members: int, seed: int) -> dict[str, Array]:
    """Draw parameters from the ranges of a form.

    Args: form; members [count]; seed. Returns: name -> (members,) in the units of the form.
    Valid range: any. Source: what was estimated together (`Form.joint`) comes from one row of `draws.csv` a
    member, the rest from the ranges of `forms.toml`, low and high read as P5 and P95, lognormal,
    independent; the first member is the typical one.

    >>> from drydown.steps.dry.data import form
    >>> draw_parameters(form("parchment"), 50, seed=1)["radius_m"].shape
    (50,)
    """
    rng = np.random.default_rng(seed)
    drawn = {}
    for key, r in form.ranges.items():
        values = r.typical * np.exp(ln_sd(r.low, r.high) * rng.standard_normal(members))
        values[0] = r.typical
        drawn[key] = np.clip(values, 0.5 * r.low, 1.5 * r.high)
    _together(form, drawn, rng)
    if _same(form.ranges["x_bean"], form.ranges["x_full"]):
        drawn["x_bean"] = drawn["x_full"].copy()  # a form without free water outside has none in any member
    drawn["x_bean"] = np.minimum(drawn["x_bean"], drawn["x_full"])
    drawn["porosity"] = np.minimum(drawn["porosity"], 0.6)
    drawn["absorptance"] = np.minimum(drawn["absorptance"], 0.97)
    return drawn


def _together(form: Form, drawn: dict[str, Array], rng: np.random.Generator) -> None:
    """Put what was estimated together in place of what was drawn alone; each member has one row of draws."""
    if not form.joint:
        return
    rows, members = joint_draws(), len(next(iter(drawn.values())))
    order = rng.permutation(len(next(iter(rows.values()))))
    row = order[np.arange(members) % order.size]
    for key in dict.fromkeys(key for key, _column in form.joint):
        factor, power = np.ones(members), 1.0 if key in OF_THE_PLACE else form.joint_power
        for name, column in form.joint:
            if name == key:
                factor = factor * rows[column][row] ** power
        factor[0] = 1.0
        drawn[key] = form.ranges[key].typical * factor


@lru_cache(maxsize=1)
def joint_draws() -> dict[str, Array]:
    """Factors over the typical value, estimated together: column -> (draw,).

    Args: none. Returns: name -> factors [-]. Valid range: forms that name the columns. Source: published
    drying times, `drydown.validation` (docs/validation.md); `python -m drydown.validation fit` makes them.

    >>> bool((joint_draws()["h_scale"] > 0.0).all())
    True
    """
    text = (files("drydown.steps.dry") / "draws.csv").read_text(encoding="utf-8").splitlines()
    values = np.array([[float(cell) for cell in line.split(",")] for line in text[1:]])
    return {name: values[:, i] for i, name in enumerate(text[0].split(","))}


def _same(one: Range, other: Range) -> bool:
    return (one.typical, one.low, one.high) == (other.typical, other.low, other.high)
