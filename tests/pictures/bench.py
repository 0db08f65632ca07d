"""Rendered photographs for the tests: easy ones of the bench, benign ones of chosen readings."""

from __future__ import annotations

import io
import math
from dataclasses import replace
from decimal import Decimal
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
from PIL import Image, ImageOps

from fixtures.annotate import ARROWS, FRAMES, TEXTS
from fixtures.clutter import NOTHING, SLOTS
from fixtures.compose import Shot, draw_shot, metered_on_gauge, step_back, take
from fixtures.gauge import KINDS
from fixtures.photograph import draw_extras
from fixtures.scene import View, draw_scene
from vision.photo import Photo
from vision.scale import Scale
from vision.sighting import Refusal, Sighting

MEGAPIXELS = 0.4
SCENES_FROM = 60_000  # seeds below all splits, and apart from the demo images'


def photo(grey: np.ndarray) -> Photo:
    """Make a photo of a grey picture, as if it had been loaded."""
    grey = np.ascontiguousarray(grey, dtype=np.uint8)
    grey.setflags(write=False)
    return Photo(Path("bench.png"), "bench.png", "", grey, None)


def jpeg(grey: np.ndarray, quality: int) -> np.ndarray:
    """Store a picture as a JPEG and open it again."""
    file = io.BytesIO()
    Image.fromarray(grey).save(file, "JPEG", quality=quality)
    return np.asarray(ImageOps.exif_transpose(Image.open(file)).convert("L"))


def scale_of(shot: Shot) -> Scale:
    """What is engraved on the gauge of a shot, and numbered on its sleeve."""
    kind = shot.kind
    start = Decimal(round(float(shot.scene["start"]))) if shot.scene["start_on_sleeve"] else 0
    return Scale(
        Decimal(kind.pitch), kind.divisions, kind.unit, Decimal(start), kind.vernier or None
    )


def shown(shot: Shot) -> float:
    """What the gauge of a shot shows, in divisions above its range start."""
    return float(shot.scene["shown"])


@lru_cache(maxsize=32)
def rendered(seed: int) -> tuple[Shot, np.ndarray]:
    """Take the bench's picture of a seed, stored as its own JPEG quality says."""
    shot = draw_shot(seed, megapixels=MEGAPIXELS)
    grey = np.rint(np.clip(take(shot).picture, 0, 1) * 255).astype(np.uint8)
    return shot, jpeg(grey, shot.quality) if shot.quality else grey


def benign(
    kind: str, shown_divisions: float, seed: int, *, px: float = 13.0, edge_set: float = 0.12
) -> Shot:
    """Plan a clear photo of a gauge that shows `shown_divisions`: a steady hand and good light.

    The seed keeps the gauge, the table and the light the same, whatever the gauge shows.
    """
    of_kind = next(k for k in KINDS if k.name == kind)
    rng = np.random.default_rng(SCENES_FROM + seed)
    scene = draw_scene(rng, of_kind, shown_divisions)
    worn = {"ink": 0.02, "ink_gloss": 0.05, "opacity": 0.97, "wear": 0.0, "overfill": 0.0}
    worn |= {"paint": 1.0, "paint_lean": 0.0, "uneven": 0.0, "groove": 0.0, "width_spread": 0.0}
    worn |= dict.fromkeys(("gap_dark", "echo", "lip", "band", "band_dark", "stain"), 0.0)
    worn |= {"smear_deep": 0.0, "print_deep": 0.0, "scratch": 0.0, "bevel_tone": 1.0}
    scene |= worn | {"number_turned": 0.0, "tnumber_turned": 0.0, "text_on": 0.0, "dtext_on": 0.0}
    scene |= {"start": 0.0, "no_gauge": 0.0, "lever_r": -1.0, "object_r": -1.0}
    scene |= {"edge_set": edge_set, "edge_x": float(scene["shown_mm"]) + edge_set}
    division_mm = 2 * math.pi * float(scene["edge_r"]) / float(scene["divisions"])
    diameter = px / division_mm * 2 * float(scene["sleeve_r"])
    size = (840, 630)
    view = step_back(scene, View(0.06, 0.05, 0.1, 260.0, diameter, 470.0, 290.0), size)
    extras = draw_extras(rng)
    extras |= {"disc_px": 0.0, "motion_px": 0.0, "focus_blur_px": 0.0, "web_scale": 1.0}
    extras |= {"gauss_px": 0.7, "sharpen": 0.2, "read_noise": 0.003, "border": 0.0}
    extras |= {f"{where}{n}_kind": NOTHING for where in ("over", "under") for n in range(SLOTS)}
    for name, count in (("arrow", ARROWS), ("frame", FRAMES), ("text", TEXTS)):
        extras |= {f"{name}{n}_on": 0.0 for n in range(count)}
    extras |= metered_on_gauge(rng, scene, view)
    return Shot(SCENES_FROM + seed, scene, view, extras, size)


@lru_cache(maxsize=64)
def _taken(key: tuple[str, float, int, float, float]) -> tuple[Shot, np.ndarray]:
    kind, shown_divisions, seed, px, edge_set = key
    shot = benign(kind, shown_divisions, seed, px=px, edge_set=edge_set)
    return shot, np.rint(np.clip(take(shot).picture, 0, 1) * 255).astype(np.uint8)


def clear_photo(
    kind: str, shown_divisions: float, seed: int, *, px: float = 13.0, edge_set: float = 0.12
) -> tuple[Shot, np.ndarray]:
    """Take the picture that `benign` plans."""
    return _taken((kind, shown_divisions, seed, px, edge_set))


def spoilt(shot: Shot, **changes: object) -> np.ndarray:
    """Take a shot anew with other extras, view or scene."""
    changed = replace(shot, **changes)
    return np.rint(np.clip(take(changed).picture, 0, 1) * 255).astype(np.uint8)


def miss(seen: Sighting | Refusal, shot: Shot) -> float:
    """Reading minus truth, in divisions; an error that names the reasons if there is none."""
    assert isinstance(seen, Sighting), [r.code for r in seen.reasons]
    lengths = [
        float(scale.to_mm(scale.start)) + divisions * float(scale.to_mm(scale.least_count))
        for scale, divisions in ((seen.scale, seen.shown_divisions), (scale_of(shot), shown(shot)))
    ]
    return (lengths[0] - lengths[1]) / float(scale_of(shot).to_mm(scale_of(shot).least_count))


def codes(seen: Sighting | Refusal) -> list[str]:
    """Reasons of a refusal; none of a reading."""
    return [r.code for r in seen.reasons] if isinstance(seen, Refusal) else []


def turned(grey: np.ndarray, degrees: float) -> np.ndarray:
    """Turn a picture about its middle, with room for its corners."""
    height, width = grey.shape
    side = math.ceil(math.hypot(width, height))
    matrix = cv2.getRotationMatrix2D(((width - 1) / 2, (height - 1) / 2), degrees, 1.0)
    matrix[:, 2] += ((side - width) / 2, (side - height) / 2)
    ground = float(np.median(grey))
    out = cv2.warpAffine(grey, matrix, (side, side), flags=cv2.INTER_CUBIC, borderValue=ground)
    return np.asarray(out)


def painted(
    shot: Shot,
    grey: np.ndarray,
    along: tuple[float, float],
    below: tuple[float, float],
    paint: np.ndarray | float,
) -> np.ndarray:
    """Paint a box beside the meeting of line and edge, in sleeve diameters along and below it."""
    rows, cols = np.mgrid[: grey.shape[0], : grey.shape[1]]
    dx, dy = cols - shot.view.u, rows - shot.view.v
    c, s = math.cos(shot.view.in_plane), math.sin(shot.view.in_plane)
    x, y = (c * dx + s * dy) / shot.view.diameter_px, (c * dy - s * dx) / shot.view.diameter_px
    inside = (x > along[0]) & (x < along[1]) & (y > below[0]) & (y < below[1])
    return np.where(inside, paint, grey).astype(np.uint8)
