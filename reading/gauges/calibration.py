"""Readings on gauge blocks -> the error curve, its fit, and whether it keeps within the limit."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from itertools import pairwise

from reading.gauge import Gauge, ZeroCheck
from reading.gauges.point_budget import point_budget, shown_of, width_read, without_zero
from reading.gauges.screw import ScrewFit, fit_screw
from reading.length import plain, trimmed
from reading.measurement.conformity import FAIL, OPEN, PASS, Limits, conformity
from reading.measurement.result import Measurement
from reading.problem import Problem
from reading.record import CALIBRATION, Record
from reading.result import CalibrationShare, Correction
from reading.uncertainty import Budget

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
    """The error found on one block: corrected reading - block, with its standard uncertainty.

    `u_own` is its part without the zero check, which all points share.
    """

    block: Block
    shown: tuple[Decimal, ...]
    error: Decimal
    u: float
    k: float
    u_own: float

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
    zero_at: datetime | None = None  # of the zero check that was taken off
    budgets: tuple[Budget, ...] = ()  # of the points, in their order

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
    _check_blocks(gauge, [block for block, _ in measured])
    in_order = sorted(measured, key=_length)
    width = width_read(gauge.scale, shown_of([result for _, result in in_order]))
    budgets = [point_budget(result, width, conditions.blocks_u) for _, result in in_order]
    points = [
        _point(gauge, block, result, budget)
        for (block, result), budget in zip(in_order, budgets, strict=True)
    ]
    fit = fit_screw(
        [float(point.block.length) for point in points],
        [float(point.error) for point in points],
        float(gauge.scale.pitch),
    )
    zero = measured[0][1].correction
    at = zero.check.at if isinstance(zero, Correction) else None
    zero_error = measured[0][1].zero_error
    return Calibration(gauge, tuple(points), conditions, zero_error, fit, at, tuple(budgets))


def _length(measured: tuple[Block, Measurement]) -> Decimal:
    return measured[0].length


def _check_blocks(gauge: Gauge, blocks: Sequence[Block]) -> None:
    """Refuse blocks that the gauge can't close on, and one given twice."""
    lengths = [block.length for block in blocks]
    unit, end = gauge.scale.unit, gauge.end
    for length in lengths:
        if length <= 0 or length < gauge.scale.start or (end is not None and length > end):
            up_to = "" if end is None else f" to {plain(end)}"
            raise Problem(
                f"block {plain(length)} {unit}: not within the gauge's range, from "
                f"{plain(gauge.scale.start)}{up_to} {unit}"
            )
    if len(set(lengths)) < len(lengths):
        raise Problem("one block is given twice: give its readings together")


def _point(gauge: Gauge, block: Block, result: Measurement, budget: Budget) -> Point:
    """Give the error on one block."""
    error = round(result.value - block.actual, ERROR_PLACES)
    if 2 * abs(error) >= gauge.scale.pitch:
        raise Problem(
            f"block {plain(block.length)} {gauge.scale.unit} reads {plain(result.value)}: half a "
            "turn or more off, check the order of the readings"
        )
    shown = tuple(one.shown for one in result.readings)
    return Point(block, shown, error, budget.combined, budget.k, without_zero(budget))


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


def share(
    record: Record,
    start: Decimal,
    length: Decimal,
    *,
    curve: bool,
    check: ZeroCheck | None = None,
) -> CalibrationShare:
    """Say what a calibration in the book knows of the error at a length.

    Parameters
    ----------
    record : Record
        Of the kind calibration.
    start, length : Decimal
        Start of the range and the length read, in the gauge's unit.
    curve : bool
        Take the error at this length off; otherwise the greatest error is a bound to both sides.
    check : ZeroCheck, optional
        The zero check that the measurement takes off.

    Notes
    -----
    The bound counts as rectangular of that half-width (GUM 4.3.7), together with the uncertainty
    that the errors were found with. Where the calibration took the same zero check off, the two are
    correlated by it (GUM 5.2.4): shown - zero - (shown on the block - zero - block) is free of it.
    """
    points = points_of(record)
    cancels = check is not None and _took_off(record, check)
    u = max(point.u_own if cancels else point.u for point in points)
    same = ", made with this zero check: the check's own doubt cancels" if cancels else ""
    if curve:
        error = Decimal(trimmed(error_at(points, start, length)))
        how = f"error curve of {record.at:%Y-%m-%d}{same}"
        return CalibrationShare(error, u, how, cancels, record.at, record.number)
    greatest = max(abs(point.error) for point in points)
    return CalibrationShare(
        Decimal(0),
        math.hypot(float(greatest) / math.sqrt(3), u),
        f"greatest error ± {plain(greatest)} of {record.at:%Y-%m-%d}, rectangular{same}",
        cancels,
    )


def _took_off(record: Record, check: ZeroCheck) -> bool:
    """Tell whether a calibration took this zero check off; older records do not say."""
    at = record.body.get("zero_check_at")
    return at == check.at.isoformat() and Decimal(str(record.body["zero_error"])) == (
        check.zero_error
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
                "u_own": point.u_own,
            }
            for point in done.points
        ],
        "zero_error": plain(done.zero_error),
        "zero_check_at": None if done.zero_at is None else done.zero_at.isoformat(),
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
            float(one.get("u_own", one["u"])),
        )
        for one in listed
    )
