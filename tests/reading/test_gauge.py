"""Which zero check is in force, whatever the order in which they were recorded."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reading.dates import local, parse_when
from reading.gauge import Gauge, ZeroCheck, in_force
from reading.problem import Problem
from vision.scale import Scale

START = datetime(2026, 1, 1)


def check_on(day, number=None):
    return ZeroCheck("G1", START + timedelta(days=day), Decimal(day) / 100, 0.003, number=number)


@given(
    st.lists(st.integers(0, 40), unique=True, min_size=1).flatmap(
        lambda days: st.tuples(st.just(days), st.permutations(days))
    ),
    st.integers(-5, 45),
)
def test_the_newest_earlier_check_counts_in_any_order(days_in_two_orders, today):
    days, shuffled = days_in_two_orders
    at = START + timedelta(days=today, hours=1)
    found = in_force([check_on(day) for day in days], at)
    assert found == in_force([check_on(day) for day in shuffled], at)
    earlier = [day for day in days if day <= today]
    assert found == (check_on(max(earlier)) if earlier else None)


def test_a_check_counts_from_its_own_moment():
    assert in_force([check_on(3)], START + timedelta(days=3)) == check_on(3)
    assert in_force([check_on(3)], START + timedelta(days=3, seconds=-1)) is None


def test_of_two_checks_at_one_time_the_later_record_counts():
    one, two = check_on(3, number=1), check_on(3, number=2)
    assert in_force([two, one], START + timedelta(days=9)) is two
    assert in_force([one, two], START + timedelta(days=9)) is two


def test_a_bare_date_is_the_whole_day():
    recorded = ZeroCheck("G1", parse_when("2026-11-25"), Decimal("0.02"), 0.003)
    assert in_force([recorded], parse_when("2026-11-25", end_of_day=True)) is recorded
    assert in_force([recorded], parse_when("2026-11-24", end_of_day=True)) is None
    assert parse_when("2026-11-25 08:12", end_of_day=True) == datetime(2026, 11, 25, 8, 12)


@pytest.mark.parametrize("text", ["", "yesterday", "25.11.2026", "2026-13-01", "2026-02-30"])
def test_what_is_no_date_is_named(text):
    with pytest.raises(Problem, match="write 2026-11-25"):
        parse_when(text)


def test_a_time_with_a_zone_becomes_local():
    assert local(datetime.fromisoformat("2026-11-25T08:12:00+00:00")).tzinfo is None


@pytest.mark.parametrize("identifier", ["", " G1", "G1\n", "G\n1", "G\x1b1"])
def test_a_gauge_needs_a_name(identifier):
    with pytest.raises(Problem, match="name"):
        Gauge(identifier, Scale(Decimal("0.5"), 50))


@pytest.mark.parametrize(
    "scale",
    [Scale(Decimal("0.5"), 30), Scale(Decimal("0.5"), 50, vernier=3), Scale(Decimal(1), 7)],
)
def test_a_least_count_without_an_exact_decimal_is_refused(scale):
    with pytest.raises(Problem, match="no exact decimal"):
        Gauge("G1", scale)


def test_a_range_ends_above_its_start():
    with pytest.raises(Problem, match="range end"):
        Gauge("G1", Scale(Decimal("0.5"), 50, start=Decimal(25)), Decimal(25))
