"""How many looks a photo is given; what is seen in them is tested by tests/pictures."""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest

from vision import pipeline
from vision.closeup import Pose
from vision.reasons import reason
from vision.sighting import Refusal, Sighting

POSE = Pose(120.0, 80.0, 0.1, 40.0)


def sighting(confidence):
    return Sighting(None, True, 1.0, 3, 21.2, 0.03, confidence, 9.0, 0.1, 0.02)


@pytest.mark.parametrize(
    ("alone", "again", "looks"),
    [
        (sighting(0.995), True, [1]),  # sure: no other look is taken
        (sighting(0.97), True, [1, 2]),
        (Refusal((reason("uncertain"),)), True, [1, 2]),
        (sighting(0.97), False, [1]),  # nothing is seen from aside: the first look stands
    ],
)
def test_a_second_place_is_looked_from_only_where_one_is_not_sure(monkeypatch, alone, again, looks):
    best = SimpleNamespace(
        quality=0.9, pose=POSE, matrix=None, findings="first",
        marks=SimpleNamespace(present=1.0, mirrored=0.0),
    )  # fmt: skip
    decided = []

    def decide(_seen, findings, *_):
        decided.append(len(findings))
        return alone if len(findings) == 1 else sighting(0.8)

    aside = SimpleNamespace(findings="second" if again else None)
    monkeypatch.setattr(pipeline, "find", lambda _: [SimpleNamespace(pose=POSE)])
    monkeypatch.setattr(pipeline, "look", lambda *_: best)
    monkeypatch.setattr(pipeline, "_look_once", lambda *_: aside)
    monkeypatch.setattr(pipeline, "_is_mirrored", lambda *_: False)
    monkeypatch.setattr(pipeline, "_decided", decide)
    photo = SimpleNamespace(grey=np.zeros((200, 300), np.uint8))
    seen = pipeline.sight(photo, None)
    assert decided == looks
    assert seen == (sighting(0.8) if len(looks) == 2 else alone)


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
