"""The thimble's divisions: gratings drawn on cylinders whose radius, turn and phase are known.

The drawings follow y = middle - R sin(angle), with angles counted upwards and numbers growing
upwards on an outside gauge (common practice: the thimble is read from below the line to above it).
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from vision import thimble
from vision.closeup import SIZE
from vision.lines import Axis, Edge, Outline
from vision.numerals import Numeral

Y0, X0 = 127.9, 352.3  # where line and edge meet: no whole pixels
STEP = 2.8  # px by which the thimble stands proud of the sleeve
WIDENING = 0.13  # growth of its radius, px a px
RIDGE_PX = 1.3


def axis(u_y0=0.1, y0=Y0):
    return Axis(y0, 0.0, X0, 100.0, X0, u_y0, 0.9)


EDGE = Edge(X0, 0.0, 0.0, 0.0, 0.2, 1.0)


def outline(radius, middle, seen=True, off=(0.0, 0.0)):
    sleeve = radius - STEP
    top, low = middle - sleeve + off[0], middle + sleeve + off[1]
    return Outline(top if seen else None, low if seen else None, STEP, 0.7, WIDENING)


def draw(divisions, fraction, radius, middle, wander=None, strength=0.9):
    """Draw soft ridges, (256, 544), `wander` px off for each of the lines."""
    columns = np.arange(int(X0) + 1, int(X0) + 19)
    behind, rows = columns[None, :] - X0, np.arange(SIZE[1])[:, None]
    out = np.zeros(SIZE[::-1])
    line = math.asin(middle / radius)
    for k in range(-(divisions // 2), divisions // 2 + 1):
        angle = line + (k - fraction) * 2 * math.pi / divisions
        if abs(angle) > math.radians(75):
            continue
        y = Y0 + middle - (radius + WIDENING * behind) * math.sin(angle)
        y = y + (0.0 if wander is None else wander[k + divisions // 2])
        ridge = strength * np.exp(-0.5 * ((rows - y) / RIDGE_PX) ** 2)
        out[:, columns] = np.maximum(out[:, columns], ridge)
    return out.astype(np.float32)


def measured(divisions, fraction, radius, middle, seen=True):
    ridge = draw(divisions, fraction, radius, middle)
    bevel = thimble.unroll(ridge, axis(), EDGE, outline(radius, middle, seen))
    return bevel, thimble.grating(bevel, divisions, 0.1)


def apart(one, other):
    """Distance of two phases on the circle of one division."""
    return abs((one - other + 0.5) % 1.0 - 0.5)


@pytest.mark.parametrize("divisions", [25, 50, 100])
@pytest.mark.parametrize(
    ("radius", "middle", "fraction"),
    [(82.8, 0.3, 0.37), (82.8, -27.4, 0.02), (76.3, 31.0, 0.97), (88.9, 14.2, 0.5)],
)
def test_a_grating_is_found_with_its_phase_and_cylinder(divisions, radius, middle, fraction):
    _, on = measured(divisions, fraction, radius, middle)
    # The other sense, 1 - fraction, is 0.04 away or more but for one half; that one tells the
    # line's own height: a pixel off makes 0.05 (25 divisions) or more.
    assert apart(on.fraction, fraction) < 0.012
    assert abs(on.radius / radius - 1) < 0.01
    assert abs(on.middle - middle) < 0.7
    assert on.evenness > 0.9
    roll = math.asin(middle / (radius - STEP))
    assert abs(on.roll_rad - roll) < 0.012  # the other sign is wrong by 0.35 at most of these


@pytest.mark.parametrize("divisions", [50, 100])
@pytest.mark.parametrize("middle", [-27.4, 3.1, 27.4])
def test_the_lines_tell_the_cylinder_where_no_silhouette_is_seen(divisions, middle):
    # radii that the pose got wrong by an eighth either way: the lines' crowding corrects them
    for radius in (71.0, 92.0):
        _, on = measured(divisions, 0.37, radius, middle, seen=False)
        assert abs(on.radius / radius - 1) < 0.025
        assert abs(on.middle - middle) < 3
        assert apart(on.fraction, 0.37) < 2 * on.u_fraction < 0.14


@pytest.mark.parametrize(("divisions", "others"), [(50, (25, 100)), (100, (25, 50))])
def test_a_grating_coheres_with_its_own_number_of_divisions_only(divisions, others):
    bevel, on = measured(divisions, 0.6, 81.0, 9.0)
    for other in others:
        assert thimble.fit_cylinder(bevel, other)[2] < 0.5 * on.coherence


def test_the_higher_harmonic_of_coarse_lines_is_weaker_than_they_are():
    # every line of 25 is a line of 50 as well: only the strength of the harmonic tells
    bevel, on = measured(25, 0.6, 81.0, 9.0)
    assert thimble.fit_cylinder(bevel, 50)[2] < 0.75 * on.coherence


def test_no_lines_are_no_grating():
    noise = np.random.default_rng(5).uniform(0, 0.2, SIZE[::-1]).astype(np.float32)
    for ridge in (np.zeros(SIZE[::-1], np.float32), noise):
        bevel = thimble.unroll(ridge, axis(), EDGE, outline(82.8, 4.0))
        on = thimble.grating(bevel, 50)
        assert on.coherence < 0.15
        assert on.evenness < 0.3
        assert on.u_fraction > 0.05


@pytest.mark.parametrize("divisions", [25, 50, 100])
def test_the_phases_stated_uncertainty_is_a_fair_claim(divisions):
    """Errors over stated uncertainties scatter by about one.

    Drawn: the line 0.1 px off (standard deviation, as said), every division 0.5 px off where the
    ridge is drawn and 0.035 of a division where it was cut, silhouettes 1.2 px off. How far ridges
    wander in truth only pictures tell; with these the scatter is between 0.8 and 1.2, and a
    statement half or twice as large fails.
    """
    rng = np.random.default_rng(20 + divisions)
    misses = []
    for _ in range(200):
        radius, middle = rng.uniform(72, 90), rng.uniform(-28, 28)
        fraction, u_line = rng.random(), 0.1
        spacing = 2 * math.pi * radius / divisions
        wander = rng.normal(0, math.hypot(0.5, 0.035 * spacing), divisions + 2)
        ridge = draw(divisions, fraction, radius, middle, wander, rng.uniform(0.5, 0.95))
        around = outline(radius, middle, off=rng.normal(0, 1.2, 2))
        seen = axis(u_line, Y0 + rng.normal(0, u_line))
        on = thimble.grating(thimble.unroll(ridge, seen, EDGE, around), divisions, u_line)
        misses.append(((on.fraction - fraction + 0.5) % 1.0 - 0.5) / on.u_fraction)
    misses = np.array(misses)
    assert abs(misses.mean()) < 0.25
    assert 0.8 < misses.std() < 1.2


def numeral(value, x, y, sure=0.95, heat=0.9, values=100):
    """A number seen at (x, y); the other values share what is left of certainty."""
    p = np.full(100, (1 - sure) / (values - 1))
    p[value] = sure
    return Numeral(x, y, "thimble", heat, np.log(p), np.zeros(4))


def engraved(divisions, shown, radius, middle, every=5, reach=0.55, way=1):
    """Numbers beside their divisions, 22 px behind the edge, where the cylinder puts them."""
    out, behind = [], 22.0
    line = math.asin(middle / radius)
    for value in range(0, divisions, every):
        off = (value - shown + divisions / 2) % divisions - divisions / 2
        if abs(off) * 2 * math.pi / divisions > reach:
            continue
        angle = line + way * off * 2 * math.pi / divisions
        y = Y0 + middle - (radius + WIDENING * behind) * math.sin(angle)
        out.append(numeral(value, X0 + behind, y))
    return out


def ideal(divisions, fraction, radius=82.8, middle=9.0):
    return thimble.Grating(divisions, radius, middle, radius - STEP, 0.5, 1.0, fraction, 0.03, 0.05)


def wholes(numbers, on, downwards=False):
    offsets = thimble.numeral_offsets(numbers, on, WIDENING, axis(), EDGE)
    return thimble.whole_log_likelihood(numbers, offsets, on, downwards)


def test_numbers_lie_as_many_divisions_off_as_they_are_engraved():
    shown, on = 23.4, ideal(50, 0.4)
    numbers = engraved(50, shown, on.radius, on.middle)
    values = [int(np.argmax(n.log_probability)) for n in numbers]
    assert values == [20, 25]
    offsets = thimble.numeral_offsets(numbers, on, WIDENING, axis(), EDGE)
    # without the bevel's widening these are off by 3.5 %, 0.1 of a division
    assert np.allclose(offsets, np.array(values) - shown, atol=1e-6)


@pytest.mark.parametrize("divisions", [25, 50, 100])
@pytest.mark.parametrize("fraction", [0.03, 0.37, 0.97])
def test_every_whole_division_is_told_by_its_numbers(divisions, fraction):
    on = ideal(divisions, fraction)
    for whole in range(divisions):
        numbers = engraved(divisions, whole + fraction, on.radius, on.middle, reach=0.7)
        assert len(numbers) >= 1
        log = wholes(numbers, on)
        assert int(np.argmax(log)) == whole
        beside = max(log[(whole + 1) % divisions], log[whole - 1])
        assert log[whole] > beside + 0.5  # beside it, and round the end at 0


@pytest.mark.parametrize("whole", [0, 3, 17, 31, 49])
def test_one_misread_number_of_three_does_not_matter(whole):
    on = ideal(50, 0.37)
    right = engraved(50, whole + 0.37, on.radius, on.middle, reach=1.0)
    assert len(right) >= 3
    for wrong in range(len(right)):
        numbers = list(right)
        n = numbers[wrong]
        numbers[wrong] = numeral((int(np.argmax(n.log_probability)) + 15) % 50, n.x, n.y)
        assert int(np.argmax(wholes(numbers, on))) == whole


@pytest.mark.parametrize(("divisions", "whole"), [(25, 14), (50, 34), (100, 34)])
def test_numbers_that_the_thimble_lacks_are_left_out(divisions, whole):
    """A 5 with a faint tens digit: 35 more likely than 15, where there is a 35."""
    on = ideal(divisions, 0.37)
    (near,) = [
        n
        for n in engraved(divisions, 14.37, on.radius, on.middle)
        if np.argmax(n.log_probability) == 15
    ]
    share = np.full(100, 1e-4)
    share[[15, 35, 45]] = 0.02, 0.9, 0.06
    doubtful = replace(near, log_probability=np.log(share / share.sum()))
    log = wholes([doubtful], on)
    assert int(np.argmax(log)) == whole
    assert log[whole] > np.sort(log)[-3] + 1.0


def test_all_numbers_misread_alike_carry_the_day():
    # so that the test before can fail: three misread by the same amount do matter
    on = ideal(50, 0.37)
    numbers = [
        numeral((int(np.argmax(n.log_probability)) + 15) % 50, n.x, n.y)
        for n in engraved(50, 17.37, on.radius, on.middle, reach=1.0)
    ]
    assert int(np.argmax(wholes(numbers, on))) == 32


@pytest.mark.parametrize("whole", [0, 12, 36, 49])
def test_numbers_that_grow_the_other_way_are_known_by_it(whole):
    """Depth and groove gauges are numbered the other way round (common practice)."""
    on = ideal(50, 0.37)
    shown = whole + 1 - on.fraction  # growing downwards, the fraction counts from the line above
    backwards = engraved(50, shown, on.radius, on.middle, reach=1.0, way=-1)
    usual = engraved(50, whole + on.fraction, on.radius, on.middle, reach=1.0)
    for numbers, way, other in ((backwards, True, False), (usual, False, True)):
        assert len(numbers) >= 2
        right, wrong = wholes(numbers, on, way), wholes(numbers, on, other)
        assert int(np.argmax(right)) == whole
        assert right.max() > wrong.max() + 3


def test_no_numbers_say_nothing():
    assert np.array_equal(wholes([], ideal(50, 0.4)), np.zeros(50))


def test_a_faint_number_says_less_than_a_clear_one():
    on = ideal(50, 0.37)
    clear = engraved(50, 10.37, on.radius, on.middle)
    faint = [numeral(int(np.argmax(n.log_probability)), n.x, n.y, heat=0.15) for n in clear]
    assert np.ptp(wholes(faint, on)) < 0.8 * np.ptp(wholes(clear, on))


def test_numbers_that_all_stand_off_alike_are_no_proof_of_another_division():
    # all of them 0.7 of a division low: taken one by one, they would be sure of the next whole one
    on = ideal(100, 0.37)
    numbers = engraved(100, 40.37 - 0.7, on.radius, on.middle, reach=1.0)
    assert len(numbers) >= 6
    log = wholes(numbers, on)
    right, beside = log[40], log[39]
    assert beside - right < 3.0  # 4.3 if each stood off by itself
    assert max(right, beside) == log.max()


def test_numbers_follow_lines_that_lean():
    shown, on = 23.4, ideal(50, 0.4)
    numbers = engraved(50, shown, on.radius, on.middle)
    # lines that run 0.08 px a px farther up carry the numbers 22 px behind the edge up with them
    risen = [replace(n, y=n.y - 0.08 * 22.0) for n in numbers]
    level = thimble.numeral_offsets(risen, on, WIDENING, axis(), EDGE)
    leant = thimble.numeral_offsets(risen, replace(on, lean=0.08), WIDENING, axis(), EDGE)
    values = np.array([int(np.argmax(n.log_probability)) for n in numbers])
    assert np.allclose(leant, values - shown, atol=1e-6)
    assert (level - leant > 0.15).all()  # 1.8 px of the 10 to the next division
