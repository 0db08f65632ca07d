"""A gauge whose thimble edge stands far from its graduations: its own photos settle the turn."""

from __future__ import annotations

import pytest
from PIL import Image
from typer.testing import CliRunner

from reading.book import Book
from reading.cli import app
from reading.measurement.taking import known_edge_set
from tests.pictures import bench
from vision.pipeline import sight
from vision.sighting import Refusal, Sighting

# A set of 0.36 mm is as far from what gauges usually have (0.13 mm) as 0.36 - 0.5 = -0.14 mm is,
# within the spread: a picture of this gauge alone does not tell the turn. Sets of up to 0.36 mm
# were seen on photographs of gauges.
KIND, SEED, SET_MM = "metric-fine", 2, 0.36
CLOSED = (1.3, 1.6, 1.1)  # divisions
NEAR_THE_TURN = (847.0, 449.3, 251.1)  # short of a full turn, and just past one
SURE, SETTLED = 0.95, 0.9


def picture(shown):
    shot, grey = bench.clear_photo(KIND, shown, SEED, edge_set=SET_MM)
    return shot, bench.photo(grey)


def probability_of_truth(seen, shot):
    """Give what a sighting or refusal leaves for the reading that the gauge shows."""
    n, true = shot.kind.divisions, bench.shown(shot)
    return sum(
        one.probability
        for one in seen.alternatives
        if abs(one.turns * n + one.division - true) < 1.0
    )


@pytest.fixture(scope="module")
def taught(tmp_path_factory):
    """Let a book learn the gauge's edge from a zero check of three photos."""
    folder = tmp_path_factory.mktemp("taught")
    photos = []
    for place, shown in enumerate(CLOSED):
        _, grey = bench.clear_photo(KIND, shown, SEED, edge_set=SET_MM)
        photos.append(str(folder / f"closed-{place}.png"))
        Image.fromarray(grey).save(photos[-1])
    book = ["--book", str(folder / "book.sqlite")]
    runner = CliRunner()
    scale = ["--pitch", "0.5 mm", "--divisions", "50"]
    assert runner.invoke(app, ["gauge", "add", "G1", *scale, *book]).exit_code == 0
    checked = runner.invoke(app, ["zero", "G1", *photos, *book])
    assert checked.exit_code == 0, checked.output
    with Book(folder / "book.sqlite") as opened:
        learned = known_edge_set(opened, opened.gauge("G1"))
    assert learned is not None
    return learned


@pytest.fixture(scope="module")
def alone():
    """See the photos near the turn as those of any gauge."""
    return {
        shown: sight(picture(shown)[1], bench.scale_of(picture(shown)[0]))
        for shown in NEAR_THE_TURN
    }


def test_the_set_that_was_learned_is_nearer_this_gauge_than_the_usual_one(taught):
    mean, spread = taught
    assert abs(mean - SET_MM) < abs(0.13 - SET_MM)
    assert spread < 0.1  # the spread among gauges


def test_alone_a_photo_near_the_turn_is_ambiguous(alone):
    doubted = [isinstance(seen, Refusal) or seen.confidence < SURE for seen in alone.values()]
    assert any(doubted)
    for shown, seen in alone.items():  # and never read wrong for sure
        wrong = isinstance(seen, Sighting) and abs(seen.shown_divisions - shown) > 1
        assert not (wrong and seen.confidence >= SURE)


def test_with_its_own_set_every_one_is_read_right(taught, alone):
    gained = []
    for shown in NEAR_THE_TURN:
        shot, photo = picture(shown)
        seen = sight(photo, bench.scale_of(shot), edge_set_mm=taught)
        assert abs(bench.miss(seen, shot)) < 0.5
        assert seen.confidence >= SETTLED
        gained.append(probability_of_truth(seen, shot) - probability_of_truth(alone[shown], shot))
    assert max(gained) > 0.1  # what was in doubt is so no more


@pytest.mark.parametrize("off", [-1, 1])
def test_a_set_that_is_wrong_by_its_spread_makes_no_wrong_turn(taught, off):
    mean, spread = taught
    for shown in NEAR_THE_TURN:
        shot, photo = picture(shown)
        seen = sight(photo, bench.scale_of(shot), edge_set_mm=(mean + off * spread, spread))
        assert abs(bench.miss(seen, shot)) < 0.5


@pytest.mark.parametrize("off_mm", [-0.25, 0.25])
def test_a_set_that_is_half_a_turn_wrong_is_the_nearest_wrong_answer(taught, off_mm):
    # This must go wrong or be doubted, or the tests above could not fail.
    doubted = []
    for shown in NEAR_THE_TURN:
        shot, photo = picture(shown)
        seen = sight(photo, bench.scale_of(shot), edge_set_mm=(taught[0] + off_mm, taught[1]))
        wrong = isinstance(seen, Refusal) or abs(seen.shown_divisions - shown) > 1
        doubted.append(wrong or seen.confidence < SURE)
    assert any(doubted)
