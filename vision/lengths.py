"""Which division stands at the line, as far as the lengths of the division lines tell.

Every fifth division line is longer than the others on nearly all thimbles of the trade. Where the
long ones lie says what the division at the line leaves when divided by five: just what numbers
that are hard to read, or are placed a division off, leave open. Lengths are close-up px.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from vision.divisions import TALL_PX, Strip
from vision.thimble import BEVEL_PX, Bevel, Grating

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

EVERY = 5  # every so many divisions a line is longer
FARTHEST_RAD = 1.0  # lines farther round are too crowded
FEWEST = 7  # lines: with fewer, one alone would tell
OFF = np.linspace(-0.5, 0.5, 13)  # across a line, in spacings: as far as half-way to the next
INNER, OUTER = 0.13, 0.3  # of a spacing: within lies the line, beyond lies the metal beside it
COLUMNS = 3  # that are looked at together: 3 px
NEAR_PX = 10.0  # columns that the strength of a line is taken from: most lines are so long
SMOOTH = np.array([1.0, 2.0, 3.0, 2.0, 1.0])  # over neighbours, of the lines' strength
TRIED_PX = 5.0 * 1.14 ** np.arange(19)  # lengths of lines that are tried: 5 to 53 px
LONGER = 1.1  # least ratio of the long lines to the others
STRAY = 0.35  # of the lines' strength: a miss well beyond it tells hardly more (tune)
# Power of the likelihood, since neighbouring px err together: of least log loss on 434 pictures of
# tune, with the floor that the joint decision gives it. 90 % of their long lines were told right
TEMPER = 0.75


def length_log_likelihood(bevel: Bevel, on: Grating, downwards: bool = False) -> Floats:
    """Log-likelihood of each whole division m at the line, m + fraction being shown; (divisions,).

    All that leave the same divided by five are alike. `downwards` tries numbers that grow the other
    way.
    """
    whole = np.arange(on.divisions)
    if bevel.strip is None or on.divisions % EVERY:
        return np.zeros(on.divisions)
    of_place = _place_log_likelihood(*_contrasts(bevel, bevel.strip, on))
    # the long lines' count upwards, from the line below the reference line on, which shows `whole`,
    # or one more where numbers grow downwards
    return np.asarray(of_place[((whole + 1) if downwards else -whole) % EVERY])


def _contrasts(bevel: Bevel, strip: Strip, on: Grating) -> tuple[NDArray[np.intp], Floats]:
    """Counts of the lines, (n,), and how much darker than beside it each is, (n, columns).

    Lines are counted upwards from the last one below the reference line, which is 0.
    """
    count = np.arange(-on.divisions // 2, on.divisions // 2 + 1)
    step = 2 * np.pi / on.divisions
    angle = on.seen_line_rad + (count - on.fraction) * step
    facing = np.abs(angle) < FARTHEST_RAD
    count, angle = count[facing], angle[facing]
    behind = np.minimum(TALL_PX, BEVEL_PX)
    grown = on.radius + bevel.outline.widening * behind
    place = on.middle - grown * np.sin(angle)[:, None] - on.lean * behind
    across = OFF * (on.radius * step * np.cos(angle))[:, None, None]
    seen = strip.tall_across(place[..., None] + across)
    inner, outer = np.abs(OFF) < INNER, np.abs(OFF) > OUTER
    return count, seen[..., outer].mean(axis=-1) - seen[..., inner].mean(axis=-1)


def _place_log_likelihood(count: NDArray[np.intp], contrast: Floats) -> Floats:
    """Log-likelihood, (5,), of the long lines' counts leaving 0 to 4 when divided by five."""
    if len(count) < FEWEST:
        return np.zeros(EVERY)
    misfit = _misfits(contrast)
    long_ones = (count[None, :] - np.arange(EVERY)[:, None]) % EVERY == 0
    as_long = long_ones.astype(np.float64) @ misfit
    as_short = (~long_ones).astype(np.float64) @ misfit
    short, long = np.nonzero(TRIED_PX[None, :] > LONGER * TRIED_PX[:, None])
    fits = -TEMPER * (as_short[:, short] + as_long[:, long])
    return np.asarray(np.logaddexp.reduce(fits, axis=1))


def _misfits(contrast: Floats) -> Floats:
    """How badly each line, (n, columns), fits each of the tried lengths, (n, lengths)."""
    whole = contrast.shape[1] // COLUMNS * COLUMNS
    seen = contrast[:, :whole].reshape(len(contrast), -1, COLUMNS).mean(axis=-1)
    place = TALL_PX[:whole].reshape(-1, COLUMNS).mean(axis=-1)
    near = seen[:, place < NEAR_PX].mean(axis=1)
    strength = np.convolve(near, SMOOTH, "same") / np.convolve(np.ones_like(near), SMOOTH, "same")
    inked = np.clip((TRIED_PX[:, None] - place) / COLUMNS + 0.5, 0.0, 1.0)
    miss = seen[:, None, :] - strength[:, None, None] * inked
    usual = STRAY * float(np.abs(strength).mean()) + 1e-6
    return np.asarray(np.log1p((miss / usual) ** 2).sum(axis=-1))
