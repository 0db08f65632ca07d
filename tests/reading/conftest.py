"""Made-up sightings: what a picture might have shown, without a picture."""

from __future__ import annotations

import sys
import types
from datetime import datetime
from decimal import Decimal

import numpy as np
import pytest
from PIL import Image

from reading.result import FROM_USER, PhotoRecord, When
from vision.scale import Scale
from vision.sighting import Alternative, Sighting

FINE = Scale(Decimal("0.5"), 50)
NOON = datetime(2026, 11, 25, 12, 0)


@pytest.fixture
def sighted():
    """Make a sighting of (turns, division) on a scale."""

    def make(turns, division, scale=FINE, *, others=(), **changes):
        values = {
            "scale": scale,
            "scale_given": True,
            "scale_probability": 1.0,
            "turns": turns,
            "division": division,
            "u_division": 0.1,
            "confidence": 0.98,
            "px_per_division": 12.5,
            "roll_rad": 0.0,
            "parallax_divisions": 0.012,
            "alternatives": tuple(Alternative(*one) for one in others),
        }
        return Sighting(**{**values, **changes})

    return make


@pytest.fixture
def photo():
    return PhotoRecord("bench3.jpg", "ab" * 32)


@pytest.fixture
def noon():
    return When(NOON, FROM_USER)


@pytest.fixture
def photos(tmp_path, monkeypatch):
    """Make photo files that are sighted as they are told: ``photos(name=..., seen=...)``."""
    shows = {}
    pipeline = types.ModuleType("vision.pipeline")
    pipeline.sight = lambda photo, scale, **known: shows[photo.path](scale)
    monkeypatch.setitem(sys.modules, "vision.pipeline", pipeline)
    monkeypatch.setattr("reading.batch.worker_count", lambda photos: 1)

    def make(name, seen, *, taken=None, folder=tmp_path):
        path = folder / name
        pixels = np.random.default_rng(len(shows)).integers(0, 255, (24, 40), dtype=np.uint8)
        exif = Image.Exif()
        if taken is not None:
            exif.get_ifd(0x8769)[0x9003] = taken  # DateTimeOriginal, CIPA DC-008 4.6.5 F
        Image.fromarray(pixels).save(path, exif=exif.tobytes())
        shows[path] = seen if callable(seen) else lambda scale: seen
        return path

    return make
