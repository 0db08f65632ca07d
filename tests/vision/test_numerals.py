"""A number is looked at where it stands, upright and larger, and what it may be adds up to one."""

from __future__ import annotations

import numpy as np
import pytest

import vision.networks
from vision import closeup, numerals
from vision.closeup import Pose
from vision.marks import Place


def test_the_frame_holds_the_place_in_its_middle_larger():
    matrix = closeup.photo_to_closeup(Pose(310.0, 190.0, 0.3, 90.0))
    frame = numerals.frame(matrix, 400.0, 90.0)
    back = closeup.invert(matrix)
    here, right = closeup.move(back, np.array([[400.0, 90.0], [410.0, 90.0]]))
    middle, beside = closeup.move(frame, np.array([here, right]))
    assert np.allclose(middle, numerals.ORIGIN)
    assert np.allclose(beside - middle, (16.0, 0.0))  # 10 px of the close-up


def test_each_place_is_read_and_keeps_what_is_known_of_it(monkeypatch):
    seen = []

    def run(name, picture, outputs):
        assert (name, outputs) == ("numerals", ("value", "hundreds"))
        seen.append(picture)
        value, hundreds = np.zeros((1, 100), np.float32), np.zeros((1, 4), np.float32)
        value[0, 35] = np.log(99.0)
        hundreds[0, 1] = 1000.0
        return value, hundreds

    monkeypatch.setattr(vision.networks, "run", run)
    grey = np.full((300, 600), 128, np.uint8)
    grey[100:104, 400:404] = 255
    places = [Place(402.0, 102.0, "thimble", 0.7), Place(100.0, 200.0, "sleeve", 0.2)]
    one, other = numerals.read(grey, np.eye(2, 3), places)
    assert [p.shape for p in seen] == [numerals.SIZE[::-1]] * 2
    rows, columns = np.nonzero(seen[0] > 200)  # the bright spot is in the middle
    assert abs(rows.mean() - numerals.ORIGIN[1]) < 1.5
    assert abs(columns.mean() - numerals.ORIGIN[0]) < 1.5
    assert seen[1].max() == 128
    assert (one.x, one.y, one.on, one.heat) == (402.0, 102.0, "thimble", 0.7)
    assert other.on == "sleeve"
    assert np.exp(one.log_probability).sum() == pytest.approx(1.0)
    assert np.exp(one.log_probability)[35] == pytest.approx(0.5)
    assert np.exp(one.hundreds_log_probability) == pytest.approx([0, 1, 0, 0])
    with pytest.raises(ValueError, match="read-only"):
        one.log_probability[0] = 0.0


def test_the_network_that_ships_answers_as_its_values_are_counted():
    (one,) = numerals.read(
        np.zeros((300, 600), np.uint8), np.eye(2, 3), [Place(300.0, 100.0, "sleeve", 0.5)]
    )
    assert one.log_probability.shape == (numerals.VALUES,)
    assert one.hundreds_log_probability.shape == (numerals.HUNDREDS,)
