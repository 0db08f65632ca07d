"""What only several readings show: looking from the side, forcing, the wrong approach."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest

from reading.correct import correct
from reading.gauge import Gauge, ZeroCheck
from reading.marking.habits import handling, parallax
from reading.marking.handed_in import Observation
from reading.marking.marked import Rules, learn, mark
from reading.marking.marks import Asked
from reading.marking.photos import Seen, UsedGauge
from reading.marking.scheme import load_scheme
from reading.marking.written import Entry
from reading.result import PhotoRecord
from reading.tables import Cell
from vision.scale import Scale

GAUGE = Gauge("G1", Scale(Decimal("0.5"), 50))


@pytest.fixture
def marked(sighted, noon):
    """Mark observations given as (student, division shown, reading written, thing)."""
    check = ZeroCheck("G1", noon.at, Decimal(0), 0.003)

    def make(*given, decisions=None):
        observations, seen = [], []
        for number, (student, division, reading, thing) in enumerate(given, start=1):
            photo = PhotoRecord(f"{number}.jpg", f"{number:064}")
            sighting = sighted(11, division, u_division=0.05)
            result = correct(photo, sighting, noon, GAUGE, [check])
            entry = Entry(reading=Cell(reading))
            observations.append(Observation(number, student, photo.name, "G1", entry, thing=thing))
            seen.append(Seen(result))
        gauges = [UsedGauge(GAUGE.scale, GAUGE, (check,))] * len(given)
        return mark(observations, seen, gauges, decisions or {}, Rules(load_scheme(), Asked()))

    return make


def test_readings_always_off_to_one_side_by_less_than_a_division(marked):
    high = marked(("A", 28.2, "5.79", ""), ("A", 12.3, "5.63", ""), ("A", 40.2, "5.91", ""))
    habit = parallax(high)
    assert habit.slip.code == "parallax"
    assert habit.divisions == pytest.approx(0.8)
    both = marked(("A", 28.2, "5.79", ""), ("A", 12.8, "5.62", ""), ("A", 40.2, "5.91", ""))
    assert parallax(both) is None
    assert parallax(high[:2]) is None


@pytest.mark.parametrize(("by", "code"), [(-2, "forced_shut"), (2, "wrong_approach")])
def test_a_student_whose_photos_all_show_less_or_more_than_the_class(marked, by, code):
    things = (("rod", 20.0), ("wire", 30.0), ("pin", 40.0))
    given = [
        (student, division + (by if student == "A" else 0), f"{5.5 + division / 100:.2f}", thing)
        for student in "ABCD"
        for thing, division in things
    ]
    everyone = marked(*given)
    own = [one for one in everyone if one.observation.student == "A"]
    assert handling(own, everyone).slip.code == code
    other = [one for one in everyone if one.observation.student == "B"]
    assert handling(other, everyone) is None
    unnamed = [replace(one, observation=replace(one.observation, thing="")) for one in everyone]
    assert handling(unnamed[:3], unnamed) is None


def test_the_order_of_suspicion_is_learned_from_decided_marks(marked):
    from reading.marking.diagnosis import Prior

    given = [("A", 28.0, "5.28", "")] * 12
    own = marked(*given)
    learned, default = learn(own), Prior()
    code = "half_line_missed"
    total = sum(learned.weights.values())
    assert learned.weights[code] / total > 2 * default.weights[code] / sum(default.weights.values())
    assert "12 decided marks" in learned.origin
    assert min(learned.weights.values()) > 0
