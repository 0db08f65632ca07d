"""Which slips lead to what was written, ranked by their probability.

A slip spoils one step of the working; all numbers of the observation must then follow. Each
candidate's score is its prior times the probability that its working gives exactly the numbers
written, summed over the whole divisions that a careful person may have seen at the line (the
photo's own uncertainty and a person's). "Unexplained" is a candidate like the others, with a broad
density of its own.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import ROUND_FLOOR, Decimal
from itertools import product
from statistics import NormalDist
from typing import Any

from reading.marking.catalogue import BY_CODE, ORDER, SLIPS, Slip, Stage
from reading.marking.steps import Shown, Steps
from reading.marking.written import Number, Sheet
from vision.scale import Scale

# How a wrong observation comes about, before it is looked at. Defaults, set by judgement: one slip
# is the rule, two or something else the exception.
ONE_SLIP, TWO_SLIPS, UNEXPLAINED = 0.8, 0.1, 0.1
RIGHT_BEFOREHAND = 0.7  # share of right answers in a class before it is looked at; by judgement
U_EYE_DIVISIONS = 0.25  # standard error of a careful eye between two divisions (common practice)
LEAST_VIEW = 0.002  # views of the gauge less likely than this are left out
SPAN_PITCHES = 50  # a range of 25 mm, in which an unexplained number may lie anywhere
ZEROS_DROPPED = 0.25  # probability that zeros at a number's end are left out; by judgement
MOST_FIGURES = 8  # of what is worked from a gauge without a division that does not end
NAMED_FROM = 0.01  # candidates less probable than this are not named
# Slips after which a number comes out anyhow: the number, and what else must stand beside it.
ANYHOW = {
    "parts_not_added": ("reading", ("sleeve", "division")),
    "zero_misread": ("zero", ()),
    "correction_miscalculated": ("corrected", ("reading",)),
}


@dataclass(frozen=True)
class Truth:
    """What a photo shows: whole turns, division with its standard uncertainty, the zero error."""

    scale: Scale
    turns: int
    division: float
    u_division: float
    zero_error: Decimal | None = None

    @property
    def shown_divisions(self) -> float:
        """The reading above the range start, in divisions."""
        return self.turns * self.scale.divisions + self.division


@dataclass(frozen=True)
class Prior:
    """Relative weight of each slip, by code, and where the weights come from."""

    weights: Mapping[str, float] = field(
        default_factory=lambda: {slip.code: slip.weight for slip in SLIPS}
    )
    origin: str = "a default order; nobody has published how often each slip is made"

    def share(self, slip: Slip) -> float:
        """Give the slip's part of all slips."""
        return self.weights[slip.code] / sum(self.weights.values())


@dataclass(frozen=True)
class Candidate:
    """One explanation: its slips (none means unexplained), probability, and the working it says."""

    slips: tuple[Slip, ...]
    probability: float
    steps: Steps | None

    @property
    def codes(self) -> tuple[str, ...]:
        """The slips' codes."""
        return tuple(slip.code for slip in self.slips)


@dataclass(frozen=True)
class View:
    """What a careful person may see, how likely that is, and its working done rightly."""

    steps: Steps
    weight: float


def views(truth: Truth, fine: bool = False) -> tuple[View, ...]:
    """List what a careful person may read, likeliest first.

    Parameters
    ----------
    truth : Truth
    fine : bool
        Whether tenths of a division are read too; where there is a vernier, its parts are always.
    """
    scale = truth.scale
    steps_per_division = scale.vernier or (10 if fine else 1)
    each = Decimal(1) / steps_per_division
    u_eye = U_EYE_DIVISIONS / (steps_per_division if scale.vernier else 1)
    spread = NormalDist(0.0, math.hypot(truth.u_division, u_eye))
    middle, found = truth.shown_divisions, []
    reach = math.ceil((0.5 * float(each) + 3.5 * spread.stdev) * steps_per_division) + 1
    nearest = round(middle * steps_per_division)
    for count in range(nearest - reach, nearest + reach + 1):
        off = count / steps_per_division - middle
        half = 0.5 / steps_per_division
        weight = spread.cdf(off + half) - spread.cdf(off - half)
        if weight >= LEAST_VIEW:
            turns, division = divmod(count * each, scale.divisions)
            for zero, share in _zeros(truth):
                shown = Shown(scale, int(turns), division, zero)
                found.append(View(Steps.right(shown), weight * share))
    return tuple(sorted(found, key=lambda view: -view.weight))


def _zeros(truth: Truth) -> list[tuple[Decimal | None, float]]:
    """Say what a person may take a zero error for that is known more finely than engraved."""
    zero, part = truth.zero_error, truth.scale.least_count / (truth.scale.vernier or 1)
    if zero is None or zero % part == 0:
        return [(zero, 1.0)]
    low = (zero / part).to_integral_value(ROUND_FLOOR) * part
    above = float((zero - low) / part)
    return [(low, 1 - above), (low + part, above)]


def rank(sheet: Sheet, truth: Truth, prior: Prior | None = None) -> tuple[Candidate, ...]:
    """Rank the explanations of a wrong sheet, likeliest first; see `explain`."""
    return explain(sheet, truth, prior)[0]


def explain(
    sheet: Sheet, truth: Truth, prior: Prior | None = None
) -> tuple[tuple[Candidate, ...], float]:
    """Rank the explanations of a wrong sheet, and give the probability of the sheet under them all.

    Two slips together are tried where no single one gives all the numbers. A lone value of which
    nobody said whether it is the shown or the corrected reading (`Sheet.either`) is tried as both.

    Parameters
    ----------
    sheet : Sheet
        What was written; at least one number.
    truth : Truth
        What the photo shows.
    prior : Prior, optional
        The default order where not given.

    Returns
    -------
    candidates : tuple of Candidate
        Likeliest first; their probabilities sum to 1, but for those too small to name.
    evidence : float
        How probable it is that a student who is wrong writes just this.
    """
    prior = prior or Prior()
    seen = views(truth, fine=_finer_than_a_division(sheet, truth.scale))
    meanings = _meanings(sheet, truth)
    scores = _scored(((slip,) for slip in SLIPS), ONE_SLIP, (prior, seen, meanings))
    if not scores:
        scores = _scored(_pairs(SLIPS), 2 * TWO_SLIPS, (prior, seen, meanings))
    anyhow = [_unexplained(one, seen) for one in meanings]
    score = UNEXPLAINED * sum(score for score, _ in anyhow) / len(anyhow)
    scores[()] = score, anyhow[0][1]
    total = sum(score for score, _ in scores.values())
    ranked = [Candidate(slips, score / total, steps) for slips, (score, steps) in scores.items()]
    ranked = [one for one in ranked if one.probability >= NAMED_FROM or not one.slips]
    return tuple(sorted(ranked, key=_place)), total


def chance_if_right(sheet: Sheet, truth: Truth) -> float:
    """Give the probability that a student who reads rightly writes just this."""
    seen = views(truth, fine=_finer_than_a_division(sheet, truth.scale))
    return max(
        sum(view.weight * likelihood(view.steps, one) for view in seen)
        for one in _meanings(sheet, truth)
    )


def chance_of_misreading(
    sheet: Sheet, truth: Truth, others: Sequence[tuple[int, float, float]], evidence: float
) -> float:
    """Give the probability that the photo was misread and the student, who seems wrong, is right.

    Parameters
    ----------
    sheet, truth
        What was written, and what the photo seems to show.
    others : sequence of (turns, division, probability)
        What else the photo may show.
    evidence : float
        From `explain`.
    """
    right = RIGHT_BEFOREHAND * sum(
        probability * chance_if_right(sheet, replace(truth, turns=turns, division=division))
        for turns, division, probability in others
    )
    wrong = (1 - RIGHT_BEFOREHAND) * evidence
    return right / (right + wrong) if right else 0.0


def _meanings(sheet: Sheet, truth: Truth) -> tuple[Sheet, ...]:
    """Say what a sheet may mean; see `Sheet.either`."""
    if not (sheet.either and truth.zero_error):
        return (sheet,)
    return sheet, replace(sheet, reading=None, corrected=sheet.reading)


def _scored(
    explanations: Iterable[tuple[Slip, ...]],
    share: float,
    known: tuple[Prior, Sequence[View], Sequence[Sheet]],
) -> dict[tuple[Slip, ...], tuple[float, Steps | None]]:
    """Score explanations, prior times likelihood; those that can't be are left out."""
    prior, seen, meanings = known
    found = {}
    for slips in explanations:
        scores = [_score(slips, seen, sheet) for sheet in meanings]
        likely, steps = max(scores, key=lambda one: one[0])
        if likely > 0:
            weight = share * math.prod(prior.share(slip) for slip in slips) / len(meanings)
            found[slips] = weight * sum(score for score, _ in scores), steps
    return found


def _place(candidate: Candidate) -> tuple[float, list[int]]:
    """Order by probability, then as the catalogue has it."""
    order = [ORDER[code] for code in candidate.codes] or [len(ORDER)]
    return -round(candidate.probability, 9), order


def _pairs(slips: Sequence[Slip]) -> Iterator[tuple[Slip, Slip]]:
    """Give every two slips that spoil different steps, in the order of the steps."""
    for one, other in product(slips, slips):
        if one.stage < other.stage < Stage.DECIMALS:
            yield one, other


def _score(
    slips: tuple[Slip, ...], seen: Sequence[View], sheet: Sheet
) -> tuple[float, Steps | None]:
    """Give the probability of the sheet when these slips are made, and the likeliest working."""
    total, best, best_steps = 0.0, 0.0, None
    few = any(slip.stage == Stage.DECIMALS for slip in slips)
    if few and not (slips == (BY_CODE["too_few_decimals"],) and _coarse(sheet, seen)):
        return 0.0, None
    for view in seen:
        workings = _apply(slips, view.steps, sheet)
        for steps, chance in workings:
            if not few and _same_on_paper(steps, view.steps, sheet):
                continue
            each = view.weight * chance * likelihood(steps, sheet, few) / len(workings)
            total += each
            if each > best:
                best, best_steps = each, steps
    return total, best_steps


def _apply(slips: tuple[Slip, ...], steps: Steps, sheet: Sheet) -> list[tuple[Steps, float]]:
    """Go through the working with these slips made one after the other.

    With each working comes the probability of any number in it that may come out anyhow.
    """
    workings = [(steps, 1.0)]
    for slip in slips:
        if slip.stage != Stage.DECIMALS:
            workings = [
                (after, chance * chance_of_it)
                for before, chance in workings
                for after, chance_of_it in _made(slip, before, sheet)
            ]
    return workings


def _made(slip: Slip, steps: Steps, sheet: Sheet) -> Iterator[tuple[Steps, float]]:
    """Make one slip, in every way."""
    for after in slip.rule(steps):
        yield after, 1.0
    name = _comes_out_anyhow(slip.code, sheet)
    if name is None or getattr(steps, name) is None:
        return
    number = getattr(sheet, name)
    if number.value != getattr(steps, name):
        yield getattr(steps, f"with_{name}")(number.value), _broad(name, number, steps)


def _comes_out_anyhow(code: str, sheet: Sheet) -> str | None:
    """Give the number that may come out anyhow after a slip; None where it can't be told."""
    name, needed = ANYHOW.get(code, ("", ()))
    there = bool(name) and all(getattr(sheet, one) for one in (name, *needed))
    return name if there else None


def _same_on_paper(steps: Steps, right: Steps, sheet: Sheet) -> bool:
    """Say whether a working leaves every number that was written as it should be."""
    return steps.factor == 1 and all(
        getattr(steps, name) == getattr(right, name) for name, _ in sheet.numbers()
    )


def likelihood(steps: Steps, sheet: Sheet, few_decimals: bool = False) -> float:
    """Give the probability that a working is written down as on the sheet.

    Notes
    -----
    A number is met when it is the working's, rounded to the figures written. Where a number has
    fewer decimals than the scale, only its exact value meets it, unless `few_decimals` says that
    it was cut or rounded. The wider a rounded figure is against the working's least count, the
    more workings it would meet, and the less it says for this one.
    """
    total = 1.0
    scale = steps.shown.scale
    each = scale.least_count / (scale.vernier or 1)
    for name, number in sheet.numbers():
        expected = getattr(steps, name)
        if expected is None:
            continue  # nothing known to hold a zero error against
        if name == "division":
            total *= _meets(expected, number, Decimal(1), few_decimals)
        elif name == "sleeve":  # nobody writes more decimals of it than it needs
            total *= float(abs(expected * steps.factor - number.value) <= each / 2)
        else:
            factor = Decimal(1) if name == "zero" else steps.factor
            total *= _meets(expected * factor, number, each * factor, few_decimals)
        if not total:
            return 0.0
    return total


def _meets(expected: Decimal, number: Number, each: Decimal, few_decimals: bool) -> float:
    """Give the probability that a value worked in steps of `each` is written as this number."""
    off = abs(expected - number.value)
    near = off <= number.place / 2
    if number.place <= each:
        return float(near)
    share = float(each / number.place)
    if few_decimals:
        return share * float(near or 0 <= expected - number.value < number.place)
    if off == 0:
        return ZEROS_DROPPED if number.as_typed else 1.0
    # An inch in millimetres, or the reverse, has more figures than anybody writes.
    return share * float(near and len(expected.as_tuple().digits) > MOST_FIGURES)


def _finer_than_a_division(sheet: Sheet, scale: Scale) -> bool:
    """Say whether any number was written finer than whole divisions."""
    return any(
        number.value % each != 0
        for name, number in sheet.numbers()
        for each in [Decimal(1) if name == "division" else scale.least_count]
    )


def _coarse(sheet: Sheet, seen: Sequence[View]) -> bool:
    """Say whether the value handed in has fewer decimals than the scale."""
    each = seen[0].steps.shown.scale.least_count
    return sheet.final is not None and sheet.final.place > each


def _unexplained(sheet: Sheet, seen: Sequence[View]) -> tuple[float, Steps | None]:
    """Give the probability that one step came out anyhow, the steps around it being right.

    A number that comes out anyhow lies anywhere in the gauge's range; the parts of a sum, or the
    reading that is then corrected, are tried one by one, so that what follows rightly counts.
    """
    best, best_steps = 0.0, None
    steps = seen[0].steps
    named = {_comes_out_anyhow(code, sheet) for code in ANYHOW}
    for name, number in sheet.numbers():
        if name in named or (name in ("zero", "corrected") and steps.zero is None):
            continue
        after = getattr(steps, f"with_{name}")(number.value)
        score = _broad(name, number, steps) * likelihood(after, _without(sheet, name))
        if score > best:
            best, best_steps = score, after
    if best > 0:
        return best, best_steps
    return math.prod(_broad(name, one, seen[0].steps) for name, one in sheet.numbers()), None


def _without(sheet: Sheet, name: str) -> Sheet:
    """Leave one number out."""
    left: dict[str, Any] = {name: None}
    return replace(sheet, **left)


def _broad(name: str, number: Number, steps: Steps) -> float:
    """Give the probability that a number comes out as written when anything may."""
    scale = steps.shown.scale
    if name == "division":
        return float(max(number.place, Decimal(1)) / scale.divisions)
    span = scale.pitch * (2 if name == "zero" else SPAN_PITCHES)
    return float(min(Decimal(1), max(number.place, scale.least_count) / span))
