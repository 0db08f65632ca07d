"""The same picture saved anew is told from another picture of the same gauge."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from reading.marking.likeness import alike, fingerprint
from tests.project.console import ROOT

PHOTOS = sorted((ROOT / "demo_images").glob("*.jpg"))
OWN = [path for path in PHOTOS if path.name not in ("overlay.jpg", "no-gauge.jpg")]


def grey(path):
    return cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)


def saved_anew(picture, quality, factor):
    size = (round(picture.shape[1] * factor), round(picture.shape[0] * factor))
    small = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
    _, data = cv2.imencode(".jpg", small, [cv2.IMWRITE_JPEG_QUALITY, quality])
    return cv2.imdecode(data, cv2.IMREAD_GRAYSCALE)


CHANGES = {
    "saved anew": lambda one: saved_anew(one, 40, 0.5),
    "brighter": lambda one: np.clip(one * 1.2 + 10, 0, 255).astype(np.uint8),
    "turned": lambda one: np.ascontiguousarray(np.rot90(one)),
    "trimmed": lambda one: one[4:-4, 6:-6],
}


@pytest.mark.parametrize("change", CHANGES)
def test_the_same_picture_is_found(change):
    for path in OWN:
        picture = grey(path)
        pair = [fingerprint(picture), fingerprint(CHANGES[change](picture))]
        assert alike(pair) == [(0, 1)], path.name


def test_other_pictures_of_the_same_gauges_are_not():
    assert alike([fingerprint(grey(path)) for path in OWN]) == []


def test_empty_pictures_are_like_nothing():
    empty = fingerprint(np.full((40, 60), 128, np.uint8))
    assert not empty.any()
    assert alike([empty, empty]) == []
