"""What is aimed at, against what was measured."""

from __future__ import annotations

import math
from dataclasses import dataclass

from reading.qualify.bounds import Share
from reading.qualify.figures import Figures, Group, Quantile

REACHED, MISSED, UNTESTED = "reached", "not reached", "not tested"
UNPROVED, TOO_FEW = "reached, not proved", "not proved"
# What is aimed at with the scale given, and without: least share accepted.
ACCEPTED = {"given": 0.97, "none": 0.93}
SMALL_ACCEPTED = {"given": 0.85, "none": 0.75}
MEDIAN_DIVISIONS = 0.05
P95_DIVISIONS = (0.05, 0.08, 0.15, 0.30)  # of the first four of `figures.PX_CLASSES`
SURE_WRONG, NEGATIVES_ACCEPTED = 0.005, 0.005
PARALLAX_DIVISIONS = 0.05
NORMALISED_SD = (0.8, 1.2)
SMALL = 3  # place of the class of 4 to 6 px


@dataclass(frozen=True)
class Goal:
    """One line of the table: what is aimed at, what was measured, what that proves."""

    what: str
    goal: str
    measured: str
    bound: str
    verdict: str


def goals(found: Figures, mode: str) -> tuple[Goal, ...]:
    """Hold figures against what is aimed at.

    Parameters
    ----------
    found : Figures
    mode : str
        "given" or "none": whether the scale was named.

    Notes
    -----
    Reached means that the bound is as aimed at, too, so that chance does not explain it; "not
    proved" that these photos are too few to say so. That nothing is wrong can't be proved: there
    what was seen decides.
    """
    big, small = found.large, found.by_size[SMALL]
    sizes = zip(found.by_size, P95_DIVISIONS, strict=False)
    lines = [
        _at_least("accepted at confidence ≥ 0.5", big.accepted, ACCEPTED[mode]),
        _error("median error", big.median, MEDIAN_DIVISIONS),
        *(_size_line(one, limit) for one, limit in list(sizes)[:SMALL]),
        _at_least(f"accepted, {small.name}", small.accepted, SMALL_ACCEPTED[mode]),
        _size_line(small, P95_DIVISIONS[SMALL]),
        _at_most(
            "more than one division off, at confidence ≥ 0.95",
            *(big.sure_wrong, SURE_WRONG),
            by_bound=True,
        ),
        _none("a whole turn wrong, at confidence ≥ 0.95", big.sure_turns_wrong),
        _at_most("negatives accepted", dict(found.negatives)["all"], NEGATIVES_ACCEPTED),
        _error("parallax left within 15° of roll, median", found.parallax, PARALLAX_DIVISIONS),
        _spread(found),
    ]
    return tuple(lines)


def percent(value: float, places: int = 1) -> str:
    """Write a share; a dash for none."""
    return "–" if math.isnan(value) else f"{100 * value:.{places}f} %"


def _verdict(n: int, measured: bool, proved: bool) -> str:
    if n == 0:
        return UNTESTED
    return REACHED if proved else UNPROVED if measured else MISSED


def _seen(share: Share) -> str:
    return f"{share.k} of {share.n} ({percent(share.value, 2)})" if share.n else "–"


def _at_least(what: str, share: Share, goal: float) -> Goal:
    verdict = _verdict(share.n, share.value >= goal, share.lower >= goal)
    bound = f"≥ {percent(share.lower)}" if share.n else "–"
    return Goal(what, f"≥ {percent(goal, 0)}", _seen(share), bound, verdict)


def _at_most(what: str, share: Share, goal: float, *, by_bound: bool = False) -> Goal:
    verdict = _verdict(share.n, share.value <= goal, share.upper <= goal)
    if by_bound and verdict == UNPROVED:
        verdict = TOO_FEW
    words = f"{'bound ' if by_bound else ''}≤ {percent(goal)}"
    return Goal(what, words, _seen(share), _upper(share), verdict)


def _none(what: str, share: Share) -> Goal:
    verdict = _verdict(share.n, share.k == 0, share.k == 0)
    return Goal(what, "none", _seen(share), _upper(share), verdict)


def _upper(share: Share) -> str:
    return f"≤ {percent(share.upper, 2)}" if share.n else "–"


def _size_line(one: Group, limit: float) -> Goal:
    return _error(f"95th percentile, {one.name}, roll within 20°", one.p95, limit)


def _error(what: str, found: Quantile, limit: float) -> Goal:
    verdict = _verdict(found.n, found.value <= limit, found.upper <= limit)
    goal = f"≤ {limit:.2f} div"
    if not found.n:
        return Goal(what, goal, "–", "–", verdict)
    bound = f"≤ {found.upper:.3f} div" if found.upper < math.inf else "too few"
    return Goal(what, goal, f"{found.value:.3f} div ({found.n})", bound, verdict)


def _spread(found: Figures) -> Goal:
    low, high = NORMALISED_SD
    ratio, n = found.normalised, len(found.normalised.values)
    inside = low <= ratio.sd <= high
    proved = low <= ratio.sd_lower and ratio.sd_upper <= high
    verdict = _verdict(0 if math.isnan(ratio.sd) else n, inside, proved)
    measured = "–" if math.isnan(ratio.sd) else f"{ratio.sd:.2f} ({n})"
    bound = "" if math.isnan(ratio.sd) else f"{ratio.sd_lower:.2f} to {ratio.sd_upper:.2f}"
    what = "error / stated uncertainty, standard deviation"
    return Goal(what, f"{low} to {high}", measured, bound, verdict)
