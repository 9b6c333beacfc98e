"""Colour of roast from a photo with the card in it: drawn scenes of known patches, told against a kept
library."""

from __future__ import annotations

import colour
import numpy as np
import pytest
from tests.quality.scenes import scene

from drydown.quality.photo import colour_summary, measure_photo, read_picture

CHECKER = colour.CCS_COLOURCHECKERS["BabelColor Average"]
DARK = ("dark skin", "neutral 3.5 (1.05 D)", "black 2 (1.5 D)")
"""Patches about as light as roasts: L* of 38, 36 and 20."""
DOUBT = 1.0
"""L* that a photo may lie off on drawn scenes with texture, crease, noise and JPEG; told in the handbook."""


def patch(name: str) -> tuple[np.ndarray, float]:
    """A patch in linear sRGB and its L* at D65, both by the library."""
    xyz = colour.xyY_to_XYZ(CHECKER.data[name])
    rgb = colour.XYZ_to_RGB(xyz, "sRGB", illuminant=CHECKER.illuminant, apply_cctf_encoding=False)
    back = colour.RGB_to_XYZ(np.clip(rgb, 0.0, 1.0), "sRGB", apply_cctf_decoding=False)
    return np.clip(rgb, 0.001, 1.0), float(colour.XYZ_to_Lab(back, np.array([0.3127, 0.3290]))[0])


@pytest.mark.parametrize("name", DARK)
def test_lightness_of_drawn_patches(name: str) -> None:
    rgb, truth = patch(name)
    found = [
        colour_summary(
            measure_photo(read_picture(scene(seed, pairs=0.0, most=14, bean_colour=rgb).content)).beans
        )
        for seed in (11, 12)
    ]
    for one in found:
        assert one.lightness == pytest.approx(truth, abs=DOUBT)
    assert abs(found[0].lightness - found[1].lightness) < DOUBT


def test_lighter_and_darker_are_told_apart() -> None:
    order = []
    for name in ("black 2 (1.5 D)", "dark skin"):
        made = scene(13, pairs=0.0, most=14, bean_colour=patch(name)[0])
        order.append(colour_summary(measure_photo(read_picture(made.content)).beans).lightness)
    assert order[1] - order[0] > 10.0
