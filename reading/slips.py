"""The catalogue of slips made in reading a micrometer by hand, and which of them fit a value.

Each slip is a rule: from what the gauge shows it works out what a person who makes that slip
writes. All the mistakes are common practice of teaching; no frequency is known, so none is used.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from decimal import Decimal

from reading.result import HandComparison, Reading, SlipFit
from vision.scale import Scale

HALF_DIVISION = Decimal("0.5")  # a hand reading is to the nearest division (common practice)
EXPANDED = Decimal(2)  # coverage of what the picture may be off by, k = 2 (GUM 6.3.3)
# How far round the thimble must be for a neighbouring sleeve line to mislead (common practice).
NEARLY_A_TURN = Decimal("0.75")
JUST_PAST_A_TURN = Decimal("0.25")
MM_SLEEVE_NUMBERS = (Decimal(5), Decimal(10))  # numbered lines on a metric sleeve
IN_SLEEVE_NUMBERS = (Decimal("0.1"), Decimal("0.2"))  # and on an inch sleeve, where 1 is 0.1 in


@dataclass(frozen=True)
class Shown:
    """What a gauge shows to a perfect reader: whole turns, whole division, zero error if known."""

    scale: Scale
    turns: int
    division: int
    zero_error: Decimal | None = None

    @property
    def sleeve(self) -> Decimal:
        """Sleeve reading, the range's start included."""
        return self.scale.start + self.turns * self.scale.pitch

    @property
    def reading(self) -> Decimal:
        """Sleeve + division x least count."""
        return self.with_division(self.division)

    @property
    def half_lines(self) -> bool:
        """Whether the sleeve has half-millimetre lines."""
        return self.scale.unit == "mm" and self.scale.pitch == HALF_DIVISION

    def with_division(self, division: Decimal | int) -> Decimal:
        """Give the reading with another division."""
        return self.sleeve + division * self.scale.least_count


@dataclass(frozen=True)
class Slip:
    """One slip: code, sentence for the person who made it, and what it leads to.

    `rule` gives nothing where the slip can't be made. `factor` is what the written number is
    multiplied by (unit slips only). `final` marks slips in the zero correction itself.
    """

    code: str
    sentence: str
    rule: Callable[[Shown], Iterable[Decimal]]
    factor: Decimal = Decimal(1)
    final: bool = False


def _half_line_missed(shown: Shown) -> Iterable[Decimal]:
    if shown.half_lines and shown.turns % 2:
        yield shown.reading - shown.scale.pitch


def _half_line_added(shown: Shown) -> Iterable[Decimal]:
    if shown.half_lines and shown.turns % 2 == 0:
        yield shown.reading + shown.scale.pitch


def _next_line_counted(shown: Shown) -> Iterable[Decimal]:
    if shown.division >= NEARLY_A_TURN * shown.scale.divisions:
        yield shown.reading + shown.scale.pitch


def _hidden_line_missed(shown: Shown) -> Iterable[Decimal]:
    if shown.division <= JUST_PAST_A_TURN * shown.scale.divisions:
        yield shown.reading - shown.scale.pitch


def _zero_sign_wrong(shown: Shown) -> Iterable[Decimal]:
    if shown.zero_error:
        yield shown.reading + shown.zero_error


def _zero_forgotten(shown: Shown) -> Iterable[Decimal]:
    if shown.zero_error:
        yield shown.reading


def _zero_applied_twice(shown: Shown) -> Iterable[Decimal]:
    if shown.zero_error:
        yield shown.reading - 2 * shown.zero_error


def _negative_zero_taken_positive(shown: Shown) -> Iterable[Decimal]:
    if shown.zero_error is not None and shown.zero_error < 0:
        yield shown.reading - (shown.zero_error + shown.scale.pitch)


def _least_count_tenfold(shown: Shown) -> Iterable[Decimal]:
    if shown.division:
        yield shown.with_division(shown.division / Decimal(10))
        yield shown.with_division(shown.division * 10)


def _wrong_scale(shown: Shown) -> Iterable[Decimal]:
    if shown.division:
        yield shown.with_division(shown.division / Decimal(2))
        yield shown.with_division(shown.division * 2)


def _division_as_tenths(shown: Shown) -> Iterable[Decimal]:
    if 0 < shown.division < 10 and shown.scale.least_count == Decimal("0.01"):
        yield shown.sleeve + shown.division * Decimal("0.1")


def _thimble_backwards(shown: Shown) -> Iterable[Decimal]:
    if 2 * shown.division != shown.scale.divisions:
        yield shown.with_division(shown.scale.divisions - shown.division)


def _counted_wrong_way(shown: Shown) -> Iterable[Decimal]:
    divisions = shown.scale.divisions
    every = (5, 10) if divisions >= 100 else (5,)
    for step in every:
        below = shown.division // step * step
        for numbered in (below, below + step):
            written = 2 * numbered - shown.division
            if written != shown.division and 0 <= written < divisions and numbered < divisions:
                yield shown.with_division(written)


def _wrong_thimble_number(shown: Shown) -> Iterable[Decimal]:
    for off in (-10, -5, 5, 10):
        if 0 <= shown.division + off < shown.scale.divisions:
            yield shown.with_division(shown.division + off)


def _digits_swapped(shown: Shown) -> Iterable[Decimal]:
    tens, ones = divmod(shown.division, 10)
    if tens != ones and tens < 10 and 10 * ones + tens < shown.scale.divisions:
        yield shown.with_division(10 * ones + tens)
    sign, digits, exponent = shown.reading.as_tuple()
    if len(digits) > 1 and digits[-1] != digits[-2]:
        yield Decimal((sign, (*digits[:-2], digits[-1], digits[-2]), int(exponent)))


def _neighbouring_division(shown: Shown) -> Iterable[Decimal]:
    yield shown.with_division(shown.division - 1)
    yield shown.with_division(shown.division + 1)


def _half_lines_as_millimetres(shown: Shown) -> Iterable[Decimal]:
    if shown.half_lines and shown.turns:
        yield shown.scale.start + shown.turns + shown.division * shown.scale.least_count


def _wrong_sleeve_number(shown: Shown) -> Iterable[Decimal]:
    numbers = MM_SLEEVE_NUMBERS if shown.scale.unit == "mm" else IN_SLEEVE_NUMBERS
    for off in numbers:
        for value in (shown.reading - off, shown.reading + off):
            if value >= 0:
                yield value


def _only_one_scale(shown: Shown) -> Iterable[Decimal]:
    if shown.division and shown.sleeve:
        yield shown.sleeve
        yield shown.division * shown.scale.least_count


def _range_start_left_out(shown: Shown) -> Iterable[Decimal]:
    if shown.scale.start:
        yield shown.reading - shown.scale.start


def _as_shown(shown: Shown) -> Iterable[Decimal]:
    yield shown.reading


# In the order in which a teacher would look for them when several fit equally well.
SLIPS: tuple[Slip, ...] = (
    Slip("zero_forgotten", "the zero error was not taken off", _zero_forgotten, final=True),
    Slip(
        "zero_sign_wrong", "the zero error was added, not taken off", _zero_sign_wrong, final=True
    ),
    Slip(
        "zero_applied_twice", "the zero error was taken off twice", _zero_applied_twice, final=True
    ),
    Slip(
        "negative_zero_taken_positive",
        "the negative zero error was read as a positive one",
        _negative_zero_taken_positive,
        final=True,
    ),
    Slip("half_line_missed", "the half-millimetre line was missed", _half_line_missed),
    Slip(
        "next_line_counted",
        "the next sleeve line was counted before its turn was complete",
        _next_line_counted,
    ),
    Slip(
        "hidden_line_missed",
        "a sleeve line already passed was missed at the thimble's edge",
        _hidden_line_missed,
    ),
    Slip("half_line_added", "half a millimetre was added that is not uncovered", _half_line_added),
    Slip("neighbouring_division", "the next thimble division was read", _neighbouring_division),
    Slip(
        "counted_wrong_way",
        "the divisions were counted the wrong way from a numbered line",
        _counted_wrong_way,
    ),
    Slip(
        "wrong_thimble_number",
        "the count began from a wrong numbered thimble line",
        _wrong_thimble_number,
    ),
    Slip("digits_swapped", "two digits were swapped", _digits_swapped),
    Slip("thimble_backwards", "the whole thimble was counted backwards", _thimble_backwards),
    Slip(
        "wrong_sleeve_number",
        "the count began from a wrong numbered sleeve line",
        _wrong_sleeve_number,
    ),
    Slip("only_one_scale", "only the sleeve or only the thimble was read", _only_one_scale),
    Slip(
        "half_lines_as_millimetres",
        "the sleeve's lines were counted as whole millimetres",
        _half_lines_as_millimetres,
    ),
    Slip("wrong_scale", "the least count was taken twice or half as large", _wrong_scale),
    Slip(
        "least_count_tenfold",
        "the least count was taken ten times too small or too large",
        _least_count_tenfold,
    ),
    Slip(
        "division_as_tenths",
        "a one-figure division was written as tenths",
        _division_as_tenths,
    ),
    Slip("range_start_left_out", "the start of the range was left out", _range_start_left_out),
    *(
        Slip("unit_slip", f"the value was written in the wrong unit ({which})", _as_shown, factor)
        for which, factor in (
            ("mm for cm, or the reverse", Decimal("0.1")),
            ("mm for cm, or the reverse", Decimal(10)),
            ("mm for m", Decimal("0.001")),
            ("mm for in", 1 / Decimal("25.4")),
            ("in for mm", Decimal("25.4")),
        )
    ),
)

_ORDER = {slip.code: place for place, slip in reversed(list(enumerate(SLIPS)))}


def diagnose(value: Decimal, shown: Shown) -> tuple[SlipFit, ...]:
    """Name every slip that leads to a hand value.

    Parameters
    ----------
    value : Decimal
        The hand reading, in the scale's unit.
    shown : Shown
        What the gauge shows.

    Returns
    -------
    tuple of SlipFit
        Nearest first, then in the catalogue's order; one entry a code. A slip fits when what it
        leads to is within half a division of the value. Slips made before the zero correction are
        also tried with the correction then made rightly.
    """
    zero_error = shown.zero_error or Decimal(0)
    fits = []
    for slip in SLIPS:
        unit = shown.scale.least_count * min(slip.factor, Decimal(1))
        for given in slip.rule(shown):
            for taken_off in {Decimal(0), Decimal(0) if slip.final else zero_error}:
                gives = (given - taken_off) * slip.factor
                off = abs(value - gives) / unit
                if off <= HALF_DIVISION:
                    fits.append(
                        SlipFit(slip.code, slip.sentence, gives, float(off), bool(taken_off))
                    )
    return _ranked(fits)


def _ranked(fits: Iterable[SlipFit]) -> tuple[SlipFit, ...]:
    """Order fits by how near they come, then as the catalogue has them; one a code, the nearest."""
    nearest: dict[str, SlipFit] = {}
    for fit in sorted(fits, key=lambda fit: (round(fit.off_divisions, 1), _ORDER[fit.code])):
        nearest.setdefault(fit.code, fit)
    return tuple(nearest.values())


def compare(value: Decimal, reading: Reading) -> HandComparison:
    """Hold a hand reading against the photo's, and find the slips where they disagree.

    Notes
    -----
    A hand reading to the nearest division is off by up to half a division, and the picture by
    twice its standard uncertainty: within both together they agree. It is compared with the shown
    and with the corrected reading, and the nearer counts.
    """
    scale = reading.scale
    u_division = Decimal(repr(float(reading.sighting.u_division)))
    candidates = [("shown", reading.shown)]
    if reading.corrected is not None:
        candidates.insert(0, ("corrected", reading.corrected))
    against, reference = min(candidates, key=lambda candidate: abs(value - candidate[1]))
    difference = (value - reference) / scale.least_count
    agrees = abs(difference) <= HALF_DIVISION + EXPANDED * u_division
    slips: tuple[SlipFit, ...] = ()
    if not agrees:
        limit = HALF_DIVISION + EXPANDED * u_division
        slips = _ranked(
            fit for shown in _as_read_by_hand(reading, limit) for fit in diagnose(value, shown)
        )
    return HandComparison(value, against, difference, agrees, slips)


def _as_read_by_hand(reading: Reading, limit: Decimal) -> Iterable[Shown]:
    """Give the reading at every whole division that a person may have seen at the line."""
    scale = reading.scale
    low, high = math.ceil(reading.division - limit), math.floor(reading.division + limit)
    for whole in range(low, high + 1):
        carried, division = divmod(whole, scale.divisions)
        yield Shown(scale, reading.turns + carried, division, reading.zero_error)
