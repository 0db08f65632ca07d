"""What each command does, from parsed arguments to lines and an exit code."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from decimal import Decimal
from pathlib import Path

from reading import batch, formats
from reading.batch import EdgeSet
from reading.book import Book
from reading.correct import (
    ZERO_CHECK_DAYS,
    correct,
    date_notices,
    date_reading,
    refused,
    unsure_readings,
)
from reading.dates import check_done
from reading.gauge import Gauge, ZeroCheck, check_exact
from reading.gauges.curve import with_curve
from reading.gauges.lines import check_lines
from reading.gauges.report import Telling, Told, study_report
from reading.gauges.working import indented, zero_working
from reading.length import as_entered, parse_length
from reading.looking import look_with_progress, pictures, report_unread, sighted
from reading.notices import CAUTION
from reading.pages import html
from reading.problem import Problem
from reading.record import KeptReading, Record
from reading.result import FROM_USER, Reading, Refused, Result, Unusable, When
from reading.slips import compare
from reading.terminal import DONE, REFUSED, USER_ERROR, Say
from reading.working import working, working_of_refusal
from reading.zero import (
    CheckNote,
    closed_readings,
    expected_divisions,
    from_photos,
    from_reading,
)
from vision.scale import Scale
from vision.sighting import Refusal

FORMATS = ("text", "json", "csv")


@dataclass(frozen=True)
class ReadRequest:
    """What `datumline read` was asked for, apart from the photos."""

    scale: Scale | None = None
    gauge: Gauge | None = None
    checks: tuple[ZeroCheck, ...] = ()
    hand: str | None = None
    on: datetime | None = None
    explain: bool = False
    overlay: Path | None = None
    format: str = "text"
    edge_set_mm: EdgeSet | None = None
    zero_days: int = ZERO_CHECK_DAYS
    calibrations: tuple[Record, ...] | None = None  # whose curves are taken off, None for none
    now: datetime = field(default_factory=datetime.now)

    def __post_init__(self) -> None:
        if self.format not in FORMATS:
            raise Problem(f"--format {self.format}: one of {', '.join(FORMATS)}")
        if self.explain and self.format == "csv":
            raise Problem("--explain has no place in CSV: use --format text or json")
        if self.hand is not None:
            parse_length(self.hand, "mm")  # says at once what is not understood


def asked_scale(
    gauge: str | None, pitch: str | None, divisions: int | None, start: str | None
) -> Scale | None:
    """Make the scale that was typed, None where none was; Problem if options contradict."""
    typed = (pitch, divisions, start)
    if gauge is not None and typed != (None, None, None):
        raise Problem("--gauge has its own scale: leave out --pitch, --divisions and --start")
    if pitch is not None and divisions is not None:
        return parse_scale(pitch, divisions, start)
    if typed != (None, None, None):
        raise Problem("--pitch and --divisions go together (--start with both)")
    return None


def parse_scale(
    pitch: str,
    divisions: int,
    start: str | None,
    *,
    vernier: int | None = None,
    backwards: bool = False,
) -> Scale:
    """Make a scale of what was typed; Problem names what is wrong with it.

    The scale is in inches where the pitch was typed in inches, otherwise in millimetres.
    """
    typed = parse_length(pitch)
    unit = "in" if typed.unit == "in" else "mm"
    begin = as_entered(parse_length(start, unit), unit) if start else Decimal(0)
    try:
        scale = Scale(typed.to(unit).value, divisions, unit, begin, vernier, backwards)
    except ValueError as error:
        raise Problem(str(error)) from error
    check_exact(scale)
    return scale


def read(
    photos: Sequence[Path],
    request: ReadRequest,
    say: Say,
    complain: Say,
    accept: Callable[[Reading], None] | None = None,
) -> int:
    """Read photos, write each result as it comes, and give the exit code.

    `accept` is handed every reading, for what a person says is to be kept.
    """
    if request.format == "csv":
        say(formats.csv_header())
    overlays: set[Path] = set()
    code = DONE
    for path, seen in zip(
        photos, look_with_progress(photos, request.scale, request.edge_set_mm), strict=True
    ):
        result = finish(seen, request)
        if request.overlay is not None and not isinstance(result, Unusable):
            _write_overlay(path, request.overlay, result, seen, overlays)
        if isinstance(result, Reading) and accept is not None:
            accept(result)
        if isinstance(result, Unusable):
            complain(result.message)
            code = USER_ERROR
        elif isinstance(result, Refused) and code == DONE:
            code = REFUSED
        if request.format != "text" or not isinstance(result, Unusable):
            say(written(result, request))
    if request.format == "text":
        say(f"\n{CAUTION}")
    return code


def finish(seen: batch.Look | Unusable, request: ReadRequest) -> Result:
    """Turn what was seen in a photo into a result."""
    if isinstance(seen, Unusable):
        return seen
    if isinstance(seen.seen, Refusal):
        return refused(seen.photo, seen.seen, request.gauge)
    when = date_reading(seen.photo, request.on, request.now)
    reading = correct(seen.photo, seen.seen, when, request.gauge, request.checks, request.zero_days)
    if request.calibrations is not None:
        reading = with_curve(reading, request.calibrations)
    if request.hand is None:
        return reading
    unit = reading.scale.unit
    return replace(
        reading, hand=compare(as_entered(parse_length(request.hand, unit), unit), reading)
    )


def written(result: Result, request: ReadRequest) -> str:
    """Write a result in the format that was asked for."""
    lines = _working(result) if request.explain else None
    match request.format:
        case "json":
            return formats.to_json(result, lines)
        case "csv":
            return formats.to_csv(result)
        case _:
            # The working has the hand reading in it, so the summary above it leaves that out.
            brief = replace(result, hand=None) if lines and isinstance(result, Reading) else result
            return "\n".join([formats.to_text(brief), *(f"    {line}" for line in lines or ())])


def _working(result: Result) -> tuple[str, ...]:
    match result:
        case Reading():
            return working(result)
        case Refused():
            return working_of_refusal(result)
        case Unusable():
            return ()


def _write_overlay(
    photo: Path,
    folder: Path,
    result: Reading | Refused,
    seen: batch.Look | Unusable,
    taken: set[Path],
) -> None:
    """Draw what was seen on the photo and save it as FOLDER/NAME.overlay.jpg."""
    from reading.overlays import save_overlay

    if isinstance(seen, batch.Look):
        taken.add(save_overlay(photo, folder, seen.seen, formats.caption(result), taken))


@dataclass(frozen=True)
class ZeroRequest:
    """What `datumline zero` was asked for."""

    gauge: Gauge
    photos: tuple[Path, ...] = ()
    reading: str | None = None
    rod: str | None = None
    on: datetime | None = None
    who: str = ""
    note: str = ""
    edge_set_mm: EdgeSet | None = None
    telling: Telling = field(default_factory=Telling)
    now: datetime = field(default_factory=datetime.now)

    def __post_init__(self) -> None:
        if bool(self.photos) == (self.reading is not None):
            raise Problem(
                'give photos of the closed faces, or --reading "+0.02 mm"; one of the two'
            )


def zero(request: ZeroRequest, book: Book, say: Say, complain: Say) -> int:
    """Record a zero check, unless a photo can't be used or is refused; give the exit code."""
    scale = request.gauge.scale
    unit = scale.unit
    readings: list[KeptReading] = []
    seen: list[batch.Look | Unusable] = []
    rod = as_entered(parse_length(request.rod, unit), unit) if request.rod else None
    if request.reading is not None:
        about = CheckNote(request.on or request.now, rod, request.who, request.note)
        check = from_reading(request.gauge, parse_length(request.reading, unit), about)
    else:
        near = float(expected_divisions(scale, rod))
        seen = list(look_with_progress(request.photos, scale, request.edge_set_mm, near))
        code = report_unread(seen, say, complain)
        if code == REFUSED:
            complain("No zero check was recorded: every photo must be read.")
        if code != DONE:
            return code
        found = sighted(seen)
        taken = [record.taken for record, _ in found if record.taken is not None]
        at = request.on or max(taken, default=request.now)
        check_done(f"the newest photo, of {at:%Y-%m-%d},", at, request.now)
        about = CheckNote(at, rod, request.who, request.note)
        check = from_photos(request.gauge, found, about)
        readings = closed_readings(request.gauge, found, check)
    book.record_zero(check, readings)
    warned = (*unsure_readings(readings), *date_notices(check.at, request.now))
    lines = [*check_lines(check, unit), *(f"  warning: {one.message}" for one in warned)]
    told = Told("Zero check", lines, zero_working(request.gauge, check))
    say("\n".join(told.lines))
    if request.telling.explain:
        say("\n".join(indented(told.working)))
    if request.telling.page is not None:
        drawn = pictures(seen, request.gauge, When(check.at, FROM_USER))
        page = study_report(request.gauge, told, check.at, check.who, drawn)
        html.save(page, request.telling.page)
        say(f"  page: {request.telling.page}")
    return DONE
