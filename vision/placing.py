"""Where the edge may stand over the sleeve, and what that makes of the pitches uncovered."""

from __future__ import annotations

import math
from decimal import Decimal
from typing import TYPE_CHECKING

import numpy as np

from vision.combs import Comb
from vision.gap import Gap
from vision.lines import Edge

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Sleeve = tuple[Floats, Floats, list[Comb], list[Decimal]]

# how well the edge is placed on the comb (tune): in any case, and its own uncertainty's share
U_PLACE_PX, U_EDGE = 0.15, 0.7
U_ASLANT = 0.5  # of what an edge seen aslant hides or shows more of the sleeve
MISPLACED = (0.1, 1.8)  # share of edges placed by something beside them, and how far off, px
PLACES_PX = np.arange(-14, 15) / 2.0  # from where the edge was found, that it may stand at
U_BETWEEN_PX = 0.2  # of a place between two of those
SURE_OF_COLUMNS = 0.9  # share of the gap network's belief in the edge's place that is not spread
# How much the fitted edge's place, the gap network's and its pitches uncovered count: log loss
TOLD = (0.2, 1.0, 1.3)
KEPT_PLACES = 300  # states of the sleeve, each with a place of the edge, that are followed up


def edge_places(edge: Edge, over_x: float, gap: Gap | None) -> tuple[Floats, Floats]:
    """Where the edge may stand over the sleeve: px from `over_x`, and log-shares; (29,) each.

    `over_x` is where the fitted `edge` would stand, `gap` what the network beside it believes.
    """
    share, off_px = MISPLACED
    place = math.hypot(U_PLACE_PX, U_EDGE * edge.u_x0, U_ASLANT * (edge.x0 - over_x))
    u, part = np.array([(place, 1.0 - share), (math.hypot(place, off_px), share)]).T[:, :, None]
    fitted = (part / u * np.exp(-0.5 * (PLACES_PX / u) ** 2)).sum(axis=0)
    log_share = np.log(fitted)
    if gap is not None:
        seen = np.interp(over_x + PLACES_PX, gap.places_x, gap.columns, 0.0, 0.0)
        even = (1.0 - SURE_OF_COLUMNS) / len(PLACES_PX)
        log_share = TOLD[0] * log_share + TOLD[1] * np.log(SURE_OF_COLUMNS * seen + even)
    return PLACES_PX, log_share - np.logaddexp.reduce(log_share)


def placed(
    states: Sleeve, at_edge: tuple[Floats, Floats], gap: Gap | None
) -> tuple[Floats, Floats, list[Decimal], Floats]:
    """Spread states of the sleeve over the edge's places, and keep the likeliest.

    Parameters
    ----------
    states : pitches uncovered, (K,), log-likelihood, (K,), comb and range start of each
    at_edge : as `edge_places` gives

    Returns
    -------
    Pitches uncovered, log-likelihood, range start and the pitches' standard uncertainty, of each
    state kept.
    """
    uncovered, value, of_state, starts = states
    pitch_px, spread = np.array([(c.pitch_px, c.u_phase) for c in of_state]).T
    off, log_share = at_edge
    places = uncovered[:, None] + off[None, :] / pitch_px[:, None]
    likely = value[:, None] + log_share[None, :]
    if gap is not None:
        likely = likely + TOLD[2] * gap.log_likelihood(places)
    least = min(KEPT_PLACES, likely.size) - 1
    best = np.argpartition(-likely, least, axis=None)[: least + 1]
    state = best // len(off)
    u = np.hypot(spread, U_BETWEEN_PX / pitch_px)[state]
    return places.ravel()[best], likely.ravel()[best], [starts[i] for i in state], u
