"""One joint decision over (turns, division) that weighs every piece of evidence.

Numbers on the thimble say which whole division stands at the line; numbers and graduations on the
sleeve say where the edge stands; both must agree to within the set of the edge. Everything stays a
likelihood until here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from vision import combs, lengths, placing, sleeve, thimble
from vision.combs import Comb
from vision.gap import Gap
from vision.lines import Axis, Edge, Outline
from vision.numbering import Printed, printed_on
from vision.numerals import Numeral
from vision.parallax import parallax_divisions
from vision.scale import Scale
from vision.teeth import Tooth, straight_x
from vision.thimble import Bevel, Grating

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

# The edge past where the reading puts it: -0.04 to +0.36 mm over eighteen photographs of gauges,
# +0.10 in the middle
USUAL_SET_MM = (-0.05, 0.31)
ODD_SET_MM = (0.12, 0.20)  # mean and spread on a gauge that is set unlike those
ODD_SHARE = 0.10
STRAY_SHARE = 0.03  # of a gauge whose own set is known
# how far each kind of evidence may speak against a reading, as a log-likelihood: it may mislead
FLOORS = {"numbers": 10.0, "first": 8.0, "sides": 6.0, "wholes": 10.0, "lengths": 5.0}
U_ROLL_RAD = 0.005  # per unit of the roll's sine: of tune's rolled views, odd seeds
BELOW_NOTHING = 0.16  # of a turn: how far below its start a closed gauge commonly shows
GRATING_WEIGHT = 20.0  # log-likelihood of a scale per unit of its grating's coherence
SHARPENED = 1.3  # power that calibrates the weights: least log loss on 145 pictures of `check`
SURE_SIDE = 0.9  # of a number's heat: how surely one tells the numbers' side at most
KEPT = 120  # states of the sleeve that are followed up
HOPELESS = 18.0  # log-likelihood below the best from which a reading is not worth counting
MOST_ALTERNATIVES = 6
KEPT_READINGS = 300  # of each look, when several are put together


@dataclass(frozen=True, eq=False)
class Findings:
    """All that was measured in one close-up."""

    axis: Axis
    edge: Edge
    outline: Outline
    bevel: Bevel
    teeth: tuple[Tooth, ...]
    shear: float  # of the graduations against the edge, px a px
    combs: tuple[Comb, ...]
    on_sleeve: list[Numeral]
    on_thimble: list[Numeral]
    visible_from_x: float  # close-up px; left of it lies no picture
    over_x: float  # where the edge stands over the sleeve: the graduations' places count from it
    visible_to_x: float = math.inf  # close-up px; right of it lies no picture
    gap: Gap | None = None  # what the network that looks beside the edge says

    @property
    def at_line(self) -> float:
        """Belief of the gap network in the line being where it was fitted, 0 without one."""
        return self.gap.at_line if self.gap else 0.0


@dataclass(frozen=True)
class Posterior:
    """Readings under one scale with their log-weights, best first, and what they rest on.

    `shown` counts divisions above the range start, as a straight look at the reference line would
    find them (parallax taken off). `begins` is where the range of each begins, in divisions above
    the scale's: other starts may have been tried with it.
    """

    scale: Scale
    shown: Floats
    log_weight: Floats
    begins: Floats
    grating: Grating
    u_division: float
    parallax_divisions: float
    edge_set_pitches: float

    @property
    def log_evidence(self) -> float:
        """Logarithm of the summed weights."""
        return _log_sum(self.log_weight)

    @property
    def probability(self) -> Floats:
        """Calibrated probability of each reading, given the scale."""
        sharpened = SHARPENED * (self.log_weight - self.log_weight.max())
        return np.asarray(np.exp(sharpened - _log_sum(sharpened)))

    @property
    def start_probability(self) -> float:
        """Calibrated probability of the range starting where the scale does."""
        return float(self.probability[self.begins == 0].sum())

    def counted_from(self, start: Decimal) -> Posterior:
        """Give the same readings above another range start."""
        by = float((start - self.scale.start) / self.scale.pitch) * self.scale.divisions
        scale = replace(self.scale, start=start)
        return replace(self, scale=scale, shown=self.shown - by, begins=self.begins - by)

    def counted_from_best(self) -> Posterior:
        """Give the same readings above the range start of the best."""
        by = round(float(self.begins[0])) * self.scale.least_count
        return self.counted_from(self.scale.start + by)


def _log_sum(values: Floats) -> float:
    top = float(values.max())
    return top + math.log(float(np.exp(values - top).sum()))


@lru_cache(maxsize=32)
def _thimble_states(f: Findings, divisions: int, downwards: bool) -> tuple[Grating, Floats]:
    """The grating of the divisions, and the log-likelihood of each whole one at the line."""
    on = thimble.grating(f.bevel, divisions, f.axis.u_y0)
    offsets = thimble.numeral_offsets(f.on_thimble, on, f.outline.widening, f.axis, f.edge)
    return on, thimble.whole_log_likelihood(f.on_thimble, offsets, on, downwards)


@lru_cache(maxsize=32)
def _length_states(f: Findings, divisions: int, downwards: bool) -> Floats:
    """The log-likelihood of each whole division at the line by the lengths of the lines."""
    on, _ = _thimble_states(f, divisions, downwards)
    return lengths.length_log_likelihood(f.bevel, on, downwards)


def _floored(kind: str, log_likelihood: Floats) -> Floats:
    """Let one kind of evidence speak only so far: all of it may be misread at once."""
    return np.logaddexp(log_likelihood, log_likelihood.max() - FLOORS[kind])


def _sleeve_states(
    f: Findings, scale: Scale, radius_px: float, printed: tuple[Printed, ...]
) -> tuple[Floats, Floats, list[Comb], list[Decimal]]:
    """States of the sleeve: uncovered pitches, log-likelihood, comb and range start of each."""
    tried = f.combs
    if len(f.teeth) < combs.FEW or not tried:
        tried += combs.customary_combs(scale, f.teeth, f.over_x, radius_px)
    most = round(sleeve.MAX_TRAVEL_MM / float(scale.pitch_mm))
    phase, teeth = np.array([(comb.phase, comb.teeth) for comb in tried]).T[..., None]
    last = np.arange(-1, most + 1)
    uncovered = last + phase  # (combs, pitches)
    possible = (last >= 0) | (teeth == 0)
    above = _numbers_above(f)
    seen = (tried, f.teeth, uncovered, f.over_x)
    first = sleeve.first_log_likelihood(*seen, f.visible_from_x, f.axis.first_x)
    halves = float(scale.pitch_mm) == sleeve.HALF_MM
    sides = sleeve.side_log_likelihood(*seen, halves=halves, numbers_above=above)
    spaced = [c.log_likelihood + combs.spacing_log_prior(c, scale, radius_px) for c in tried]
    value = np.array(spaced)[:, None] + sleeve.long_log_likelihood(*seen, scale)
    for kind, log_likelihood in (("first", first), ("sides", sides)):
        value = value + _floored(kind, np.where(possible, log_likelihood, -np.inf))
    starts, shares, numbers = _number_states(f, scale, tried, uncovered, printed)
    numbers = np.where(possible[:, None], numbers, -np.inf)  # (combs, starts, pitches)
    value = (value[:, None] + np.log(shares)[:, None] + _floored("numbers", numbers)).ravel()
    at = np.flatnonzero(np.broadcast_to(possible[:, None], numbers.shape))
    value = value[at]
    kept = np.argpartition(-value, min(KEPT, len(at)) - 1)[:KEPT]
    best = kept[np.argsort(-value[kept])]
    comb, start, turn = np.unravel_index(at[best], numbers.shape)
    which = [tried[i] for i in comb], [starts[i] for i in start]
    return uncovered[comb, turn], value[best], *which


def _numbers_above(f: Findings) -> float:
    """Probability that the sleeve's numbers stand above the line: all of them stand on one side."""
    up = [math.copysign(n.heat, float(f.axis.y_at(n.x)) - n.y) for n in f.on_sleeve]
    # by its heat a number is one; what isn't is found above or below alike
    log_odds = sum(math.log((1.0 + h) / (1.0 - h)) for h in np.clip(up, -SURE_SIDE, SURE_SIDE))
    return 1.0 / (1.0 + math.exp(-log_odds))


def numbers_on_combs(
    f: Findings,
    scale: Scale,
    tried: tuple[Comb, ...],
    uncovered: Floats,
    first_numbers: list[float],
) -> Floats:
    """Log-likelihood of the sleeve's numbers, (S, C, K), by the number at the range's lower end.

    `uncovered`, (C, K), are the pitches that are tried on each comb.
    """
    along = [straight_x(n.x, n.y, f.axis, f.edge, f.shear) for n in f.on_sleeve]
    pitch_px = np.array([comb.pitch_px for comb in tried])
    places = [np.array([comb.place(x, f.over_x) for comb in tried]) for x in along]
    return sleeve.number_log_likelihood(
        f.on_sleeve, places, uncovered, scale, first_numbers, pitch_px / float(scale.pitch_mm)
    )


def _number_states(
    f: Findings,
    scale: Scale,
    tried: tuple[Comb, ...],
    uncovered: Floats,
    printed: tuple[Printed, ...],
) -> tuple[list[Decimal], Floats, Floats]:
    """Range starts, (S,), their shares, and the sleeve's numbers' log-likelihood, (C, S, K)."""
    starts = sorted({one.start for one in printed})
    first_numbers = sorted({one.number for one in printed})
    of_first = numbers_on_combs(f, scale, tried, uncovered, first_numbers)
    from_number = dict(zip(first_numbers, of_first, strict=True))
    shares, numbers = [], []
    for start in starts:
        own = [one for one in printed if one.start == start]
        shares.append(sum(one.share for one in own))
        each = [from_number[o.number] + math.log(o.share / shares[-1]) for o in own]
        numbers.append(np.logaddexp.reduce(each, axis=0))
    return starts, np.array(shares), np.stack(numbers, axis=1)


def _normal_share(z: Floats) -> Floats:
    """Share of a standard normal distribution below z, to 0.0003 (Page 1977, by the tangent)."""
    return np.asarray(0.5 + 0.5 * np.tanh(math.sqrt(2 / math.pi) * z * (1 + 0.044715 * z * z)))


def _set_log_likelihood(
    set_mm: Floats, spread_mm: Floats, known_mm: tuple[float, float] | None
) -> Floats:
    """Log-likelihood of the edge's set being what the picture would make it.

    As gauges usually have it, anywhere within their range, or by the gauge's own mean and spread.
    """
    if known_mm is None:
        low, high = USUAL_SET_MM
        usual = _normal_share((set_mm - low) / spread_mm) - _normal_share(
            (set_mm - high) / spread_mm
        )
        usual = usual / (high - low)
        mean, odd, share = *ODD_SET_MM, ODD_SHARE
    else:
        mean, own = known_mm
        sigma = np.hypot(own, spread_mm)
        usual = np.exp(-0.5 * ((set_mm - mean) / sigma) ** 2) / (sigma * math.sqrt(2 * math.pi))
        odd, share = ODD_SET_MM[1], STRAY_SHARE
    wide = np.hypot(odd, spread_mm)
    stray = np.exp(-0.5 * ((set_mm - mean) / wide) ** 2) / (wide * math.sqrt(2 * math.pi))
    return np.asarray(np.log((1 - share) * usual + share * stray + 1e-9))


def _summed_by_key(
    keys: NDArray[np.intp], log_values: Floats
) -> tuple[NDArray[np.intp], Floats, NDArray[np.intp]]:
    """Sum each key's values: rising keys, logarithms of sums, and where the greatest of each is."""
    by_key = np.argsort(keys, kind="stable")
    keys, values = keys[by_key], log_values[by_key]
    start = np.flatnonzero(np.diff(keys, prepend=keys[0] - 1))
    greatest = np.maximum.reduceat(values, start)
    top = greatest.max()
    summed = np.add.reduceat(np.exp(values - top), start)
    at = np.flatnonzero(values == np.repeat(greatest, np.diff(start, append=len(keys))))
    return keys[start], np.log(summed) + top, by_key[at[np.searchsorted(at, start)]]


def weigh(
    f: Findings,
    scale: Scale,
    edge_set_mm: tuple[float, float] | None = None,
    *,
    printed: tuple[Printed, ...] = (),
    counted: bool = True,
) -> Posterior:
    """Weigh all readings under one scale.

    Parameters
    ----------
    edge_set_mm : (mean, standard deviation), optional
        The gauge's own, where it is known; otherwise as gauges usually have it.
    printed : tuple of Printed, optional
        What the sleeve may be numbered from, of all range starts that are tried; otherwise as on a
        gauge that is known.
    counted : bool
        Whether the gap network has a say in how many pitches are uncovered, beside where the edge
        stands.
    """
    n, pitch_mm = scale.divisions, float(scale.pitch_mm)
    grating, wholes = _thimble_states(f, n, scale.reversed)
    parallax = parallax_divisions(grating.roll_rad, grating.sleeve_radius, grating.radius, n)
    if scale.reversed:
        parallax = -parallax
    fraction = grating.fraction if not scale.reversed else 1.0 - grating.fraction
    division = np.arange(n) + fraction - parallax
    states = _sleeve_states(f, scale, grating.sleeve_radius, printed or printed_on(scale))
    at_edge = placing.edge_places(f.edge, f.over_x, f.gap)
    uncovered, on_sleeve, starts, spread = placing.placed(
        states, at_edge, f.gap if counted else None
    )
    above = np.array([float(start / scale.pitch) * n for start in starts])  # divisions from 0
    middle = edge_set_mm[0] if edge_set_mm else sum(USUAL_SET_MM) / 2
    gap = uncovered[:, None] - division[None, :] / n - middle / pitch_mm
    nearest = np.round(gap)
    turns = nearest[:, :, None] + np.array([-1.0, 0.0, 1.0])
    miss = (uncovered[:, None, None] - turns - (division / n)[None, :, None]) * pitch_mm
    fives = _length_states(f, n, scale.reversed)
    at_line = _floored("wholes", wholes) + _floored("lengths", fives)
    total = on_sleeve[:, None, None] + at_line[None, :, None]
    total = total + _set_log_likelihood(miss, spread[:, None, None] * pitch_mm, edge_set_mm)
    shown = turns + (division / n)[None, :, None]
    total = total - 0.5 * np.maximum(np.minimum(shown, 0.0) / BELOW_NOTHING, -4.0) ** 2
    best = int(np.argmax(total))
    worth = np.flatnonzero(total > total.flat[best] - HOPELESS)
    state, at, turn = np.unravel_index(worth, total.shape)
    keys = np.round(above[state] + turns[state, at, turn] * n + at).astype(int)
    readings, weight, likeliest = _summed_by_key(keys, total.flat[worth])
    weight = weight + GRATING_WEIGHT * grating.coherence
    order = np.argsort(-weight)
    of_reading = state[likeliest[order]]
    u_gap = min(1.0, f.outline.u_step / max(f.outline.step, 1.0))
    u_roll = U_ROLL_RAD * abs(math.sin(grating.roll_rad)) * n / (2 * math.pi)
    u = math.sqrt(grating.u_fraction**2 + (parallax * u_gap) ** 2 + u_roll**2)
    begins = above[of_reading]
    return Posterior(
        replace(scale, start=starts[of_reading[0]]),
        readings[order].astype(float) + fraction - parallax - begins[0],
        weight[order],
        begins - begins[0],
        grating,
        u,
        parallax if not scale.reversed else -parallax,
        float(miss.ravel()[best] / pitch_mm),
    )


def merge(looks: Sequence[Posterior]) -> Posterior:
    """Put looks at one scale together: what only one of k looks believes is believed to 1/k^2.

    All must be under the same pitch and divisions; the fractions are averaged where they agree.
    """
    one = looks[0]
    if len(looks) == 1:
        return one
    grid = one.shown[0] - math.floor(one.shown[0])
    half_believed: dict[int, float] = {}  # logarithm of the summed square roots of probabilities
    place: dict[int, list[tuple[float, float]]] = {}
    for look in (one, *(other.counted_from(one.scale.start) for other in looks[1:])):
        log_probability = look.log_weight - look.log_evidence
        readings = zip(look.shown[:KEPT_READINGS], look.begins, log_probability, strict=False)
        for shown, begins, log_p in readings:
            key = round(float(shown) - grid)
            half_believed[key] = float(np.logaddexp(half_believed.get(key, -np.inf), 0.5 * log_p))
            place.setdefault(key, []).append((float(shown), float(begins)))
    keys = sorted(half_believed, key=lambda k: -half_believed[k])
    shown = np.array([np.mean([at for at, _ in place[k]]) for k in keys])
    begins = np.array([place[k][0][1] for k in keys])
    weight = 2.0 * np.array([half_believed[k] for k in keys])
    evidence = float(np.mean([look.log_evidence for look in looks]))
    apart = float(np.std([at for at, _ in place[keys[0]]]))
    u = math.hypot(float(np.mean([look.u_division for look in looks])), apart)
    return replace(
        one,
        shown=shown,
        log_weight=weight - _log_sum(weight) + evidence,
        begins=begins,
        u_division=u,
    ).counted_from_best()


def within_half_a_turn(one: Posterior, near_divisions: float | None) -> Posterior:
    """Keep the readings within half a turn of where the gauge is known to stand, if it is."""
    if near_divisions is None:
        return one
    off = np.abs(one.shown - one.begins - near_divisions)
    kept = off <= one.scale.divisions / 2
    if not kept.any():
        return one
    return replace(
        one, shown=one.shown[kept], log_weight=one.log_weight[kept], begins=one.begins[kept]
    ).counted_from_best()


def within_one_division(shown: Floats, probability: Floats, at: float) -> float:
    """Probability of all readings no more than one division from one of them."""
    off = np.abs(shown - at)
    # a neighbour is a whole division off: half of the time the fraction's error carries it beyond
    return float(
        probability[off < 0.5].sum() + 0.5 * probability[(off >= 0.5) & (off < 1.01)].sum()
    )


def numbers_run_backwards(f: Findings, scale: Scale) -> float:
    """Log-likelihood ratio of the thimble's numbers growing the other way against the usual one."""
    usual, other = (_thimble_states(f, scale.divisions, way)[1] for way in (False, True))
    return _log_sum(other) - _log_sum(usual)
