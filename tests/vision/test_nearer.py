"""A nearer look at the thimble's numbers: what is seen there comes back in the close-up's frame."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.vision.test_decide import FINE, findings, misses, number, probabilities
from vision import closeup, decide, marks, nearer
from vision.closeup import Pose

X, Y = 392.0, 101.5  # of a number, in the close-up


def test_a_number_is_put_where_it_stands_in_the_close_up(monkeypatch):
    matrix = closeup.photo_to_closeup(Pose(310.0, 220.0, 0.3, 120.0))
    spot = closeup.move(closeup.invert(matrix), np.array([[X, Y]]))[0]
    rows, cols = np.mgrid[:440, :640].astype(float)
    photo = 255 * np.exp(-0.5 * ((cols - spot[0]) ** 2 + (rows - spot[1]) ** 2) / 2.0**2)

    class Seen:
        def __init__(self, cut):
            self.cut = cut

        def within(self, inside):
            assert inside.shape == self.cut.shape
            return self

    def brightest(seen):
        y, x = np.unravel_index(int(np.argmax(seen.cut)), seen.cut.shape)
        here = number(25, float(x), float(y), "thimble")
        return [here, replace(here, on="sleeve"), replace(here, x=340.0)]

    monkeypatch.setattr(marks, "read_marks", Seen)
    monkeypatch.setattr(marks, "numerals", brightest)
    found = nearer.look_nearer(photo.astype(np.uint8), matrix, findings(FINE, 14, 27.3, 0.1))
    (one,) = found.on_thimble_nearer  # the others lie on the sleeve
    assert (one.x, one.y) == pytest.approx((X, Y), abs=0.7)  # unmoved by 1.2: off by 8 and 5 px


def shares(f):
    posterior = decide.weigh(f, FINE)
    off, p = misses(posterior, 14, 27.3), probabilities(posterior)
    return [float(p[np.abs(off - wrong) < 0.3].sum()) for wrong in (0.0, 10.0)], posterior


def misread(f, sure):
    """Find every number on the thimble ten too high."""
    wrong = [int(np.argmax(n.log_probability)) + 10 for n in f.on_thimble]
    return [number(w, n.x, n.y, n.on, sure) for w, n in zip(wrong, f.on_thimble, strict=True)]


def test_what_only_one_look_believes_is_half_believed():
    f = findings(FINE, 14, 27.3, 0.1)
    wrong = replace(f, on_thimble=misread(f, 0.7))
    (_, alone), _ = shares(wrong)
    (right, mistaken), both = shares(replace(wrong, on_thimble_nearer=f.on_thimble))
    assert mistaken < alone
    assert right > mistaken
    assert not decide.division_settled(both)


def test_two_looks_that_agree_settle_the_division():
    f = findings(FINE, 14, 27.3, 0.1)
    _, once = shares(f)
    _, twice = shares(replace(f, on_thimble_nearer=f.on_thimble))
    assert decide.division_settled(once)
    assert twice.shown[0] == once.shown[0]
    assert twice.log_evidence == pytest.approx(once.log_evidence, abs=1e-6)
