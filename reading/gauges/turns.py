"""Pitch and least count from counted turns, and what a disagreement with the record comes from."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from reading.gauge import Gauge
from reading.length import how_many, plain, round_result, trimmed
from reading.measurement.repeats import mean, spread
from reading.problem import Problem
from reading.uncertainty import rectangular, resolution
from vision.scale import MM_PER_IN

MOST_TURNS = 1000  # no micrometer has so many; a slip of the keyboard
FEW_TURNS = 2  # a person miscounts by so many, or counts every other turn (common practice)
EXPANDED = 2  # k = 2 (GUM 6.3.3)
PITCH_PLACES = 7  # of a mean pitch: a tenth of a nanometre


@dataclass(frozen=True)
class TurnPair:
    """Readings before and after so many turns, signed: plus where the gauge opens."""

    before: Decimal
    after: Decimal
    turns: int

    @property
    def distance(self) -> Decimal:
        """Travel of the spindle, signed as the turns."""
        return self.after - self.before

    @property
    def pitch(self) -> Decimal:
        """Travel in one turn."""
        return self.distance / self.turns


@dataclass(frozen=True)
class PitchCheck:
    """Pitch by counted turns, in the gauge's unit, and what does not fit the record.

    `spread` is the sample standard deviation among the pairs, None for one pair; `u` the standard
    uncertainty of the mean.
    """

    gauge: Gauge
    pairs: tuple[TurnPair, ...]
    spread: float | None
    u: float

    @property
    def pitch(self) -> Decimal:
        """Mean travel in one turn."""
        return round(mean([pair.pitch for pair in self.pairs]), PITCH_PLACES)

    @property
    def least_count(self) -> Decimal:
        """Pitch ÷ the divisions on record."""
        return self.pitch / self.gauge.scale.divisions

    @property
    def agrees(self) -> bool:
        """Whether the recorded pitch lies within the expanded uncertainty (k = 2)."""
        return self._fits(Decimal(1))

    @property
    def remarks(self) -> tuple[str, ...]:
        """Every explanation that fits a disagreement; empty where there is none to explain."""
        if self.agrees:
            return ()
        unit, recorded = self.gauge.scale.unit, self.gauge.scale.pitch
        found = []
        if self._fits(Decimal(-1)):
            found.append("the turns have the other sign: count plus where the gauge opens")
        found += self._miscounts()
        for factor, words in (
            (Decimal(2), f"the pitch is twice the recorded one: {2 * recorded} {unit} a turn"),
            (Decimal("0.5"), f"the pitch is half the recorded one: {recorded / 2} {unit} a turn"),
        ):
            if self._fits(factor):
                found.append(f"{words} (100 divisions against 50)")
        if self._fits(MM_PER_IN) or self._fits(1 / MM_PER_IN):
            found.append("the lengths are 25.4 times off: inch and millimetre mixed up")
        return tuple(found) or ("nothing usual explains it: count the turns again",)

    def _fits(self, factor: Decimal) -> bool:
        """Tell whether the pitch found is the recorded one times a factor."""
        off = abs(self.pitch - factor * self.gauge.scale.pitch)
        return float(off) <= EXPANDED * self.u * max(1.0, abs(float(factor)))

    def _miscounts(self) -> list[str]:
        """Name pairs whose distance is another whole number of recorded turns."""
        recorded, found = self.gauge.scale.pitch, []
        for place, pair in enumerate(self.pairs, start=1):
            turns = round(pair.distance / recorded)
            off = abs(pair.distance - turns * recorded)
            near = float(off) <= EXPANDED * u_distance(self.gauge)
            far = abs(abs(turns) - abs(pair.turns)) > max(FEW_TURNS, abs(pair.turns))
            if near and turns and not far and turns not in (pair.turns, -pair.turns):
                found.append(
                    f"pair {place}: the distance is {turns} turns of the recorded pitch, "
                    f"{pair.turns} were counted"
                )
        return found


def check_pitch(gauge: Gauge, pairs: Sequence[TurnPair]) -> PitchCheck:
    """Evaluate pairs of readings with the turns between them.

    Notes
    -----
    u of a distance: two readings to a division, rectangular, √2 width / √12 (GUM F.2.2.1); over the
    turns counted that is u of the pitch. For the mean the larger of that and s / √n counts: the
    scatter has the readings' own in it.
    """
    if not pairs:
        raise Problem("give at least one pair of readings")
    n = len(pairs)
    one = u_distance(gauge)
    claimed = math.hypot(*(one / abs(pair.turns) for pair in pairs)) / n
    s = spread([pair.pitch for pair in pairs]) if n > 1 else None
    return PitchCheck(gauge, tuple(pairs), s, max(claimed, (s or 0.0) / math.sqrt(n)))


def pair_up(values: Sequence[Decimal], turns: str) -> tuple[TurnPair, ...]:
    """Make pairs of readings (before, after, before, after ...) with the turns as typed.

    Raises
    ------
    Problem
        If the readings are not in pairs, or the turns are not one number, or one a pair.
    """
    counted = _turns(turns)
    pairs, odd = divmod(len(values), 2)
    if odd or not pairs:
        raise Problem(
            f"{how_many(len(values), 'reading')}: give them in pairs, before and after the turns"
        )
    if len(counted) == 1:
        counted *= pairs
    if len(counted) != pairs:
        raise Problem(f"--turns: {len(counted)} numbers for {pairs} pairs; give one, or one a pair")
    found = tuple(
        TurnPair(values[2 * i], values[2 * i + 1], turns) for i, turns in enumerate(counted)
    )
    for place, pair in enumerate(found, start=1):
        if not pair.distance:
            raise Problem(
                f"pair {place}: both readings are {plain(pair.before)} though {pair.turns} turns "
                "were counted: read again"
            )
    return found


def _turns(text: str) -> list[int]:
    """Read whole turns, signed."""
    words = text.translate(str.maketrans("−–,;", "--  ")).split()
    for word in words:
        if not re.fullmatch(r"[+-]?[0-9]{1,4}", word) or not 0 < abs(int(word)) <= MOST_TURNS:
            raise Problem(f"--turns {word!r}: whole turns, not 0, like 5 or -5")
    if not words:
        raise Problem("--turns: how many turns were counted, like 5 or -5")
    return [int(word) for word in words]


def u_distance(gauge: Gauge) -> float:
    """Give the standard uncertainty of the difference of two readings."""
    return math.sqrt(2) * rectangular(resolution(gauge.scale))


def pitch_lines(check: PitchCheck) -> list[str]:
    """Write a pitch check for people."""
    scale = check.gauge.scale
    unit = scale.unit
    pitch, expanded = round_result(check.pitch, Decimal(repr(EXPANDED * check.u)))
    lines = [
        f"{check.gauge.identifier}: pitch {plain(pitch)} ± {plain(expanded)} {unit}"
        f" (k = 2) from {len(check.pairs)} pair{'s' if len(check.pairs) > 1 else ''}; "
        f"least count {trimmed(round(check.least_count, PITCH_PLACES))} {unit}"
    ]
    lines += [
        f"  {plain(pair.before)} to {plain(pair.after)} {unit} over {pair.turns} turns: "
        f"{trimmed(round(pair.pitch, PITCH_PLACES))} {unit} a turn"
        for pair in check.pairs
    ]
    if check.spread is not None:
        lines.append(f"  spread (standard deviation): {check.spread:.2g} {unit}")
    recorded = f"the recorded pitch, {scale.pitch} {unit}"
    if check.agrees:
        return [*lines, f"  agrees with {recorded}"]
    return [*lines, f"  disagrees with {recorded}:", *(f"    {one}" for one in check.remarks)]
