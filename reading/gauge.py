"""Gauges and their zero checks: frozen records, and which check is in force when."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal, Inexact, localcontext

from reading.problem import Problem
from reading.uncertainty import steps_per_division
from vision.scale import Scale

TYPED, PHOTOS = "typed", "photos"  # where a zero check came from


@dataclass(frozen=True)
class Gauge:
    """One gauge of the register.

    Parameters
    ----------
    identifier : str
        What is written on the gauge or its box; not empty, on one line, no spaces at
        the ends.
    scale : Scale
        What is engraved on it.
    end : Decimal or None
        Upper end of the range in the scale's unit, None where it is not known.
    notes : str
        Anything people want to remember.

    Raises
    ------
    Problem
        If the identifier can't be used, the range ends before it starts, or its printed step has no
        exact decimal.
    """

    identifier: str
    scale: Scale
    end: Decimal | None = None
    notes: str = ""

    def __post_init__(self) -> None:
        check_exact(self.scale)
        if not self.identifier or self.identifier != self.identifier.strip():
            raise Problem(
                f"gauge identifier {self.identifier!r}: give it a name without outer spaces"
            )
        if not self.identifier.isprintable():
            raise Problem(f"gauge identifier {self.identifier!r}: give it a name on one line")
        if self.end is not None and self.end <= self.scale.start:
            raise Problem(
                f"gauge {self.identifier}: range end {self.end} must lie above its start "
                f"{self.scale.start} {self.scale.unit}"
            )


def check_exact(scale: Scale) -> None:
    """Refuse a scale whose least count or vernier part no decimal can give exactly."""
    with localcontext() as context:
        context.traps[Inexact] = True
        try:
            _ = scale.least_count * (Decimal(1) / steps_per_division(scale))
        except Inexact:
            vernier = f", vernier of {scale.vernier}" if scale.vernier else ""
            raise Problem(
                f"pitch {scale.pitch} {scale.unit}, {scale.divisions} divisions{vernier}: the "
                "least count has no exact decimal, check what is engraved"
            ) from None


@dataclass(frozen=True)
class ZeroPhoto:
    """One photo of closed faces that a zero check rests on, and what it showed."""

    name: str
    sha256: str
    zero_error: Decimal  # in the gauge's unit


@dataclass(frozen=True)
class ZeroCheck:
    """What a gauge showed with its faces closed (or on a setting rod, less the rod).

    `at` is local wall-clock time without a zone, as cameras write it. `zero_error` is exact and in
    the gauge's unit, positive when the gauge shows more than nothing; `u` is its standard
    uncertainty in the same unit. `number` is the book's own count, None before it is recorded.
    """

    gauge: str
    at: datetime
    zero_error: Decimal
    u: float
    source: str = TYPED
    photos: tuple[ZeroPhoto, ...] = ()
    spread: float | None = None  # sample standard deviation among the photos, gauge's unit
    rod: Decimal | None = None  # length of the setting rod, gauge's unit
    who: str = ""
    note: str = ""
    number: int | None = None

    def __post_init__(self) -> None:
        if self.source not in (TYPED, PHOTOS):
            raise ValueError(f"source {self.source!r}: {TYPED} or {PHOTOS}")
        if not self.u > 0:
            raise ValueError(f"standard uncertainty {self.u}: must be greater than 0")
        if self.at.tzinfo is not None:
            raise ValueError("time of a zero check: local time without a zone")


def in_force(checks: Iterable[ZeroCheck], at: datetime) -> ZeroCheck | None:
    """Pick the newest check not later than `at`; of two at one time the one recorded last."""
    earlier = [check for check in checks if check.at <= at]
    return max(earlier, key=lambda check: (check.at, check.number or 0), default=None)
