"""The sleeve's graduations: combs drawn with a known spacing, bend, lean and number uncovered.

Metric sleeves number every fifth millimetre and set a longer graduation there; inch sleeves number
and lengthen every fourth, the tenths of an inch (common practice).
"""

from __future__ import annotations

import math
from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest

from vision import combs, sleeve
from vision.combs import Comb
from vision.numerals import Numeral
from vision.scale import Scale
from vision.teeth import Tooth

Y0, X0 = 127.9, 352.3
FINE, SCHOOL, INCH = (
    Scale(Decimal("0.5"), 50),
    Scale(Decimal(1), 100),
    Scale(Decimal("0.025"), 25, "in"),
)
HUNDREDS = (0.94, 0.03, 0.02, 0.01)  # surely none


def seen_at(pitches, pitch_px, bend):
    """Where perspective puts what lies `pitches` left of the edge: x / (1 + bend x) of it."""
    return X0 - pitch_px * pitches / (1.0 - bend * pitches)


def number(value, x, sure=0.95, heat=0.9, hundreds=HUNDREDS):
    p = np.full(100, (1 - sure) / 99)
    p[value] = sure
    return Numeral(x, Y0 - 40.0, "sleeve", heat, np.log(p), np.log(hundreds))


def numbers_say(numbers, scale, pitch_px, phase, start=0.0):
    """Log-likelihood of 0.., 40 whole pitches and the phase."""
    uncovered = np.arange(41) + phase
    places = [(n.x - X0) / pitch_px for n in numbers]
    px_per_mm = pitch_px / float(scale.pitch_mm)
    return sleeve.number_log_likelihood(numbers, places, uncovered, scale, [start], px_per_mm)[0]


@pytest.mark.parametrize(
    ("scale", "pitch_px", "every", "step", "start"),
    [
        (FINE, 6.5, 10, 5, 0),
        (FINE, 6.5, 10, 5, 25),
        (SCHOOL, 12.0, 5, 5, 0),
        (SCHOOL, 12.0, 5, 5, 25),
        (INCH, 8.0, 4, 1, 0),
    ],
)
def test_the_numbers_tell_the_turns(scale, pitch_px, every, step, start):
    for turns in range(every, 40, 3):
        uncovered = turns + 0.37
        at = [k for k in range(0, turns, every) if (uncovered - k) * float(scale.pitch_mm) > 1.2]
        numbers = [
            number(
                (start + k // every * step) % (100 if scale.unit == "mm" else 10),
                seen_at(uncovered - k, pitch_px, 0.0),
            )
            for k in at
        ]
        log = numbers_say(numbers, scale, pitch_px, 0.37, start)
        assert int(np.argmax(log)) == turns
        assert log[turns] > max(log[turns - 1], log[turns + 1]) + 1
        if len(numbers) >= 3:  # one misread number is outvoted
            for wrong in range(len(numbers)):
                n = numbers[wrong]
                misread = [*numbers[:wrong], number(37, n.x), *numbers[wrong + 1 :]]
                again = numbers_say(misread, scale, pitch_px, 0.37, start)
                assert int(np.argmax(again)) == turns


def perfect(uncovered, pitch_px, *, cycle, hidden=0):
    """Teeth as found, rightmost first, the first `hidden` of them unseen."""
    teeth = []
    for k in range(math.floor(uncovered), hidden - 1, -1):
        up = cycle != 10 or k % 2 == 0
        long = 26.0 if k % cycle == 0 else 17.0
        teeth.append(
            Tooth(seen_at(uncovered - k, pitch_px, 0.0), long if up else 0.0, 0.0 if up else 14.0)
        )
    return tuple(teeth)


@pytest.mark.parametrize(("scale", "cycle"), [(FINE, 10), (SCHOOL, 5), (INCH, 4)])
def test_long_graduations_tell_the_turns_up_to_their_cycle(scale, cycle):
    for turns in range(12, 30):
        teeth = perfect(turns + 0.4, 9.0, cycle=cycle)
        comb = combs.find_combs(teeth, X0)[0]
        uncovered = np.arange(41)[None] + comb.phase
        (log,) = sleeve.long_log_likelihood((comb,), teeth, uncovered, X0, scale)
        right = log[turns % cycle :: cycle]
        assert np.ptp(right) == 0
        assert right[0] > np.delete(log, np.arange(turns % cycle, 41, cycle)).max() + 1


def lengths_say(teeth):
    """Log-likelihood of 24 to 27 turns by the lengths of half millimetres, 24.4 being shown."""
    comb = Comb(9.0, 0.0, 0.4, 0.0, len(teeth), 0.02)
    uncovered = np.arange(24, 28)[None] + 0.4
    return sleeve.long_log_likelihood((comb,), teeth, uncovered, X0, FINE)[0]


def test_one_long_graduation_tells_as_much_where_the_others_are_cut_short():
    """Of three, the photo's rim and a scratch leave a third of each of two."""
    teeth = perfect(24.4, 9.0, cycle=10)
    cut = tuple(
        replace(t, above=t.above / 3) if n % 10 == 4 and n > 4 else t for n, t in enumerate(teeth)
    )
    whole, spoilt = lengths_say(teeth), lengths_say(cut)
    for log in (whole, spoilt):
        assert int(np.argmax(log)) == 0
    assert whole[0] > spoilt[0] - 1e-9
    assert spoilt[0] > np.delete(spoilt, 0).max() + 1


def test_graduations_of_one_length_or_of_any_tell_no_turn():
    teeth = perfect(24.4, 9.0, cycle=100)  # but for the first, of which 17 follow
    assert np.ptp(lengths_say(teeth[:18])) < 3
    rng, told = np.random.default_rng(3), []
    for _ in range(20):
        ragged = tuple(replace(t, above=rng.uniform(5, 25) if t.above else 0.0) for t in teeth)
        told.append(np.ptp(lengths_say(ragged)))
    assert np.mean(told) < 3


def test_the_first_graduation_tells_the_turns():
    for turns in (1, 2, 5, 11, 23):
        teeth = perfect(turns + 0.4, 9.0, cycle=10)
        comb = Comb(9.0, 0.0, 0.4, 0.0, len(teeth), 0.02)
        uncovered = np.arange(41)[None] + 0.4
        (log,) = sleeve.first_log_likelihood((comb,), teeth, uncovered, X0, 0.0, 0.0)
        assert int(np.argmax(log)) == turns
        assert log[turns] > log[turns - 1] + 1
        assert log[turns] > log[turns + 1] + 1


def test_graduations_outside_the_picture_are_not_missed():
    teeth = perfect(20.4, 9.0, cycle=10, hidden=8)
    comb = Comb(9.0, 0.0, 0.4, 0.0, len(teeth), 0.02)
    uncovered = np.arange(41)[None] + 0.4
    left = teeth[-1].x - 5.0  # the picture ends just left of the leftmost
    (cropped,) = sleeve.first_log_likelihood((comb,), teeth, uncovered, X0, left, left)
    assert cropped[20] == cropped[12] == 0
    (whole,) = sleeve.first_log_likelihood((comb,), teeth, uncovered, X0, 0.0, left)
    assert whole[12] > whole[20] + 3  # eight that should show and do not


def test_what_hides_graduations_hides_the_line_beside_them():
    teeth = perfect(20.4, 9.0, cycle=10, hidden=8)
    comb = Comb(9.0, 0.0, 0.4, 0.0, len(teeth), 0.02)
    uncovered = np.arange(41)[None] + 0.4
    covered, bare = (
        sleeve.first_log_likelihood((comb,), teeth, uncovered, X0, 0.0, line_from)[0]
        for line_from in (teeth[-1].x - 3.0, 0.0)
    )
    assert covered[12] == bare[12] == 0
    assert covered[20] > bare[20] + 2


@pytest.mark.parametrize(("scale", "cycle"), [(FINE, 10), (SCHOOL, 5)])
def test_whole_millimetres_stand_with_their_numbers(scale, cycle):
    """Halves stand on the other side of the line (common practice)."""
    for turns in range(4, 30):
        teeth = perfect(turns + 0.4, 9.0, cycle=cycle)  # whole ones above
        comb = combs.find_combs(teeth, X0)[0]
        uncovered = np.arange(41)[None] + comb.phase
        halves = scale is FINE
        above, below = (
            sleeve.side_log_likelihood(
                (comb,), teeth, uncovered, X0, halves=halves, numbers_above=share
            )[0]
            for share in (0.9, 0.1)
        )
        if halves:
            assert above[turns] == above[turns % 2] > above[turns + 1] + 1
            assert below[turns] < below[turns + 1] - 1
        else:
            assert np.ptp(above) < 0.01


def test_a_comb_of_halves_alone_is_none_of_half_a_millimetre():
    """All lines on one side: a pitch of 1 mm, or a sleeve with a vernier (common practice)."""
    teeth = perfect(14.4, 9.0, cycle=5)
    comb = combs.find_combs(teeth, X0)[0]
    log = [
        sleeve.side_log_likelihood(
            (comb,), teeth, np.arange(41.0)[None], X0, halves=halves, numbers_above=0.9
        )[0]
        for halves in (True, False)
    ]
    assert log[1][0] > log[0][0] + 2


def test_a_bare_sleeve_speaks_for_few_turns():
    comb = Comb(9.0, 0.0, 0.0, 0.0, 0, 0.5)
    (log,) = sleeve.first_log_likelihood((comb,), (), np.arange(-1.0, 41)[None], X0, 0.0, 0.0)
    assert log[0] == 0
    assert np.all(np.diff(log) <= 0)
    assert log[1] < log[0]


def test_combs_weighed_together_are_as_if_weighed_alone():
    teeth = (*perfect(14.4, 9.0, cycle=10, hidden=3), Tooth(X0 - 47.0, 3.0, 0.0))
    found = combs.find_combs(teeth, X0)
    tried = (*found, Comb(4.5, 0.001, 0.9, 0.0, 0, 0.1), Comb(30.0, 0.0, 0.2, 0.0, 0, 0.1))
    assert len(found) > 1
    uncovered = np.arange(-1.0, 41) + np.array([[comb.phase] for comb in tried])

    def weighed(tried, uncovered):
        seen = (tried, teeth, uncovered, X0)
        return (
            sleeve.long_log_likelihood(*seen, FINE),
            sleeve.side_log_likelihood(*seen, halves=True, numbers_above=0.7),
            sleeve.first_log_likelihood(*seen, 20.0, X0 - 90.0),
        )

    together = weighed(tried, uncovered)
    for i, comb in enumerate(tried):
        for all_of_them, alone in zip(together, weighed((comb,), uncovered[[i]]), strict=True):
            assert np.allclose(all_of_them[i], alone[0], rtol=0, atol=1e-12)
    assert all(np.ptp(values) > 1 for values in together)


def test_numbers_on_combs_weighed_together_are_as_if_weighed_alone():
    numbers = [number(5, X0 - 70.0), number(0, X0 - 6.0, sure=0.4), number(10, X0 - 130.0)]
    pitch_px, phase = np.array([6.5, 7.2, 13.0]), np.array([0.1, 0.5, 0.9])
    uncovered = np.arange(-1, 41) + phase[:, None]

    def weighed(of):
        places = [(n.x - X0) / pitch_px[of] for n in numbers]
        first = [0.0, 25.0, 100.0]
        return sleeve.number_log_likelihood(
            numbers, places, uncovered[of], FINE, first, pitch_px[of] / 0.5
        )

    together = weighed(slice(None))
    assert together.shape == (3, 3, 42)
    for i in range(3):
        assert np.allclose(together[:, i], weighed(i), rtol=0, atol=1e-12)
    assert np.ptp(together, axis=(0, 1)).min() > 0.1
