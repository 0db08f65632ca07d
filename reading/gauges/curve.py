"""A reading with the error of its gauge's screw taken off, by the calibration in force."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from reading.gauge import Gauge
from reading.gauges.calibration import share
from reading.notices import notice
from reading.problem import Problem
from reading.record import Record, newest
from reading.result import Correction, Reading


def no_curve(gauge: Gauge, at: datetime | None = None) -> Problem:
    """Make the line for a gauge that has no curve to take off, ever or up to a time."""
    when = "on record" if at is None else f"of {at:%Y-%m-%d} or before"
    return Problem(
        f"--curve: gauge {gauge.identifier} has no calibration {when}: make one first "
        "(datumline gauge calibrate), or leave --curve out"
    )


def with_curve(reading: Reading, calibrations: Sequence[Record]) -> Reading:
    """Take the error at a reading's length off, by the newest calibration not later than it.

    Where all are later nothing is taken off and a notice says so; nor is it where no zero error is.

    Notes
    -----
    corrected = shown - zero error - error of the screw there, the errors having been found on
    readings with their zero error taken off. What the calibration shares with the zero check is
    not counted twice, see `share`.
    """
    if reading.after_zero is None:
        return reading
    record = newest(calibrations, reading.when.at)
    if record is None:
        return replace(reading, notices=(*reading.notices, notice("calibration_later")))
    check = reading.correction.check if isinstance(reading.correction, Correction) else None
    known = share(record, reading.scale.start, reading.after_zero, curve=True, check=check)
    return replace(reading, calibration=known)
