"""Beside the edge: the frame that the gap network sees, and what its answer is taken to mean."""

from __future__ import annotations

import math

import numpy as np
import pytest

from vision import gap, networks
from vision.closeup import Pose, move, photo_to_closeup
from vision.lines import Axis, Edge

COUNTED_BINS = (gap.COUNTED - gap.FIRST) * gap.BINS
BINS = COUNTED_BINS + gap.PARITY * gap.BINS
EVEN = np.zeros(gap.SIZE[0], np.float32)
ROWS = np.zeros(gap.SIZE[1] + 1, np.float32)  # and, last, none of them
# Where the belief can be asked for: the middle of each bin, from below the first to far beyond
PLACES = np.arange(gap.FIRST - 1, gap.COUNTED + 9, 1 / gap.BINS) + 0.5 / gap.BINS


def believing(*bins):
    """Logits that are all but sure of these bins together."""
    logits = np.full(BINS, -20.0, np.float32)
    logits[list(bins)] = 0.0
    return gap.decode(logits, EVEN, ROWS, 0.0)


@pytest.mark.parametrize("slope", [0.0, 0.07, -0.2])
@pytest.mark.parametrize("pose", [Pose(100.0, 80.0, 0.0, 160.0), Pose(310.0, 95.0, -2.1, 47.0)])
def test_the_frame_is_centred_on_the_meeting_and_levels_the_line(pose, slope):
    matrix = photo_to_closeup(pose)
    x, y, d = 349.3, 131.2, 31.0
    along = np.array([1.0, slope]) / math.hypot(1.0, slope)
    in_closeup = np.array([[x, y], [x, y] - d * along, [x, y] + d * along[::-1] * (-1, 1)])
    in_photo = np.linalg.solve(matrix[:, :2], (in_closeup - matrix[:, 2]).T).T
    seen = move(gap.frame(matrix, x, y, slope), in_photo)
    wanted = np.array(gap.ORIGIN) + gap.ZOOM * d * np.array([[0, 0], [-1, 0], [0, 1]])
    np.testing.assert_allclose(seen, wanted, atol=1e-9)


def test_the_network_is_shown_the_photo_in_that_frame(monkeypatch):
    matrix = photo_to_closeup(Pose(140.0, 90.0, 0.3, 110.0))
    axis, edge = Axis(129.0, 0.05, 350.4, 40.0, 350.4, 0.1, 0.9), Edge(350.4, 0, 0, 0, 0.2, 1.0)
    to_photo = np.linalg.inv(np.vstack([matrix, [0.0, 0.0, 1.0]]))
    rows, cols = np.mgrid[:200, :300]
    u, v = (to_photo @ [edge.x0, axis.y0, 1.0])[:2]  # a bright spot where line and edge meet
    spot = np.exp(-0.5 * ((cols - u) ** 2 + (rows - v) ** 2) / 4.0)
    grey = (40 + 200 * spot).astype(np.uint8)
    shown = []

    def run(name, picture, outputs):
        shown.append((name, picture, tuple(outputs)))
        logits = np.zeros((1, BINS), np.float32)
        logits[0, 70] = 9.0
        columns = np.zeros((1, 2, gap.SIZE[0]), np.float32)
        columns[0, 0, 100], columns[0, 1, 20] = 9.0, 30.0  # the edge; and a graduation
        rows = np.zeros((1, gap.SIZE[1] + 1), np.float32)
        rows[0, 50] = 12.0
        return logits, columns, rows

    monkeypatch.setattr(networks, "run", run)
    told = gap.look(grey, matrix, axis, edge)
    ((name, picture, outputs),) = shown
    assert (name, outputs) == ("gap", ("uncovered", "columns", "row"))
    assert picture.shape == gap.SIZE[::-1]
    weight = picture.astype(float) - 40.0
    centre = [(weight * at).sum() / weight.sum() for at in np.mgrid[: gap.SIZE[1], : gap.SIZE[0]]]
    assert centre[::-1] == pytest.approx(gap.ORIGIN, abs=0.2)
    assert int(np.argmax(told.density)) == 70
    assert int(np.argmax(told.columns)) == 100
    assert int(np.argmax(told.rows)) == 50
    assert told.places_x[100] == pytest.approx(edge.x0 + (100 - gap.ORIGIN[0]) / gap.ZOOM)


@pytest.mark.parametrize("number", [0, 31, 32, 100, COUNTED_BINS - 1])
def test_what_is_believed_before_the_lines_are_many_is_likeliest_there_alone(number):
    told = believing(number)
    likely = told.log_likelihood(PLACES)
    place = gap.FIRST + (number + 0.5) / gap.BINS
    among = np.abs(PLACES - place) < 1e-9
    if number == 0:  # less than is told apart at all
        among |= place > PLACES
    assert among.any()
    assert likely[among].min() > 5.0
    assert likely[~among].max() == pytest.approx(math.log(gap.FLAT), abs=1e-3)


@pytest.mark.parametrize("number", [0, 13, 40, gap.PARITY * gap.BINS - 1])
def test_what_is_believed_of_many_lines_repeats_every_other_pitch(number):
    likely = believing(COUNTED_BINS + number).log_likelihood(PLACES)
    round_ = (PLACES - (number + 0.5) / gap.BINS) % gap.PARITY
    among = (PLACES > gap.COUNTED) & (np.minimum(round_, gap.PARITY - round_) < 1e-9)
    assert among.sum() >= 4
    assert likely[among].min() > 4.0
    assert likely[~among].max() == pytest.approx(math.log(gap.FLAT), abs=1e-3)


def test_an_answer_as_common_as_its_places_were_in_training_says_nothing():
    few, more = (1.0 - gap.MORE_SHARE) / COUNTED_BINS, gap.MORE_SHARE / (gap.PARITY * gap.BINS)
    logits = np.log(np.repeat([few, more], [COUNTED_BINS, gap.PARITY * gap.BINS]))
    told = gap.decode(logits.astype(np.float32) + 3, EVEN, ROWS, 0.0)
    np.testing.assert_allclose(told.log_likelihood(PLACES), 0.0, atol=1e-5)
    # flat logits believe in many lines less often than there were, within either in every place
    flat = gap.decode(np.zeros(BINS, np.float32), EVEN, ROWS, 0.0)
    few, more = (float(np.ptp(flat.log_likelihood(p))) for p in np.split(PLACES, [9 * gap.BINS]))
    assert few == more == 0.0
    assert flat.log_likelihood(np.array([8.0])) < flat.log_likelihood(np.array([3.0]))


def test_belief_is_shared_between_the_places_that_are_believed():
    one, two = believing(40), believing(40, 90)
    at = np.array([[gap.FIRST + 40.5 / gap.BINS], [gap.FIRST + 90.5 / gap.BINS]])
    assert two.log_likelihood(at).shape == at.shape
    np.testing.assert_allclose(
        two.log_likelihood(at), one.log_likelihood(at[:1])[0, 0] - math.log(2), atol=0.02
    )


def test_columns_are_shares_of_the_closeup_s_places():
    logits = np.zeros(gap.SIZE[0], np.float32)
    logits[[30, 31]] = 700.0, 700.0 + math.log(3.0)  # no overflow
    told = gap.decode(np.zeros(BINS, np.float32), logits, ROWS, 352.5)
    assert told.columns.sum() == pytest.approx(1.0)
    assert told.columns[[30, 31]] == pytest.approx([0.25, 0.75], abs=1e-3)
    x = told.places_x
    assert x.shape == told.columns.shape
    np.testing.assert_allclose(np.diff(x), 1.0 / gap.ZOOM)
    assert np.interp(352.5, x, np.arange(len(x))) == pytest.approx(gap.ORIGIN[0])


def seeing(*rows):
    """All but sure that the line meets the edge at some of these rows; the last row is nowhere."""
    logits = np.full(gap.SIZE[1] + 1, -20.0, np.float32)
    logits[list(rows)] = 0.0
    return gap.decode(np.zeros(BINS, np.float32), EVEN, logits, 0.0)


@pytest.mark.parametrize(
    ("rows", "at_line", "line_px"),
    [
        ((143, 144), 1.0, 0.0),  # the frame's line lies between the two
        ((147, 148), 1.0, 2.0),
        ((149, 150), 0.0, 3.0),  # by hand: 149.5 - 143.5 px of the frame, of which two make one
        ((20,), 0.0, -61.75),
        ((287,), 0.0, 71.75),
        ((0, 100, 200), 0.0, None),  # a third each
        ((gap.SIZE[1],), 0.0, None),  # nowhere in the frame
        ((144, 145, 20), 2 / 3, 0.5),
    ],
)
def test_rows_tell_whether_the_line_is_there_or_where_else(rows, at_line, line_px):
    told = seeing(*rows)
    assert told.rows.sum() == pytest.approx(1.0)
    assert told.at_line == pytest.approx(at_line, abs=1e-3)
    if line_px is None:
        assert told.line_px is None
    else:
        assert told.line_px == pytest.approx(line_px, abs=0.01)
