"""What a screw's errors are made of: a part that grows with length, one that repeats each turn."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

FEWEST_FOR_PERIODIC = 6  # four unknowns, and something left to judge them by
FEWEST_FOR_PROGRESSIVE = 3


@dataclass(frozen=True)
class ScrewFit:
    """Least squares fit of errors to length and thimble angle, in the unit of the errors.

    error = offset + slope length + amplitude cos(2 pi length / pitch - phase) + residual.
    `u_slope` and `u_amplitude` are standard uncertainties from the residuals. `amplitude` and what
    belongs to it are None where the lengths do not show a whole turn.
    """

    slope: float
    u_slope: float
    offset: float
    residual: float  # standard deviation of what is left
    amplitude: float | None = None
    u_amplitude: float | None = None
    phase_rad: float | None = None


def fit_screw(lengths: Sequence[float], errors: Sequence[float], pitch: float) -> ScrewFit | None:
    """Fit the errors on gauge blocks.

    Parameters
    ----------
    lengths, errors : sequence of float
        One unit; the lengths need no order.
    pitch : float
        Travel in one turn.

    Returns
    -------
    ScrewFit or None
        None for fewer than three lengths. Lengths at whole turns can't show what repeats each turn:
        then only the part that grows with length is fitted.
    """
    if len(lengths) < FEWEST_FOR_PROGRESSIVE:
        return None
    return _fit(lengths, errors, pitch, periodic=len(lengths) >= FEWEST_FOR_PERIODIC)


def _fit(
    lengths: Sequence[float], errors: Sequence[float], pitch: float, *, periodic: bool
) -> ScrewFit | None:
    """Solve by least squares in centred lengths; without the periodic part if it can't be told."""
    import numpy as np

    length = np.array(lengths, dtype=np.float64)
    centre, angle = length.mean(), 2 * math.pi * length / pitch
    columns = [np.ones_like(length), length - centre]
    if periodic:
        columns += [np.cos(angle), np.sin(angle)]
    design = np.stack(columns, axis=1)
    # Columns that differ by less than this are alike: test lengths are told to a micrometre.
    solution, _, rank, _ = np.linalg.lstsq(design, np.array(errors), rcond=1e-6)
    if rank < design.shape[1]:
        return _fit(lengths, errors, pitch, periodic=False) if periodic else None
    left = np.array(errors) - design @ solution
    degrees = len(lengths) - design.shape[1]
    residual = math.sqrt(float(left @ left) / degrees) if degrees else 0.0
    u = residual * np.sqrt(np.diag(np.linalg.inv(design.T @ design)))
    slope, offset = float(solution[1]), float(solution[0] - solution[1] * centre)
    fit = ScrewFit(slope, float(u[1]), offset, residual)
    if not periodic:
        return fit
    cosine, sine = float(solution[2]), float(solution[3])
    return ScrewFit(
        fit.slope,
        fit.u_slope,
        fit.offset,
        fit.residual,
        math.hypot(cosine, sine),
        math.hypot(float(u[2]), float(u[3])) / math.sqrt(2),
        math.atan2(sine, cosine),
    )
