"""How well two readers agree: limits of agreement for numbers, kappa for verdicts."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean, stdev

COVERED = 1.96  # of a normal distribution, two-sided 95 %


@dataclass(frozen=True)
class Limits:
    """Mean difference, its standard deviation (n - 1), and the limits that hold 95 %."""

    n: int
    mean: float
    sd: float

    @property
    def low(self) -> float:
        """Lower limit of agreement."""
        return self.mean - COVERED * self.sd

    @property
    def high(self) -> float:
        """Upper limit of agreement."""
        return self.mean + COVERED * self.sd


def limits_of_agreement(differences: Sequence[float]) -> Limits | None:
    """Give the 95 % limits of agreement of paired differences [1]_; None for fewer than two.

    References
    ----------
    .. [1] J. M. Bland, D. G. Altman, "Statistical methods for assessing agreement between two
       methods of clinical measurement", The Lancet 327 (1986) 307-310.
    """
    if len(differences) < 2:
        return None
    return Limits(len(differences), fmean(differences), stdev(differences))


def kappa(pairs: Sequence[tuple[str, str]]) -> float | None:
    """Give Cohen's kappa of paired verdicts [1]_; None where agreement by chance is certain.

    References
    ----------
    .. [1] J. Cohen, "A coefficient of agreement for nominal scales", Educational and Psychological
       Measurement 20 (1960) 37-46.
    """
    n = len(pairs)
    if not n:
        return None
    first, second = Counter(one for one, _ in pairs), Counter(other for _, other in pairs)
    agreed = sum(one == other for one, other in pairs) / n
    chance = sum(first[verdict] * second[verdict] for verdict in first) / n**2
    return None if chance == 1 else (agreed - chance) / (1 - chance)
