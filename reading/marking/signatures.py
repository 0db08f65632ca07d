"""The arithmetic of each slip: the right working in, every working that the slip may lead to out.

A rule gives nothing where its slip can't be made. It changes one step; the steps after it follow.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from decimal import Decimal

from reading.marking.steps import Steps

Rule = Callable[[Steps], Iterator[Steps]]

# How far round the thimble must be for a neighbouring sleeve line to mislead (common practice).
NEARLY_A_TURN = Decimal("0.75")
JUST_PAST_A_TURN = Decimal("0.25")
MM_SLEEVE_NUMBERS = (Decimal(5), Decimal(10))  # numbered lines on a metric sleeve
IN_SLEEVE_NUMBERS = (Decimal("0.1"), Decimal("0.2"))  # and on an inch sleeve, where 1 is 0.1 in
# Written where the other was meant: cm and mm, m and mm, inches and mm.
UNIT_FACTORS = (
    Decimal("0.1"),
    Decimal(10),
    Decimal("0.001"),
    1 / Decimal("25.4"),
    Decimal("25.4"),
)


def half_line_missed(steps: Steps) -> Iterator[Steps]:
    """One pitch too little, where the last line uncovered is a half-millimetre line."""
    if steps.shown.half_lines and steps.shown.turns % 2:
        yield steps.with_sleeve(steps.sleeve - steps.shown.scale.pitch)


def half_line_added(steps: Steps) -> Iterator[Steps]:
    """One pitch too much, where the last line uncovered is a millimetre line."""
    if steps.shown.half_lines and steps.shown.turns % 2 == 0:
        yield steps.with_sleeve(steps.sleeve + steps.shown.scale.pitch)


def next_line_counted(steps: Steps) -> Iterator[Steps]:
    """One pitch too much, near the end of a turn."""
    if steps.shown.division >= NEARLY_A_TURN * steps.shown.scale.divisions:
        yield steps.with_sleeve(steps.sleeve + steps.shown.scale.pitch)


def hidden_line_missed(steps: Steps) -> Iterator[Steps]:
    """One pitch too little, just past a whole turn."""
    if steps.shown.division <= JUST_PAST_A_TURN * steps.shown.scale.divisions:
        yield steps.with_sleeve(steps.sleeve - steps.shown.scale.pitch)


def half_lines_as_millimetres(steps: Steps) -> Iterator[Steps]:
    """Each line counted for a whole millimetre."""
    if steps.shown.half_lines and steps.shown.turns:
        yield steps.with_sleeve(steps.shown.scale.start + steps.shown.turns)


def wrong_sleeve_number(steps: Steps) -> Iterator[Steps]:
    """One or two numbered sleeve lines too far on or back."""
    numbers = MM_SLEEVE_NUMBERS if steps.shown.scale.unit == "mm" else IN_SLEEVE_NUMBERS
    for off in numbers:
        for sleeve in (steps.sleeve - off, steps.sleeve + off):
            if sleeve + steps.thimble >= 0:
                yield steps.with_sleeve(sleeve)


def range_start_left_out(steps: Steps) -> Iterator[Steps]:
    """Too little by the start of the range."""
    if steps.shown.scale.start:
        yield steps.with_sleeve(steps.sleeve - steps.shown.scale.start)


def neighbouring_division(steps: Steps) -> Iterator[Steps]:
    """One division too many or too few."""
    yield steps.with_division(steps.division - 1)
    yield steps.with_division(steps.division + 1)


def counted_wrong_way(steps: Steps) -> Iterator[Steps]:
    """From a numbered line on the one side, the count made towards the other."""
    divisions = steps.shown.scale.divisions
    for step in (5, 10) if divisions >= 100 else (5,):
        below = steps.division // step * step
        for numbered in (below, below + step):
            written = 2 * numbered - steps.division
            if written != steps.division and 0 <= written < divisions and numbered < divisions:
                yield steps.with_division(written)


def wrong_thimble_number(steps: Steps) -> Iterator[Steps]:
    """Five or ten divisions too many or too few."""
    for off in (-10, -5, 5, 10):
        if 0 <= steps.division + off < steps.shown.scale.divisions:
            yield steps.with_division(steps.division + off)


def thimble_backwards(steps: Steps) -> Iterator[Steps]:
    """The division counted from the other end of the thimble."""
    divisions = steps.shown.scale.divisions
    if 2 * steps.division != divisions and steps.division:
        yield steps.with_division(divisions - steps.division)


def digits_swapped(steps: Steps) -> Iterator[Steps]:
    """The division's two figures swapped, or the last two of a number written down."""
    whole, rest = divmod(steps.division, 1)
    tens, ones = divmod(int(whole), 10)
    if tens != ones and tens < 10 and 10 * ones + tens < steps.shown.scale.divisions:
        yield steps.with_division(10 * ones + tens + rest)
    swapped = _last_two_swapped(steps.reading)
    if swapped is not None:
        yield steps.with_reading(swapped)
    swapped = None if steps.corrected is None else _last_two_swapped(steps.corrected)
    if swapped is not None and steps.zero:
        yield steps.with_corrected(swapped)


def _last_two_swapped(value: Decimal) -> Decimal | None:
    sign, digits, exponent = value.as_tuple()
    if len(digits) < 2 or digits[-1] == digits[-2]:
        return None
    return Decimal((sign, (*digits[:-2], digits[-1], digits[-2]), int(exponent)))


def wrong_scale(steps: Steps) -> Iterator[Steps]:
    """The least count of a scale with twice or half as many divisions to the millimetre."""
    if steps.division:
        yield steps.with_thimble(steps.thimble / 2)
        yield steps.with_thimble(steps.thimble * 2)


def least_count_tenfold(steps: Steps) -> Iterator[Steps]:
    """The least count ten times too small or too large."""
    if steps.division:
        yield steps.with_thimble(steps.thimble / 10)
        yield steps.with_thimble(steps.thimble * 10)


def division_as_tenths(steps: Steps) -> Iterator[Steps]:
    """A division of one figure put right behind the point."""
    if 0 < steps.division < 10 and steps.shown.scale.least_count == Decimal("0.01"):
        yield steps.with_thimble(steps.division * Decimal("0.1"))


def only_one_scale(steps: Steps) -> Iterator[Steps]:
    """The sleeve alone, or the thimble alone."""
    if steps.division and steps.sleeve:
        yield steps.with_reading(steps.sleeve)
        yield steps.with_reading(steps.thimble)


def carry_dropped(steps: Steps) -> Iterator[Steps]:
    """Sleeve and thimble added figure by figure, a carry forgotten."""
    if min(steps.sleeve, steps.thimble) < 0:
        return
    unit = min(_last_place(steps.sleeve), _last_place(steps.thimble))
    one, other, place, total = int(steps.sleeve / unit), int(steps.thimble / unit), 1, 0
    while one or other:
        total += (one % 10 + other % 10) % 10 * place
        one, other, place = one // 10, other // 10, place * 10
    if total * unit != steps.sleeve + steps.thimble:
        yield steps.with_reading(total * unit)


def _last_place(value: Decimal) -> Decimal:
    return Decimal(1).scaleb(min(0, int(value.as_tuple().exponent)))


def radius_for_diameter(steps: Steps) -> Iterator[Steps]:
    """Half or twice the value."""
    if steps.reading:
        yield steps.with_reading(steps.reading / 2)
        yield steps.with_reading(steps.reading * 2)


def zero_forgotten(steps: Steps) -> Iterator[Steps]:
    """Nothing taken off."""
    if steps.zero:
        yield steps.with_corrected(steps.reading)


def zero_sign_wrong(steps: Steps) -> Iterator[Steps]:
    """The zero error put on instead of taken off."""
    if steps.zero:
        yield steps.with_corrected(steps.reading + steps.zero)


def zero_applied_twice(steps: Steps) -> Iterator[Steps]:
    """The zero error taken off two times."""
    if steps.zero:
        yield steps.with_corrected(steps.reading - 2 * steps.zero)


def negative_zero_taken_positive(steps: Steps) -> Iterator[Steps]:
    """A closed gauge a little below zero read from the wrong end of the scale (47 for -3)."""
    if steps.zero is not None and steps.zero < 0:
        yield steps.with_zero(steps.zero + steps.shown.scale.pitch)


def unit_slip(steps: Steps) -> Iterator[Steps]:
    """The number of one unit written with another."""
    for factor in UNIT_FACTORS:
        yield steps.times(factor)


def comes_out_anyhow(_: Steps) -> Iterator[Steps]:
    """Any number: the slip is told from the other numbers beside it."""
    yield from ()


def in_the_writing(_: Steps) -> Iterator[Steps]:
    """Nothing in the value: the slip is told from the text."""
    yield from ()


def over_several(_: Steps) -> Iterator[Steps]:
    """Nothing in one value: the slip is told from several readings."""
    yield from ()
