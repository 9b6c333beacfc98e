"""Widths from a photo held against a stack of round sieves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from drydown.errors import InputError
from drydown.quality.intervals import share_interval
from drydown.quality.photo.beans import Bean
from drydown.quality.screens import stack_of

__all__ = ["ColourSummary", "PhotoScreen", "PhotoScreens", "colour_summary", "photo_screens"]

ODD = 15.0
"""Distance in CIELAB from the middle colour at which a bean is called odd in colour (own estimate)."""


@dataclass(frozen=True, slots=True)
class PhotoScreen:
    """Beans that would stay on one screen."""

    number: str
    hole_mm: float
    beans: int
    by_mass: float
    """Share by width squared times length, which goes with mass."""
    above: float
    """Share by count on this screen and all coarser ones, with its 95 % interval."""
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class PhotoScreens:
    """A photo's beans by screen, the coarsest first; the last row is the pan."""

    table: str
    rows: tuple[PhotoScreen, ...]

    def on(self, number: str) -> PhotoScreen:
        """The row of a screen."""
        return next(row for row in self.rows if row.number == number)


def photo_screens(beans: Sequence[Bean], table: str = "iso", numbers: Sequence[str] = ()) -> PhotoScreens:
    """Sort beans by the widest hole that their width does not pass.

    Args: beans; table of `screens.tables()`; numbers of the stack, all of the table when empty.
    Returns: `PhotoScreens`. Valid range: widths of silhouettes; intervals are Clopper-Pearson 95 %
    for the beans counted and do not hold the error of measuring. Source: ISO 4150 for the sieves.
    """
    if not beans:
        raise InputError("there are no beans to sort.", "photo")
    stack = stack_of(table, numbers)
    widths = np.array([b.width_mm for b in beans])
    mass = np.array([b.width_mm**2 * b.length_mm for b in beans])
    rows, left = [], np.ones(len(widths), dtype=bool)
    for number, hole in stack:
        here = left & (widths > hole)
        left &= ~here
        above = int((~left).sum())
        low, high = share_interval(above, len(widths))
        by_mass = float(mass[here].sum() / mass.sum())
        rows.append(PhotoScreen(number, hole, int(here.sum()), by_mass, above / len(widths), low, high))
    rest = float(mass[left].sum() / mass.sum())
    rows.append(PhotoScreen("pan", 0.0, int(left.sum()), rest, 1.0, 1.0, 1.0))
    return PhotoScreens(table, tuple(rows))


@dataclass(frozen=True, slots=True)
class ColourSummary:
    """Colour of the beans against the sheet: the middle, the spread, and how many stand apart."""

    lightness: float
    a: float
    b: float
    spread: float
    odd: int


def colour_summary(beans: Sequence[Bean]) -> ColourSummary:
    """Middle colour of the beans and how far they scatter about it.

    Args: beans. Returns: `ColourSummary` in CIELAB, the sheet taken as neutral.
    Valid range: one light on the whole sheet; figures of two photos compare only under the same
    light and sheet. It finds no defects. Source: CIE 1976 colour difference.
    """
    lab = np.array([b.lab for b in beans])
    middle = np.median(lab, axis=0)
    away = np.linalg.norm(lab - middle, axis=1)
    light, a, b = (float(v) for v in middle)
    return ColourSummary(light, a, b, float(np.median(away)), int((away > ODD).sum()))
