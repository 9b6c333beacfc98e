"""A picture in linear light, and the plain sheet under the beans."""

from __future__ import annotations

import io
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageOps
from skimage import filters

from drydown.errors import InputError
from drydown.words import say

__all__ = ["Picture", "Sheet", "linear_light", "read_picture", "sheet_of"]

Array = NDArray[np.float32]
MOST_PIXELS = 60_000_000
WORK_PIXELS = 9_000_000
LEAST_SIDE = 400
LEAST_STEP = 0.06
"""A sheet and beans nearer than this in linear light (0 to 1) cannot be told apart."""
SHADOW = 0.2
"""Share of the sheet's light that a shadow beside a bean may take (own estimate)."""


@dataclass(frozen=True, slots=True)
class Picture:
    """A photo in linear light, `rgb` of shape (rows, columns, 3), 0 to 1; `focal_35` from its own notes."""

    rgb: Array
    focal_35: float | None = None
    clipped: float = 0.0
    """Share of pixels at the top of the scale."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """The sheet's colour everywhere, and how far each pixel stands from it (0: sheet)."""

    rgb: Array
    apart: Array
    step: float
    """The distance that parts sheet from things."""


def linear_light(srgb: Array) -> Array:
    """Linear light from an sRGB-coded picture.

    Equation: c/12.92 up to 0.04045, else ((c + 0.055)/1.055)^2.4. Args: srgb, 0 to 1.
    Returns: same shape, 0 to 1. Valid range: 0 to 1. Source: IEC 61966-2-1.
    """
    low = srgb <= 0.04045
    made: Array = np.where(low, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4).astype(np.float32)
    return made


def _upright(found: Image.Image) -> Image.Image:
    """The picture turned by its own notes; as it is where they are damaged."""
    try:
        return ImageOps.exif_transpose(found).convert("RGB")
    except Exception:  # damaged notes raise many kinds
        return found.convert("RGB")


def _focal(found: Image.Image) -> float | None:
    """Focal length as on 35 mm film by the camera's notes, where they are whole."""
    try:
        focal = found.getexif().get_ifd(0x8769).get(0xA405)
    except Exception:  # damaged notes raise many kinds
        return None
    return float(focal) if isinstance(focal, int | float) and 5 <= focal <= 1000 else None


def _opened(content: bytes) -> tuple[Image.Image, float | None]:
    try:
        found = Image.open(io.BytesIO(content))  # the head alone; nothing is decoded yet
        if found.format not in {"JPEG", "PNG", "MPO"}:
            raise InputError("is not a JPEG or PNG picture.", "photo", "Save it as JPEG.")
        if found.width * found.height > MOST_PIXELS:
            raise InputError("has more than 60 million pixels.", "photo", "Take it smaller.")
        found.load()
        return _upright(found), _focal(found)
    except InputError:
        raise
    except Exception as error:  # Pillow raises many kinds on broken files; all mean the same here
        raise InputError("cannot be read as a JPEG or PNG picture.", "photo", "Take it again.") from error


def read_picture(content: bytes) -> Picture:
    """A photo's bytes as linear light, turned upright, at most 9 million pixels.

    Args: content, a JPEG or PNG. Returns: `Picture`. Raises `InputError` for anything else, for
    pictures over 60 million pixels or under 400 on a side. Source: Exif 2.3 for turning.
    """
    upright, focal = _opened(content)
    if min(upright.size) < LEAST_SIDE:
        raise InputError(
            say("is only {size} pixels on its short side.", size=min(upright.size)),
            "photo",
            "Take it larger.",
        )
    ratio = upright.width * upright.height / WORK_PIXELS
    if ratio > 1.0:
        size = (round(upright.width / ratio**0.5), round(upright.height / ratio**0.5))
        upright = upright.resize(size, Image.Resampling.BOX)
    plain = np.asarray(upright, dtype=np.float32) / 255.0
    clipped = float((plain.min(axis=2) > 0.995).mean())
    return Picture(linear_light(plain), focal, clipped)


def _fitted(rows: int, columns: int, at: NDArray[np.bool_], values: Array, step: int) -> Array:
    """Factors of a square surface through `values` where `at`, (6, channels)."""
    y, x = np.nonzero(at)
    u, v = x * step / columns - 0.5, y * step / rows - 0.5
    known = np.stack([np.ones_like(u), u, v, u * u, u * v, v * v], axis=-1)
    found: Array = np.linalg.lstsq(known, values[at].astype(np.float64), rcond=None)[0]
    return found


def _surface(fits: Array, u: NDArray[np.float64], v: NDArray[np.float64]) -> Array:
    """The surface at columns u and rows v, both from -0.5 to 0.5, channel by channel."""
    made = np.empty((len(v), len(u), 3), dtype=np.float32)
    for c in range(3):
        k = fits[:, c]
        along = k[0] + k[1] * u + k[3] * u * u
        down = k[2] * v + k[5] * v * v
        made[..., c] = along[None, :] + down[:, None] + k[4] * np.outer(v, u)
    return made


def _level(apart: Array, sheet: Array) -> float:
    """Distance that parts things from sheet and shadow.

    In the logarithm, so that a bright card beside dull beans does not draw the line between the two;
    a shadow takes away part of the sheet's own light, so on a pale sheet the line lies above that.
    """
    if float(np.quantile(apart, 0.99)) < LEAST_STEP:
        raise InputError("nothing stands out from the sheet.", "photo", "Use a paler or darker sheet.")
    parted = float(np.exp(filters.threshold_otsu(np.log(apart + 0.005))))
    return max(parted, SHADOW * float(np.linalg.norm(sheet)))


def sheet_of(picture: Picture) -> Sheet:
    """The plain sheet: the colour of the picture's edge, followed as it brightens or darkens across.

    Args: picture. Returns: `Sheet`. Valid range: the sheet reaches the picture's edge nearly all
    round; a quadratic surface follows the light. Raises `InputError` where it is not plain or
    where nothing stands out from it. Source: Otsu 1979 for the parting level.
    """
    rgb = picture.rgb
    rows, columns, _ = rgb.shape
    step = max(1, round((rows * columns / 90_000) ** 0.5))
    small = rgb[::step, ::step]
    ring = np.ones(small.shape[:2], dtype=bool)
    edge = max(2, round(0.03 * min(ring.shape)))
    ring[edge:-edge, edge:-edge] = False
    middle = np.median(small[ring], axis=0)
    apart = np.linalg.norm(small - middle, axis=2)
    at = apart < _level(apart, middle)
    u, v = np.arange(columns) / columns - 0.5, np.arange(rows) / rows - 0.5
    for _ in range(3):
        if at.mean() < 0.25 or at[ring].mean() < 0.7:
            raise InputError(
                "the sheet is not plain to its edges.", "photo",
                "Lay the beans on one plain matte sheet that fills the whole picture.",
            )  # fmt: skip
        here = _surface(_fitted(rows, columns, at, small, step), u[::step], v[::step])
        apart = np.linalg.norm(small - here, axis=2)
        at = apart < 0.7 * _level(apart, middle)
    full = _surface(_fitted(rows, columns, at, small, step), u, v)
    apart = np.linalg.norm(rgb - full, axis=2)
    return Sheet(full, apart.astype(np.float32), _level(apart[::step, ::step], middle))
