"""Whatever an ordinary file holds, its grey pixels come out upright and right."""

from __future__ import annotations

import hashlib
import subprocess
import sys
from datetime import datetime
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from vision.photo import PhotoError, load

# Where the picture's first row and first column are stored, by Exif orientation: what the "0th row"
# and "0th column" of CIPA DC-008-2019 (Exif 2.32), 4.6.4 A, are as seen by the eye.
ROW_AND_COLUMN = {
    1: ("top", "left"),
    2: ("top", "right"),
    3: ("bottom", "right"),
    4: ("bottom", "left"),
    5: ("left", "top"),
    6: ("right", "top"),
    7: ("right", "bottom"),
    8: ("left", "bottom"),
}
EXACT = {"png": {}, "tiff": {}, "webp": {"lossless": True}, "bmp": {}}


def scene(height=40, width=56):
    """Draw an upright picture without any symmetry, in 8 x 8 blocks that JPEG keeps."""
    blocks = np.random.default_rng(0).integers(30, 220, (height // 8, width // 8))
    return np.kron(blocks, np.ones((8, 8))).astype(np.uint8)


def as_stored(upright, orientation):
    """Store a picture so that its rows and columns start where the orientation says."""
    row, column = ROW_AND_COLUMN[orientation]
    sideways = row in ("left", "right")
    stored = np.array([list(line) for line in zip(*upright, strict=True)]) if sideways else upright
    if row in ("bottom", "right"):
        stored = stored[::-1]
    if column in ("bottom", "right"):
        stored = stored[:, ::-1]
    return np.ascontiguousarray(stored)


def exif_of(orientation=1, **times):
    exif = Image.Exif()
    exif[0x0112] = orientation
    if "written" in times:
        exif[0x0132] = times["written"]
    if "original" in times:
        exif.get_ifd(0x8769)[0x9003] = times["original"]
    return exif


@pytest.mark.parametrize("orientation", ROW_AND_COLUMN)
@pytest.mark.parametrize("kind", ["jpeg", "png", "tiff", "webp"])
@pytest.mark.parametrize("mode", ["L", "RGB"])
def test_every_orientation_comes_out_upright(tmp_path, kind, orientation, mode):
    upright, path = scene(), tmp_path / f"a.{kind}"
    options = EXACT.get(kind, {"quality": 100})
    image = Image.fromarray(as_stored(upright, orientation)).convert(mode)
    image.save(path, exif=exif_of(orientation), **options)
    grey = load(path).grey
    assert grey.shape == upright.shape
    assert np.abs(grey.astype(int) - upright).max() <= (2 if kind == "jpeg" else 0)


@pytest.mark.parametrize("orientation", ROW_AND_COLUMN)
def test_heic_comes_out_upright(tmp_path, orientation):
    pillow_heif = pytest.importorskip("pillow_heif")
    upright = scene(80, 112)
    image = Image.fromarray(as_stored(upright, orientation)).convert("RGB")
    image.info["exif"] = exif_of(orientation).tobytes()
    pillow_heif.register_heif_opener()
    image.save(tmp_path / "a.heic", quality=100)  # as a rotation and mirror box of ISO/IEC 23008-12
    grey = load(tmp_path / "a.heic").grey
    assert grey.shape == upright.shape
    assert np.abs(grey.astype(int) - upright).max() <= 6


def test_heic_without_its_package_names_the_package(tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "pillow_heif", None)
    (tmp_path / "a.heic").write_bytes(b"\0\0\0\x18ftypheic" + bytes(50))
    with pytest.raises(PhotoError, match=r"a\.heic: .*pip install 'datumline\[heic\]'"):
        load(tmp_path / "a.heic")


@pytest.mark.parametrize("kind", ["png", "tiff"])
def test_sixteen_bits_are_scaled(tmp_path, kind):
    deep = np.arange(0, 65536, 16, dtype=np.uint16).reshape(64, 64)
    path = tmp_path / f"a.{kind}"
    cv2.imwrite(str(path), deep)
    expected = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
    assert np.abs(load(path).grey.astype(int) - expected).max() <= 1
    assert load(path).grey[-1, -1] == 255


@pytest.mark.parametrize("kind", ["png", "tiff"])
def test_sixteen_bits_of_colour_are_scaled(tmp_path, kind):
    deep = np.random.default_rng(1).integers(0, 65536, (30, 41, 3)).astype(np.uint16)
    path = tmp_path / f"a.{kind}"
    cv2.imwrite(str(path), deep)
    expected = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
    assert np.abs(load(path).grey.astype(int) - expected).max() <= 2


def test_more_than_sixteen_bits_are_refused(tmp_path):
    Image.fromarray(np.full((9, 9), 0.5, np.float32)).save(tmp_path / "a.tiff")
    with pytest.raises(PhotoError, match=r"a\.tiff: more than 16 bits"):
        load(tmp_path / "a.tiff")


@pytest.mark.parametrize(
    ("kind", "mode"),
    [(kind, mode) for kind in ("png", "tiff", "bmp") for mode in ("L", "RGB", "P", "1")]
    + [("webp", "RGB")],
)
def test_every_mode_gives_its_luminance(tmp_path, kind, mode):
    colour = np.random.default_rng(2).integers(0, 256, (23, 37, 3)).astype(np.uint8)
    image = Image.fromarray(colour).convert(mode)
    image.save(tmp_path / f"a.{kind}", **EXACT[kind])
    red, green, blue = np.moveaxis(np.asarray(image.convert("RGB")).astype(float), 2, 0)
    expected = 0.299 * red + 0.587 * green + 0.114 * blue  # ITU-R BT.601, 2.5.1
    assert np.abs(load(tmp_path / f"a.{kind}").grey - expected).max() <= 1


@pytest.mark.parametrize("kind", ["jpeg", "tiff"])
def test_four_inks_give_their_luminance(tmp_path, kind):
    upright = scene()
    inks = Image.merge("CMYK", [Image.new("L", (56, 40))] * 3 + [Image.fromarray(255 - upright)])
    inks.save(tmp_path / f"a.{kind}", **({"quality": 100} if kind == "jpeg" else {}))
    assert np.abs(load(tmp_path / f"a.{kind}").grey.astype(int) - upright).max() <= 2


@pytest.mark.parametrize("progressive", [False, True])
def test_a_jpeg_costs_no_pixel(tmp_path, progressive):
    colour = np.random.default_rng(3).integers(0, 256, (61, 83, 3)).astype(np.uint8)
    path = tmp_path / "a.jpg"
    Image.fromarray(colour).save(path, progressive=progressive)
    np.testing.assert_array_equal(load(path).grey, cv2.imread(str(path), cv2.IMREAD_GRAYSCALE))


@pytest.mark.parametrize("mode", ["LA", "RGBA"])
@pytest.mark.parametrize("kind", ["png", "tiff"])
def test_transparent_pixels_show_white_not_what_they_hide(tmp_path, mode, kind):
    image = Image.new("RGBA", (20, 10), (10, 10, 10, 255))
    image.paste((90, 90, 90, 0), (0, 0, 10, 10))
    image.paste((100, 100, 100, 128), (15, 0, 20, 10))
    image.convert(mode).save(tmp_path / f"a.{kind}")
    grey = load(tmp_path / f"a.{kind}").grey
    assert (grey[:, :10] == 255).all()
    assert (grey[:, 10:15] == 10).all()
    assert np.abs(grey[:, 15:].astype(int) - (100 * 128 + 255 * 127) / 255).max() <= 1


def test_a_transparent_colour_of_a_palette_shows_white(tmp_path):
    image = Image.new("P", (8, 6), 1)
    image.putpalette([200, 0, 0, 60, 60, 60])
    image.putpixel((2, 3), 0)
    image.save(tmp_path / "a.png", transparency=0)
    grey = load(tmp_path / "a.png").grey
    assert grey[3, 2] == 255
    assert (np.delete(grey.ravel(), 3 * 8 + 2) == 60).all()


@pytest.mark.parametrize("kind", ["tiff", "png", "webp"])
def test_the_first_of_several_frames_counts(tmp_path, kind):
    frames = [Image.new("L", (20, 10), value) for value in (50, 200)]
    options = EXACT[kind] | {"save_all": True, "append_images": frames[1:]}
    frames[0].save(tmp_path / f"a.{kind}", **options)
    assert (load(tmp_path / f"a.{kind}").grey == 50).all()


def test_the_time_it_was_taken(tmp_path):
    original, written = "2026:03:04 05:06:07", "2026:05:01 12:00:00"
    cases = [
        ({"original": original, "written": written}, datetime(2026, 3, 4, 5, 6, 7)),
        ({"written": written}, datetime(2026, 5, 1, 12)),
        ({"original": "0000:00:00 00:00:00", "written": written}, datetime(2026, 5, 1, 12)),
        ({"original": "yesterday"}, None),
        ({}, None),
    ]
    for kind in ("jpeg", "png", "webp", "tiff"):
        # Pillow writes no Exif directory into a TIFF.
        for times, expected in cases[1:] if kind == "tiff" else cases:
            path = tmp_path / f"a.{kind}"
            Image.fromarray(scene()).save(path, exif=exif_of(6, **times))
            assert load(path).taken == expected, (kind, times)


def test_a_photo_says_nothing_of_where_it_was_taken(tmp_path):
    exif = exif_of(1)
    exif.get_ifd(0x8825)[2] = (12.0, 34.0, 56.0)
    Image.fromarray(scene()).save(tmp_path / "a.jpg", exif=exif)
    photo = load(tmp_path / "a.jpg")
    assert set(vars(photo)) == {"path", "name", "sha256", "grey", "taken"}
    assert "34" not in repr(photo).replace(photo.sha256, "").replace(str(tmp_path), "")


def test_what_a_photo_carries(tmp_path):
    path = tmp_path / "Größe 1.PNG"
    Image.fromarray(scene()).save(path)
    photo = load(path)
    assert (photo.path, photo.name) == (path, "Größe 1.PNG")
    assert photo.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert photo.grey.dtype == np.uint8
    assert photo.grey.flags.c_contiguous
    with pytest.raises(ValueError, match="read-only"):
        photo.grey[0, 0] = 0


def test_the_format_is_told_by_content(tmp_path):
    Image.fromarray(scene()).save(tmp_path / "a.png")
    (tmp_path / "a.jpg").write_bytes((tmp_path / "a.png").read_bytes())
    np.testing.assert_array_equal(load(tmp_path / "a.jpg").grey, scene())


def test_the_limit_can_be_set_and_pillow_s_own_is_left_alone(tmp_path, monkeypatch):
    monkeypatch.setattr(Image, "MAX_IMAGE_PIXELS", 1000)
    path = tmp_path / "a.png"
    Image.fromarray(scene()).save(path, exif=exif_of(6))
    assert load(path, max_pixels=40 * 56).grey.shape == (56, 40)
    assert Image.MAX_IMAGE_PIXELS == 1000
    with pytest.raises(PhotoError, match=r"a\.png: 56 x 40 px, at most 0\.002239 million allowed"):
        load(path, max_pixels=40 * 56 - 1)


def test_loading_needs_no_opencv():
    heavy = "{'cv2', 'skimage', 'scipy', 'pillow_heif'}"
    code = f"import sys, vision.photo; sys.exit(bool({heavy} & set(sys.modules)))"
    assert (
        subprocess.run([sys.executable, "-c", code], cwd=Path(__file__).parents[2]).returncode == 0
    )
