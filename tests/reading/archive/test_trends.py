"""Trends by gauge and part, and gauges that drift: planted drifts come out, noise does not."""

from __future__ import annotations

import random
from datetime import datetime, timedelta

import pytest
from scipy.stats import linregress

from reading.archive.trends import Point, Series, gauge_drifts, series_of, value_mm

START = datetime(2025, 1, 1)
MONTH = timedelta(days=365.25 / 12)


def row(**changes):
    base = {"gauge": "L07", "part": "pin", "photo": "a.jpg", "dated": "2025-01-01T00:00:00"}
    base |= {"status": "read", "eyes": None, "verdict": None, "decided_shown": None}
    base |= {"decided_unit": None, "shown_mm": 5.02, "corrected_mm": 5.0, "zero_error_mm": 0.02}
    return base | changes


def series(gauge, part, length, per_month, seed, count=12):
    rng = random.Random(seed)
    points = [
        Point(START + n * MONTH, length + n * per_month + rng.gauss(0, 0.002), f"{n}.jpg")
        for n in range(count)
    ]
    return Series(gauge, part, True, tuple(points))


@pytest.mark.parametrize(
    ("changes", "value"),
    [
        ({}, (True, 5.0)),
        ({"corrected_mm": None}, (False, 5.02)),
        ({"eyes": "unsure"}, None),
        (
            {"eyes": "unsure", "verdict": "accept", "decided_shown": "5.52", "decided_unit": "mm"},
            (True, 5.5),
        ),
        (
            {
                "status": "refused",
                "eyes": "refused",
                "verdict": "correct",
                "decided_shown": "0.2",
                "decided_unit": "in",
                "zero_error_mm": None,
            },
            (False, 5.08),
        ),
        ({"verdict": "reject"}, None),
        ({"status": "refused", "eyes": "refused"}, None),
    ],
)
def test_what_counts_and_how(changes, value):
    assert value_mm(row(**changes)) == value


def test_rows_become_series_by_time():
    dates = ("2025-03-01T00:00:00", "2025-01-01T00:00:00", "2025-02-01T00:00:00")
    rows = [row(dated=dated, photo=dated) for dated in dates]
    rows += [row(part="rod"), row(part=None), row(gauge=None), row(dated=None)]
    rows.append(row(corrected_mm=None, zero_error_mm=None))  # not comparable with the others
    (found,) = series_of(rows)
    assert [point.photo for point in found.points] == sorted(dates)


def test_a_gauge_that_drifts_is_told_from_those_that_do_not():
    made = [series("L07", f"part {n}", 2.0 + n, 0.001, n) for n in range(4)]
    made += [series("L08", f"part {n}", 2.0 + n, 0.0, 10 + n) for n in range(4)]
    drifting, steady = gauge_drifts(made)
    assert (drifting.gauge, drifting.shown, drifting.alike) == ("L07", True, 4)
    assert drifting.drift.per_month == pytest.approx(0.001, abs=3 * drifting.drift.u_per_month)
    assert 0 < drifting.drift.u_per_month < 0.0002
    assert not steady.shown


def test_one_part_is_a_plain_regression():
    """Against SciPy's."""
    one = series("L07", "pin", 3.0, 0.0005, 5)
    (found,) = gauge_drifts([one])
    months = [(point.at - START) / MONTH for point in one.points]
    line = linregress(months, [point.value_mm for point in one.points])
    assert found.drift.per_month == pytest.approx(line.slope, rel=1e-9)
    assert found.drift.u_per_month == pytest.approx(line.stderr, rel=1e-9)
    assert found.free == len(one.points) - 2


def test_noise_alone_is_called_drift_in_about_one_of_twenty():
    shown = sum(
        gauge_drifts([series("L07", "pin", 3.0, 0.0, 1000 + n, 30)])[0].shown for n in range(400)
    )
    assert 8 <= shown <= 36  # 5.5 % of 400 is 22, standard deviation 4.6


def test_parts_of_different_length_are_no_drift():
    """A long part measured late must not look like a growing gauge."""
    early, late = series("L07", "short", 2.0, 0.0, 1), series("L07", "long", 20.0, 0.0, 2)
    moved = tuple(Point(p.at + 12 * MONTH, p.value_mm, p.photo) for p in late.points)
    (found,) = gauge_drifts([early, Series("L07", "long", True, moved)])
    assert abs(found.drift.per_month) < 4 * found.drift.u_per_month < 0.001  # not 18 mm a year
