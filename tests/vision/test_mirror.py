"""Mirrored or not: marks and numbers made up, one look against its flipped image.

A gauge's thimble numbers grow upwards in the close-up; a depth gauge's grow downwards (common
practice). Seen in a mirror, digits have no meaning: their values are equally likely, or wrong.
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest

from tests.vision.test_decide import SCHOOL, findings, thimble_of
from vision import mirror
from vision.decide import Findings
from vision.marks import Marks
from vision.numbering import learnt_shares

DEPTH = replace(SCHOOL, reversed=True)


def look(mirrored: float) -> Marks:
    """What the network makes of a look as a whole."""
    blank = np.zeros((2, 64, 136), np.float32)
    return Marks(np.zeros((6, 256, 544), np.float32), blank, 1.0, mirrored)


def illegible(found: Findings) -> Findings:
    """The same numbers, each of any value: the network says what it always expects."""
    blank = np.full(100, -np.log(100), np.float32)
    usual = np.log(learnt_shares()).astype(np.float32)
    return replace(
        found,
        on_sleeve=[replace(n, log_probability=usual) for n in found.on_sleeve],
        on_thimble=[replace(n, log_probability=blank) for n in found.on_thimble],
    )


def running(found: Findings, way: int, scale=SCHOOL) -> Findings:
    """The same gauge with thimble numbers that grow upwards (1) or downwards (-1)."""
    bevel, numbers = thimble_of(scale, 20.0, 0.0, way)
    return replace(found, bevel=bevel, on_thimble=numbers)


def bare(found: Findings) -> Findings:
    return replace(found, on_sleeve=[], on_thimble=[])


GAUGE = findings(SCHOOL, 11, 20.0, 0.1)
BACKWARDS = running(GAUGE, -1)


def weigh(one, other, scale=SCHOOL, looks=(0.5, 0.5)) -> float:
    return mirror.mirrored_probability(look(looks[0]), one, look(looks[1]), other, scale)


@pytest.mark.parametrize(
    ("true", "image"),
    [
        (GAUGE, illegible(BACKWARDS)),
        (GAUGE, BACKWARDS),  # digits of a kind that a mirror leaves alone: the order tells
        (GAUGE, illegible(GAUGE)),
        (replace(GAUGE, on_sleeve=[]), replace(illegible(BACKWARDS), on_sleeve=[])),
    ],
)
def test_the_look_whose_numbers_make_sense_is_the_true_one(true, image):
    """Though the network leans the other way; a mirrored one takes a look that leans that way."""
    assert weigh(true, image, looks=(0.8, 0.2)) < 0.01
    assert weigh(image, true, looks=(0.9, 0.1)) > 0.7


@pytest.mark.parametrize("scale", [SCHOOL, DEPTH])
def test_on_a_depth_gauge_the_numbers_run_the_other_way(scale):
    own = -1 if scale.reversed else 1
    true, image = running(GAUGE, own), running(GAUGE, -own)
    assert weigh(true, image, scale) < 0.01
    assert weigh(image, true, scale, looks=(0.9, 0.1)) > 0.7


def test_an_unrecorded_depth_gauge_is_not_a_mirror_image():
    """Its numbers make sense as it is; only where they do so either way round is there doubt."""
    assert weigh(BACKWARDS, illegible(GAUGE)) < 0.01
    assert weigh(illegible(GAUGE), BACKWARDS) > 0.9
    assert 0.1 < weigh(BACKWARDS, GAUGE) < 0.5


@pytest.mark.parametrize("found", [None, bare(GAUGE)])
def test_where_nothing_speaks_a_photo_is_mirrored_as_rarely_as_any(found):
    assert weigh(found, found) == pytest.approx(mirror.RARE)


@pytest.mark.parametrize("found", [None, bare(GAUGE), GAUGE])
def test_the_look_alone_never_makes_a_picture_mirrored(found):
    """But it does leave the picture in doubt."""
    assert 0.3 < weigh(found, found, looks=(0.9999, 0.0001)) <= 0.5 + 1e-9


def test_of_two_looks_at_most_one_is_mirrored():
    rng = np.random.default_rng(5)
    kinds = [GAUGE, BACKWARDS, illegible(GAUGE), bare(GAUGE), findings(SCHOOL, 3, 40.0, 0.2), None]
    for _ in range(40):
        one, other = (kinds[k] for k in rng.integers(0, len(kinds), 2))
        looks = tuple(rng.uniform(0.0, 1.0, 2))
        both = weigh(one, other, looks=looks), weigh(other, one, looks=looks[::-1])
        assert sum(p > 0.5 for p in both) <= 1
        # what speaks for one speaks against the other: only the prior is common to both
        log_odds = [np.log(p / (1 - p)) for p in both]
        assert sum(log_odds) == pytest.approx(2 * np.log(mirror.RARE / (1 - mirror.RARE)), abs=1e-6)


def test_one_look_that_is_sure_is_enough():
    assert not mirror.doubtful(look(0.0005), GAUGE, SCHOOL)
    assert mirror.doubtful(look(0.3), GAUGE, SCHOOL)
    assert mirror.doubtful(look(0.0005), BACKWARDS, SCHOOL)
    assert not mirror.doubtful(look(0.0005), BACKWARDS, DEPTH)
    assert mirror.doubtful(look(0.0005), None, SCHOOL)


@pytest.mark.parametrize("first", [0, 25])
def test_a_sleeve_numbered_from_its_range_start_makes_sense_too(first):
    """A gauge for 25 to 50 mm: its sleeve says 25 where another says 0, or says 0 itself."""
    long = replace(SCHOOL, start=Decimal(25))
    numbers = [
        replace(n, log_probability=np.roll(n.log_probability, first)) for n in GAUGE.on_sleeve
    ]
    true = replace(GAUGE, on_sleeve=numbers, on_thimble=[])
    assert weigh(true, illegible(true), long) < 0.001
    assert weigh(illegible(true), true, long) > 0.7
    if first:  # which numbers make sense, the scale says
        assert weigh(true, illegible(true), SCHOOL) > 10 * weigh(true, illegible(true), long)
