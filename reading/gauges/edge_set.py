"""The edge's set: where one gauge's thimble edge stands against its graduations.

It differs by tenths of a millimetre from gauge to gauge and is constant on one, so what a gauge's
own accepted photos showed tells near a full turn which side of it the next photo is.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from vision.scale import Scale

FEWEST_PHOTOS = 3  # fewer show no spread worth the name (common practice)
MOST_PHOTOS = 200  # the newest ones; an edge may be set anew when a gauge is adjusted
MOST_OFF_PITCHES = 0.25  # farther from the median than this, a photo was read a turn wrong
LEAST_SPREAD_PITCHES = 0.01  # a hundredth of a turn: no picture tells it finer (half a division)


@dataclass(frozen=True)
class EdgeSet:
    """How far the edge stands past where a reading puts it, in pitches, over some photos."""

    mean_pitches: float
    spread_pitches: float  # sample standard deviation, of one photo
    photos: int

    def for_next_mm(self, scale: Scale) -> tuple[float, float]:
        """Give mean and standard deviation for the next photo, in mm.

        Notes
        -----
        The next photo scatters by the spread, and the mean is known to spread / √n
        (GUM 4.2.3): s √(1 + 1/n).
        """
        pitch_mm = float(scale.pitch_mm)
        spread = self.spread_pitches * math.sqrt(1 + 1 / self.photos)
        return self.mean_pitches * pitch_mm, spread * pitch_mm


def learn(sets_pitches: Sequence[float]) -> EdgeSet | None:
    """Learn the edge's set from accepted photos of one gauge, newest first.

    Returns
    -------
    EdgeSet or None
        None while there are too few photos, or most of them disagree.
    """
    newest = sets_pitches[:MOST_PHOTOS]
    if len(newest) < FEWEST_PHOTOS:
        return None
    middle = statistics.median(newest)
    near = [one for one in newest if abs(one - middle) <= MOST_OFF_PITCHES]
    if len(near) < max(FEWEST_PHOTOS, len(newest) / 2):
        return None
    spread = max(statistics.stdev(near), LEAST_SPREAD_PITCHES)
    return EdgeSet(statistics.fmean(near), spread, len(near))
