"""Touching things apart: each clump is cut where its outline is narrow, until every part is round enough."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from skimage import measure, segmentation
from skimage.morphology import convex_hull_image, h_maxima

__all__ = ["labelled", "split_clumps"]

Labels = NDArray[np.int32]
ROUND = 0.95
"""Share of its convex hull that a single bean fills; clumps of two fill less."""
DEPTHS = (0.30, 0.20, 0.12, 0.07, 0.04)
"""How deep the neck between two parts must be, in radii of the clump; shallower ones are tried after."""


def labelled(mask: NDArray[np.bool_], least_px: int) -> Labels:
    """Things of a mask with their holes filled, numbered; those under `least_px` pixels dropped."""
    filled = ndimage.binary_fill_holes(mask)
    opened = ndimage.binary_opening(filled, structure=np.ones((3, 3)))
    labels = measure.label(opened, connectivity=1)
    areas = np.bincount(labels.ravel())
    small = areas < least_px
    small[0] = False
    labels[small[labels]] = 0
    found: Labels = segmentation.relabel_sequential(labels)[0].astype(np.int32)
    return found


def _solid(mask: NDArray[np.bool_]) -> float:
    hull = convex_hull_image(mask)
    return float(mask.sum()) / float(hull.sum())


def _cut(mask: NDArray[np.bool_], far: NDArray[np.float64], depth: float) -> Labels:
    """Watershed of the distance to the edge, with one basin for each peak that stands out by `depth`."""
    peaks = measure.label(h_maxima(far, depth * float(far.max())))
    made: Labels = segmentation.watershed(-far, peaks, mask=mask).astype(np.int32)
    return made


def _best_cut(mask: NDArray[np.bool_], one_px: float) -> Labels:
    """The first cut whose parts are all round and of a bean's size; else the one with the roundest parts."""
    best, best_score = mask.astype(np.int32), _solid(mask)
    far = ndimage.distance_transform_edt(mask)
    far = ndimage.gaussian_filter(far, 0.04 * float(far.max()))
    for depth in DEPTHS:
        cut = _cut(mask, far, depth)
        parts = [cut == i for i in range(1, int(cut.max()) + 1)]
        if len(parts) < 2:
            continue
        if min(p.sum() for p in parts) < 0.3 * one_px:
            break
        score = min(_solid(p) for p in parts)
        if score > best_score:
            best, best_score = cut, score
        if score >= ROUND:
            break
    return best


def split_clumps(labels: Labels, skip: int) -> tuple[Labels, set[int]]:
    """Part every clump.

    Args: labels of things; skip, the card's label. Returns: labels with clumps parted, and the
    labels that still look like more than one. Valid range: beans that lie flat and touch, not on
    top of each other. Source: distance transform and watershed (Vincent and Soille 1991).
    """
    things = [t for t in measure.regionprops(labels) if t.label != skip]
    if not things:
        return labels, set()
    single = [t.area for t in things if t.solidity >= ROUND]
    one = float(np.median(single)) if single else float(np.median([t.area for t in things]))
    made, doubtful = labels.copy(), set[int]()
    after = int(labels.max()) + 1
    for thing in things:
        if thing.solidity >= ROUND and thing.area < 1.7 * one:
            continue
        mask = np.pad(thing.image, 1)
        cut = _best_cut(mask, one)[1:-1, 1:-1]
        spot = made[thing.slice]
        for i in range(1, int(cut.max()) + 1):
            part = cut == i
            number = thing.label if i == 1 else after
            after += i > 1
            spot[part & thing.image] = number
            if _solid(np.pad(part, 1)) < 0.9 or part.sum() > 2.2 * one:
                doubtful.add(number)
    return made, doubtful
