"""What the sleeve says of the pitches that the edge has uncovered: a log-likelihood of each count.

A comb (`vision/combs.py`) tells the fraction; numbers, long graduations, where graduations begin
and on which side of the line they stand tell the whole.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from vision.combs import MISSED_NEXT, Comb, belonging, measured, median_of, missed
from vision.numbering import LEARNT_HUNDREDS, log_share_over_learnt
from vision.numerals import HUNDREDS, VALUES, Numeral
from vision.scale import Scale
from vision.teeth import CLEAR_TOOTH, Tooth

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

HIDDEN = 4.5  # minus log-likelihood that something hides the first graduations
HIDDEN_EACH = 0.25  # and for each one more
NUMBER_SIGMA_MM = 0.12  # how far a number is engraved from its graduation
NUMBER_SIGMA_PX = 1.5  # how well the network places its middle
COVERED_MM = 1.1  # nearer to the edge than this the thimble may hide part of a number
# Every fifth graduation, or so: by which factors it is longer than its neighbours, on how many
# sleeves, and how often it is hidden in part
LONG_SHARES, SOME_LONG, CUT_LONG = (1.08, 2.0), 0.95, 0.25
FEW_LENGTHS = 3  # neighbours whose lengths say what is usual
SAME_SHARE, SAME_PX = 0.03, 0.3  # how far lengths that are alike lie apart at least
ODD_LENGTH = 0.07  # share of graduations of any length
MOST_EACH, MOST_LONG = 3.0, 6.0  # log-likelihood that one length has, and all together
ASIDE_MM = np.array([0.0, -0.15, 0.15, -0.3, 0.3, -0.45, 0.45, -0.7, 0.7])  # all numbers, together
ASIDE_SHARES = np.array([0.5, 0.12, 0.12, 0.06, 0.06, 0.04, 0.04, 0.03, 0.03])
LEAST_LOG_PROBABILITY = -5.3  # of a value that is worth weighing: 1 in 200
OUTLIER = 0.08
HALF_MM = 0.5  # pitch whose halves stand across the line
PERIODS = {"mm": 100.0, "in": 10.0}  # after which the numbers' classes repeat, in their unit
MAX_TRAVEL_MM = 26.5  # common travel of a micrometer screw and a little more
LINE_END_PX = 4.0  # how far past its last ridge the line may end
WRONG_SIDE = 0.03  # share of clear graduations that are seen on the other side than they stand
ALTERNATING = {True: 0.9, False: 0.03}  # share of sleeves, by half a millimetre's pitch or another
WITH_NUMBERS = 0.88  # share of sleeves whose numbers stand on the whole millimetres' side


def number_log_likelihood(
    numerals: list[Numeral],
    places: Sequence[Floats | float],
    uncovered: Floats,
    scale: Scale,
    printed: Sequence[float],
    px_per_mm: Floats | float,
) -> Floats:
    """Log-likelihood of uncovered pitches, (..., K), from the sleeve's numbers, (S, ..., K).

    `places` are the numbers' places in pitches from the edge, (...) each, as many as combs are
    tried; `printed`, (S,), the numbers that may be printed at the range's lower end. Numbers may
    all stand beside their graduations by the same length.
    """
    unit_mm = 1.0 if scale.unit == "mm" else 2.54
    pitch_mm = float(scale.pitch_mm)
    common = log_share_over_learnt(scale.unit)
    period = PERIODS[scale.unit]
    alike = (-1, *(1,) * uncovered.ndim)  # shape of what all combs and pitches have in common
    asides, aside_mm = np.log(ASIDE_SHARES).reshape(alike), ASIDE_MM.reshape((*alike, 1))
    total = np.zeros((len(printed), len(ASIDE_MM), *uncovered.shape)) + asides
    u_mm = np.hypot(NUMBER_SIGMA_MM, NUMBER_SIGMA_PX / np.asarray(px_per_mm))[..., None]
    for peak, at in zip(numerals, places, strict=True):
        place = np.asarray(at)[..., None]
        likely = np.flatnonzero(peak.log_probability > LEAST_LOG_PROBABILITY)
        hundreds = np.exp(peak.hundreds_log_probability) / LEARNT_HUNDREDS
        at_mm = (uncovered + place) * pitch_mm
        sigma = u_mm + np.where(-place * pitch_mm < COVERED_MM, 0.4, 0.0)
        likelihood = np.exp(peak.log_probability[likely] + common[likely])
        share = 1 - (1 - OUTLIER) * peak.stands
        good: dict[float, Floats] = {}  # by the first number less its hundreds
        for i, first in enumerate(printed):
            number = at_mm / unit_mm + first
            if first % period not in good:
                off = number[..., None] - likely
                miss = ((off + period / 2) % period - period / 2) * unit_mm
                off = (miss - aside_mm) / sigma[..., None]
                near = np.einsum("...l,l", np.exp(-0.5 * off * off), likelihood)
                good[first % period] = near / (sigma * math.sqrt(2 * math.pi))
            fits = good[first % period]
            if scale.unit == "mm":
                of_number = np.clip(np.rint(number) // VALUES, 0, HUNDREDS - 1)
                fits = fits * hundreds[of_number.astype(np.intp)]
            # a stray number lies anywhere within the travel
            total[i] += np.log(share / MAX_TRAVEL_MM + (1 - share) * fits)
        total = np.where(at_mm < -1.5, total - 3.0, total)  # nothing is printed before the start
    return np.asarray(np.logaddexp.reduce(total, axis=1))


def long_log_likelihood(
    tried: tuple[Comb, ...],
    teeth: tuple[Tooth, ...],
    uncovered: Floats,
    edge_x: float,
    scale: Scale,
) -> Floats:
    """Log-likelihood of uncovered pitches, (C, K) as they are, from which graduations are long.

    Every fifth millimetre, or every tenth of an inch, is longer than its neighbours on the same
    side (common practice). Each graduation is weighed by itself: one that is cut short by the
    photo's rim or a shadow must not hide another that is plainly long.
    """
    if not teeth:
        return np.zeros_like(uncovered)
    cycle = 4 if scale.unit == "in" else round(5 / float(scale.pitch_mm))
    step = 2 if cycle == 10 else 1  # halves stand on the other side: compare like with like
    index, fits, _ = belonging(teeth, edge_x, tried)
    length = measured(teeth).length
    off = index[:, None, :] - np.arange(cycle)[:, None]
    like = (fits & (index < 0))[:, None, :] & (off % step == 0)
    here, others = like & (off % cycle == 0), like & (off % cycle != 0)
    told = here.any(axis=-1) & (others.sum(axis=-1) >= FEW_LENGTHS)
    usual = np.where(told, median_of(length, others), 1.0)[..., None]
    apart = np.where(told, median_of(np.abs(length - usual), others), 0.0)[..., None]
    spread = 1.48 * apart + SAME_SHARE * usual + SAME_PX  # 1.48: as of a normal spread
    low, high = LONG_SHARES
    bell = np.exp(-0.5 * ((length - usual) / spread) ** 2) / (spread * math.sqrt(2 * math.pi))
    short = (1 - ODD_LENGTH) * bell + ODD_LENGTH / (high * usual)
    grown = (length > low * usual) & (length < high * usual)
    long = np.where(grown, (1 - CUT_LONG) / (high - low), CUT_LONG / low) / usual
    ratio = np.clip(np.log(long / short), -MOST_EACH, MOST_EACH)
    gain = np.logaddexp(math.log(SOME_LONG) + (ratio * here).sum(axis=-1), math.log(1 - SOME_LONG))
    gain = np.where(told, np.minimum(gain, MOST_LONG), 0.0)
    # tooth `index` is graduation last + index: long where that is a multiple of the cycle
    return np.asarray(np.take_along_axis(gain, -_last(tried, uncovered) % cycle, axis=1))


def _last(tried: tuple[Comb, ...], uncovered: Floats) -> NDArray[np.intp]:
    """Number of the last graduation uncovered, (C, K)."""
    phase = np.array([comb.phase for comb in tried])
    return np.asarray(np.round(uncovered - phase[:, None]).astype(np.intp))


def side_log_likelihood(
    tried: tuple[Comb, ...],
    teeth: tuple[Tooth, ...],
    uncovered: Floats,
    edge_x: float,
    *,
    halves: bool,
    numbers_above: float,
) -> Floats:
    """Log-likelihood of uncovered pitches, (C, K) as they are, from the lines' sides.

    Whole millimetres stand on one side of the line and halves on the other, mostly; numbers stand
    with the whole ones (common practice). `halves` tells whether the pitch is half a millimetre,
    `numbers_above` the share of the numbers seen that stand above the line.
    """
    if not teeth:
        return np.zeros_like(uncovered)
    index, fits, _ = belonging(teeth, edge_x, tried)
    above, below = np.array([(t.above, t.below) for t in teeth]).T
    share = (above + 1.0) / (above + below + 2.0)  # of the line that is above; 0.5 says nothing
    clear = measured(teeth).clearness
    up = np.log(WRONG_SIDE + (1 - WRONG_SIDE) * np.clip(1.5 * share - 0.25, 0.0, 1.0)) * clear
    down = np.log(WRONG_SIDE + (1 - WRONG_SIDE) * np.clip(1.25 - 1.5 * share, 0.0, 1.0)) * clear
    even = (index % 2) == 0
    # (2, C, 2): of even teeth and odd ones, for each comb, standing above and below
    tables = np.stack([fits & even, fits & ~even]) @ np.stack([up, down], axis=1)
    crossing = fits @ (np.maximum(up, down) + 0.35 * np.minimum(up, down))
    same = np.logaddexp(
        np.logaddexp(*tables.sum(axis=0).T) - math.log(3.0), crossing - math.log(3.0)
    )
    alternating = ALTERNATING[halves]
    lean = WITH_NUMBERS * numbers_above + (1 - WITH_NUMBERS) * (1 - numbers_above)
    out = []
    for whole in (0, 1):  # whether the last tooth, number 0, is an odd graduation
        upright = tables[whole, :, 0] + tables[1 - whole, :, 1]  # whole ones above the line
        hanging = tables[whole, :, 1] + tables[1 - whole, :, 0]
        split = np.logaddexp(upright + math.log(lean), hanging + math.log(1 - lean))
        out.append(np.logaddexp(split + math.log(alternating), same + math.log(1 - alternating)))
    odd = _last(tried, uncovered) % 2
    return np.asarray(np.take_along_axis(np.stack(out, axis=1), odd, axis=1))


def first_log_likelihood(
    tried: tuple[Comb, ...],
    teeth: tuple[Tooth, ...],
    uncovered: Floats,
    edge_x: float,
    visible_from_x: float,
    line_from_x: float,
) -> Floats:
    """Log-likelihood of uncovered pitches, (C, K) as they are, from where graduations begin.

    Left of `visible_from_x` lies no picture; from `line_from_x` on the reference line is seen: what
    hides graduations hides it as well.
    """
    if not teeth:
        expected = np.maximum(np.floor(uncovered + 1e-6) + 1, 0)
        return np.asarray(-1.3 * np.minimum(expected, 4))
    index, fits, _ = belonging(teeth, edge_x, tried)
    surely = fits & (measured(teeth).clearness > CLEAR_TOOTH)

    def first(those: NDArray[np.bool_]) -> NDArray[np.intp]:
        """Number of the leftmost of some teeth, (C, 1), 0 where there is none."""
        return np.min(index, axis=1, where=those, initial=0, keepdims=True)

    leftmost, clear = first(fits), first(surely)  # however faint: it is not missing
    last = _last(tried, uncovered)  # the last tooth's own number
    before = np.maximum(last + leftmost, 0)  # graduations that should lie left of the leftmost

    def until(x: float) -> Floats:
        """Graduations between the leftmost found and a place to its left, (C, 1)."""
        place = np.array([[comb.place(x, edge_x) + comb.phase] for comb in tried])
        return np.maximum(np.floor(leftmost - place), 0.0)

    cost = missed(teeth)
    bare = np.minimum(before, np.minimum(until(line_from_x + LINE_END_PX), until(visible_from_x)))
    hidden = np.minimum(before, until(visible_from_x)) - bare
    wiped = cost + MISSED_NEXT * np.maximum(bare - 1, 0.0)
    covered = np.minimum(cost * hidden, HIDDEN + HIDDEN_EACH * hidden)
    total = np.where(bare > 0, wiped, 0.0) + np.where(hidden > 0, covered, 0.0)
    return np.asarray(-total + np.maximum(2.5 * np.minimum(last + clear, 0.0), -7.5))
