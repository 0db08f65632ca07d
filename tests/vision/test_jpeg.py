"""Damaged JPEGs, with libjpeg's own warnings (through OpenCV) as the outside judge."""

from __future__ import annotations

import io
import os
import tempfile

import cv2
import numpy as np
import pytest
from PIL import Image

from vision.jpeg import decode_grey, open_jpeg, read_frame

KINDS = {
    "plain": {"quality": 90},
    "full colour": {"quality": 80, "subsampling": 0},
    "own tables": {"quality": 60, "optimize": True},
    "restarts": {"quality": 85, "restart_marker_blocks": 37},
    "progressive": {"quality": 85, "progressive": True},
}


def texture(rng, height, width):
    """Draw something that, like a photo, leaves no block empty."""
    coarse = rng.normal(120, 30, (height // 8 + 2, width // 8 + 2)).astype(np.float32)
    smooth = cv2.resize(coarse, (width, height), interpolation=cv2.INTER_CUBIC)
    return np.clip(smooth + rng.normal(0, 4, smooth.shape), 0, 255).astype(np.uint8)


def encode(grey, mode="RGB", **options):
    out = io.BytesIO()
    Image.merge("RGB", [Image.fromarray(p) for p in (grey, 255 - grey, grey)]).convert(mode).save(
        out, "JPEG", **options
    )
    return out.getvalue()


def strict(data):
    frame = read_frame(data)
    return decode_grey(open_jpeg(data, frame), frame)


def warned(data):
    """Tell whether libjpeg warns about a file; OpenCV passes its warnings to the terminal."""
    with tempfile.TemporaryFile() as caught:
        kept = os.dup(2)
        os.dup2(caught.fileno(), 2)
        try:
            cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_GRAYSCALE)
        finally:
            os.dup2(kept, 2)
            os.close(kept)
        return caught.tell() > 0


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("mode", ["RGB", "L"])
def test_sound_files_give_opencv_s_pixels(kind, mode):
    rng = np.random.default_rng(1)
    for height, width in [(203, 331), (16, 16), (64, 80), (7, 300), (300, 5), (1, 1)]:
        data = encode(texture(rng, height, width), mode, **KINDS[kind])
        expected = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_GRAYSCALE)
        np.testing.assert_array_equal(strict(data), expected)


@pytest.mark.parametrize("kind", KINDS)
def test_every_cut_is_noticed(kind):
    data = encode(texture(np.random.default_rng(2), 203, 331), **KINDS[kind])
    for kept in np.linspace(4, len(data) - 1, 60).astype(int):
        with pytest.raises((ValueError, OSError)):
            strict(data[:kept])


@pytest.mark.parametrize("kind", ["plain", "full colour", "own tables"])
def test_a_cut_that_was_given_an_end_is_noticed(kind):
    rng = np.random.default_rng(3)
    data = encode(texture(rng, 203, 331), **KINDS[kind])
    start = read_frame(data).scan_at
    for kept in np.linspace(start + 100, start + (len(data) - start) * 0.8, 40).astype(int):
        whole = data[:kept].rstrip(b"\xff") + b"\xff\xd9"
        with pytest.raises(ValueError, match=r"cut short|corrupt"):
            strict(whole)


@pytest.mark.parametrize("kind", ["plain", "full colour"])
def test_damage_that_libjpeg_warns_of_is_noticed(kind):
    rng = np.random.default_rng(4)
    warnings = noticed = 0
    for _ in range(80):
        data = bytearray(encode(texture(rng, 203, 331), **KINDS[kind]))
        at = int(rng.integers(read_frame(bytes(data)).scan_at, len(data) - 200))
        data[at : at + 64] = rng.bytes(64)
        if not warned(bytes(data)):
            continue
        warnings += 1
        try:
            strict(bytes(data))
        except (ValueError, OSError):
            noticed += 1
    assert warnings > 30
    assert noticed >= 0.9 * warnings


@pytest.mark.parametrize("kind", ["plain", "full colour", "own tables"])
def test_sound_files_of_any_size_and_quality_are_taken(kind):
    rng = np.random.default_rng(8)
    for _ in range(150):
        size = rng.integers(8, 120, 2)
        options = KINDS[kind] | {"quality": int(rng.integers(30, 97))}
        strict(encode(texture(rng, *map(int, size)), rng.choice(["RGB", "L"]), **options))


@pytest.mark.parametrize("options", [{"quality": 90}, {"quality": 90, "optimize": True}])
def test_a_plain_grey_ground_is_no_damage(options):
    for box in [(60, 100, 60, 150), (0, 203, 0, 331), (120, 203, 0, 331), (0, 0, 0, 0)]:
        grey = np.full((203, 331), 128, np.uint8)
        top, bottom, left, right = box
        grey[top:bottom, left:right] = texture(np.random.default_rng(5), 203, 331)[
            top:bottom, left:right
        ]
        out = io.BytesIO()
        Image.fromarray(grey).save(out, "JPEG", **options)
        strict(out.getvalue())


def test_what_follows_the_picture_is_left_out():
    data = encode(texture(np.random.default_rng(6), 50, 70), quality=90)
    expected = strict(data)
    np.testing.assert_array_equal(strict(data + b"\xff\xd8\xff" + bytes(range(256)) * 9), expected)
    np.testing.assert_array_equal(strict(data[:-2] + bytes(900) + data[-2:]), expected)


def test_a_file_of_endless_scans_is_refused():
    data = encode(texture(np.random.default_rng(7), 40, 40), progressive=True)
    start = data.rindex(b"\xff\xda")
    bomb = data[:start] + data[start:-2] * 1000 + data[-2:]
    with pytest.raises(ValueError, match="scans"):
        read_frame(bomb)
