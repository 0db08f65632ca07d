"""The lines that carry the geometry, fitted to ridges drawn at known places, never whole pixels."""

from __future__ import annotations

import numpy as np
import pytest

from vision import lines
from vision.closeup import ORIGIN, SIZE

ROWS, COLS = np.mgrid[: SIZE[1], : SIZE[0]].astype(float)
WIDE = 1.3  # half-width of the ridges, px


def level_line(y0, slope, first=60.0, last=350.0, height=0.9, rng=None, wander=0.0):
    """Draw y = y0 + slope (x - 352), px, each column wandering by itself."""
    off = ROWS - (y0 + slope * (COLS - ORIGIN[0]))
    if rng is not None:
        off = off - rng.normal(0, wander, SIZE[0])[None, :]
    ridge = (
        height
        * np.exp(-0.5 * (off / WIDE) ** 2)
        * (abs(COLS - (first + last) / 2) < (last - first) / 2)
    )
    return ridge.astype(np.float32)


def arc(x0, lean, bend, y0, reach=82.0, height=0.9):
    """Draw x = x0 + lean dy + bend dy^2."""
    dy = ROWS - y0
    off = COLS - (x0 + lean * dy + bend * dy * dy)
    return (height * np.exp(-0.5 * (off / WIDE) ** 2) * (np.abs(dy) < reach)).astype(np.float32)


@pytest.mark.parametrize(
    ("y0", "slope"), [(127.9, 0.08), (127.9, -0.05), (104.3, 0.031), (151.6, -0.01), (141.2, 0.06)]
)
@pytest.mark.parametrize("expected_off", [0.0, -0.03])
def test_the_reference_line_is_found(y0, slope, expected_off):
    axis = lines.fit_axis(level_line(y0, slope), slope + expected_off)
    assert axis is not None
    # Half a pixel, the wrong rule for pixels' centres, fails. An edge that leads one to expect
    # another slope draws the line along a little.
    assert abs(axis.y0 - y0) < (0.1 if expected_off == 0 else 0.25)
    assert abs(axis.slope - slope) < 0.004
    assert abs(axis.first_x - 60) < 8
    assert abs(axis.last_x - 350) < 3
    assert axis.strength > 0.7
    assert axis.u_y0 < 0.15
    assert np.allclose(axis.y_at(np.array([352.0, 252.0])), [axis.y0, axis.y0 - 100 * axis.slope])


def test_graduations_and_specks_do_not_draw_the_line_away():
    # lines that stand on the reference line, as graduations do, and a longer line beside it
    ridge = level_line(127.4, 0.03)
    for x in range(80, 340, 12):
        ridge[100:127, x] = 0.35
    ridge = np.maximum(ridge, level_line(148.0, 0.0, 20, 350, height=0.4))
    axis = lines.fit_axis(ridge)
    assert axis is not None
    assert abs(axis.y0 - 127.4) < 0.3
    assert abs(axis.slope - 0.03) < 0.004


def test_a_stub_of_a_line_is_held_level_with_what_is_expected():
    stub = level_line(127.4, 0.05, 338.0, 350.0)
    held = lines.fit_axis(stub, 0.05)
    assert held is not None
    assert abs(held.slope - 0.05) < 0.02
    assert abs(held.y0 - 127.4) < 0.4
    long = lines.fit_axis(level_line(127.4, 0.05), 0.0)  # a long one is not
    assert long is not None
    assert abs(long.slope - 0.05) < 0.004
    assert held.u_y0 > long.u_y0


@pytest.mark.parametrize(
    "ridge",
    [
        np.zeros(SIZE[::-1], np.float32),
        level_line(60.0, 0.0),  # far from where the finder put it
        level_line(127.4, 0.0, height=0.1),
        level_line(127.4, 0.0, 349.0, 351.0),
    ],
)
def test_no_line_is_none(ridge):
    assert lines.fit_axis(ridge) is None


def test_the_lines_stated_uncertainty_bounds_its_errors():
    """200 short lines whose columns wander by 0.35 px each, the scatter that the formula names."""
    rng = np.random.default_rng(4)
    misses = []
    for _ in range(200):
        y0, slope = rng.uniform(115, 140), rng.uniform(-0.05, 0.05)
        first = rng.uniform(240, 300)
        axis = lines.fit_axis(level_line(y0, slope, first, 350, rng=rng, wander=0.35), slope)
        assert axis is not None
        misses.append((axis.y0 - y0) / axis.u_y0)
    assert abs(np.mean(misses)) < 0.25
    assert 0.6 < np.std(misses) < 1.2, np.std(misses)


@pytest.mark.parametrize(
    ("x0", "lean", "bend"),
    [(352.3, 0.0, 0.0), (344.8, 0.06, 0.0011), (361.6, -0.11, -0.0014), (352.0, 0.15, 0.0005)],
)
def test_the_edges_arc_is_found(x0, lean, bend):
    y0 = 126.7
    edge = lines.fit_edge(arc(x0, lean, bend, y0), y0)
    assert edge is not None
    # A bend is held a little towards none: a sixth of the deepest, 0.5 px at the line, is lost.
    assert abs(edge.x0 - x0) < 0.1 + 400 * abs(bend)
    for dy in (-60, -25, 25, 60):
        # a straight edge is off by 2 px and more at the ends of the bent ones
        assert abs(float(edge.x_at(dy)) - (x0 + lean * dy + bend * dy * dy)) < 0.8
    assert edge.strength > 0.9
    assert edge.u_x0 < 0.25


@pytest.mark.parametrize("yaw", [-0.4, -0.1, 0.0, 0.25, 0.5])
def test_an_edge_seen_aslant_hides_or_shows_more_of_the_sleeve(yaw):
    """Two circles about the axis, 0.25 mm apart on a radius of 7 mm (common practice), turned.

    A point at (axial, height, depth) is seen at axial cos(yaw) + depth sin(yaw): turned out, the
    larger circle stands ahead of the smaller one that it covers by their difference's sine.
    """
    radius = 80.0
    proud = radius * 0.25 / 7.0
    dy = np.linspace(-50.0, 50.0, 41)
    x = (radius + proud) * np.sqrt(1 - (dy / (radius + proud)) ** 2) * np.sin(yaw)
    bend = np.polyfit(dy, x, 2)[0]
    edge = lines.Edge(352.0, 0.0, float(bend), 0.0, 0.2, 1.0)
    outline = lines.Outline(-radius, radius, proud, 0.7, 0.13)
    shift = edge.x0 - lines.over_sleeve_x(edge, outline)
    assert abs(shift - proud * np.sin(yaw)) < 0.15  # with the wrong sign 0.5 and more for 0.1 rad


def test_no_edge_is_none():
    assert lines.fit_edge(np.zeros(SIZE[::-1], np.float32), 127.5) is None
    assert lines.fit_edge(arc(420.0, 0, 0, 127.5), 127.5) is None  # out of reach


@pytest.mark.parametrize("y0", [60.0, 140.0, 190.5])
def test_a_line_is_fitted_through_a_place_that_it_is_known_to_lead_to(y0):
    ridge = np.maximum(level_line(y0, 0.04, 320, 352, height=0.5), level_line(120.3, 0.04))
    axis = lines.fit_axis(ridge, 0.03, (352.0, y0 + 0.6))
    assert abs(axis.y0 - y0) < 0.3
    assert abs(axis.first_x - 320) < 4
    assert lines.fit_axis(ridge, 0.03, (352.0, 160.0)) is None


def test_a_line_of_which_nothing_is_marked_is_short_faint_and_rough():
    axis = lines.unseen_axis(351.0, 99.5, 0.05)
    assert axis.y_at(351.0) == 99.5
    assert axis.y_at(331.0) == pytest.approx(98.5)
    assert axis.strength == 0.0
    assert 0 < axis.x_edge - axis.first_x < 10
    assert axis.u_y0 > 0.3


def test_a_flipped_line_runs_through_the_flipped_places():
    axis = lines.unseen_axis(351.0, 99.5, 0.05)
    x = np.array([300.0, 351.0])
    assert axis.flipped(256).y_at(x) == pytest.approx(255 - axis.y_at(x))
