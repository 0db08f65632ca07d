"""Every reason to refuse, by a picture that deserves it (one by findings that no picture has)."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import cv2
import numpy as np
import pytest

import vision.reasons
from tests.pictures.bench import clear_photo, codes, painted, photo, rendered, scale_of, spoilt
from tests.vision.test_decide import FINE, findings, on_a_line, thimble_of
from vision import closeup, marks, pipeline
from vision.closeup import Pose
from vision.finder import Found
from vision.pipeline import sight
from vision.reasons import REASONS
from vision.scale import Scale
from vision.sighting import Sighting

TWICE = Scale(Decimal("0.5"), 100)


def noise(shape: tuple[int, ...]) -> np.ndarray:
    return np.random.default_rng(0).integers(0, 255, shape, dtype=np.uint8)


def fine(change: Callable, scale: Scale | None = FINE) -> Callable:
    """A gauge at 12 turns and 13 divisions that is read until `change` is made to its picture."""

    def case() -> tuple[np.ndarray, Scale | None]:
        shot, grey = clear_photo("metric-fine", 613.0, 0)
        return change(shot, grey), scale

    return case


def school(shown: float, seed: int, change: Callable, named: bool = True) -> Callable:
    def case() -> tuple[np.ndarray, Scale | None]:
        shot, grey = clear_photo("metric-school", shown, seed)
        return change(shot, grey), scale_of(shot) if named else None

    return case


def near_a_turn(shown: float, edge_set_mm: float) -> Callable:
    """Near a full turn with an edge set farther than most: the other turn's would be as usual."""

    def case() -> tuple[np.ndarray, Scale | None]:
        shot, grey = clear_photo("metric-fine", shown, 0, edge_set=edge_set_mm)
        return grey, scale_of(shot)

    return case


def shrunk(share: float) -> Callable:
    return lambda _, g: cv2.resize(g, None, fx=share, fy=share, interpolation=cv2.INTER_AREA)


DESERVED = {
    "no_gauge": (lambda: (noise((300, 401)), None), lambda: (np.full((300, 401), 120), None)),
    "mirrored": (fine(lambda _, g: g[:, ::-1]), fine(lambda _, g: g[::-1])),
    "line_hidden": (
        fine(lambda s, _: spoilt(s, view=replace(s.view, roll=math.radians(120)))),
        fine(lambda s, g: painted(s, g, (-2, -0.01), (-0.6, 0.6), float(np.median(g)))),
    ),
    "cut_off": (fine(lambda s, g: g[:, : int(s.view.u) + 6]),),
    "too_small": (fine(shrunk(0.14)), school(700.0, 1, shrunk(0.12))),
    "blurred": (
        school(200.0, 1, lambda _, g: cv2.GaussianBlur(g, (0, 0), 8)),
        fine(lambda _, g: cv2.GaussianBlur(g, (0, 0), 6)),  # by 5 it is still read, rightly
    ),
    "no_divisions": (fine(lambda s, g: painted(s, g, (0.01, 0.6), (-0.6, 0.6), noise(g.shape))),),
    "glare": (fine(lambda s, g: painted(s, g, (-0.15, 0.25), (-0.35, 0.35), 255)),),
    "scale_mismatch": (fine(lambda _, g: g, TWICE),),
    "scale_ambiguous": (school(20.0, 11, lambda _, g: g, named=False),),
    "turn_ambiguous": (near_a_turn(399.8, 0.36), near_a_turn(199.8, 0.37)),
    "thimble_unread": (fine(lambda s, g: g[:, : int(s.view.u) + 20]),),
    "uncertain": (fine(lambda s, g: painted(s, g, (0.19, 0.6), (-0.6, 0.6), float(np.median(g)))),),
}


def test_the_gauge_is_read_before_its_picture_is_spoilt() -> None:
    shot, grey = clear_photo("metric-fine", 613.0, 0)
    seen = sight(photo(grey), scale_of(shot))
    assert codes(seen) == []
    assert abs(seen.shown_divisions - 613.0) < 0.3


@pytest.mark.parametrize(
    ("code", "case"), [(code, case) for code, cases in DESERVED.items() for case in cases]
)
def test_a_picture_that_deserves_it_is_refused(code: str, case: Callable) -> None:
    grey, scale = case()
    seen = sight(photo(grey), scale)
    assert code in codes(seen)
    for reason in seen.reasons:
        assert reason.remedy == REASONS[reason.code][1]


@pytest.mark.parametrize("mirrored", [0.05, 0.1, 0.45, 0.6])
def test_a_picture_that_may_be_mirrored_is_doubted(monkeypatch, mirrored: float) -> None:
    """Its readings are as likely as before times the probability that it is not."""
    shot, grey = clear_photo("metric-fine", 613.0, 0)
    sure = sight(photo(grey), scale_of(shot))
    monkeypatch.setattr(pipeline, "_mirrored_probability", lambda *_: mirrored)
    seen = sight(photo(grey), scale_of(shot))
    likelier = mirrored > 0.5
    assert codes(seen) == (["mirrored"] if likelier else ["uncertain"] if mirrored > 0.05 else [])
    for now, before in zip(seen.alternatives, sure.alternatives, strict=not likelier):
        assert now.probability == pytest.approx((1.0 - mirrored) * before.probability)
    if isinstance(seen, Sighting):
        assert seen.confidence == pytest.approx((1.0 - mirrored) * sure.confidence)


def test_backward_numbers_and_a_bare_sleeve_are_refused(monkeypatch) -> None:
    """Findings of a gauge whose numbers grow downwards (the bench draws outside gauges only), and
    of one whose sleeve shows nothing but its reference line.
    """
    usual = on_a_line(findings(FINE, 13, 24.9, 0.1))
    bevel, numbers = thimble_of(FINE, 24.9, 0.0, way=-1)
    fields = {name: getattr(usual, name) for name in usual.__dataclass_fields__}
    backwards = type(usual)(**fields | {"bevel": bevel, "on_thimble": numbers})
    pose = Pose(*closeup.ORIGIN, 0.0, closeup.SLEEVE_DIAMETER_PX)
    blank = np.full((64, 136), -9, np.float32)
    seen = marks.decode(
        np.full((6, 256, 544), -9, np.float32),
        np.stack([blank, blank]),
        np.array([9.0, -9.0], np.float32),
    )
    grey = noise(closeup.SIZE[::-1])

    def looked(found) -> list[str]:
        def look(_grey, place: Pose, _known=None) -> pipeline.Look:
            return pipeline.Look(place, closeup.photo_to_closeup(place), grey, seen, found, "")

        monkeypatch.setattr(pipeline, "find", lambda _: (Found(pose, 0.0),))
        monkeypatch.setattr(pipeline, "_look_once", look)
        monkeypatch.setattr(pipeline, "_beside", lambda pose, _: pose)  # all looks see the same
        return codes(sight(photo(grey), FINE))

    bare = type(usual)(**fields | {"teeth": (), "combs": (), "on_sleeve": []})
    assert looked(usual) == []
    assert looked(backwards) == ["reversed_numbers"]
    assert looked(bare) == ["sleeve_unread"]


def test_every_code_is_given_somewhere_and_provoked_here() -> None:
    """No code of the table is dead, none is given that the table lacks, none is unprovoked."""
    folder = Path(vision.reasons.__file__).parent
    text = "".join(f.read_text() for f in folder.glob("*.py") if f.name != "reasons.py")
    given = set(re.findall(r'"([a-z]+(?:_[a-z]+)*)"', text))
    assert [code for code in REASONS if code not in given] == []
    direct = set(re.findall(r'reason\("([a-z_]+)"', text))
    assert direct <= set(REASONS)
    assert set(DESERVED) | {"reversed_numbers", "sleeve_unread"} == set(REASONS)


@pytest.mark.parametrize("seed", [200003, 200005, 200010])
def test_a_bench_without_a_gauge_is_never_read(seed: int) -> None:
    shot, _ = rendered(seed)
    empty = spoilt(shot, scene=shot.scene | {"no_gauge": 1.0})
    assert codes(sight(photo(empty), None))
