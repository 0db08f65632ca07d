"""Mirrored or not: marks made up, one look against its flipped image."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pytest

from vision import mirror
from vision.marks import Marks
from vision.scale import Scale

FINE = Scale(Decimal("0.5"), 50)


def marks(mirrored: float, numbers: int) -> Marks:
    """A look with so many numbers that are there and legible for certain."""
    heat = np.zeros((2, 64, 136), np.float32)
    heat[1, 5 : 5 + 10 * numbers : 10, 100] = 0.9
    classes = np.full((100, 64, 136), -12.0, np.float32)
    classes[10] = -0.01
    return Marks(np.zeros((6, 256, 544), np.float32), heat, classes, 1.0, mirrored)


@pytest.mark.parametrize("legible", [1, 2, 4])
def test_the_look_whose_numbers_read_is_the_true_one(legible):
    well, ill = marks(0.3, legible), marks(0.3, 0)
    assert not mirror.mirrored(well, None, ill, None, FINE)
    assert mirror.mirrored(ill, None, well, None, FINE)


def test_of_two_looks_at_most_one_is_mirrored():
    rng = np.random.default_rng(5)
    for _ in range(40):
        one, other = (marks(rng.uniform(0.02, 0.98), int(rng.integers(0, 5))) for _ in range(2))
        verdicts = [
            mirror.mirrored(a, None, b, None, FINE) for a, b in ((one, other), (other, one))
        ]
        assert sum(verdicts) <= 1


def test_what_cannot_be_read_either_way_is_not_called_mirrored():
    assert not mirror.mirrored(marks(0.4, 0), None, marks(0.05, 0), None, FINE)
    assert mirror.mirrored(marks(0.9, 0), None, marks(0.05, 0), None, FINE)


def test_one_look_that_is_sure_is_enough():
    assert not mirror.doubtful(marks(0.0005, 4), None, FINE)
    assert mirror.doubtful(marks(0.3, 4), None, FINE)
