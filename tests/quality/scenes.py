"""Drawn scenes of ellipses, eggs and boxy ovals: tilt, blur, noise, uneven light, soft shadow, JPEG."""

from __future__ import annotations

import io
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from scipy import ndimage

Array = NDArray[Any]


@dataclass(frozen=True)
class Scene:
    """A picture and the truth: (length, width, x, y) of each bean [mm], and which ones touch."""

    content: bytes
    beans: list[tuple[float, float, float, float]]
    touching: list[bool]
    groups: list[int]
    corner: Array
    turn: Array

    def on_sheet(self, xy: Array) -> list[Array]:
        """Points in millimetres on the card as millimetres on the sheet, each way the card may be read."""
        x, y = xy[:, 0], xy[:, 1]
        turned = [(x, y), (85.60 - x, 53.98 - y), (85.60 - x, y), (x, 53.98 - y)]
        ways = [np.column_stack(pair) for pair in turned]
        return [self.corner + way @ self.turn.T for way in ways]


def camera(tilt_deg: float, azimuth: float, px_per_mm: float, size_mm: tuple[float, float]) -> Array:
    """3 x 3 map from sheet millimetres to pixels of a pinhole camera 350 mm away."""
    distance = 350.0
    t, a = np.radians(tilt_deg), azimuth
    axis = np.array([np.cos(a), np.sin(a), 0.0])
    k = np.array([[0, -axis[2], axis[1]], [axis[2], 0, -axis[0]], [-axis[1], axis[0], 0]])
    turn = np.eye(3) + np.sin(t) * k + (1 - np.cos(t)) * k @ k
    focal = px_per_mm * distance
    inner = np.array(
        [[focal, 0, size_mm[0] * px_per_mm / 2], [0, focal, size_mm[1] * px_per_mm / 2], [0, 0, 1]]
    )
    move = np.column_stack([turn[:, 0], turn[:, 1], np.array([0, 0, distance])])
    centre = np.array([[1, 0, -size_mm[0] / 2], [0, 1, -size_mm[1] / 2], [0, 0, 1]])
    found: Array = inner @ move @ centre
    return found


def project(h: Array, xy: Array) -> Array:
    """Points (n, 2) through a map."""
    made = np.column_stack([xy, np.ones(len(xy))]) @ h.T
    found: Array = made[:, :2] / made[:, 2:]
    return found


def _gap(one: Array, other: Array) -> float:
    x = np.subtract.outer(one[:, 0], other[:, 0])
    y = np.subtract.outer(one[:, 1], other[:, 1])
    return float(np.sqrt(np.min(x * x + y * y)))


def _outline(bean: Array, n: int = 60) -> Array:
    length, width, x, y, turn, egg, power = bean
    t = np.linspace(0, 2 * np.pi, n, endpoint=False)
    cos, sin = (np.sign(f) * np.abs(f) ** (2 / power) for f in (np.cos(t), np.sin(t)))
    u, v = length / 2 * cos, width / 2 * sin * (1 + egg * cos)
    return np.column_stack([x + u * np.cos(turn) - v * np.sin(turn), y + u * np.sin(turn) + v * np.cos(turn)])


def _bean(rng: np.random.Generator, x: float, y: float) -> Array:
    width = float(np.clip(rng.normal(6.4, 0.7), 4.6, 8.4))
    return np.array(
        [
            width * rng.uniform(1.15, 1.55),
            width,
            x,
            y,
            rng.uniform(0, np.pi),
            rng.uniform(-0.15, 0.15),
            rng.uniform(1.85, 2.5),
        ]
    )


def caliper(bean: Array) -> tuple[float, float]:
    """Length and least width between parallel lines of a bean, from its own outline."""
    line = _outline(np.array([*bean[:2], 0.0, 0.0, 0.0, *bean[5:]]), 480)
    turns = np.linspace(0, np.pi, 1440, endpoint=False)
    spans = np.ptp(line @ np.stack([np.cos(turns), np.sin(turns)]), axis=0)
    least = int(np.argmin(spans))
    return float(spans[(least + 720) % 1440]), float(spans[least])


def _lay(
    rng: np.random.Generator, size: tuple[float, float], card: Array, pairs: float, most: int
) -> tuple[list[Array], list[int]]:
    """Beans that do not overlap; a share of them brought to touch their neighbour."""
    beans: list[Array] = []
    lines: list[Array] = []
    groups: list[int] = []
    card_line = np.vstack([np.linspace(card[i], card[(i + 1) % 4], 60) for i in range(4)])
    for _ in range(700 if most else 0):
        bean = _bean(rng, rng.uniform(9, size[0] - 9), rng.uniform(9, size[1] - 9))
        line = _outline(bean)
        if _gap(line, card_line) < 3 or _on(bean[2:4], card):
            continue
        if any(
            np.hypot(*(bean[2:4] - b[2:4])) < 15
            and (_gap(line, o) < 1.2 or np.hypot(*(bean[2:4] - b[2:4])) < 5)
            for o, b in zip(lines, beans, strict=True)
        ):
            continue
        beans.append(bean)
        lines.append(line)
        groups.append(len(groups))
        if rng.uniform() < pairs:
            _join(rng, size, card_line, beans, lines, groups)
        if len(beans) >= most:
            break
    return beans, groups


def _on(at: Array, card: Array) -> bool:
    """Whether a point lies on the card."""
    ways = np.roll(card, -1, axis=0) - card
    return bool((ways[:, 0] * (at - card)[:, 1] - ways[:, 1] * (at - card)[:, 0] > 0).all())


def _join(rng, size, card_line, beans, lines, groups) -> None:  # type: ignore[no-untyped-def]
    """Bring one more bean to the last one until they just touch (a few hundredths of overlap)."""
    first, line = beans[-1], lines[-1]
    way = rng.uniform(0, 2 * np.pi)
    other = _bean(rng, 0, 0)
    low, high = 3.0, 16.0
    for _ in range(18):
        middle = (low + high) / 2
        other[2:4] = first[2:4] + middle * np.array([np.cos(way), np.sin(way)])
        low, high = (middle, high) if _inside(_outline(other), first).any() else (low, middle)
    moved = _outline(other)
    clear = 9 < other[2] < size[0] - 9 and 9 < other[3] < size[1] - 9 and _gap(moved, card_line) > 3
    if clear and all(
        np.hypot(*(other[2:4] - b[2:4])) > 15 or _gap(moved, o) > 1.2
        for o, b in zip(lines[:-1], beans[:-1], strict=True)
    ):
        beans.append(other)
        lines.append(moved)
        groups.append(groups[-1])
    del line


def _inside(mm: Array, bean: Array) -> NDArray[np.bool_]:
    """Which points lie in a bean."""
    length, width, x, y, turn, egg, power = bean
    u = ((mm[:, 0] - x) * np.cos(turn) + (mm[:, 1] - y) * np.sin(turn)) / (length / 2)
    v = (-(mm[:, 0] - x) * np.sin(turn) + (mm[:, 1] - y) * np.cos(turn)) / (width / 2)
    found: NDArray[np.bool_] = np.abs(u) ** power + np.abs(v / (1 + egg * u)) ** power < 1
    return found


def _paint(picture: Array, h: Array, outline: Array, test, colour, extra=None, n=3) -> None:  # type: ignore[no-untyped-def]
    """Cover a shape: each pixel asked at its middle, in millimetres; n x n times along the edge."""
    px = project(h, outline)
    x0, y0 = np.maximum(np.floor(px.min(axis=0)).astype(int) - 2, 0)
    x1 = min(int(px[:, 0].max()) + 3, picture.shape[1])
    y1 = min(int(px[:, 1].max()) + 3, picture.shape[0])
    back = np.linalg.inv(h)
    gx, gy = np.meshgrid(np.arange(x0, x1), np.arange(y0, y1))
    mm = project(back, np.column_stack([gx.ravel(), gy.ravel()]))
    share = test(mm).reshape(gx.shape).astype(float)
    around = ndimage.maximum_filter(share, 3) - ndimage.minimum_filter(share, 3)
    edge = np.column_stack([gx[around > 0], gy[around > 0]])
    sub = (np.arange(n) + 0.5) / n - 0.5
    total = np.zeros(len(edge))
    for dx in sub:
        for dy in sub:
            total += test(project(back, edge + np.array([dx, dy])))
    share[around > 0] = total / n**2
    paint = np.broadcast_to(colour, (y1 - y0, x1 - x0, 3)).copy()
    if extra is not None:
        paint *= extra(mm.reshape(*gx.shape, 2))[..., None]
    spot = picture[y0:y1, x0:x1]
    spot[:] = spot * (1 - share[..., None]) + paint * share[..., None]


def scene(
    seed: int, px_per_mm: float | None = None, tilt: float | None = None, blur: float | None = None,
    pairs: float = 0.9, dark_sheet: bool = False,
    most: int = 26, bean_colour: Array | None = None,
) -> Scene:  # fmt: skip
    """One drawn scene."""
    rng = np.random.default_rng(seed)
    size = (122.0, 90.0)
    scale = px_per_mm or rng.uniform(10.2, 11.0)
    h = camera(rng.uniform(0, 12) if tilt is None else tilt, rng.uniform(0, 2 * np.pi), scale, size)
    shape = (round(size[1] * scale), round(size[0] * scale), 3)
    sheet = (
        np.array([0.03, 0.035, 0.045]) if dark_sheet else np.array([0.72, 0.72, 0.70]) * rng.uniform(0.8, 1.1)
    )
    v, u = np.mgrid[0 : shape[0], 0 : shape[1]] / shape[0]
    light = 1 + rng.uniform(-0.15, 0.15) * (u - 0.65) + rng.uniform(-0.15, 0.15) * (v - 0.5)
    picture = np.ones(shape) * sheet
    a = rng.uniform(-0.15, 0.15)
    turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    middle = np.array(size) / 2 + rng.uniform(-5, 5, 2)
    corner = middle - turn @ np.array([42.8, 26.99])
    card = corner + np.array([[0, 0], [85.60, 0], [85.60, 53.98], [0, 53.98]]) @ turn.T
    beans, groups = _lay(rng, size, card, pairs, most)
    shade = np.zeros(shape[:2])
    for bean in beans:
        x, y = project(h, bean[2:4].reshape(1, 2))[0]
        r = bean[1] / 2 * scale
        y0, y1, x0, x1 = (int(max(0, t)) for t in (y - 2 * r, y + 2 * r, x - 2 * r, x + 2 * r))
        yy, xx = np.ogrid[y0 : min(y1, shape[0]), x0 : min(x1, shape[1])]
        shade[y0:y1, x0:x1] += 0.10 * np.exp(-(((yy - y - 3) / r) ** 2 + ((xx - x - 3) / r) ** 2))
    picture *= (1 - ndimage.gaussian_filter(shade, 4))[..., None]

    def on_card(mm: Array) -> NDArray[np.bool_]:
        at = (mm - corner) @ turn
        corner_x = np.maximum(np.abs(at[:, 0] - 42.8) - (42.8 - 3.18), 0)
        corner_y = np.maximum(np.abs(at[:, 1] - 26.99) - (26.99 - 3.18), 0)
        found: NDArray[np.bool_] = np.hypot(corner_x, corner_y) <= 3.18
        return found

    card_colour = np.array([0.55, 0.5, 0.1]) if dark_sheet else np.array([0.05, 0.10, 0.25])
    _paint(picture, h, card, on_card, card_colour, lambda mm: 1 + 0.3 * (np.sin(mm[..., 0] / 7) > 0.9))
    for bean in beans:
        green = (
            np.array([0.24, 0.25, 0.15]) * rng.uniform(0.6, 1.15) * np.array([rng.uniform(0.9, 1.2), 1, 1])
        )
        if bean_colour is not None:  # linear light over that of the sheet, which is taken as 0.9
            green = bean_colour / 0.9 * sheet
        phase, crease = rng.uniform(0, 6, 3), rng.uniform() < 0.5

        def texture(mm: Array, b: Array = bean, p: Array = phase, c: bool = crease) -> Array:
            x, y = mm[..., 0] - b[2], mm[..., 1] - b[3]
            uu, vv = x * np.cos(b[4]) + y * np.sin(b[4]), -x * np.sin(b[4]) + y * np.cos(b[4])
            made = 1 + 0.08 * np.sin(uu * 1.3 + p[0]) * np.cos(vv * 1.7 + p[1])
            if c:
                made = made * (1 + 0.5 * np.exp(-((vv / 0.35) ** 2)) * (np.abs(uu) < 0.4 * b[0]))
            found: Array = made
            return found

        _paint(picture, h, _outline(bean), partial(_inside, bean=bean), green, texture)
    picture *= light[..., None]
    picture = ndimage.gaussian_filter(picture, (*(2 * (rng.uniform(0.5, 1.2) if blur is None else blur,)), 0))
    picture = np.clip(picture, 0, 1)
    coded = np.where(picture <= 0.0031308, picture * 12.92, 1.055 * picture ** (1 / 2.4) - 0.055)
    coded = coded + rng.normal(0, rng.uniform(0.006, 0.02), shape)
    image = Image.fromarray((np.clip(coded, 0, 1) * 255 + 0.5).astype(np.uint8))
    file = io.BytesIO()
    image.save(file, "JPEG", quality=int(rng.integers(84, 96)))
    numbers = np.bincount(groups)
    return Scene(
        file.getvalue(), [(*caliper(b), b[2], b[3]) for b in beans],
        [bool(numbers[g] > 1) for g in groups], groups, corner, turn,
    )  # fmt: skip
