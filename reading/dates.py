"""Times as cameras and people write them: local wall-clock time without a zone."""

from __future__ import annotations

from datetime import datetime, time, timedelta

from reading.problem import Problem

AHEAD = timedelta(days=3653)  # a date of something done lies no further ahead than a slow clock is


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
    """Read when something was done, as `parse_when`; Problem too for a year that is a slip."""
    moment = parse_when(text, end_of_day=end_of_day)
    if moment - datetime.now() > AHEAD:
        raise Problem(f"date {text!r}: lies more than ten years ahead, check the year")
    return moment
