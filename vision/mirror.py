"""Whether a close-up is a mirror image: by its look, its numbers' order and how well they read.

A mirrored photo, turned upright, is an upright one flipped top to bottom. So the flipped close-up
is read as well: of the two, the true one's numbers read well and grow the right way.
"""

from __future__ import annotations

import math

import numpy as np

from vision.decide import Findings, numbers_run_backwards
from vision.marks import Marks, numerals
from vision.scale import Scale

# Weights of the evidence, by least log loss on 268 pictures of `tune` and their mirror images
ALONE = (0.69, 0.56, 2.44)  # one look's log-odds and numbers' order, and a constant
BOTH = (0.48, 0.84, 1.71)  # log-odds, numbers' order and legibility, each of one less the other
DOUBTFUL = -2.0  # log-odds of one look alone from which the flipped close-up is read as well
LEAST_LEGIBLE = 0.8  # numbers that must be legible in a flipped close-up to speak for it
LEAST_SURE = 0.5  # or probability of being mirrored, by its look alone
MOST_LOG_RATIO = 12.0  # numbers' order speaks no louder


def doubtful(seen: Marks, found: Findings | None, scale: Scale) -> bool:
    """Tell whether one look leaves it open that the close-up is mirrored."""
    look, order, base = ALONE
    log_odds = look * _log_odds(seen.mirrored) + order * _backwards(found, scale) + base
    return log_odds > DOUBTFUL


def mirrored(
    seen: Marks,
    found: Findings | None,
    flipped: Marks,
    found_flipped: Findings | None,
    scale: Scale,
) -> bool:
    """Decide between a close-up and its mirror image.

    Parameters
    ----------
    seen, found : what the network marked in the close-up, and what was fitted to that
    flipped, found_flipped : the same for the close-up flipped top to bottom
    scale : Scale
        What is engraved, or what the divisions look like.
    """
    look, order, legible = BOTH
    log_odds = (
        look * (_log_odds(seen.mirrored) - _log_odds(flipped.mirrored))
        + order * (_backwards(found, scale) - _backwards(found_flipped, scale))
        + legible * (_legible(flipped) - _legible(seen))
    )
    readable = _legible(flipped) > LEAST_LEGIBLE or seen.mirrored > LEAST_SURE
    return readable and log_odds > 0.0


def _log_odds(probability: float) -> float:
    p = min(max(probability, 1e-4), 1 - 1e-4)
    return math.log(p / (1 - p))


def _backwards(found: Findings | None, scale: Scale) -> float:
    """Log-likelihood ratio of the thimble's numbers growing the wrong way for the scale."""
    if found is None:
        return 0.0
    ratio = numbers_run_backwards(found, scale)
    ratio = -ratio if scale.reversed else ratio
    return min(max(ratio, -MOST_LOG_RATIO), MOST_LOG_RATIO)


def _legible(seen: Marks) -> float:
    """How many numbers are there and can be read, about."""
    return sum(n.heat * math.exp(float(np.max(n.log_probability))) for n in numerals(seen))
