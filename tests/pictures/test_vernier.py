"""Vernier gauges: the vernier's zero is drawn like the reference line, never taken for it."""

from __future__ import annotations

import pytest

from tests.pictures import bench
from vision.pipeline import sight
from vision.sighting import Sighting

# Closed faces cover the reference line where it begins just before the sleeve's zero, and leave the
# vernier beside the edge in full view: shown (divisions), set of the edge (mm), seed.
COVERED = ((2.3, 0.25, 13), (-2.6, 0.15, 4), (1.6, 0.12, 21), (3.0, 0.1, 32))


@pytest.mark.parametrize(("shown", "edge_set_mm", "seed"), COVERED)
def test_a_vernier_s_zero_is_not_read_as_the_reference_line(shown, edge_set_mm, seed):
    shot, grey = bench.clear_photo("metric-vernier", shown, seed, px=18.0, edge_set=edge_set_mm)
    seen = sight(bench.photo(grey), bench.scale_of(shot), near_divisions=0.0)
    if isinstance(seen, Sighting):
        assert abs(bench.miss(seen, shot)) < 0.5
    else:
        assert "line_hidden" in bench.codes(seen)


def test_a_vernier_gauge_whose_line_is_seen_is_read():
    shot, grey = bench.clear_photo("metric-vernier", 711.0, 10, px=16.0)
    seen = sight(bench.photo(grey), bench.scale_of(shot))
    assert isinstance(seen, Sighting)
    assert abs(bench.miss(seen, shot)) < 0.3
