"""A gauge's state at a glance: is it checked, is anything overdue, is its zero under control?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from reading.correct import ZERO_CHECK_DAYS
from reading.gauge import ZeroCheck
from reading.gauges.chart import ZeroChart
from reading.gauges.facts import Facts
from reading.record import Record


@dataclass(frozen=True)
class Due:
    """When something was last done, and when it is due again; None for never, and no interval."""

    what: str
    last: date | None
    next: date | None

    def overdue(self, today: date) -> bool:
        """Tell whether it was never done although it must be, or its date has passed."""
        return self.next is not None and self.next < today


@dataclass(frozen=True)
class State:
    """What must be done about a gauge today."""

    today: date
    zero: Due
    calibration: Due
    alarm: str = ""  # what the newest zero check sets off on its chart

    @property
    def overdue(self) -> tuple[Due, ...]:
        """What is overdue."""
        return tuple(one for one in (self.zero, self.calibration) if one.overdue(self.today))

    @property
    def alarming(self) -> str:
        """What is overdue though it was done once, or out of control, in words; empty for nothing.

        That there never was a zero check or a calibration is said elsewhere.
        """
        parts = [f"zero {self.alarm}"] if self.alarm else []
        parts += [_due_words(one, self.today) for one in self.overdue if one.last is not None]
        return ", ".join(parts)

    @property
    def words(self) -> str:
        """The state in a few words."""
        parts = [_due_words(one, self.today) for one in (self.zero, self.calibration)]
        if self.alarm:
            parts.insert(0, f"zero {self.alarm}")
        return ", ".join(part for part in parts if part)


def state(
    facts: Facts,
    check: ZeroCheck | None,
    calibration: Record | None,
    chart: ZeroChart | None,
    now: datetime,
) -> State:
    """Tell a gauge's state.

    Parameters
    ----------
    facts : Facts
        With the owner's intervals; a zero check is due after a year where nothing is said (common
        practice), a calibration only where an interval is said.
    check : ZeroCheck or None
        The one in force.
    calibration : Record or None
        The newest.
    chart : ZeroChart or None
        Of checks up to now.
    now : datetime
    """
    alarm = ""
    if chart is not None:
        last = len(chart.values) - 1
        alarm = next((one.rule for one in chart.signals if one.place == last), "")
    return State(
        now.date(),
        _due("zero check", check.at if check else None, facts.zero_days or ZERO_CHECK_DAYS),
        _due("calibration", calibration.at if calibration else None, facts.calibration_days),
        alarm,
    )


def later(day: date, days: int) -> date:
    """Count days on, to the end of the calendar at most."""
    try:
        return day + timedelta(days=days)
    except OverflowError:
        return date.max


def _due(what: str, last: datetime | None, days: int | None) -> Due:
    """Count from the last time; what was never done has been due for ever."""
    if days is None:
        return Due(what, last.date() if last else None, None)
    if last is None:
        return Due(what, None, date.min)
    return Due(what, last.date(), later(last.date(), days))


def _due_words(due: Due, today: date) -> str:
    """Say when something is due."""
    if due.next is None:
        return ""
    if due.last is None:
        return f"no {due.what} yet"
    if due.overdue(today):
        return f"{due.what} OVERDUE since {due.next}"
    return f"{due.what} due {due.next}"
