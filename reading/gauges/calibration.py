"""Readings on gauge blocks -> the error curve, its fit, and whether it keeps within the limit."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from itertools import pairwise

from reading.gauge import Gauge
from reading.gauges.screw import ScrewFit, fit_screw
from reading.length import plain
from reading.measurement.conformity import FAIL, OPEN, PASS, Limits, conformity
from reading.measurement.result import CalibrationShare, Measurement
from reading.problem import Problem
from reading.record import CALIBRATION, Record

# Test lengths in mm above the range's start, at fractions of a turn so that an error that repeats
# with each turn shows (ISO 3611:1978 and DIN 863-1, as micrometer block sets are sold).
TEST_LENGTHS_MM = tuple(
    map(Decimal, ("2.5", "5.1", "7.7", "10.3", "12.9", "15.0", "17.6", "20.2", "22.8", "25.0"))
)

ERROR_PLACES = 6  # of an error: a nanometre, finer than any block is known


@dataclass(frozen=True)
class Block:
    """A gauge block, or a stack of them: nominal length and deviation from it, at 20 °C."""

    length: Decimal
    deviation: Decimal = Decimal(0)

    @property
    def actual(self) -> Decimal:
        """Length + deviation."""
        return self.length + self.deviation


@dataclass(frozen=True)
class Point:
    """The error found on one block: corrected reading - block, with its standard uncertainty."""

    block: Block
    shown: tuple[Decimal, ...]
    error: Decimal
    u: float
    k: float

    @property
    def expanded(self) -> float:
        """Expanded uncertainty of the error."""
        return self.k * self.u


@dataclass(frozen=True)
class Conditions:
    """What a calibration was done with and under, as entered; lengths in the gauge's unit."""

    at: datetime
    blocks_u: float = 0.0  # standard uncertainty of a block's length
    blocks_note: str = ""  # which blocks, and how they are traceable
    celsius: Decimal | None = None
    flatness: Decimal | None = None
    parallelism: Decimal | None = None
    limit: Decimal | None = None
    place: str = ""
    customer: str = ""
    who: str = ""
    note: str = ""


@dataclass(frozen=True)
class Calibration:
    """An error curve in the gauge's unit, points by length."""

    gauge: Gauge
    points: tuple[Point, ...]
    conditions: Conditions
    zero_error: Decimal
    fit: ScrewFit | None

    @property
    def worst(self) -> Point:
        """The point with the greatest error, whichever its sign."""
        return max(self.points, key=lambda point: abs(point.error))

    @property
    def traverse(self) -> Decimal:
        """Highest minus lowest error over the screw, the zero point included (IS 2967, 2.3)."""
        errors = [point.error for point in self.points] + [Decimal(0)]
        return max(errors) - min(errors)

    @property
    def verdict(self) -> str | None:
        """Whether every error keeps within the limit, by the guard band; None without a limit."""
        limit = self.conditions.limit
        if limit is None:
            return None
        both = Limits(-limit, limit)
        found = {
            conformity(float(point.error), point.u, point.expanded, both).verdict
            for point in self.points
        }
        return FAIL if FAIL in found else OPEN if OPEN in found else PASS


def standard_blocks(gauge: Gauge) -> tuple[Block, ...]:
    """Give the standard's test lengths that lie within a gauge's range.

    Raises
    ------
    Problem
        For an inch gauge, or a range that holds none of them.
    """
    scale = gauge.scale
    if scale.unit != "mm":
        raise Problem("the standard's test lengths are metric: name the blocks (--blocks)")
    end = gauge.end if gauge.end is not None else scale.start + TEST_LENGTHS_MM[-1]
    lengths = [scale.start + one for one in TEST_LENGTHS_MM if scale.start + one <= end]
    if not lengths:
        raise Problem(f"the range up to {end} mm holds no test length: name the blocks (--blocks)")
    return tuple(Block(length) for length in lengths)


def calibrate(
    gauge: Gauge, measured: Sequence[tuple[Block, Measurement]], conditions: Conditions
) -> Calibration:
    """Make the error curve of one measurement on each block.

    Parameters
    ----------
    gauge : Gauge
    measured : sequence of (Block, Measurement)
        Each block and what the gauge made of it, corrected for its zero error.
    conditions : Conditions

    Raises
    ------
    Problem
        If no block is given, or one twice; or if a reading is half a turn or more off its block.
    """
    if not measured:
        raise Problem("a calibration needs at least one block")
    points = sorted((_point(gauge, *one, conditions) for one in measured), key=_length)
    lengths = [point.block.length for point in points]
    if len(set(lengths)) < len(lengths):
        raise Problem("one block is given twice: give its readings together")
    fit = fit_screw(
        [float(point.block.length) for point in points],
        [float(point.error) for point in points],
        float(gauge.scale.pitch),
    )
    zero_error = measured[0][1].zero_error
    return Calibration(gauge, tuple(points), conditions, zero_error, fit)


def _length(point: Point) -> Decimal:
    return point.block.length


def _point(gauge: Gauge, block: Block, result: Measurement, conditions: Conditions) -> Point:
    """Give the error on one block."""
    error = round(result.value - block.actual, ERROR_PLACES)
    if 2 * abs(error) >= gauge.scale.pitch:
        raise Problem(
            f"block {plain(block.length)} {gauge.scale.unit} reads {plain(result.value)}: half a "
            "turn or more off, check the order of the readings"
        )
    u = math.hypot(result.budget.combined, conditions.blocks_u)
    return Point(block, tuple(one.shown for one in result.readings), error, u, result.budget.k)


def error_at(points: Sequence[Point], start: Decimal, length: Decimal) -> Decimal:
    """Give the error at a length: straight between neighbouring points, and from 0 at the start.

    Beyond the last point its error holds on.
    """
    known = [(start, Decimal(0)), *((one.block.length, one.error) for one in points)]
    if length <= start:
        return Decimal(0)
    for (low, before), (high, after) in pairwise(known):
        if low < high and length <= high:
            between = before + (after - before) * (length - low) / (high - low)
            return round(between, ERROR_PLACES)
    return known[-1][1]


def share(record: Record, start: Decimal, length: Decimal, *, curve: bool) -> CalibrationShare:
    """Say what a calibration in the book knows of the error at a length.

    Parameters
    ----------
    record : Record
        Of the kind calibration.
    start, length : Decimal
        Start of the range and the length read, in the gauge's unit.
    curve : bool
        Take the error at this length off; otherwise the greatest error is a bound to both sides.

    Notes
    -----
    The bound counts as rectangular of that half-width (GUM 4.3.7), together with the uncertainty
    that the errors were found with.
    """
    points = points_of(record)
    u = max(point.u for point in points)
    if curve:
        error = error_at(points, start, length)
        return CalibrationShare(error, u, f"error curve of {record.at:%Y-%m-%d}")
    greatest = max(abs(point.error) for point in points)
    return CalibrationShare(
        Decimal(0),
        math.hypot(float(greatest) / math.sqrt(3), u),
        f"greatest error ± {plain(greatest)} of {record.at:%Y-%m-%d}, rectangular",
    )


def limit_share(limit: Decimal) -> CalibrationShare:
    """Say what the gauge's error limit alone tells: rectangular to both sides (GUM 4.3.7)."""
    return CalibrationShare(
        Decimal(0), float(limit) / math.sqrt(3), f"error limit ± {plain(limit)}, rectangular"
    )


def to_record(done: Calibration) -> Record:
    """Make the book's record of a calibration."""
    conditions = done.conditions
    entered = {
        name: None if value is None else plain(value)
        for name, value in (
            ("celsius", conditions.celsius),
            ("flatness", conditions.flatness),
            ("parallelism", conditions.parallelism),
            ("limit", conditions.limit),
        )
    }
    body = {
        "points": [
            {
                "length": plain(point.block.length),
                "deviation": plain(point.block.deviation),
                "shown": [plain(one) for one in point.shown],
                "error": plain(point.error),
                "u": point.u,
                "k": point.k,
            }
            for point in done.points
        ],
        "zero_error": plain(done.zero_error),
        "verdict": done.verdict,
        "blocks_u": conditions.blocks_u,
        "blocks": conditions.blocks_note,
        "place": conditions.place,
        "customer": conditions.customer,
        **entered,
    }
    return Record(
        done.gauge.identifier, CALIBRATION, conditions.at, body, conditions.who, conditions.note
    )


def points_of(record: Record) -> tuple[Point, ...]:
    """Read the points of a calibration back."""
    listed = record.body["points"]
    if not isinstance(listed, list):
        raise ValueError(f"record {record.number}: points of a calibration must be a list")
    return tuple(
        Point(
            Block(Decimal(one["length"]), Decimal(one["deviation"])),
            tuple(Decimal(text) for text in one["shown"]),
            Decimal(one["error"]),
            float(one["u"]),
            float(one["k"]),
        )
        for one in listed
    )
