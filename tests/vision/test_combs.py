"""The sleeve's graduations: combs drawn with a known spacing, bend, lean and number uncovered.

Metric sleeves number every fifth millimetre and set a longer graduation there; inch sleeves number
and lengthen every fourth, the tenths of an inch (common practice).
"""

from __future__ import annotations

import math
from decimal import Decimal

import numpy as np
import pytest

from vision import combs, lines, teeth
from vision.closeup import SIZE
from vision.combs import Comb
from vision.lines import Axis, Edge, Outline
from vision.numerals import Numeral
from vision.scale import Scale
from vision.teeth import Tooth

Y0, X0 = 127.9, 352.3
FINE, SCHOOL, INCH = (
    Scale(Decimal("0.5"), 50),
    Scale(Decimal(1), 100),
    Scale(Decimal("0.025"), 25, "in"),
)
AXIS = Axis(Y0, 0.0, X0, 40.0, X0, 0.1, 0.9)
EDGE = Edge(X0, 0.0, 0.0, 0.0, 0.2, 1.0)
RADIUS_PX = 80.0


def seen_at(pitches, pitch_px, bend):
    """Where perspective puts what lies `pitches` left of the edge: x / (1 + bend x) of it."""
    return X0 - pitch_px * pitches / (1.0 - bend * pitches)


def draw(
    uncovered, pitch_px, *, bend=0.0, lean=0.0, slope=0.0, curve=(0.0, 0.0), cycle=10, wander=()
):
    """Draw graduations 0 to floor(uncovered) as soft ridges, (256, 544), whole ones upwards."""
    rows, cols = np.mgrid[: SIZE[1], : SIZE[0]].astype(float)
    out = np.zeros(SIZE[::-1])
    for k in range(math.floor(uncovered) + 1):
        x = seen_at(uncovered - k, pitch_px, bend)
        x += wander[k] if len(wander) else 0.0
        base = Y0 + slope * (x - X0)
        below = rows - base
        up = cycle != 10 or k % 2 == 0
        long = 26.0 if k % cycle == 0 else 17.0
        middle = x + (curve[0] + lean) * below + curve[1] * below**2
        on = (below < 0) & (below > -long) if up else (below > 0) & (below < 14.0)
        out = np.maximum(out, 0.9 * np.exp(-0.5 * ((cols - middle) / 1.3) ** 2) * on)
    return out.astype(np.float32)


def combs_of(ridge, axis=AXIS, edge=EDGE, *, facing_sine=0.0):
    found, shear = teeth.find_teeth(ridge, axis, edge)
    return found, shear, combs.find_combs(found, edge.x0, facing_sine)


@pytest.mark.parametrize(
    ("uncovered", "pitch_px"),
    [(12.37, 11.3), (20.92, 6.7), (5.06, 24.6), (9.5, 14.2), (3.41, 17.0)],
)
@pytest.mark.parametrize("stretch", [-0.09, 0.0, 0.09])
def test_a_comb_is_found_with_its_spacing_bend_and_phase(uncovered, pitch_px, stretch):
    # 9 % over 17.5 mm: a sleeve turned by 30 degrees, 100 mm away; over 200 px here
    bend = stretch * pitch_px / 200
    bend = bend if uncovered > 6 else 0.0  # few graduations do not tell a bend
    sine = 0.5 * np.sign(bend)
    found, _, (best, *_) = combs_of(draw(uncovered, pitch_px, bend=bend), facing_sine=sine)
    assert best.teeth == math.floor(uncovered) + 1 == len(found)
    # doubling or halving the spacing is off by 100 %, and a tooth too many by a whole phase
    assert abs(best.pitch_px / pitch_px - 1) < 0.02
    assert abs(best.phase - uncovered % 1.0) < 0.03
    for k in range(math.floor(uncovered) + 1):
        x = seen_at(uncovered - k, pitch_px, bend)
        # a straight comb is off by 0.5 and more at its end, a bend of the other sign by 1
        assert abs(best.place(x, X0) - (k - uncovered)) < 0.1


def test_a_bend_that_is_not_allowed_for_would_be_seen():
    bend, uncovered, pitch_px = 0.004, 20.4, 9.0
    _, _, (best, *_) = combs_of(draw(uncovered, pitch_px, bend=bend), facing_sine=0.5)
    first = seen_at(uncovered, pitch_px, bend)
    assert abs(best.place(first, X0) + uncovered) < 0.2
    straight = Comb(best.pitch_px, 0.0, best.phase, 0.0, 21, 0.02)
    assert abs(straight.place(first, X0) + uncovered) > 0.5


@pytest.mark.parametrize("lean", [-0.12, -0.04, 0.08])
@pytest.mark.parametrize(("slope", "curve"), [(0.0, (0.0, 0.0)), (0.06, (-0.05, 0.0012))])
def test_lines_that_lean_are_set_upright(lean, slope, curve):
    uncovered, pitch_px = 14.3, 12.1
    axis = Axis(Y0, slope, X0, 40.0, X0, 0.1, 0.9)
    edge = Edge(X0, curve[0], curve[1], curve[0], 0.2, 1.0)
    ridge = draw(uncovered, pitch_px, lean=lean, slope=slope, curve=curve)
    found, shear, (best, *_) = combs_of(ridge, axis, edge)
    assert abs(shear - lean) < 0.35 * abs(lean) + 0.01
    assert len(found) == 15
    # Not set upright, a lean of 0.12 shifts whole ones by 1.1 px against halves the other way:
    # the phase is then off by 0.09.
    assert abs(best.phase - 0.3) < 0.06
    assert abs(best.pitch_px / pitch_px - 1) < 0.02


def test_the_phases_stated_uncertainty_bounds_its_errors():
    """Graduations 0.45 px off, each by itself; the statement's floor is 0.02 of a pitch."""
    rng = np.random.default_rng(8)
    misses = []
    for _ in range(60):
        uncovered, pitch_px = rng.uniform(5.1, 19.9), rng.uniform(8, 16)
        where = [seen_at(uncovered - k, pitch_px, 0.0) for k in range(int(uncovered) + 1)]
        found = tuple(Tooth(x + rng.normal(0, 0.45), 20.0, 15.0) for x in reversed(where))
        best = combs.find_combs(found, X0)[0]
        off = (best.phase - uncovered + 0.5) % 1.0 - 0.5
        misses.append(off / best.u_phase)
    assert abs(np.mean(misses)) < 0.4
    assert 0.6 < np.std(misses) < 1.6


@pytest.mark.parametrize("turned_deg", [-35, -15, 0, 20, 35])
@pytest.mark.parametrize("distance_mm", [100.0, 170.0, 300.0])
def test_perspective_stretches_as_a_pinhole_camera_has_it(turned_deg, distance_mm):
    """Graduations and edge through a pinhole (geometry); 200 px is 17.5 mm of a 7 mm sleeve."""
    turned, radius_mm = math.radians(turned_deg), 7.0

    def seen(axial_mm, around_rad):
        away = distance_mm + axial_mm * math.sin(turned)
        away -= radius_mm * math.cos(around_rad) * math.cos(turned)
        x = axial_mm * math.cos(turned) + radius_mm * math.cos(around_rad) * math.sin(turned)
        scale = RADIUS_PX / radius_mm * (distance_mm - radius_mm * math.cos(turned)) / away
        return x * scale, radius_mm * math.sin(around_rad) * scale

    (x0, _), (x1, y1) = seen(0.0, 0.0), seen(0.0, 0.3)
    edge = Edge(X0, 0.0, (x1 - x0) / y1**2, 0.0, 0.2, 1.0)
    sine = lines.facing_sine(edge, Outline(-RADIUS_PX, RADIUS_PX, 5.0, 0.0, 0.0))
    mean, spread = combs.expected_stretch(sine)
    half, whole = (seen(-mm, 0.0)[0] - x0 for mm in (8.75, 17.5))
    # d = p q / (1 + b q) at q = -1 and -2 gives the bend; the stretch is b times as many of them
    ratio = whole / half
    bend = (ratio - 2.0) / (2.0 * ratio - 2.0)
    stretch = combs.STRETCH_OVER_PX * bend / (abs(half) * (1.0 - bend))
    # of the other sign it is 2.4 spreads off at 35 degrees and 300 mm, and more when nearer
    assert abs(stretch - mean) < 2.0 * spread


def test_lines_above_and_below_may_stand_apart():
    """An uneven lean parts the sides by a little; halves must not be lost for it."""
    uncovered, pitch_px, apart_px = 16.3, 4.4, 1.2
    found = tuple(
        Tooth(seen_at(uncovered - k, pitch_px, 0.0), 0.0, 14.0)
        if k % 2 == 0
        else Tooth(seen_at(uncovered - k, pitch_px, 0.0) + apart_px, 9.0, 0.0)
        for k in range(16, -1, -1)
    )
    best = combs.find_combs(found, X0)[0]
    assert best.teeth == 17
    assert abs(best.pitch_px / pitch_px - 1) < 0.02
    assert abs(best.phase - 0.3 + apart_px / 2 / pitch_px) < 0.05
    assert abs(best.aside_px - apart_px / 2) < 0.15  # the other sign would be off by 1.2


def test_strays_and_gaps_do_not_change_the_comb():
    uncovered, pitch_px = 15.2, 12.0
    found, _, _ = combs_of(draw(uncovered, pitch_px))
    stray = Tooth(seen_at(6.6, pitch_px, 0.0), 3.0, 2.0)
    gappy = (*found[:4], stray, *found[6:])
    best = combs.find_combs(gappy, X0)[0]
    assert abs(best.pitch_px / pitch_px - 1) < 0.01
    assert abs(best.phase - 0.2) < 0.03


def test_halves_close_by_across_the_line_are_lines_of_their_own():
    """Half a millimetre of a sleeve 22 mm across is 3.6 px here: summed, they run together."""
    uncovered, pitch_px = 9.4, 3.6
    found, _, (best, *_) = combs_of(draw(uncovered, pitch_px))
    assert len(found) == best.teeth == 10
    assert abs(best.pitch_px / pitch_px - 1) < 0.02
    assert all(min(t.above, t.below) < 0.2 * max(t.above, t.below) for t in found)


def test_a_faint_line_among_clear_ones_hardly_counts():
    clear = tuple(Tooth(X0 - 3.0 - 9.0 * k, 20.0, 15.0) for k in range(6))
    faint = Tooth(clear[2].x, 2.0, 1.0)
    kept, weak, gone = (
        combs.find_combs(teeth, X0)[0].log_likelihood
        for teeth in (clear, (*clear[:2], faint, *clear[3:]), (*clear[:2], *clear[3:]))
    )
    assert kept > weak + 1
    assert abs(weak - gone) < 1.5


def test_too_few_lines_are_no_comb():
    assert combs.find_combs((), X0) == ()
    assert combs.find_combs((Tooth(300.0, 20, 0), Tooth(310.0, 20, 0)), X0) == ()
    assert teeth.find_teeth(np.zeros(SIZE[::-1], np.float32), AXIS, EDGE) == ((), 0.0)


@pytest.mark.parametrize(
    ("on", "heat", "kept"), [("sleeve", 0.6, 1), ("sleeve", 0.1, 2), ("thimble", 0.6, 2)]
)
def test_a_stroke_of_a_number_is_no_graduation(on, heat, kept):
    ridge = np.zeros(SIZE[::-1], np.float32)
    ridge[round(Y0) - 25 : round(Y0), 340] = 0.9  # a graduation, and one side of a nought
    ridge[round(Y0) + 24 : round(Y0) + 40, 330] = 0.9
    nought = Numeral(335.0, Y0 + 32.0, on, heat, np.zeros(100), np.zeros(4))
    found, _ = teeth.find_teeth(teeth.unlettered(ridge, [nought]), AXIS, EDGE)
    assert len(found) == kept
    assert abs(found[0].x - 340.0) < 0.6
    assert ridge.max() == np.float32(0.9)


def test_a_bare_sleeve_gets_combs_of_customary_spacing():
    bare = combs.customary_combs(FINE, (), X0, RADIUS_PX)
    spacings = [c.pitch_px for c in bare]
    # 0.5 mm on a sleeve of 7 mm radius that is 80 px in the picture
    assert min(spacings) < 80 / 7 * 0.5 < max(spacings)
    assert {c.teeth for c in bare} == {0}
    one = (Tooth(X0 - 2.5, 20.0, 0.0),)
    for comb in combs.customary_combs(FINE, one, X0, RADIUS_PX):
        assert comb.phase * comb.pitch_px == pytest.approx(2.5)


@pytest.mark.parametrize("scale", [FINE, SCHOOL, INCH])
def test_customary_spacings_are_likelier_than_others(scale):
    usual = RADIUS_PX / 7.0 * float(scale.pitch_mm)  # a sleeve of 14 mm across (common practice)
    here, half, double = (
        combs.spacing_log_prior(Comb(usual * f, 0, 0.3, 0, 9, 0.02), scale, RADIUS_PX)
        for f in (1.0, 0.5, 2.0)
    )
    assert here > max(half, double) + 3


def test_a_median_counts_only_what_is_asked_for():
    values = np.random.default_rng(5).normal(size=(7, 12))
    among = np.random.default_rng(6).random((3, 7, 12)) < 0.4
    among[0, 0] = False
    medians = combs.median_of(values, among)
    assert medians.shape == (3, 7)
    assert medians[0, 0] == np.inf
    for at in np.ndindex(3, 7):
        if among[at].any():
            assert medians[at] == pytest.approx(np.median(values[at[1]][among[at]]))
