"""What is due when, and a gauge's state in a few words."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from decimal import Decimal

import pytest

from reading.gauge import ZeroCheck
from reading.gauges.chart import zero_chart
from reading.gauges.due import state
from reading.gauges.facts import Facts, from_record, to_record
from reading.problem import Problem
from reading.record import CALIBRATION, Record, Signed
from vision.scale import Scale

NOON = datetime(2026, 11, 25, 12, 0)
CHECK = ZeroCheck("G1", NOON - timedelta(days=10), Decimal("0.02"), 0.003)
CALIBRATED = Record("G1", CALIBRATION, NOON - timedelta(days=400), {})


def test_a_due_date_is_the_last_time_and_the_interval():
    found = state(Facts(zero_days=30), CHECK, None, None, NOON)
    assert found.zero.next == date(2026, 12, 15)
    assert found.overdue == ()
    assert found.words == "zero check due 2026-12-15"


@pytest.mark.parametrize(("days", "late"), [(9, True), (10, False), (11, False)])
def test_due_today_is_not_yet_overdue(days, late):
    found = state(Facts(zero_days=days), CHECK, None, None, NOON)
    assert bool(found.overdue) == late
    assert ("OVERDUE since" in found.words) == late


def test_what_was_never_done_is_overdue():
    found = state(Facts(calibration_days=365), None, None, None, NOON)
    assert [one.what for one in found.overdue] == ["zero check", "calibration"]
    assert found.words == "no zero check yet, no calibration yet"


def test_no_interval_no_due_date_but_a_year_for_the_zero():
    found = state(Facts(), CHECK, CALIBRATED, None, NOON)
    assert found.calibration.next is None
    assert found.zero.next == date(2027, 11, 15)
    assert state(Facts(calibration_days=365), CHECK, CALIBRATED, None, NOON).overdue


def test_an_alarm_of_the_newest_check_comes_first():
    scale = Scale(Decimal("0.5"), 50)
    checks = [
        ZeroCheck("G1", NOON - timedelta(days=30 - n), Decimal("0.02"), 0.003) for n in range(20)
    ]
    jump = ZeroCheck("G1", NOON, Decimal("0.07"), 0.003)
    found = state(Facts(), jump, None, zero_chart([*checks, jump], scale), NOON)
    assert found.words.startswith("zero outside the limits, ")
    assert state(Facts(), checks[-1], None, zero_chart(checks, scale), NOON).alarm == ""


def test_facts_come_back_and_are_added_to():
    facts = Facts(30, None, Decimal("0.004"))
    assert from_record(to_record("G1", facts, NOON, Signed())) == facts
    assert from_record(None) == Facts()
    assert facts.changed(Facts(calibration_days=365)) == Facts(30, 365, Decimal("0.004"))


@pytest.mark.parametrize(
    "values", [{"zero_days": 0}, {"calibration_days": -1}, {"limit": Decimal(0)}]
)
def test_facts_that_are_none(values):
    with pytest.raises(Problem, match=r"1 to|more than 0"):
        Facts(**values)
