"""What forbids a reading: steps of known blur, and findings of gauges made up."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from tests.vision.test_decide import FINE, findings, on_a_line
from vision import objections
from vision.weighing import Known, weigh_looks

GAUGE = findings(FINE, 9, 13.4, 0.1)
WIDTH, HEIGHT = 544, 256


def stripes(sigma_px: float, step: float, noise: float = 0.0, every_px: int = 60) -> np.ndarray:
    """Stripes whose edges are steps blurred by a Gaussian, by the error function."""
    x = np.arange(WIDTH)
    soft = [math.erf((every_px / 2 - abs((v % every_px) - every_px / 2)) / sigma_px) for v in x]
    sign = np.where((x // every_px) % 2 == 0, 1.0, -1.0)
    row = 128.0 + 0.5 * step * sign * np.array(soft)
    rng = np.random.default_rng(3)
    grey = row[None, :] + rng.normal(0.0, noise, (HEIGHT, WIDTH))
    return np.rint(np.clip(grey, 0, 255)).astype(np.uint8)


@pytest.mark.parametrize("step", [20.0, 60.0, 180.0])
@pytest.mark.parametrize(("width_px", "blurred"), [(1.5, False), (3.5, False), (8.0, True)])
def test_edges_tell_blur_whatever_their_contrast(step, width_px, blurred):
    """The steepest slope of erf(x / w) is 2 / (sqrt(pi) w) of half its step: 0.07 a px at 8 px."""
    assert objections.is_blurred(stripes(width_px, step)) is blurred


def test_noise_does_not_hide_blur_nor_does_one_sharp_edge_pass_unseen():
    assert objections.is_blurred(stripes(8.0, 150.0, noise=3.0))
    part = stripes(8.0, 150.0)
    part[:, 300:] = stripes(1.5, 150.0)[:, 300:]
    assert not objections.is_blurred(part)


def test_a_flat_picture_is_not_called_blurred():
    assert not objections.is_blurred(np.full((HEIGHT, WIDTH), 120, np.uint8))


def test_a_scale_without_a_line_is_too_small_or_blurred_or_hidden():
    sharp, soft = stripes(1.5, 150.0), stripes(8.0, 150.0)
    assert objections.why_nothing(sharp, 160.0, "line_hidden") == "line_hidden"
    assert objections.why_nothing(soft, 160.0, "line_hidden") == "blurred"
    # fifty divisions round a sleeve of 30 px are 30 pi / 50 = 1.9 px apart
    assert objections.why_nothing(soft, 30.0, "line_hidden") == "too_small"
    assert objections.why_nothing(sharp, 45.0, "cut_off") == "cut_off"


@pytest.mark.parametrize(
    ("named", "px", "codes"),
    [(False, 3.9, ["scale_ambiguous"]), (False, 4.1, []), (True, 3.9, [])],
)
def test_a_pitch_is_not_told_from_lines_that_run_together(named, px, codes):
    """Half a millimetre is half a division of fifty or so: lines 2 px apart (sampling theorem)."""
    known = Known(FINE if named else None)
    told = objections.against(SHARP, GAUGE, weigh_looks([GAUGE], Known(FINE)), known, px)
    assert [one.code for one in told] == codes


@pytest.mark.parametrize(("room_px", "cut"), [(-20.0, True), (0.0, True), (15.0, False)])
def test_a_line_that_leads_out_of_the_photo_is_cut_off(room_px, cut):
    here = replace(GAUGE, visible_to_x=GAUGE.edge.x0 + room_px)
    assert objections.is_cut_off(on_a_line(here, 0.9)) is cut
    assert not objections.is_cut_off(on_a_line(here, 0.3))


POSTERIOR = SimpleNamespace(
    shown=np.array([613.4, 663.4]), probability=np.array([0.99, 0.01]), scale=FINE
)
SHARP, SOFT = stripes(1.5, 150.0), stripes(8.0, 150.0)


@pytest.mark.parametrize(
    ("grey", "confidence", "trusted", "code"),
    [
        (SHARP, 0.95, (1.0, 0.99), None),
        (SHARP, 0.60, (1.0, 0.61), "line_hidden"),  # all else is sure
        (SOFT, 0.60, (1.0, 0.61), "blurred"),
        (SHARP, 0.60, (0.61, 1.0), "uncertain"),  # it may be mirrored
        (SHARP, 0.60, (1.0, 1.0), "thimble_unread"),  # no number of it is sure
    ],
)
def test_a_reading_that_does_not_stand_out_is_refused_for_the_doubt(
    grey, confidence, trusted, code
):
    found = replace(GAUGE, on_thimble=[])
    reasons = objections.doubts(grey, found, POSTERIOR, confidence, trusted)
    assert [one.code for one in reasons] == ([code] if code else [])


def test_a_turn_that_is_left_open_is_told_unless_the_line_is_in_doubt():
    open_turn = SimpleNamespace(**vars(POSTERIOR) | {"probability": np.array([0.6, 0.4])})
    told = objections.doubts(SHARP, GAUGE, open_turn, 0.6, (1.0, 0.99))
    hidden = objections.doubts(SHARP, GAUGE, open_turn, 0.4, (1.0, 0.5))
    assert [one.code for one in (*told, *hidden)] == ["turn_ambiguous", "line_hidden"]
