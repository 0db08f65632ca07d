"""The same picture saved anew is told from another picture of the same gauge."""

from __future__ import annotations

import tempfile
from pathlib import Path

import cv2
import numpy as np
import pytest

from reading.marking.likeness import alike, print_of
from tests.project.console import ROOT
from vision.photo import load
from vision.pipeline import sight

PHOTOS = sorted((ROOT / "demo_images").glob("*.jpg"))
OWN = [path for path in PHOTOS if path.name not in ("overlay.jpg", "no-gauge.jpg")]


def grey(path):
    return cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)


def saved_anew(picture, quality, factor):
    size = (round(picture.shape[1] * factor), round(picture.shape[0] * factor))
    small = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
    _, data = cv2.imencode(".jpg", small, [cv2.IMWRITE_JPEG_QUALITY, quality])
    return cv2.imdecode(data, cv2.IMREAD_GRAYSCALE)


def seen(path_or_grey):
    """Give what a picture is known again by, as `datumline mark` makes it."""
    picture = path_or_grey if isinstance(path_or_grey, np.ndarray) else grey(path_or_grey)
    ok, data = cv2.imencode(".png", picture)
    assert ok
    with tempfile.NamedTemporaryFile(suffix=".png") as file:
        file.write(data.tobytes())
        file.flush()
        photo = load(Path(file.name))
    return print_of(photo.grey, sight(photo, None))


def cropped(picture):
    """Cut up to 15 % a side, resize, brighten and turn by a quarter, by a seed."""
    rng = np.random.default_rng(len(OWN))
    height, width = picture.shape
    left, right, top, low = (
        round(one) for one in rng.uniform(0, 0.15, 4) * [width, width, height, height]
    )
    part = picture[top : height - low, left : width - right]
    return np.ascontiguousarray(np.rot90(saved_anew(CHANGES["brighter"](part), 60, 0.8), 3))


CHANGES = {
    "saved anew": lambda one: saved_anew(one, 40, 0.5),
    "brighter": lambda one: np.clip(one * 1.2 + 10, 0, 255).astype(np.uint8),
    "turned": lambda one: np.ascontiguousarray(np.rot90(one)),
    "trimmed": lambda one: one[4:-4, 6:-6],
    "cropped": cropped,
}


@pytest.fixture(scope="module")
def prints():
    return {path.name: seen(path) for path in OWN[:5]}


@pytest.mark.parametrize("change", CHANGES)
def test_the_same_picture_is_found(change, prints):
    for path in OWN[:5]:
        if change == "cropped" and prints[path.name].shown is None:
            continue  # laid over each other are photos that were read
        pair = [prints[path.name], seen(CHANGES[change](grey(path)))]
        assert alike(pair) == [(0, 1)], path.name


def test_other_pictures_of_the_same_gauges_are_not(prints):
    assert alike(list(prints.values())) == []


def test_empty_pictures_are_like_nothing():
    empty = seen(np.full((400, 600), 128, np.uint8))
    assert not empty.whole.any()
    assert alike([empty, empty]) == []
