"""How many looks a photo is given; what is seen in them is tested by tests/pictures."""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest

from vision import pipeline
from vision.closeup import Pose

POSE = Pose(120.0, 80.0, 0.1, 40.0)


@pytest.mark.parametrize(("again", "looks"), [("second", 2), (None, 1)])
def test_however_sure_one_look_is_another_is_taken(monkeypatch, again, looks):
    best = SimpleNamespace(
        quality=0.9, pose=POSE, matrix=None, findings="first", clear=True, stub="line",
        marks=SimpleNamespace(present=1.0, mirrored=0.0),
    )  # fmt: skip
    aside = SimpleNamespace(matrix=None, findings=again)
    places = []
    monkeypatch.setattr(pipeline, "find", lambda _: [SimpleNamespace(pose=POSE)])
    monkeypatch.setattr(pipeline, "look", lambda *_: best)

    def look_once(_, pose, known):
        assert known == "line"  # what a nearer look found holds for both
        places.append(pose)
        return aside

    monkeypatch.setattr(pipeline, "_look_once", look_once)
    monkeypatch.setattr(pipeline, "_mirrored_probability", lambda *_: 0.0)
    monkeypatch.setattr(pipeline.trust, "line_probability", lambda *both: both[-1] is not None)
    monkeypatch.setattr(pipeline, "_decided", lambda _, findings, *rest: (findings, rest[-1]))
    monkeypatch.setattr(pipeline, "weigh_looks", lambda *_: "weighed")
    photo = SimpleNamespace(grey=np.zeros((200, 300), np.uint8))
    assert pipeline.sight(photo, None) == (["first", "second"][:looks], (1.0, looks == 2))
    assert places == [pipeline._aside(POSE)]
    assert places[0].x != POSE.x  # the other look stands aside


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


@pytest.mark.parametrize(
    ("present", "clear", "found", "times"),
    [
        (1.0, True, True, 0),  # a clear line needs no nearer look
        (0.2, False, True, 0),  # where no scale is seen no line is looked for
        (1.0, False, True, 1),
        (1.0, False, False, 1),  # and once a photo, however many places there are
    ],
)
def test_a_scale_without_a_clear_line_is_looked_at_more_nearly_once(
    monkeypatch, present, clear, found, times
):
    marks = SimpleNamespace(present=present)
    usual = SimpleNamespace(quality=0.4, clear=clear, marks=marks)
    nearer = SimpleNamespace(quality=0.8, clear=True, marks=marks)
    taken = []

    def look_nearer(_, seen):
        taken.append(seen)
        return nearer if found else None

    monkeypatch.setattr(pipeline, "find", lambda _: [SimpleNamespace(pose=POSE)] * 3)
    monkeypatch.setattr(pipeline, "look", lambda *_: usual)
    monkeypatch.setattr(pipeline, "_look_nearer", look_nearer)
    best = pipeline._best_look(np.zeros((200, 300), np.uint8))
    assert len(taken) == times
    assert best is (nearer if times and found else usual)
