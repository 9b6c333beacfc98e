"""One bean: its outline to a part of a pixel, its axes in millimetres, its colour."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import ConvexHull
from skimage import color, measure

from drydown.quality.photo.card import Plane, coverage
from drydown.quality.photo.picture import Picture, Sheet

__all__ = ["Bean", "Ellipse", "axes_of", "measure_beans"]

MOST_OFF = 0.04
"""Greatest rms distance of a partly hidden outline from its ellipse, as a share of the width."""
LEAST_ARC = 0.6
"""Least share of an outline that must be free of neighbours."""
SMOOTH_PX = 2.5
"""Outlines are evened over this many steps, so that noise does not widen what a caliper spans."""
HIDDEN_MM = 0.5
"""Where an ellipse lies farther than this from the outline seen, the outline is hidden."""


@dataclass(frozen=True, slots=True)
class Bean:
    """A bean as seen from above: axes [mm], place [mm from the card's corner], colour (CIELAB)."""

    length_mm: float
    width_mm: float
    x_mm: float
    y_mm: float
    lab: tuple[float, float, float]
    touching: bool


@dataclass(frozen=True, slots=True)
class Ellipse:
    """An ellipse fitted to an outline [mm]; `off`: rms distance from it, as a share of the width."""

    length: float
    width: float
    x: float
    y: float
    turn: float
    off: float


def axes_of(points: NDArray[np.float64]) -> Ellipse | None:
    """Ellipse through an outline.

    Equation: least squares ellipse (algebraic, Halir and Flusser). Args: points (n, 2) [mm].
    Returns: `Ellipse`, or None where none fits.
    Valid range: an outline that shows nearly half of the ellipse or more. Source: Halir and Flusser 1998.
    """
    middle = points.mean(axis=0)
    scale = float(np.abs(points - middle).max())
    found = measure.EllipseModel.from_estimate((points - middle) / scale)
    if not found:
        return None
    x, y = found.center
    a, b = (abs(float(v)) for v in found.axis_lengths)
    if not (np.isfinite([a, b]).all() and 0.05 < min(a, b) <= max(a, b) < 5.0):
        return None
    long, short = max(a, b), min(a, b)
    turn = found.theta if a >= b else found.theta + np.pi / 2
    off = (points - middle) / scale - np.array([x, y])
    along = off @ np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    radius = np.hypot(along[:, 0] / long, along[:, 1] / short)
    away = np.abs(radius - 1.0) * np.hypot(along[:, 0], along[:, 1]) / np.maximum(radius, 1e-9)
    rms = float(np.sqrt(np.mean(away**2)))
    at = np.array([x, y]) * scale + middle
    return Ellipse(
        2 * long * scale, 2 * short * scale, float(at[0]), float(at[1]), float(turn), rms / (2 * short)
    )


def _filled(points: NDArray[np.float64], fit: Ellipse) -> NDArray[np.float64]:
    """The outline seen, with the ellipse where neighbours hide it."""
    t = np.linspace(0.0, 2.0 * np.pi, 180, endpoint=False)
    along = np.column_stack([fit.length / 2 * np.cos(t), fit.width / 2 * np.sin(t)])
    turned = along @ np.array([[np.cos(fit.turn), np.sin(fit.turn)], [-np.sin(fit.turn), np.cos(fit.turn)]])
    whole = turned + np.array([fit.x, fit.y])
    away = np.hypot(*(whole[:, None, :] - points[None, :, :]).transpose(2, 0, 1)).min(axis=1)
    return np.vstack([points, whole[away > HIDDEN_MM]])


def _narrowest(points: NDArray[np.float64]) -> tuple[float, float]:
    """Width between parallel lines, at its least, and the length across it."""
    hull = points[ConvexHull(points).vertices]
    edges = np.diff(np.vstack([hull, hull[:1]]), axis=0)
    normals = np.column_stack([-edges[:, 1], edges[:, 0]]) / np.hypot(edges[:, 0], edges[:, 1])[:, None]
    spans = np.ptp(hull @ normals.T, axis=0)
    least = int(np.argmin(spans))
    along = edges[least] / np.hypot(*edges[least])
    return float(np.ptp(hull @ along)), float(spans[least])


def _outline(
    picture: Picture, sheet: Sheet, labels: NDArray[np.int32], number: int, found: tuple[slice, slice]
) -> tuple[NDArray[np.float64], bool, float]:
    """Outline points in pixels that face the sheet, whether a neighbour touches, and the free share."""
    margin = 6
    box = (
        slice(max(0, found[0].start - margin), found[0].stop + margin),
        slice(max(0, found[1].start - margin), found[1].stop + margin),
    )
    inside = labels[box] == number
    others = (labels[box] > 0) & ~inside
    core = ndimage.binary_erosion(inside, iterations=3)
    shares = coverage(picture, sheet, box, core if core.any() else inside)
    near = ndimage.binary_dilation(inside, iterations=4)
    shares = np.where(near, shares, 0.0)
    shares[core] = 1.0
    outlines = measure.find_contours(np.pad(shares, 1), 0.5)
    if not outlines:
        return np.empty((0, 2)), False, 0.0
    line = ndimage.gaussian_filter1d(max(outlines, key=len) - 1.0, SMOOTH_PX, axis=0, mode="wrap")
    if not others.any():
        return line[:, ::-1] + [box[1].start, box[0].start], False, 1.0
    away = ndimage.distance_transform_edt(~others)
    rows = np.clip(np.round(line[:, 0]).astype(int), 0, inside.shape[0] - 1)
    columns = np.clip(np.round(line[:, 1]).astype(int), 0, inside.shape[1] - 1)
    own = ndimage.distance_transform_edt(~inside)
    free = (away[rows, columns] > 3.5) & (own[rows, columns] < 3.0)
    # With a neighbour the line runs round both: what of the bean's own edge is hidden counts as hidden.
    edge = inside & ~ndimage.binary_erosion(inside)
    hidden = float((edge & (away < 3.5)).sum()) / max(1, int(edge.sum()))
    return line[free][:, ::-1] + [box[1].start, box[0].start], hidden > 0.01, 1.0 - hidden


def measure_beans(
    picture: Picture, sheet: Sheet, labels: NDArray[np.int32], plane: Plane, skip: set[int]
) -> tuple[list[Bean], int]:
    """Axes of every bean that can be measured, and how many cannot.

    Args: picture, sheet; labels, split; plane; skip, labels not to measure. Returns: (beans, left out).
    Valid range: beans lying flat; the width is the second axis, which round holes sort by.
    What neighbours hide of an outline is filled in by the ellipse through the rest.
    Source: ISO 4150 for what a sieve sorts; ellipse as in `axes_of`.
    """
    beans, left = [], 0
    for number, found in enumerate(ndimage.find_objects(labels), start=1):
        if found is None or number == plane.label or number in skip:
            continue
        line, touching, free = _outline(picture, sheet, labels, number, found)
        if len(line) < 24 or free < LEAST_ARC:
            left += 1
            continue
        points = plane.mm(line)
        if touching:
            fit = axes_of(points)
            if fit is None or fit.off > MOST_OFF:
                left += 1
                continue
            points = _filled(points, fit)
        length, width = _narrowest(points)
        x, y = points.mean(axis=0).tolist()
        beans.append(Bean(length, width, x, y, _colour(picture, sheet, labels, number, found), touching))
    return beans, left


def _colour(
    picture: Picture, sheet: Sheet, labels: NDArray[np.int32], number: int, found: tuple[slice, slice]
) -> tuple[float, float, float]:
    """Middle colour of a bean in CIELAB, its sheet taken as neutral."""
    inside = ndimage.binary_erosion(labels[found] == number, iterations=2)
    if not inside.any():
        inside = labels[found] == number
    bean = np.median(picture.rgb[found][inside], axis=0)
    ground = np.median(sheet.rgb[found][inside], axis=0)
    level = float(ground.mean()) if float(ground.mean()) < 0.3 else 0.9  # a dark sheet stays dark
    balanced = np.clip(bean / np.maximum(ground, 1e-3) * level, 0.0, 1.0)
    coded = np.where(balanced <= 0.0031308, balanced * 12.92, 1.055 * balanced ** (1 / 2.4) - 0.055)
    lab = color.rgb2lab(coded.reshape(1, 1, 3)).reshape(3)
    return float(lab[0]), float(lab[1]), float(lab[2])
