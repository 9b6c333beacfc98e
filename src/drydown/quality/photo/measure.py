"""From a photo to measured beans, or to a sentence that says why not."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from drydown.errors import InputError
from drydown.quality.photo.beans import Bean, measure_beans
from drydown.quality.photo.card import Plane, coverage, find_card, local_scale
from drydown.quality.photo.picture import Picture, Sheet, sheet_of
from drydown.quality.photo.split import labelled, split_clumps
from drydown.words import say

__all__ = ["HONEST", "LEAST_PX_PER_MM", "Photo", "measure_photo"]

HONEST = (
    "Error on drawn scenes of known outlines (ellipses, eggs, boxy ovals): under 0.05 mm on average, 95 in "
    "100 beans within 0.15 mm. It was not held against sieves: sieve a part of the same sample beside it."
)
LEAST_PX_PER_MM = 10.0
MOST_TILT_DEG = 20.0
MOST_EDGE_MM = 0.45
LEAST_BEANS = 5
MOST_LEFT_OUT = 0.25
MOST_CLIPPED = 0.6
HALF_HEIGHT_MM = 2.0
"""A bean's widest outline stands about this high above the sheet (own estimate)."""


@dataclass(frozen=True, slots=True)
class Photo:
    """Beans of a photo, and how good the photo is."""

    beans: tuple[Bean, ...]
    px_per_mm: float
    tilt_deg: float
    edge_mm: float
    """Width of the card's edge from 10 to 90 % in the picture: how sharp it is."""
    left_out: int
    at_edge: int
    height_percent: float | None
    """How much larger beans look because they stand above the sheet, where the camera's notes tell."""
    remarks: tuple[str, ...] = ()


def _edge_width(picture: Picture, sheet: Sheet, plane: Plane, labels: NDArray[np.int32]) -> float:
    """Rise of the card's edge from 10 to 90 %, pixels; the middle of samples across all four sides."""
    rows, columns = np.nonzero(labels == plane.label)
    box = (
        slice(max(0, int(rows.min()) - 15), int(rows.max()) + 15),
        slice(max(0, int(columns.min()) - 15), int(columns.max()) + 15),
    )
    inside = ndimage.binary_erosion(labels[box] == plane.label, iterations=4)
    shares = coverage(picture, sheet, box, inside)
    rises = []
    for i in range(4):
        a, b = plane.corners[i], plane.corners[(i + 1) % 4]
        along = (b - a) / np.hypot(*(b - a))
        across = np.array([-along[1], along[0]])
        offsets = np.arange(-10, 10.01, 0.25)
        for part in np.linspace(0.2, 0.8, 13):
            spots = a + part * (b - a) + np.outer(offsets, across) - [box[1].start, box[0].start]
            line = ndimage.map_coordinates(shares, [spots[:, 1], spots[:, 0]], order=1, mode="nearest")
            line = line if line[-1] > line[0] else line[::-1]
            low, high = np.argmax(line > 0.1), np.argmax(line > 0.9)
            if high > low:
                rises.append((high - low) * 0.25)
    return float(np.median(rises)) if rises else 20.0


def _tilt(plane: Plane, middle: NDArray[np.float64]) -> float:
    """How far the camera looks aslant, degrees, from the unlike scales along and across."""
    most, least = local_scale(plane, middle)
    return float(np.degrees(np.arccos(min(1.0, least / most))))


def _check(photo: Photo, picture: Picture) -> None:
    """Refuse a photo that would give wrong sizes."""
    if photo.tilt_deg > MOST_TILT_DEG:
        raise InputError(
            say(
                "the camera looked {tilt_deg:.0f} degrees aslant; {most_tilt_deg:g} are the most.",
                tilt_deg=photo.tilt_deg,
                most_tilt_deg=MOST_TILT_DEG,
            ),
            "photo",
            "Hold it flat above the sheet.",
        )
    if photo.px_per_mm < LEAST_PX_PER_MM:
        raise InputError(
            say(
                "a millimetre is only {px_per_mm:.1f} pixels; {least_px_per_mm:g} are needed.",
                px_per_mm=photo.px_per_mm,
                least_px_per_mm=LEAST_PX_PER_MM,
            ),
            "photo",
            "Go nearer, or send the photo at its full size.",
        )
    if photo.edge_mm > MOST_EDGE_MM:
        raise InputError(
            say(
                "the card's edge is spread over {edge_mm:.2f} mm; {most_edge_mm:g} is the most.",
                edge_mm=photo.edge_mm,
                most_edge_mm=MOST_EDGE_MM,
            ),
            "photo",
            "Hold still, wait for the focus, use more light.",
        )
    if picture.clipped > MOST_CLIPPED:
        raise InputError("most of the photo is burnt out white.", "photo", "Use less light.")
    seen = len(photo.beans) + photo.left_out
    if len(photo.beans) < LEAST_BEANS:
        raise InputError(
            say("only {beans} beans could be measured.", beans=len(photo.beans)),
            "photo",
            "Lay out more beans.",
        )
    if photo.left_out > MOST_LEFT_OUT * seen:
        raise InputError(
            say("{left_out} of {seen} things could not be told apart.", left_out=photo.left_out, seen=seen),
            "photo",
            "Spread the beans so that few touch and none lie on another.",
        )


def _remarks(photo: Photo) -> tuple[str, ...]:
    found: list[str] = []
    if photo.at_edge:
        found.append(say("{at_edge} beans at the picture's edge were left out.", at_edge=photo.at_edge))
    if photo.left_out:
        found.append(
            say(
                "{left_out} things were left out: touching too closely, or no bean's shape.",
                left_out=photo.left_out,
            )
        )
    if photo.height_percent is None:
        found.append(
            "The photo does not tell how far the camera was: beans stand above the sheet and look larger, "
            "by about 0.7 % from 30 cm, 0.4 % from 50 cm."
        )
    else:
        found.append(
            say(
                "Beans look about {height_percent:.1f} % larger, being above the sheet.",
                height_percent=photo.height_percent,
            )
        )
    return tuple(found)


def _height_percent(picture: Picture, plane: Plane) -> float | None:
    """Own estimate from the camera's notes: distance by the focal length as on 35 mm film (43.27 mm)."""
    if picture.focal_35 is None:
        return None
    rows, columns, _ = picture.rgb.shape
    ends = plane.mm(np.array([[0.0, 0.0], [columns, rows]]))
    distance = float(np.hypot(*(ends[1] - ends[0]))) * picture.focal_35 / 43.27
    return 100.0 * HALF_HEIGHT_MM / max(distance - HALF_HEIGHT_MM, 1.0)


def measure_photo(picture: Picture) -> Photo:
    """Measure the beans of a photo.

    Args: picture, of beans on one plain matte sheet with a card of 85.60 x 53.98 mm beside them.
    Returns: `Photo`; widths are silhouettes from above. Valid range: 10 px/mm or more, up to 20
    degrees aslant, sharp; else `InputError` says what to do. Source: ISO/IEC 7810 for the card;
    error stated against drawn scenes of known axes, see docs/grading.md.
    """
    sheet = sheet_of(picture)
    rows, columns, _ = picture.rgb.shape
    labels = labelled(sheet.apart > sheet.step, max(30, rows * columns // 40_000))
    plane = find_card(picture, sheet, labels)
    labels, at_edge = _without_edge(labels, plane.label)
    labels, doubtful = split_clumps(labels, plane.label)
    beans, left = measure_beans(picture, sheet, labels, plane, doubtful)
    middle = np.array([columns / 2.0, rows / 2.0])
    most, least = local_scale(plane, middle)
    scale = (most * least) ** 0.5
    photo = Photo(
        tuple(beans), scale, _tilt(plane, middle), _edge_width(picture, sheet, plane, labels) / scale,
        left + len(doubtful), at_edge, _height_percent(picture, plane),
    )  # fmt: skip
    _check(photo, picture)
    return replace(photo, remarks=_remarks(photo))


def _without_edge(labels: NDArray[np.int32], card: int) -> tuple[NDArray[np.int32], int]:
    """Drop what the picture's edge cuts."""
    ring = np.concatenate(
        [labels[:2].ravel(), labels[-2:].ravel(), labels[:, :2].ravel(), labels[:, -2:].ravel()]
    )
    cut = set(np.unique(ring).tolist()) - {0, card}
    made = labels.copy()
    if cut:
        made[np.isin(made, list(cut))] = 0
    return made, len(cut)
