"""The gap network that ships sees where the edge of clear photos stands."""

from __future__ import annotations

import numpy as np
import pytest

from fixtures import truth
from fixtures.backend import Backend
from fixtures.scene import cameras, collect, to_backend, to_camera
from tests.pictures import bench
from vision import closeup, gap
from vision.lines import Axis, Edge

KIND, SEED = "metric-fine", 2
SHOWN = (21.3, 88.0, 137.0, 216.4, 290.1)  # divisions of fifty: under six turns
OFF = 0.15  # pitches of 0.5 mm


def looked(shown):
    """What is seen beside the edge from where it truly is, and how many pitches it uncovers."""
    shot, grey = bench.clear_photo(KIND, shown, SEED)
    params, camera = collect([shot.scene]), cameras([shot.view], [shot.scene])
    be = Backend()
    known = be, to_backend(be, params), to_camera(be, camera)
    u, v, angle, height = (float(np.ravel(value)[0]) for value in truth.meeting(*known))
    x, y = closeup.ORIGIN
    axis, edge = Axis(y, 0.0, x, 0.0, x, 0.1, 1.0), Edge(x, 0.0, 0.0, 0.0, 0.2, 1.0)
    matrix = closeup.photo_to_closeup(closeup.Pose(u, v, angle, height))
    uncovered = float(shot.scene["edge_x"]) / float(shot.kind.pitch_mm)
    return gap.look(grey, matrix, axis, edge), uncovered


@pytest.mark.parametrize("shown", SHOWN)
def test_the_shipped_gap_network_counts_and_places(shown):
    told, uncovered = looked(shown)
    places = np.arange(-1, 7, 0.02)
    best = places[np.argmax(told.log_likelihood(places))]
    off = (told.columns * told.places_x).sum() - closeup.ORIGIN[0]
    assert best == pytest.approx(uncovered, abs=OFF)
    assert told.log_likelihood(np.array([uncovered])) > 1
    assert abs(off) < 0.5  # px of the close-up
