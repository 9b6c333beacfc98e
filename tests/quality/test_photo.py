"""Photo sizing against drawn scenes of known axes, the coin picture of scikit-image, and bad photos.

The scenes are invented geometry, not coffee: they bound the error of the method under tilt, blur,
noise, uneven light, shadow and JPEG. No published set of bean photos with sieve results was found.
"""

from __future__ import annotations

import io
import multiprocessing
import os
from dataclasses import dataclass
from unittest import mock

import numpy as np
import pytest
from PIL import Image
from skimage import data, filters, segmentation
from tests.quality.scenes import Scene, scene

from drydown.errors import DrydownError, InputError
from drydown.quality.photo import colour_summary, measure_photo, photo_screens, read_picture
from drydown.quality.photo.beans import Bean, axes_of
from drydown.quality.photo.picture import linear_light, sheet_of
from drydown.quality.photo.split import labelled, split_clumps

LONG = os.environ.get("DRYDOWN_TEST_LONG") == "1"
SCENES = 200 if LONG else 70


@dataclass
class Measured:
    """One scene: (error of width, error of length, touching) by bean, clumps and those split, widths."""

    errors: list[tuple[float, float, bool]]
    missing: int
    extra: int
    clumps: int
    split: int
    true: list[tuple[float, float]]
    seen: list[tuple[float, float]]


def held_against(truth: Scene, beans: tuple[Bean, ...]) -> Measured:
    """Measured beans matched to drawn ones by their place on the sheet, within a millimetre."""
    drawn = np.array([(b[2], b[3]) for b in truth.beans])
    found = np.array([(b.x_mm, b.y_mm) for b in beans])
    gaps = [np.linalg.norm(way[:, None] - drawn[None], axis=2) for way in truth.on_sheet(found)]
    gap = min(gaps, key=lambda g: float(np.median(g.min(axis=1))))
    errors, used = [], set()
    for i, bean in enumerate(beans):
        j = int(gap[i].argmin())
        if gap[i, j] < 1.0 and j not in used:
            used.add(j)
            length, width, *_ = truth.beans[j]
            errors.append((bean.width_mm - width, bean.length_mm - length, truth.touching[j]))
    clumps: dict[int, list[int]] = {}
    for j, group in enumerate(truth.groups):
        clumps.setdefault(group, []).append(j)
    pairs = [members for members in clumps.values() if len(members) > 1]
    return Measured(
        errors, len(drawn) - len(used), len(beans) - len(errors), len(pairs),
        sum(all(j in used for j in members) for members in pairs),
        [(b[1], b[0]) for b in truth.beans], [(b.width_mm, b.length_mm) for b in beans],
    )  # fmt: skip


def _one(seed: int) -> Measured:
    made = scene(seed)
    return held_against(made, measure_photo(read_picture(made.content)).beans)


@pytest.fixture(scope="module")
def measured() -> list[Measured]:
    """All scenes, two at a time."""
    alone = mock.patch.dict(os.environ, {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"})
    with alone, multiprocessing.get_context("spawn").Pool(2) as pool:
        return pool.map(_one, range(SCENES), chunksize=5)


@pytest.mark.timeout(900)
def test_widths_of_drawn_scenes(measured: list[Measured]) -> None:
    """The mark of the issue: bias under 0.05 mm, 95 % within 0.15 mm, at 10 px/mm or a little more."""
    errors = np.array([e[:2] for m in measured for e in m.errors])
    assert len(errors) > 17 * SCENES
    assert abs(errors[:, 0].mean()) < 0.05
    assert np.percentile(np.abs(errors[:, 0]), 95) < 0.15
    assert abs(errors[:, 1].mean()) < 0.05
    touching = np.array([e[0] for m in measured for e in m.errors if e[2]])
    assert np.percentile(np.abs(touching), 95) < 0.15


def test_touching_beans_are_split(measured: list[Measured]) -> None:
    clumps = sum(m.clumps for m in measured)
    assert clumps > SCENES
    assert sum(m.split for m in measured) >= 0.95 * clumps
    assert sum(m.missing + m.extra for m in measured) <= 0.02 * sum(len(m.true) for m in measured)


def _shares(axes: list[tuple[float, float]], by_mass: bool) -> np.ndarray:
    beans = [Bean(length, width, 0, 0, (0, 0, 0), False) for width, length in axes]
    rows = photo_screens(beans).rows
    return np.array([r.by_mass if by_mass else r.beans / len(beans) for r in rows])


def test_shares_by_screen_within_three_points(measured: list[Measured]) -> None:
    """Ten photos, about 300 beans, are one sample: each screen's share against that of the true axes."""
    for at in range(0, SCENES, 10):
        part = measured[at : at + 10]
        true = [axes for m in part for axes in m.true]
        seen = [axes for m in part for axes in m.seen]
        for by_mass in (False, True):
            assert np.abs(_shares(true, by_mass) - _shares(seen, by_mass)).max() < 0.03


def test_the_coin_picture_is_counted_right() -> None:
    """scikit-image's own picture of 24 coins on a dark, unevenly lit ground (open licence, in the package).

    Only the parting of things from ground and from each other is tried: there is no card in it.
    """
    picture = data.coins()
    markers = np.zeros(picture.shape, dtype=int)
    markers[picture < 30] = 1
    markers[picture > 150] = 2
    mask = segmentation.watershed(filters.sobel(picture), markers) == 2
    labels = labelled(mask, 200)
    parted, doubtful = split_clumps(labels, skip=-1)
    assert len(np.unique(parted)) - 1 == 24
    assert not doubtful


def test_ellipse_axes_of_exact_points() -> None:
    """Definition: points on an ellipse give its axes back; also from 60 % of it."""
    t = np.linspace(0, 2 * np.pi, 200)
    turned = np.array([[np.cos(0.7), -np.sin(0.7)], [np.sin(0.7), np.cos(0.7)]])
    points = np.column_stack([4.5 * np.cos(t), 3.1 * np.sin(t)]) @ turned.T + [20.0, 35.0]
    for part in (points, points[:120]):
        found = axes_of(part)
        assert found is not None
        assert (found.length, found.width, found.x, found.y) == pytest.approx(
            (9.0, 6.2, 20.0, 35.0), abs=1e-6
        )
        assert found.off < 1e-6


def test_damaged_notes_of_a_camera_do_not_stop_a_photo() -> None:
    """Bytes of the notes turned at random: the photo is read, or refused in words."""
    image = Image.open(io.BytesIO(_picture(np.full((420, 420, 3), 180))))
    exif = Image.Exif()
    exif[0x0112], exif[0x010F] = 6, "maker"
    exif.get_ifd(0x8769)[0xA405] = 28
    file = io.BytesIO()
    image.save(file, "JPEG", exif=exif)
    whole = file.getvalue()
    assert read_picture(whole).focal_35 == 28
    rng, start = np.random.default_rng(2), whole.index(b"Exif")
    for _ in range(150):
        bad = bytearray(whole)
        for spot in rng.integers(start, start + 120, 4):
            bad[spot] = rng.integers(256)
        try:
            read_picture(bytes(bad))
        except InputError:
            continue


def test_linear_light_of_known_codes() -> None:
    """IEC 61966-2-1: code 0.5 is 0.2140 in linear light; 0.04045 is 0.0031308."""
    assert linear_light(np.array([0.0, 0.04045, 0.5, 1.0])) == pytest.approx(
        [0, 0.0031308, 0.21404, 1], rel=1e-4
    )


def _picture(shade: np.ndarray) -> bytes:
    file = io.BytesIO()
    Image.fromarray(shade.astype(np.uint8)).save(file, "PNG")
    return file.getvalue()


def _bad(name: str) -> bytes:
    rng = np.random.default_rng(5)
    made = {
        "far": lambda: scene(3, px_per_mm=7.5).content,
        "aslant": lambda: scene(3, px_per_mm=13, tilt=26).content,
        "blurred": lambda: scene(3, blur=5.0).content,
        "empty": lambda: _picture(np.full((900, 1200, 3), 190)),
        "no card": lambda: _without_card(scene(3).content),
        "noise": lambda: _picture(rng.integers(0, 255, (900, 1200, 3))),
        "small": lambda: _picture(np.full((200, 300, 3), 190)),
        "text": lambda: b"not a picture",
        "cut off": lambda: scene(3).content[:5000],
        "only a card": lambda: scene(3, pairs=0.0, most=0).content,
    }
    return made[name]()  # type: ignore[no-untyped-call]


def _without_card(content: bytes) -> bytes:
    shade = np.asarray(Image.open(io.BytesIO(content))).copy()
    blue = (shade[..., 2].astype(int) - shade[..., 0]) > 25
    shade[np.asarray(Image.fromarray(blue).resize(blue.shape[::-1]))] = 200
    return _picture(shade)


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("far", "pixels; 10 are needed"), ("aslant", "degrees aslant"), ("blurred", "edge is spread"),
        ("empty", "nothing stands out"), ("no card", "card is not seen whole"),
        ("noise", "sheet is not plain"),
        ("small", "only 200 pixels"), ("text", "cannot be read"), ("cut off", "cannot be read"),
        ("only a card", "card is not seen whole|only 0 beans"),
    ],
)  # fmt: skip
def test_bad_photos_are_refused_with_the_reason(name: str, says: str) -> None:
    with pytest.raises(InputError, match=says):
        measure_photo(read_picture(_bad(name)))


def test_a_dark_sheet_serves_as_well() -> None:
    """Pale parchment needs a dark sheet; the same marks hold there."""
    made = scene(8, dark_sheet=True)
    found = held_against(made, measure_photo(read_picture(made.content)).beans)
    errors = np.array([e[0] for e in found.errors])
    assert found.missing <= 1
    assert abs(errors.mean()) < 0.05
    assert np.percentile(np.abs(errors), 95) < 0.15


def test_a_turned_photo_is_turned_upright_by_its_notes() -> None:
    made = scene(4)
    image = Image.open(io.BytesIO(made.content))
    exif = Image.Exif()
    exif[0x0112] = 6
    file = io.BytesIO()
    image.rotate(90, expand=True).save(file, "JPEG", quality=95, exif=exif)
    assert read_picture(file.getvalue()).rgb.shape == read_picture(made.content).rgb.shape


def test_colour_is_told_against_the_sheet() -> None:
    """Common practice, no source: twice the light on beans and sheet alike changes no colour."""
    made = read_picture(scene(6, pairs=0.0).content)
    dimmer = type(made)(made.rgb * 0.6)
    one, other = (colour_summary(measure_photo(p).beans) for p in (made, dimmer))
    assert other.lightness == pytest.approx(one.lightness, abs=1.0)
    assert (other.a, other.b) == pytest.approx((one.a, one.b), abs=1.0)


def test_screens_of_widths_at_a_hole() -> None:
    """ISO 4150: screen 16 is 6.30 mm; a bean of 6.29 mm falls through, one of 6.31 mm stays."""
    beans = [Bean(9.0, w, 0, 0, (0, 0, 0), False) for w in (6.29, 6.31, 3.0)]
    rows = photo_screens(beans, "iso", ["16", "15"])
    assert [r.beans for r in rows.rows] == [1, 1, 1]
    assert rows.on("16").above == pytest.approx(1 / 3)
    with pytest.raises(DrydownError, match="no beans"):
        photo_screens([])


def test_sheet_follows_the_light() -> None:
    made = read_picture(scene(2).content)
    sheet = sheet_of(made)
    corner = np.abs(sheet.rgb[:40, :40] - made.rgb[:40, :40]).mean()
    assert corner < 0.03
