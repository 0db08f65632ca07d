"""Times as cameras and people write them: local wall-clock time without a zone."""

from __future__ import annotations

from datetime import datetime, time, timedelta

from reading.problem import Problem

TOMORROW = timedelta(days=1)  # a clock on another zone's time may be a day ahead, no more


def local(moment: datetime) -> datetime:
    """Take the zone off a time, after turning it into local time where it has one."""
    return moment.astimezone().replace(tzinfo=None) if moment.tzinfo else moment


def parse_when(text: str, *, end_of_day: bool = False) -> datetime:
    """Read ``2026-11-25`` or ``2026-11-25 08:12``; a bare date means its first moment, or its last.

    Raises
    ------
    Problem
        Naming the text and the form that is wanted.
    """
    try:
        moment = local(datetime.fromisoformat(text.strip()))
    except (ValueError, OverflowError) as error:
        raise Problem(f"date {text!r}: write 2026-11-25, or 2026-11-25 08:12") from error
    if end_of_day and len(text.strip()) <= len("2026-11-25"):
        return datetime.combine(moment.date(), time.max)
    return moment


def parse_done(text: str, *, end_of_day: bool = False) -> datetime:
    """Read when something was done, as `parse_when`; Problem too where that lies ahead."""
    moment = parse_when(text, end_of_day=end_of_day)
    check_done(f"date {text!r}", moment, datetime.now())
    return moment


def check_done(what: str, moment: datetime, now: datetime) -> None:
    """Refuse a date of something done that lies after tomorrow: no row of a book is taken back."""
    if moment.date() - now.date() > TOMORROW:
        raise Problem(
            f"{what} lies ahead, today is {now:%Y-%m-%d}: check the year and "
            "the clocks of camera and computer, then date it with --on"
        )


def lies_ahead(moment: datetime, now: datetime) -> bool:
    """Tell whether a time is still to come; the last moment of today stands for today."""
    return moment > now and moment != datetime.combine(now.date(), time.max)
