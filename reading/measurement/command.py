"""What `datumline measure` does, from parsed arguments to lines and an exit code."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from pathlib import Path

from reading.book import Book
from reading.gauge import Gauge
from reading.gauges import calibration, facts
from reading.gauges.care import gauge_state
from reading.gauges.curve import no_curve
from reading.length import LengthError, as_entered, parse_length, trimmed, unit_named
from reading.looking import pictures
from reading.measurement import lines
from reading.measurement.conformity import Limits
from reading.measurement.measure import LEVEL, About, measure
from reading.measurement.report import report
from reading.measurement.result import Layout, Measurement
from reading.measurement.taking import Taken, Wanted, kept, take
from reading.measurement.temperature import Warmth, parse_celsius, parse_expansion
from reading.notices import CAUTION
from reading.pages import html
from reading.problem import Problem
from reading.record import CALIBRATION, FACTS, MEASUREMENT, Record
from reading.result import CalibrationShare
from reading.terminal import DONE, Say

FORMATS = ("text", "json")
VALUE_PLACES = 9  # of a value that is kept: a picometre
LOWEST_LEVEL, HIGHEST_LEVEL = 50.0, 99.9  # percent; beyond these k says nothing about readings


@dataclass(frozen=True)
class MeasureRequest:
    """What `datumline measure` was asked for, as typed."""

    gauge: Gauge
    wanted: Wanted
    layout: Layout = field(default_factory=Layout)
    lower: str | None = None
    upper: str | None = None
    wire: bool = False
    temperature: str | None = None
    work: str | None = None
    curve: bool = False
    level: float = 100 * LEVEL  # percent
    k: float | None = None
    unit: str | None = None
    explain: bool = False
    report: Path | None = None
    format: str = "text"
    who: str = ""
    note: str = ""
    record: bool = True

    def __post_init__(self) -> None:
        if self.format not in FORMATS:
            raise Problem(f"--format {self.format}: one of {', '.join(FORMATS)}")
        if self.unit is not None:
            try:
                unit_named(self.unit)
            except LengthError as error:
                raise Problem(f"--unit {self.unit}: {error}") from None
        if not LOWEST_LEVEL <= self.level <= HIGHEST_LEVEL:
            raise Problem(f"--level {self.level:g}: {LOWEST_LEVEL:g} to {HIGHEST_LEVEL:g} percent")
        if self.k is not None and not 1 <= self.k <= 10:
            raise Problem(f"--k {self.k:g}: 1 to 10")
        if self.report is not None:
            html.check_place(self.report)
        if (self.temperature is None) != (self.work is None):
            raise Problem("--temperature and --work go together: how warm, and what it is made of")


def run(request: MeasureRequest, book: Book, say: Say, complain: Say) -> int:
    """Measure, write the result, keep it in the book, and give the exit code."""
    gauge = request.gauge
    taken = take(gauge, request.wanted, book, say, complain)
    if isinstance(taken, int):
        return taken
    result = measure(gauge, taken.readings, _about(request, book, taken))
    unit = unit_named(request.unit or gauge.scale.unit)
    number = _keep(result, request, book) if request.record else None
    _write(result, request, unit, number, say)
    if request.report is not None:
        shown = pictures(taken.looks, gauge, result.when)
        html.save(report(result, unit, shown, request.who), request.report)
    return DONE


def calibration_share(
    book: Book, gauge: Gauge, at: datetime, length: Decimal, *, curve: bool
) -> CalibrationShare | None:
    """Say what the book knows of a gauge's own error at a length."""
    record = book.record_in_force(gauge.identifier, CALIBRATION, at)
    if record is not None:
        check = book.zero_check_in_force(gauge.identifier, at)
        return calibration.share(record, gauge.scale.start, length, curve=curve, check=check)
    if curve:
        raise no_curve(gauge, at)
    limit = facts.from_record(book.record_in_force(gauge.identifier, FACTS, at)).limit
    return None if limit is None else calibration.limit_share(limit)


def _about(request: MeasureRequest, book: Book, taken: Taken) -> About:
    """Gather what is known beside the readings."""
    gauge, when, readings = request.gauge, taken.when, taken.readings
    check = book.zero_check_in_force(gauge.identifier, when.at)
    checks = (check,) if check is not None else book.zero_checks(gauge.identifier, newest=1)
    zero_error = check.zero_error if check is not None else Decimal(0)
    length = sum((one.shown for one in readings), Decimal(0)) / len(readings) - zero_error
    return About(
        when,
        request.layout,
        checks,
        calibration_share(book, gauge, when.at, length, curve=request.curve),
        _warmth(request),
        _limits(request),
        request.wire,
        request.level / 100,
        request.k,
        gauge_state(book, gauge, when.at).alarming,
        taken.warned,
    )


def _warmth(request: MeasureRequest) -> Warmth | None:
    if request.temperature is None or request.work is None:
        return None
    return Warmth(parse_celsius(request.temperature), parse_expansion(request.work))


def _limits(request: MeasureRequest) -> Limits | None:
    """Read the limits that were typed."""
    if request.lower is None and request.upper is None:
        return None
    unit = request.gauge.scale.unit
    lower, upper = (
        None if text is None else as_entered(parse_length(text, unit), unit)
        for text in (request.lower, request.upper)
    )
    try:
        return Limits(lower, upper)
    except ValueError as error:
        raise Problem(str(error)) from error


def _write(
    result: Measurement, request: MeasureRequest, unit: str, number: int | None, say: Say
) -> None:
    """Write the result in the format that was asked for."""
    working = lines.explanation(result, unit) if request.explain else None
    if request.format == "json":
        say(lines.to_json(result, working))
        return
    say(lines.to_text(result, unit))
    for line in working or ():
        say(f"    {line}")
    if number is not None:
        say(f"  recorded as measurement {number}")
    if request.report is not None:
        say(f"  report: {request.report}")
    if request.wanted.photos:
        say(f"\n{CAUTION}")


def _keep(result: Measurement, request: MeasureRequest, book: Book) -> int | None:
    """Enter a measurement with its readings in the book."""
    budget = result.budget
    body = {
        "value": trimmed(round(result.value, VALUE_PLACES)),
        "expanded": budget.expanded,
        "k": budget.k,
        "level": result.level,
        "components": [[part.name, part.u] for part in budget.components],
        "places": result.layout.places,
        "directions": result.layout.directions,
        "verdict": result.conformity.verdict if result.conformity else None,
        "warnings": [one.code for one in result.notices],
        "program": result.program,
    }
    rows = kept(
        result.gauge,
        result.at,
        result.readings,
        request.who,
        correction=result.correction,
        calibration=result.calibration,
    )
    record = Record(
        result.gauge.identifier, MEASUREMENT, result.at, body, request.who, request.note
    )
    return book.keep(record, rows)
