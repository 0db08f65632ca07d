"""One observation against its photo: right, within the tolerance or wrong, and its points."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from reading.length import plain
from reading.marking.catalogue import BY_CODE, Slip, Stage
from reading.marking.diagnosis import Candidate, Prior, Truth, explain, views
from reading.marking.scheme import ITEMS, Scheme
from reading.marking.written import Number, Sheet

RIGHT, WITHIN, WRONG = "right", "within", "wrong"
HALF_DIVISION = Decimal("0.5")  # a hand reading is to the nearest division (common practice)
EXPANDED = Decimal(2)  # coverage of the photo's own uncertainty, k = 2 (GUM 6.3.3)
FITS_TOO = 0.05  # of the likeliest explanation's probability: fits the same numbers

_SPOILED = {
    Stage.SLEEVE: "sleeve",
    Stage.DIVISION: "division",
    Stage.LEAST_COUNT: "division",
    Stage.ZERO: "zero_correction",
    Stage.UNIT: "unit",
}


@dataclass(frozen=True)
class Asked:
    """What was asked of the class: a zero correction, a unit."""

    zero_correction: bool = False
    unit: bool = False


@dataclass(frozen=True)
class Item:
    """One item of the scheme: what it got out of what, and why not all. None: not asked for."""

    name: str
    points: Decimal | None
    out_of: Decimal
    why: str = ""


@dataclass(frozen=True)
class Judgement:
    """What an observation came to.

    `off_divisions` is the value handed in minus what it should be. `explanations` holds all that
    lead to the numbers written, likeliest first; the first without slips means that no usual slip
    does. `form` holds slips of the writing alone. `evidence` is how probable these numbers are from
    a student who is wrong.
    """

    verdict: str
    off_divisions: Decimal
    should_be: Decimal
    explanations: tuple[Candidate, ...]
    form: tuple[Slip, ...]
    items: tuple[Item, ...]
    evidence: float = 0.0

    @property
    def points(self) -> Decimal:
        """The points given."""
        return sum((item.points for item in self.items if item.points is not None), Decimal(0))

    @property
    def out_of(self) -> Decimal:
        """The most that could be had."""
        return sum((item.out_of for item in self.items if item.points is not None), Decimal(0))

    @property
    def slips(self) -> tuple[Slip, ...]:
        """The likeliest explanation's slips, and those of the writing."""
        first = self.explanations[0].slips if self.explanations else ()
        return (*first, *(slip for slip in self.form if slip not in first))


def smallest_part(truth: Truth) -> Decimal:
    """Give what the tolerance counts: a division of the thimble, or of the vernier."""
    return truth.scale.least_count / (truth.scale.vernier or 1)


def shown(truth: Truth) -> Decimal:
    """Give the photo's reading as a length, to a tenth of the smallest part."""
    part = smallest_part(truth) / 10
    above = Decimal(repr(float(truth.shown_divisions))) * truth.scale.least_count
    return truth.scale.start + round(above / part) * part


def judge(
    sheet: Sheet, truth: Truth, scheme: Scheme, asked: Asked, prior: Prior | None = None
) -> Judgement:
    """Hold a sheet against a photo, find the slips, and give the points.

    Parameters
    ----------
    sheet : Sheet
        With a value handed in.
    truth : Truth
    scheme : Scheme
    asked : Asked
    prior : Prior, optional
    """
    if sheet.final is None:
        raise ValueError("a sheet without a value handed in can't be judged")
    truth = _with_own_zero(sheet, truth, scheme)
    offs = _offs(sheet, truth)
    doubt = EXPANDED * _u_parts(truth)
    worst = max(abs(off) for off in offs.values())
    verdict = WRONG if worst > scheme.tolerance_divisions + doubt else WITHIN
    if worst <= HALF_DIVISION + doubt:
        verdict = RIGHT
    explanations, evidence = ((), 0.0) if verdict == RIGHT else explain(sheet, truth, prior)
    form = _form(sheet, truth, scheme, asked)
    final_off = offs["corrected"] if sheet.corrected else offs["reading"]
    should_be = sheet.final.value - final_off * smallest_part(truth)
    found = Judgement(verdict, final_off, should_be, explanations, form, (), evidence)
    marked = [
        replace(found, items=_items(one, sheet, truth, scheme, (asked, found, doubt)))
        for one in (leading(explanations) or (None,))
    ]
    return max(marked, key=lambda one: one.points)


def leading(explanations: Sequence[Candidate]) -> tuple[Candidate, ...]:
    """Give the explanations that fit the numbers about as well as the likeliest."""
    if not explanations or not explanations[0].slips:
        return tuple(explanations[:1])
    least = FITS_TOO * explanations[0].probability
    return tuple(one for one in explanations if one.slips and one.probability >= least)


def _with_own_zero(sheet: Sheet, truth: Truth, scheme: Scheme) -> Truth:
    """Take the student's own zero error where it is as good as the gauge's record, or alone."""
    if sheet.zero is None:
        return truth
    limit = max(scheme.tolerance_divisions, Decimal(1)) * smallest_part(truth)
    if truth.zero_error is None or abs(sheet.zero.value - truth.zero_error) <= limit:
        return replace(truth, zero_error=sheet.zero.value)
    return truth


def _u_parts(truth: Truth) -> Decimal:
    """Give the photo's standard uncertainty in smallest parts."""
    return Decimal(repr(float(truth.u_division))) * (truth.scale.vernier or 1)


def _offs(sheet: Sheet, truth: Truth) -> dict[str, Decimal]:
    """Give how far each number lies from what it should be, in smallest parts."""
    right, part = shown(truth), smallest_part(truth)
    zero = truth.zero_error
    offs = {}
    if sheet.reading is not None:
        offs["reading"] = (sheet.reading.value - right) / part
        if sheet.either and zero:
            other = offs["reading"] + zero / part
            offs["reading"] = min(offs["reading"], other, key=abs)
    if sheet.corrected is not None and zero is not None:
        offs["corrected"] = (sheet.corrected.value - (right - zero)) / part
    elif sheet.corrected is not None:
        offs["corrected"] = (sheet.corrected.value - right) / part
    if sheet.sleeve is not None and sheet.division is not None:
        total = sheet.sleeve.value + sheet.division.value * truth.scale.least_count
        offs["parts"] = (total - right) / part
    elif sheet.sleeve is not None:
        offs["parts"] = min(
            ((sheet.sleeve.value - view.steps.sleeve) / part for view in views(truth)), key=abs
        )
    if sheet.zero is not None and zero is not None:
        offs["zero"] = (sheet.zero.value - zero) / part
    return offs


def _form(sheet: Sheet, truth: Truth, scheme: Scheme, asked: Asked) -> tuple[Slip, ...]:
    """Find slips of the writing: the unit left out, too few or too many decimals."""
    found = []
    if asked.unit and sheet.final is not None and sheet.final.unit is None:
        found.append("unit_missing")
    places = [_decimals(one, truth, scheme) for one in (sheet.reading, sheet.corrected) if one]
    for code in ("too_few_decimals", "too_many_decimals"):
        if code in places:
            found.append(code)
    return tuple(BY_CODE[code] for code in found)


def _decimals(number: Number, truth: Truth, scheme: Scheme) -> str | None:
    """Hold a number's decimals against the scale's; a code, "" where right, None if unknown."""
    part = smallest_part(truth).normalize()
    least = Decimal(1).scaleb(min(0, int(part.as_tuple().exponent)))
    if number.place.normalize().as_tuple().digits != (1,):
        return None  # inches on a metric gauge, or the reverse: no telling
    if number.place > least:
        return "too_few_decimals" if number.as_typed else None
    return "too_many_decimals" if number.place < least.scaleb(-scheme.extra_decimals) else ""


def _items(
    candidate: Candidate | None,
    sheet: Sheet,
    truth: Truth,
    scheme: Scheme,
    known: tuple[Asked, Judgement, Decimal],
) -> tuple[Item, ...]:
    """Give the points of every item if this is the explanation."""
    asked, found, doubt = known
    limit = scheme.tolerance_divisions + doubt
    lost: dict[str, str] = {}
    if found.verdict == WRONG and candidate is not None:
        lost = _lost(candidate, sheet, truth, limit)
        if abs(found.off_divisions) > limit and candidate.codes != ("unit_slip",):
            carried = scheme.carry_forward and _carried(sheet, truth, limit)
            if not carried:
                lost["final_value"] = f"{_signed(found.off_divisions)} divisions off"
    for slip in found.form:
        lost["unit" if slip.stage == Stage.UNIT else "decimals"] = slip.sentence
    counts = {
        "zero_correction": (asked.zero_correction and truth.zero_error is not None)
        or (sheet.either and "zero_correction" in lost),
        "unit": asked.unit or "unit" in lost,
        "decimals": any(
            _decimals(one, truth, scheme) is not None
            for one in (sheet.reading, sheet.corrected)
            if one is not None
        ),
    }
    if counts["zero_correction"] and sheet.corrected is None and not sheet.either:
        lost["zero_correction"] = "no corrected reading was written"
    return tuple(
        _item(name, scheme.points[name], lost, counts.get(name, True))
        for name in ITEMS
        if scheme.points[name]
    )


def _item(name: str, out_of: Decimal, lost: dict[str, str], counts: bool) -> Item:
    """Give one item its points."""
    if not counts:
        return Item(name, None, out_of, "not asked for")
    return Item(name, Decimal(0) if name in lost else out_of, out_of, lost.get(name, ""))


def _lost(candidate: Candidate, sheet: Sheet, truth: Truth, limit: Decimal) -> dict[str, str]:
    """Say which items an explanation costs, but for the value itself, and why."""
    lost = {}
    for slip in candidate.slips:
        if slip.code == "only_one_scale" and candidate.steps is not None:
            alone = candidate.steps.reading == candidate.steps.sleeve
            lost["division" if alone else "sleeve"] = slip.sentence
        elif slip.stage == Stage.SUM:
            lost["final_value"] = slip.sentence
        elif slip.stage in _SPOILED:
            lost[_SPOILED[slip.stage]] = slip.sentence
    if candidate.slips:
        return lost
    return _lost_without_a_slip(sheet, truth, limit)


def _lost_without_a_slip(sheet: Sheet, truth: Truth, limit: Decimal) -> dict[str, str]:
    """Judge sleeve, division and correction by the numbers alone, where no slip explains them."""
    part, pitch, lost = smallest_part(truth), truth.scale.pitch, {}
    reading = sheet.reading.value if sheet.reading else None
    if reading is None and sheet.corrected is not None:
        reading = sheet.corrected.value + (truth.zero_error or 0)
    right = shown(truth)
    if sheet.sleeve is not None and sheet.division is not None:
        reading = sheet.sleeve.value + sheet.division.value * truth.scale.least_count
    if reading is not None:
        sleeves = {view.steps.sleeve for view in views(truth)}
        inside = any(-limit * part <= reading - one < pitch + limit * part for one in sleeves)
        if not inside:
            lost["sleeve"] = "another sleeve line"
        turn = (reading - right) % pitch
        if min(turn, pitch - turn) > limit * part:
            lost["division"] = "another division"
    if sheet.reading is not None and sheet.corrected is not None and truth.zero_error is not None:
        taken_off = sheet.reading.value - sheet.corrected.value
        if abs(taken_off - truth.zero_error) > part:
            lost["zero_correction"] = "not the zero error was taken off"
    return lost


def _carried(sheet: Sheet, truth: Truth, limit: Decimal) -> bool:
    """Say whether the value handed in follows rightly from the student's own earlier numbers."""
    part = smallest_part(truth)
    if sheet.corrected is not None and sheet.reading is not None:
        zero = sheet.zero.value if sheet.zero is not None else truth.zero_error
        if zero is None or abs(sheet.reading.value - zero - sheet.corrected.value) > part / 2:
            return False
        reading = sheet.reading.value
        if abs(reading - shown(truth)) <= limit * part or not (sheet.sleeve and sheet.division):
            return True
    if sheet.reading is None or sheet.sleeve is None or sheet.division is None:
        return False
    total = sheet.sleeve.value + sheet.division.value * truth.scale.least_count
    return abs(total - sheet.reading.value) <= part / 2


def _signed(divisions: Decimal) -> str:
    return plain(round(divisions, 1), signed=True)
