"""How likely a close-up is a mirror image: by how well its numbers fit together either way round.

A mirrored photo, turned upright, is an upright one flipped top to bottom. So where that is in doubt
the flipped close-up is read as well. Of the two, the true one's numbers make sense: on the thimble
they grow the right way, by as many divisions as lie between them, and on the sleeve by as many
millimetres. What the network makes of the look as a whole is one term beside these.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from vision import combs, sleeve, thimble
from vision.decide import Findings, numbers_on_combs
from vision.marks import Marks
from vision.scale import Scale

if TYPE_CHECKING:
    from numpy.typing import NDArray

RARE = 0.03  # share of photos that are mirrored, as some front cameras do: an estimate
MOST_LOOK = 3.4  # log-odds: the look alone makes no picture likelier mirrored than not
MOST_SLEEVE, MOST_THIMBLE = 6.0, 8.0  # log-odds of the numbers: all may be misread at once
UNRECORDED = 0.05  # share of gauges whose numbers run against what is known of them
# One look leaves it open from here on. Of 748 looks at pictures of `tune` and their mirror images,
# one half mirrored, all that came below were upright, with log-odds below -4.5 both looks weighed
DOUBTFUL_LOOK = 0.01  # probability by the look alone
DOUBTFUL_ORDER = 1.0  # log-likelihood ratio of the thimble's numbers running the wrong way


def doubtful(seen: Marks, found: Findings | None, scale: Scale) -> bool:
    """Tell whether one look leaves it open that the close-up is mirrored."""
    if seen.mirrored > DOUBTFUL_LOOK or found is None:
        return True
    right, wrong = _thimble_series(found, scale)
    return wrong - right > DOUBTFUL_ORDER


def mirrored_probability(
    seen: Marks,
    found: Findings | None,
    flipped: Marks,
    found_flipped: Findings | None,
    scale: Scale,
) -> float:
    """Weigh a close-up against its mirror image.

    Parameters
    ----------
    seen, found : what the network marked in the close-up, and what was fitted to that
    flipped, found_flipped : the same for the close-up flipped top to bottom
    scale : Scale
        What is engraved, or what the divisions look like.

    Returns
    -------
    float
        Probability that the close-up is the mirrored one, `RARE` where nothing speaks either way.

    Notes
    -----
    On 373 readable pictures of `tune` and their mirror images: 1 of the upright ones comes out
    above one half, and 355 of 375 mirrored; of the rest 3 would be read, the others are refused.
    """
    look = 0.5 * (_log_odds(seen.mirrored) - _log_odds(flipped.mirrored))
    log_odds = _log_odds(RARE) + _bounded(look, MOST_LOOK)
    if found is not None and found_flipped is not None:
        on_sleeve = _sleeve_series(found_flipped, scale) - _sleeve_series(found, scale)
        on_thimble = _either_way(found_flipped, scale) - _either_way(found, scale)
        log_odds += _bounded(on_sleeve, MOST_SLEEVE) + _bounded(on_thimble, MOST_THIMBLE)
    return 1.0 / (1.0 + math.exp(-log_odds))


def _log_odds(probability: float) -> float:
    p = min(max(probability, 1e-4), 1 - 1e-4)
    return math.log(p / (1 - p))


def _bounded(value: float, most: float) -> float:
    return min(max(value, -most), most)


def _either_way(found: Findings, scale: Scale) -> float:
    """Log-likelihood of the thimble's numbers, of a gauge that may not be what it is known as."""
    right, wrong = _thimble_series(found, scale)
    return float(np.logaddexp(right, wrong + math.log(UNRECORDED)))


def _thimble_series(found: Findings, scale: Scale) -> tuple[float, float]:
    """Log-likelihoods of the thimble's numbers growing the scale's way, and the other way.

    Each is counted from numbers that are all strays.
    """
    if not found.on_thimble:
        return 0.0, 0.0
    on = thimble.grating(found.bevel, scale.divisions, found.axis.u_y0)
    offsets = thimble.numeral_offsets(
        found.on_thimble, on, found.outline.widening, found.axis, found.edge
    )
    strays = -thimble.CORRELATED * len(offsets) * math.log(scale.divisions)
    up, down = (
        _log_mean(thimble.whole_log_likelihood(found.on_thimble, offsets, on, downwards)) - strays
        for downwards in (False, True)
    )
    return (down, up) if scale.reversed else (up, down)


def _sleeve_series(found: Findings, scale: Scale) -> float:
    """Log-likelihood of the sleeve's numbers on the comb that suits them, over all being strays."""
    if not found.on_sleeve:
        return 0.0
    tried = found.combs
    if len(found.teeth) < combs.FEW or not tried:
        radius = thimble.grating(found.bevel, scale.divisions, found.axis.u_y0).sleeve_radius
        tried += combs.customary_combs(scale, found.teeth, found.over_x, radius)
    most = round(sleeve.MAX_TRAVEL_MM / float(scale.pitch_mm))
    whole = np.arange(-1, most + 1, dtype=np.float64)
    uncovered = whole + np.array([[comb.phase] for comb in tried])
    printed = sorted({float(scale.start), 0.0})  # a range start may stand on the frame
    fits = numbers_on_combs(found, scale, tried, uncovered, printed)
    best = max(_log_mean(fit) for fit in fits.reshape(-1, len(whole)))
    return best + len(found.on_sleeve) * math.log(sleeve.MAX_TRAVEL_MM)


def _log_mean(log_likelihood: NDArray[np.float64]) -> float:
    return float(np.logaddexp.reduce(log_likelihood)) - math.log(len(log_likelihood))
