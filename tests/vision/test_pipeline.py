"""How many looks a photo is given; what is seen in them is tested by tests/pictures."""

from __future__ import annotations

import dataclasses
import math
from types import SimpleNamespace

import numpy as np
import pytest

from vision import lines, pipeline
from vision.closeup import Pose
from vision.reasons import reason
from vision.sighting import Refusal

POSE = Pose(120.0, 80.0, 0.1, 40.0)


@pytest.fixture
def taken(monkeypatch):
    """Poses that are looked at from beside a best look, of which `seen` says what each shows."""
    best = SimpleNamespace(
        quality=0.9, pose=POSE, matrix=None, findings="best",
        marks=SimpleNamespace(present=1.0, mirrored=0.0),
    )  # fmt: skip
    told = SimpleNamespace(places=[], seen=["aside", "third", "fourth"])

    def look_once(_, pose):
        told.places.append(pose)
        return SimpleNamespace(matrix=None, findings=told.seen[len(told.places) - 1])

    monkeypatch.setattr(pipeline, "find", lambda _: [SimpleNamespace(pose=POSE)])
    monkeypatch.setattr(pipeline, "look", lambda *_: best)
    monkeypatch.setattr(pipeline, "_look_once", look_once)
    monkeypatch.setattr(pipeline, "_mirrored_probability", lambda *_: 0.0)
    monkeypatch.setattr(pipeline.trust, "line_probability", lambda *both: both[-1] is not None)
    monkeypatch.setattr(pipeline, "weigh_looks", lambda *_: "weighed")
    return told


PHOTO = SimpleNamespace(grey=np.zeros((200, 300), np.uint8))


@pytest.mark.parametrize(("again", "looks"), [("aside", ["best", "aside"]), (None, ["best"])])
def test_however_sure_one_look_is_another_is_taken(monkeypatch, taken, again, looks):
    taken.seen[0] = again
    monkeypatch.setattr(pipeline, "_decided", lambda _, findings, *rest: (findings, rest[-1]))
    assert pipeline.sight(PHOTO, None) == (looks, (1.0, again is not None))
    assert taken.places == [pipeline._beside(POSE, pipeline.ASIDE)]
    assert taken.places[0].x != POSE.x  # the other look stands aside


@pytest.mark.parametrize(
    ("codes", "third", "told", "decisions", "looks"),
    [
        (["turn_ambiguous"], "third", 2, [["third"]], 2),
        (["turn_ambiguous"], "third", 9, [["third"], ["third", "fourth"]], 3),
        (["scale_ambiguous", "sleeve_unread"], None, 2, [["fourth"]], 3),
        # however often it is looked at: there is glare
        (["uncertain", "glare"], "third", 2, [], 1),
    ],
)
def test_what_stays_open_is_looked_at_further(
    monkeypatch, taken, codes, third, told, decisions, looks
):
    taken.seen[1] = third
    refused = Refusal(tuple(reason(code) for code in codes))
    decided = []

    def decide(_, findings, *_rest):
        decided.append(list(findings))
        return refused if len(decided) < told else "read"

    monkeypatch.setattr(pipeline, "_decided", decide)
    outcome = pipeline.sight(PHOTO, None)
    assert decided == [["best", "aside", *further] for further in [[], *decisions]]
    assert outcome == ("read" if len(decided) == told else refused)
    places = {(place.x, place.y, place.sleeve_diameter_px) for place in taken.places}
    assert len(places) == len(taken.places) == looks


@pytest.mark.parametrize(
    ("present", "shows", "quality"), [(0.9, "some", 0.8), (0.9, None, 0.04), (0.3, "some", 0.02)]
)
def test_a_sure_scale_that_shows_nothing_is_posed_again(monkeypatch, present, shows, quality):
    """But not where the close-up holds none at all."""
    again = Pose(140.0, 80.0, 0.1, 40.0)
    marks = SimpleNamespace(present=present)
    nothing = SimpleNamespace(findings=None, quality=0.02, marks=marks, pose=POSE)

    def look(_, pose):
        if pose is POSE:
            return nothing
        return SimpleNamespace(findings=shows, quality=0.8 if shows else 0.04, pose=pose)

    monkeypatch.setattr(pipeline, "find", lambda _: [SimpleNamespace(pose=POSE)])
    monkeypatch.setattr(pipeline, "pose_again", lambda *_: [SimpleNamespace(pose=again)])
    monkeypatch.setattr(pipeline, "look", look)
    assert pipeline._best_look(PHOTO.grey).quality == quality


@pytest.mark.parametrize(
    ("better", "looks"),
    [
        (POSE, 1),
        (Pose(120.0 + 7.0, 80.0, 0.18, 44.0), 1),  # 0.18 diameters off, 5 degrees, a tenth larger
        (Pose(120.0 + 9.0, 80.0, 0.1, 40.0), 2),
        (Pose(120.0, 80.0, 0.1 + math.radians(7), 40.0), 2),
        (Pose(120.0, 80.0, 0.1, 30.0), 2),
    ],
)
def test_a_first_look_from_far_off_is_taken_again(monkeypatch, better, looks):
    taken = []

    def look_once(_, pose):
        taken.append(pose)
        return SimpleNamespace(findings="some", quality=0.5)

    monkeypatch.setattr(pipeline, "_look_once", look_once)
    monkeypatch.setattr(pipeline, "_refined", lambda _: better)
    pipeline.look(np.zeros((200, 300), np.uint8), POSE)
    assert taken == [POSE, better][:looks]


MATRIX = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
AXIS = lines.Axis(127.0, 0.0, 350.0, 200.0, 350.0, 0.1, 0.9)
EDGE = lines.Edge(350.0, 0.0, 0.01, 0.0, 0.2, 1.0)


@pytest.mark.parametrize(
    ("marked", "at_line", "line_px", "wanted"),
    [
        (True, 0.9, 0.2, [127.0]),  # both see it there
        (True, 0.2, None, [127.0]),  # and where the other is at a loss it stands
        (True, 0.1, 30.0, [127.0, 157.0]),
        (False, 0.9, -0.4, [127.5, 127.1]),  # from the close-up's middle, ORIGIN
        (False, 0.1, 30.0, [127.5, 157.5]),
        (False, 0.1, None, "line_hidden"),
    ],
)
def test_the_line_is_where_the_marks_show_it_unless_it_is_seen_elsewhere(
    monkeypatch, marked, at_line, line_px, wanted
):
    tried = []

    def fit_axis(_, slope, through=None):
        if not marked:
            return None
        return AXIS if through is None else dataclasses.replace(AXIS, y0=through[1])

    def placed(*seen):
        tried.append(seen[-1].y0)
        return seen[-1], EDGE

    told = SimpleNamespace(at_line=at_line, line_px=line_px)
    monkeypatch.setattr(pipeline.lines, "fit_axis", fit_axis)
    monkeypatch.setattr(pipeline.lines, "fit_edge", lambda *_: EDGE)
    monkeypatch.setattr(pipeline, "_placed", placed)
    monkeypatch.setattr(pipeline.gap, "look", lambda *_: told)
    marks = SimpleNamespace(ridge=lambda _: np.zeros((256, 544), np.float32))
    found, beside, missing = pipeline._find_line(np.zeros((256, 544), np.uint8), MATRIX, marks)
    if wanted == "line_hidden":
        assert (found, beside, missing) == (None, None, wanted)
        return
    axis, edge = found
    assert (edge, beside, missing) == (EDGE, told, "")
    assert tried == pytest.approx(wanted)
    assert axis.y0 == tried[-1]


def test_without_an_edge_there_is_no_place_for_a_line_that_is_not_marked(monkeypatch):
    marks = SimpleNamespace(ridge=lambda _: np.zeros((256, 544), np.float32))
    grey = np.zeros((256, 544), np.uint8)
    assert pipeline._find_line(grey, MATRIX, marks) == (None, None, "line_hidden")
    monkeypatch.setattr(pipeline.lines, "fit_axis", lambda *_: AXIS)
    assert pipeline._find_line(grey, MATRIX, marks) == (None, None, "cut_off")
