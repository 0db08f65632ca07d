"""What the owner says of a gauge: how often to check it, and the error it may have."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from reading.length import plain
from reading.problem import Problem
from reading.record import FACTS, Record, Signed

LONGEST_DAYS = 36_500  # a century; beyond it a slip of the keyboard


@dataclass(frozen=True)
class Facts:
    """Intervals in days and the error limit in the gauge's unit; None where nothing is said.

    No standard fixes an interval (ILAC-G24): it is the owner's own. The limit is the class's, from
    the gauge's data sheet or the standard it was bought to.
    """

    zero_days: int | None = None
    calibration_days: int | None = None
    limit: Decimal | None = None

    def __post_init__(self) -> None:
        for name, days in (("zero", self.zero_days), ("calibration", self.calibration_days)):
            if days is not None and not 1 <= days <= LONGEST_DAYS:
                raise Problem(f"--{name}-days {days}: 1 to {LONGEST_DAYS}")
        if self.limit is not None and self.limit <= 0:
            raise Problem(f"--limit {self.limit}: more than 0")

    def changed(self, newer: Facts) -> Facts:
        """Give these facts with whatever the newer ones say."""
        return Facts(
            newer.zero_days or self.zero_days,
            newer.calibration_days or self.calibration_days,
            newer.limit or self.limit,
        )


def to_record(gauge: str, facts: Facts, at: datetime, signed: Signed) -> Record:
    """Make the book's record of facts."""
    body = {
        "zero_days": facts.zero_days,
        "calibration_days": facts.calibration_days,
        "limit": None if facts.limit is None else plain(facts.limit),
    }
    return Record(gauge, FACTS, at, body, signed.who, signed.note)


def from_record(record: Record | None) -> Facts:
    """Read facts back; nothing is said where there is no record."""
    body: Mapping[str, object] = {} if record is None else record.body
    zero_days, calibration_days = body.get("zero_days"), body.get("calibration_days")
    limit = body.get("limit")
    return Facts(
        zero_days if isinstance(zero_days, int) else None,
        calibration_days if isinstance(calibration_days, int) else None,
        Decimal(str(limit)) if limit is not None else None,
    )
