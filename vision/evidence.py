"""What was found in a close-up, taken back to the photo's own pixels."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from vision import closeup
from vision.sighting import Evidence, Numeral, Point, Segment

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from vision.decide import Findings, Posterior

DIVISION_PX = 12.0  # length at which division lines are shown, close-up px
SHOWN_RAD = math.radians(65)  # divisions are shown this far round
LEAST_HEAT = 0.2


def evidence_of(
    matrix: NDArray[np.float64], f: Findings | None, chosen: Posterior | None = None
) -> Evidence:
    """Collect the evidence of a close-up; `matrix` takes photo points to close-up points."""
    frame = tuple(float(v) for v in matrix.ravel())
    if f is None:
        return Evidence(frame, closeup.SIZE)
    back = closeup.invert(matrix)

    def point(x: float, y: float) -> Point:
        moved = closeup.move(back, np.array([[x, y]]))[0]
        return float(moved[0]), float(moved[1])

    def segment(x0: float, y0: float, x1: float, y1: float) -> Segment:
        return point(x0, y0), point(x1, y1)

    middle = chosen.grating.middle if chosen else f.outline.middle
    radius = chosen.grating.sleeve_radius if chosen else f.outline.radius
    dy = np.linspace(middle - radius, middle + radius, 25)
    edge = tuple(point(float(f.edge.x_at(d)), f.axis.y0 + float(d)) for d in dy)
    x0, slope = f.axis.first_x, f.axis.slope
    line = segment(x0, float(f.axis.y_at(x0)), f.edge.x0, f.axis.y0)
    silhouettes = []
    for side in (-1, 1):
        y = f.axis.y0 + middle + side * radius
        silhouettes.append(segment(f.edge.x0 - 60, y - 60 * slope, f.edge.x0, y))
    graduations = []
    for tooth in f.teeth:
        base = float(f.axis.y_at(tooth.x))
        up, down = min(tooth.above, 30.0) + 1, min(tooth.below, 30.0) + 1
        graduations.append(segment(tooth.x, base - up, tooth.x, base + down))
    numerals = tuple(
        Numeral(
            point(n.x, n.y),
            n.on,
            int(np.argmax(n.log_probability)),
            float(n.heat * np.exp(n.log_probability.max())),
        )
        for n in (*f.on_sleeve, *f.on_thimble)
        if n.heat > LEAST_HEAT
    )
    return Evidence(
        frame,
        closeup.SIZE,
        line,
        edge,
        tuple(silhouettes),
        tuple(graduations),
        _divisions(f, chosen, segment) if chosen else (),
        numerals,
        chosen.edge_set_pitches if chosen else None,
        chosen.grating.residual_divisions if chosen else None,
    )


def _divisions(f: Findings, chosen: Posterior, segment) -> tuple[Segment, ...]:  # type: ignore[no-untyped-def]
    """Division lines where the fitted grating puts them."""
    n = chosen.scale.divisions
    step = 2 * math.pi / n
    on = chosen.grating
    first = on.seen_line_rad - on.fraction * step
    out = []
    for k in range(-n // 2, n // 2):
        angle = first + k * step
        if abs(angle) > SHOWN_RAD:
            continue
        near = on.middle - on.radius * math.sin(angle)
        far = on.middle - (on.radius + f.outline.widening * DIVISION_PX) * math.sin(angle)
        x = float(f.edge.x_at(near))
        y0 = float(f.axis.y_at(x)) + near
        y1 = float(f.axis.y_at(x + DIVISION_PX)) + far
        out.append(segment(x, y0, x + DIVISION_PX, y1))
    return tuple(out)
