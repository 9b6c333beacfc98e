"""The card of known size: its four edges to a part of a pixel, and the way from pixels to millimetres."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import ConvexHull
from skimage import measure, transform

from drydown.errors import InputError
from drydown.quality.photo.picture import Picture, Sheet

__all__ = ["CARD_MM", "Plane", "coverage", "find_card", "local_scale"]

Points = NDArray[np.float64]
CARD_MM = (85.60, 53.98)
"""ISO/IEC 7810, size ID-1."""
MOST_BEND_PX = 1.2


@dataclass(frozen=True, slots=True)
class Plane:
    """The sheet's plane: `to_mm`, a 3 x 3 matrix from pixels (x, y, 1) to millimetres on the card."""

    to_mm: Points
    corners: Points
    label: int
    bend_px: float
    """Root mean square distance of the card's edges from straight lines."""

    def mm(self, xy: Points) -> Points:
        """Points (n, 2) in pixels as millimetres."""
        made = np.column_stack([xy, np.ones(len(xy))]) @ self.to_mm.T
        found: Points = made[:, :2] / made[:, 2:]
        return found


def local_scale(plane: Plane, xy: Points) -> tuple[float, float]:
    """Pixels per millimetre along the most and the least magnified direction at a point.

    Equation: singular values of the derivative of the plane's map. Args: plane; xy [px].
    Returns: (most, least) [px/mm]. Valid range: points of the sheet. Source: definition.
    """
    step = np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]])
    at = plane.mm(xy.reshape(1, 2) + step)
    jacobian = np.column_stack([at[1] - at[0], at[2] - at[0]])
    large, small = np.linalg.svd(jacobian, compute_uv=False)
    return 1.0 / float(small), 1.0 / float(large)


def coverage(
    picture: Picture, sheet: Sheet, box: tuple[slice, slice], inside: NDArray[np.bool_]
) -> NDArray[np.float64]:
    """How far each pixel of a box is covered by the thing inside: 0 sheet, 1 thing.

    Equation: projection on the line from the sheet's to the thing's colour, in linear light, where
    a half covered pixel lies half-way. Args: picture, sheet; box; inside, where the thing surely is.
    Returns: array of the box's shape. Valid range: a thing of even colour. Source: linear mixing.
    """
    here, ground = picture.rgb[box].astype(np.float64), sheet.rgb[box].astype(np.float64)
    towards = np.median(here[inside], axis=0) - ground
    length = np.maximum((towards**2).sum(axis=2), 1e-9)
    made: NDArray[np.float64] = ((here - ground) * towards).sum(axis=2) / length
    return made


def _quadrilateral(hull: Points) -> Points:
    """Corners of the smallest rectangle about a hull, in order."""
    best, corners = np.inf, hull[:4]
    edges = np.diff(np.vstack([hull, hull[:1]]), axis=0)
    for dx, dy in edges[np.hypot(edges[:, 0], edges[:, 1]) > 0]:
        size = float(np.hypot(dx, dy))
        turn = np.array([[dx, dy], [-dy, dx]]) / size
        at = hull @ turn.T
        low, high = at.min(axis=0), at.max(axis=0)
        area = float(np.prod(high - low))
        if area < best:
            best = area
            box = np.array([[low[0], low[1]], [high[0], low[1]], [high[0], high[1]], [low[0], high[1]]])
            corners = box @ turn
    return corners


def _line(points: Points) -> tuple[Points, float]:
    """Total least squares line a x + b y = c, and the rms distance from it; outliers left out once."""
    kept = points
    for _ in range(2):
        middle = kept.mean(axis=0)
        normal = np.linalg.svd(kept - middle, full_matrices=False)[2][1]
        off = (points - middle) @ normal
        kept = points[np.abs(off) <= max(1.0, 2.5 * float(np.std(off)))]
    middle = kept.mean(axis=0)
    normal = np.linalg.svd(kept - middle, full_matrices=False)[2][1]
    rms = float(np.sqrt(np.mean(((kept - middle) @ normal) ** 2)))
    return np.array([normal[0], normal[1], float(normal @ middle)]), rms


def _meet(one: Points, other: Points) -> Points:
    found: Points = np.linalg.solve(np.array([one[:2], other[:2]]), np.array([one[2], other[2]]))
    return found


def _edges(contour: Points, rough: Points) -> tuple[Points, float]:
    """Corners where straight lines along the four sides meet; the card's own corners are round."""
    lines, bends = [], []
    for i in range(4):
        a, b = rough[i], rough[(i + 1) % 4]
        along = (b - a) / np.hypot(*(b - a))
        part = (contour - a) @ along / np.hypot(*(b - a))
        off = np.abs((contour - a) @ np.array([-along[1], along[0]]))
        near = contour[(part > 0.12) & (part < 0.88) & (off < 0.12 * np.hypot(*(b - a)))]
        if len(near) < 20:
            raise _not_found()
        line, bend = _line(near)
        lines.append(line)
        bends.append(bend)
    corners = np.array([_meet(lines[i - 1], lines[i]) for i in range(4)])
    return corners, float(np.sqrt(np.mean(np.square(bends))))


def _not_found() -> InputError:
    return InputError(
        "the card is not seen whole.", "photo",
        "Lay a card of 85.60 x 53.98 mm, darker or brighter than the sheet, flat, clear of beans and edges.",
    )  # fmt: skip


def _candidates(labels: NDArray[np.int32]) -> list[Any]:
    """Large, filled, four-sided things, the largest first."""
    things = measure.regionprops(labels)
    areas = [t.area for t in things]
    if not areas:
        return []
    middle = float(np.median(areas))
    large = [t for t in things if t.area > 4 * middle or len(areas) < 4]
    return sorted(large, key=lambda t: -t.area)[:4]


def find_card(picture: Picture, sheet: Sheet, labels: NDArray[np.int32]) -> Plane:
    """The card, and with it the plane of the sheet.

    Args: picture, sheet; labels of what stands out from the sheet. Returns: `Plane`.
    Valid range: one card of ID-1 size, whole. Raises `InputError` when none is seen or when its
    edges are bent. Source: ISO/IEC 7810 for the size, 85.60 x 53.98 mm (published).
    """
    for thing in _candidates(labels):
        top, left, bottom, right = thing.bbox
        if top <= 1 or left <= 1 or bottom >= labels.shape[0] - 1 or right >= labels.shape[1] - 1:
            continue
        box = (slice(max(0, top - 6), bottom + 6), slice(max(0, left - 6), right + 6))
        inside = labels[box] == thing.label
        shares = coverage(picture, sheet, box, inside)
        shares[(labels[box] > 0) & ~inside] = 0.0
        outlines = measure.find_contours(shares, 0.5)
        if not outlines:
            continue
        outline = max(outlines, key=len)[:, ::-1] + np.array([box[1].start, box[0].start])
        rough = _quadrilateral(outline[ConvexHull(outline).vertices])
        sides = [float(np.hypot(*(rough[(i + 1) % 4] - rough[i]))) for i in range(2)]
        if not 0.85 < thing.area / (sides[0] * sides[1]) < 1.02 or not 1.25 < max(sides) / min(sides) < 2.0:
            continue
        corners, bend = _edges(outline, rough)
        if bend > MOST_BEND_PX:
            raise InputError("the card's edges look bent.", "photo", "Flatten the card; use no wide lens.")
        if sides[0] < sides[1]:
            corners = np.roll(corners, -1, axis=0)
        wide, high = CARD_MM
        truth = np.array([[0.0, 0.0], [wide, 0.0], [wide, high], [0.0, high]])
        found = transform.ProjectiveTransform.from_estimate(corners, truth)
        return Plane(np.asarray(found.params), corners, int(thing.label), bend)
    raise _not_found()
