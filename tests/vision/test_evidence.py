"""What was found goes back to the photo's own pixels: a line drawn in the photo comes home."""

from __future__ import annotations

import math
from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest

from vision import closeup, decide
from vision.decide import Findings
from vision.evidence import evidence_of
from vision.lines import Axis, Edge, Outline
from vision.numerals import Numeral
from vision.scale import Scale
from vision.teeth import Tooth
from vision.thimble import Bevel

FINE = Scale(Decimal("0.5"), 50)
POSE = closeup.Pose(1210.3, 640.8, math.radians(113), 402.0)  # a photo 2.5 times the close-up
Y0, X0, RADIUS, MIDDLE, STEP = 131.4, 349.7, 82.8, 11.0, 2.8
DIVISION = 17.3  # seen at the line


def number(value: int, x: float, y: float, on: str, heat: float = 0.9) -> Numeral:
    p = np.full(100, 0.05 / 99)
    p[value] = 0.95
    return Numeral(x, y, on, heat, np.log(p), np.zeros(4))


def angle_of(k: int) -> float:
    return math.asin(MIDDLE / RADIUS) + (k - DIVISION) * 2 * math.pi / 50


@pytest.fixture(scope="module")
def findings() -> Findings:
    dy = np.arange(-90, 90, 0.5)
    profile = np.zeros(len(dy))
    for k in range(50):
        angle = (angle_of(k) + math.pi) % (2 * math.pi) - math.pi
        if abs(angle) < 1.3:
            y = MIDDLE - RADIUS * math.sin(angle)
            profile = np.maximum(profile, 0.8 * np.exp(-0.5 * ((dy - y) / 1.3) ** 2))
    half = RADIUS - STEP
    outline = Outline(MIDDLE - half, MIDDLE + half, STEP, 0.7, 0.13)
    seen = profile > 0.03
    return Findings(
        Axis(Y0, 0.02, X0, 120.0, X0, 0.1, 0.9),
        Edge(X0, 0.01, 0.0007, 0.01, 0.2, 1.0),
        outline,
        Bevel(dy[seen], profile[seen], outline),
        (Tooth(330.2, 20.0, 0.0), Tooth(318.9, 0.0, 14.0), Tooth(307.6, 26.0, 0.0)),
        0.0,
        (),
        [number(5, 307.6, Y0 - 40, "sleeve")],
        [number(15, X0 + 22, Y0 + 30, "thimble"), number(20, X0 + 22, Y0 - 25, "thimble", 0.1)],
        0.0,
        X0,
    )


def photo_of(points: list[tuple[float, float]]) -> np.ndarray:
    """Take close-up points to the photo by the pose's own words, no matrix."""
    size = POSE.sleeve_diameter_px / closeup.SLEEVE_DIAMETER_PX
    out = []
    for x, y in points:
        dx, dy = (x - closeup.ORIGIN[0]) * size, (y - closeup.ORIGIN[1]) * size
        c, s = math.cos(POSE.angle_rad), math.sin(POSE.angle_rad)
        out.append((POSE.x + c * dx - s * dy, POSE.y + s * dx + c * dy))
    return np.array(out)


def test_lines_come_back_to_the_photo(findings: Findings) -> None:
    matrix = closeup.photo_to_closeup(POSE)
    seen = evidence_of(matrix, findings, decide.weigh(findings, FINE))
    assert seen.closeup_size == closeup.SIZE
    assert np.allclose(np.reshape(seen.to_closeup, (2, 3)), matrix)
    wanted = photo_of([(120.0, Y0 + 0.02 * (120.0 - X0)), (X0, Y0)])
    assert np.allclose(seen.reference_line, wanted, atol=1e-6)
    assert np.allclose(seen.numerals[0].where, photo_of([(307.6, Y0 - 40)])[0], atol=1e-6)
    # the edge passes the meeting point, and bends as it was said to
    back = closeup.move(matrix, np.array(seen.edge))
    dy = back[:, 1] - Y0
    assert np.allclose(back[:, 0], X0 + 0.01 * dy + 0.0007 * dy**2, atol=1e-6)
    assert dy.min() < -60
    assert dy.max() > 80


def test_graduations_stand_where_they_were_found(findings: Findings) -> None:
    seen = evidence_of(closeup.photo_to_closeup(POSE), findings)
    assert len(seen.graduations) == 3
    back = closeup.move(closeup.photo_to_closeup(POSE), np.array(seen.graduations).reshape(-1, 2))
    for tooth, (one, other) in zip(findings.teeth, back.reshape(-1, 2, 2), strict=True):
        assert one[0] == pytest.approx(tooth.x, abs=1e-6)
        assert other[0] == pytest.approx(tooth.x, abs=1e-6)
        base = float(findings.axis.y_at(tooth.x))
        assert base - one[1] == pytest.approx(tooth.above + 1)  # its longer end where it was seen
        assert other[1] - base == pytest.approx(tooth.below + 1)


def test_divisions_are_drawn_on_the_ridges_they_were_fitted_to(findings: Findings) -> None:
    posterior = decide.weigh(findings, FINE)
    seen = evidence_of(closeup.photo_to_closeup(POSE), findings, posterior)
    starts = closeup.move(closeup.photo_to_closeup(POSE), np.array(seen.divisions)[:, 0])
    truths = [
        MIDDLE - RADIUS * math.sin(angle_of(k))
        for k in range(-10, 45)
        if abs(angle_of(k)) < math.radians(60)
    ]
    # rows from the line, which slopes by 0.02
    heights = starts[:, 1] - findings.axis.y_at(starts[:, 0])
    for y in truths:
        assert (
            np.abs(heights - y).min() < 0.5
        )  # half a division is 5 px in the middle, 2 at the rim
    assert len(seen.divisions) >= len(truths)
    assert seen.fit_residual_divisions is not None


def test_faint_numbers_are_left_out_and_the_others_tell_what_they_are(findings: Findings) -> None:
    seen = evidence_of(closeup.photo_to_closeup(POSE), findings)
    assert [(n.on, n.value) for n in seen.numerals] == [("sleeve", 5), ("thimble", 15)]
    assert seen.numerals[0].probability == pytest.approx(0.9 * 0.95, abs=1e-4)
    again = evidence_of(closeup.photo_to_closeup(POSE), replace(findings, on_sleeve=[]))
    assert [n.on for n in again.numerals] == ["thimble"]


def test_nothing_found_is_an_empty_evidence_with_its_frame() -> None:
    seen = evidence_of(closeup.photo_to_closeup(POSE), None)
    assert seen.closeup_size == closeup.SIZE
    assert len(seen.to_closeup) == 6
    assert seen.reference_line is None
    assert (seen.edge, seen.graduations, seen.divisions, seen.numerals) == ((), (), (), ())
