"""Does a result lie within limits, with its uncertainty taken into account?"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from statistics import NormalDist

PASS, FAIL, OPEN = "pass", "fail", "can't tell"


@dataclass(frozen=True)
class Limits:
    """Lower and upper limit of a length, in one unit; at least one of them.

    Raises
    ------
    ValueError
        If there is none, or the lower is not below the upper.
    """

    lower: Decimal | None
    upper: Decimal | None

    def __post_init__(self) -> None:
        if self.lower is None and self.upper is None:
            raise ValueError("give a lower limit, an upper one, or both")
        if self.lower is not None and self.upper is not None and self.lower >= self.upper:
            raise ValueError(f"lower limit {self.lower} must lie below the upper, {self.upper}")


@dataclass(frozen=True)
class Conformity:
    """The verdict (`PASS`, `FAIL` or `OPEN`) and the probability of lying within the limits."""

    limits: Limits
    verdict: str
    probability: float


def conformity(value: float, u: float, expanded: float, limits: Limits) -> Conformity:
    """Judge by the guard band: a limit is met, or missed, only where that is proved.

    Parameters
    ----------
    value, u, expanded : float
        The result, its standard and its expanded uncertainty.
    limits : Limits

    Notes
    -----
    Guard band w = U on both sides of each limit: pass within the limits drawn in by U, fail outside
    the limits widened by U, between them neither (ISO 14253-1; w = U as in ILAC-G8:09/2019). The
    probability is the normal distribution's (JCGM 106:2012, 7.2 and 7.3).
    """
    lower = float("-inf") if limits.lower is None else float(limits.lower)
    upper = float("inf") if limits.upper is None else float(limits.upper)
    if lower + expanded <= value <= upper - expanded:
        verdict = PASS
    elif value < lower - expanded or value > upper + expanded:
        verdict = FAIL
    else:
        verdict = OPEN
    true = NormalDist(value, u)
    return Conformity(limits, verdict, true.cdf(upper) - true.cdf(lower))
