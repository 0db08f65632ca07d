"""Exact lengths and units: parse people's writing, convert, round as the GUM says."""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import ROUND_FLOOR, ROUND_HALF_EVEN, Context, Decimal, localcontext

from reading.problem import Problem
from vision.scale import MM_PER_IN

# Millimetres in one of each unit; exact (SI prefixes; the international inch of 1959).
MM_PER_UNIT: dict[str, Decimal] = {
    "mm": Decimal(1),
    "cm": Decimal(10),
    "um": Decimal("0.001"),
    "m": Decimal(1000),
    "in": MM_PER_IN,
}

_SPELLINGS: dict[str, str] = {
    **{unit: unit for unit in MM_PER_UNIT},
    "µm": "um",  # micro sign
    "μm": "um",  # Greek mu
    "micron": "um",
    "microns": "um",
    "millimetre": "mm",
    "millimetres": "mm",
    "millimeter": "mm",
    "millimeters": "mm",
    "centimetre": "cm",
    "centimetres": "cm",
    "centimeter": "cm",
    "centimeters": "cm",
    "metre": "m",
    "metres": "m",
    "meter": "m",
    "meters": "m",
    "inch": "in",
    "inches": "in",
    '"': "in",
    "”": "in",
    "″": "in",
    "''": "in",
}
_MINUS_SIGNS = str.maketrans({"−": "-", "–": "-", "\u00a0": " ", "\u2009": " ", "\u202f": " "})
_LENGTH = re.compile(
    r"(?P<sign>[+-]?)\s*"
    r"(?:(?P<over>[0-9]+)/(?P<under>[0-9]+)|(?P<number>[0-9]+[.,]?[0-9]*|[.,][0-9]+))"
    r"\s*(?P<unit>[^\s0-9].*)?"
)
# A length entered in another unit than the gauge's may have no short decimal there: it is rounded
# to about a nanometre, far below any division.
ENTERED_PLACES = {"mm": 6, "in": 7}
MOST_DIGITS = 15  # more than any gauge shows; keeps every product below exact
_EXACT = Context(prec=60, rounding=ROUND_HALF_EVEN)

# GUM 7.2.6 lets 10.47 go up to 11 and wants 28.05 down to 28: an uncertainty may lose this share.
MOST_LOST_BY_ROUNDING_DOWN = Decimal("0.005")


class LengthError(Problem):
    """A text that is no length; the message names what was not understood."""


@dataclass(frozen=True)
class Length:
    """An exact length: a decimal number and its unit (one of `MM_PER_UNIT`)."""

    value: Decimal
    unit: str

    def to(self, unit: str) -> Length:
        """Convert; exact, except that inches from metric units keep 60 significant figures."""
        return Length(convert(self.value, self.unit, unit), unit)

    def __str__(self) -> str:
        return f"{plain(self.value)} {self.unit}"


def parse_length(text: str, default_unit: str | None = None) -> Length:
    """Read a length as people write it.

    Parameters
    ----------
    text : str
        Such as ``7.78 mm``, ``0.778cm``, ``1,31 mm``, ``0.0516"``, ``1/40 in``, ``+0.02 mm``. One
        comma is a decimal comma: no micrometer reads in thousands.
    default_unit : str, optional
        Unit of a bare number; without it a bare number is an error.

    Raises
    ------
    LengthError
        Naming the part that was not understood.
    """
    match = _LENGTH.fullmatch(text.translate(_MINUS_SIGNS).strip())
    if match is None:
        raise LengthError(f"{text!r} is not a length: write a number and a unit, like 7.78 mm")
    unit = _unit(match["unit"], text, default_unit)
    digits = match["number"] or match["over"] + match["under"]
    if len(digits) > MOST_DIGITS:
        raise LengthError(f"{text!r}: at most {MOST_DIGITS} digits can be taken")
    if match["number"]:
        value = Decimal(match["number"].replace(",", "."))
    else:
        value = _fraction(int(match["over"]), int(match["under"]), text)
    return Length(-value if match["sign"] == "-" and value else value, unit)


def unit_sign(unit: str) -> str:
    """Write a unit as people do: µm for ``um``."""
    return "µm" if unit == "um" else unit


def unit_named(text: str) -> str:
    """Find the unit that a text names, as a key of `MM_PER_UNIT`; LengthError if there is none."""
    unit = _SPELLINGS.get(text.strip().lower())
    if unit is None:
        raise LengthError(f"unit {text.strip()!r} not understood, use {', '.join(MM_PER_UNIT)}")
    return unit


def as_entered(length: Length, unit: str) -> Decimal:
    """Give a length that a person entered in a gauge's unit, ``mm`` or ``in``, shortly written."""
    value = length.to(unit).value
    if length.unit == unit:
        return value
    return Decimal(trimmed(round(value, ENTERED_PLACES[unit])))


def _unit(written: str | None, text: str, default_unit: str | None) -> str:
    """Find the unit that was written, or the default one."""
    if written is None:
        if default_unit is None:
            raise LengthError(f"{text!r} has no unit: write {text.strip()} mm, or another unit")
        return default_unit
    try:
        return unit_named(written)
    except LengthError as error:
        raise LengthError(f"{text!r}: {error}") from None


def _fraction(over: int, under: int, text: str) -> Decimal:
    """Turn a fraction such as 1/40 into its exact decimal."""
    rest = under
    for factor in (2, 5):
        while rest and rest % factor == 0:
            rest //= factor
    if under == 0 or over % rest:
        raise LengthError(f"{text!r}: the fraction has no exact decimal, write it as a decimal")
    with localcontext(_EXACT):
        return Decimal(over) / Decimal(under)


def convert(value: Decimal, unit: str, to_unit: str) -> Decimal:
    """Convert a length; see `Length.to`."""
    if unit == to_unit:
        return value
    with localcontext(_EXACT):
        return value * MM_PER_UNIT[unit] / MM_PER_UNIT[to_unit]


def plain(value: Decimal, *, signed: bool = False) -> str:
    """Write a decimal without an exponent; zero has no minus; `signed` writes the plus too."""
    text = format(abs(value) if value.is_zero() else value, "f")
    return f"+{text}" if signed and value > 0 else text


def trimmed(value: Decimal) -> str:
    """Write a decimal without exponent and without zeros at its end."""
    text = plain(value)
    return text.rstrip("0").rstrip(".") if "." in text else text


def how_many(count: int, what: str) -> str:
    """Write how many there are of something, with an s for more than one."""
    return f"{count} {what}" + ("" if count == 1 else "s")


def round_uncertainty(u: Decimal, finest: Decimal | None = None) -> Decimal:
    """Round an uncertainty to two significant figures, upwards where rounding down would tell.

    Parameters
    ----------
    u : Decimal
        Uncertainty, 0 or more.
    finest : Decimal, optional
        Step of the value that it belongs to; no decimal place beyond this one's is written.

    Notes
    -----
    GUM (JCGM 100:2008) 7.2.6: at most two figures; rounding up is preferred unless next to
    nothing is lost, as in its own examples (10.47 to 11, 28.05 to 28).
    """
    if u <= 0:
        return Decimal(0)
    place = Decimal(1).scaleb(u.adjusted() - 1)
    if finest is not None:
        place = max(place, _place(finest))
    down = u.quantize(place, ROUND_FLOOR, _EXACT)
    if u - down <= MOST_LOST_BY_ROUNDING_DOWN * u:
        return down
    up = down + place
    return up.quantize(place.scaleb(1)) if up.adjusted() > place.adjusted() + 1 else up


def round_result(
    value: Decimal, u: Decimal, finest: Decimal | None = None
) -> tuple[Decimal, Decimal]:
    """Round a value to the last figure of its rounded uncertainty (GUM 7.2.6), halves to even."""
    rounded_u = round_uncertainty(u, finest)
    if not rounded_u:
        return value, rounded_u
    place = Decimal(1).scaleb(int(rounded_u.as_tuple().exponent))
    return value.quantize(place, ROUND_HALF_EVEN, _EXACT), rounded_u


def _place(step: Decimal) -> Decimal:
    """Give the decimal place of a step's last figure that is not 0."""
    return Decimal(1).scaleb(int(step.normalize(_EXACT).as_tuple().exponent))
