"""From a rendered photo to the reading. These pictures are chosen as easy: no accuracy follows.

How well photos are read at large is for `python -m fixtures.report` to say. Truth is the geometry
that a picture was rendered from.
"""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from tests.pictures.bench import (
    clear_photo,
    codes,
    jpeg,
    miss,
    photo,
    rendered,
    scale_of,
    shown,
    turned,
)
from vision.pipeline import sight
from vision.sighting import Refusal, Sighting

# Of the split `check`, read with confidence 0.97 or more when they were chosen: three of half a
# millimetre's pitch, one with a vernier, two of a millimetre's and an inch gauge with a vernier.
EASY = (200004, 200025, 200068, 200016, 200071, 200050)
TURNED = (200025, 200016)


@pytest.mark.parametrize("seed", EASY)
def test_the_reading_is_recovered(seed: int) -> None:
    shot, grey = rendered(seed)
    for scale in (scale_of(shot), None):
        seen = sight(photo(grey), scale)
        assert abs(miss(seen, shot)) < 0.3  # the next division is 1 off, the next turn 25 or more
        assert seen.scale_given == (scale is not None)
        assert (seen.scale.pitch, seen.scale.divisions) == (
            scale_of(shot).pitch,
            shot.kind.divisions,
        )
        assert abs(miss(seen, shot)) < 5 * seen.u_division
        assert seen.confidence > 0.8
        assert seen.alternatives[0].probability <= 1
        assert sum(a.probability for a in seen.alternatives) <= 1 + 1e-9


VARIANTS = {
    "quarter turn": lambda g: np.rot90(g),
    "half turn": lambda g: np.rot90(g, 2),
    "three quarters": lambda g: np.rot90(g, 3),
    "17 degrees": lambda g: turned(g, 17.0),
    "0.7 times": lambda g: cv2.resize(g, None, fx=0.7, fy=0.7, interpolation=cv2.INTER_AREA),
    "1.4 times": lambda g: cv2.resize(g, None, fx=1.4, fy=1.4, interpolation=cv2.INTER_CUBIC),
    "gain and offset": lambda g: np.rint(0.7 * g + 30).astype(np.uint8),
    "JPEG 80": lambda g: jpeg(g, 80),
}


@pytest.mark.parametrize("change", VARIANTS)
@pytest.mark.parametrize("seed", TURNED)
def test_the_same_gauge_in_a_changed_picture_reads_the_same(seed: int, change: str) -> None:
    shot, grey = rendered(seed)
    before = sight(photo(grey), scale_of(shot))
    after = sight(photo(VARIANTS[change](grey)), scale_of(shot))
    assert isinstance(before, Sighting)
    assert isinstance(after, Sighting), codes(after)
    assert abs(after.shown_divisions - before.shown_divisions) < 0.2
    ratio = after.px_per_division / before.px_per_division
    size = {"0.7 times": 0.7, "1.4 times": 1.4}.get(change, 1.0)
    assert abs(ratio / size - 1) < 0.05


@pytest.mark.parametrize("seed", TURNED)
def test_a_turned_pictures_evidence_turns_with_it(seed: int) -> None:
    shot, grey = rendered(seed)
    upright, quarter = (sight(photo(g), scale_of(shot)).evidence for g in (grey, np.rot90(grey)))
    for one, other in zip(upright.reference_line, quarter.reference_line, strict=True):
        # a quarter turn against the clock takes (x, y) to (y, width - 1 - x)
        there = (one[1], grey.shape[1] - 1 - one[0])
        if one is upright.reference_line[1]:  # where it meets the edge; the other end is vague
            assert np.hypot(other[0] - there[0], other[1] - there[1]) < 1.5
    x, y = upright.reference_line[1]
    assert np.hypot(x - shot.view.u, y - shot.view.v) < 0.02 * shot.view.diameter_px


@pytest.mark.parametrize("seed", EASY)
def test_a_mirrored_picture_is_never_read(seed: int) -> None:
    shot, grey = rendered(seed)
    for mirrored in (grey[:, ::-1], grey[::-1]):
        assert isinstance(sight(photo(mirrored), scale_of(shot)), Refusal)


def test_the_same_picture_gives_the_same_sighting_and_is_left_alone() -> None:
    shot, grey = rendered(EASY[1])
    kept = grey.copy()
    one, other = (sight(photo(grey), scale_of(shot)) for _ in range(2))
    assert one == other
    assert one.evidence == other.evidence
    assert np.array_equal(grey, kept)


# Facts of the trade, common practice of workshops and schools, through a photo. The gauge, its
# light and the camera are benign, and of some the clearest were taken.


def test_five_turns_from_two_to_seven_millimetres_make_a_pitch_of_one() -> None:
    readings = []
    for divisions in (200.0, 700.0):
        shot, grey = clear_photo("metric-school", divisions, 1)
        seen = sight(photo(grey), scale_of(shot))
        assert isinstance(seen, Sighting), codes(seen)
        readings.append(seen.shown_divisions * float(seen.scale.least_count))
    assert abs(readings[0] - 2.0) < 0.003
    assert abs((readings[1] - readings[0]) / 5 - 1.0) < 0.001


@pytest.mark.parametrize(
    ("divisions", "seed", "length"),
    [
        (131.0, 1, 1.31),  # 1 mm on the sleeve and division 31
        (11.0, 2, 0.11),  # closed, the eleventh division at the line: zero error + 0.11 mm
        (-10.0, 2, -0.10),  # closed, 90 at the line, 10 short of 100: zero error - 0.10 mm
    ],
)
def test_readings_and_zero_errors_of_textbooks(divisions: float, seed: int, length: float) -> None:
    shot, grey = clear_photo("metric-school", divisions, seed)
    assert shown(shot) == divisions
    seen = sight(photo(grey), scale_of(shot))
    assert isinstance(seen, Sighting), codes(seen)
    assert abs(seen.shown_divisions * 0.01 - length) < 0.003
    assert seen.turns == divisions // 100 or abs(seen.division % 100) > 99.7
