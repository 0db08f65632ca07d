"""Marks stand where the evidence says, and nowhere else."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from itertools import pairwise

import cv2
import numpy as np
import pytest

from vision.closeup import ORIGIN, SIZE, Pose, photo_to_closeup
from vision.overlay import (
    COLOURS,
    LONG_SIDE_PX,
    MARGIN_PX,
    draw,
    draw_closeup,
    draw_photo,
    enlargement,
)
from vision.reasons import REASONS, reason
from vision.scale import Scale
from vision.sighting import Evidence, Numeral, Refusal, Sighting

SCALE = Scale(Decimal("0.5"), 50)
# The largest per-channel difference that still counts as the colour: the rim of a smoothed line.
NEAR = 40


def sighting(evidence):
    return Sighting(SCALE, True, 1.0, 15, 28.0, 0.05, 0.99, 12.0, 0.0, 0.0, (), evidence)


def noise(height, width):
    return np.random.default_rng(0).integers(90, 160, (height, width)).astype(np.uint8)


def shows(picture, colour, x, y, reach=1):
    """Tell whether a colour (RGB) stands within `reach` px of a point of the photo's panel."""
    column, row = round(x) + MARGIN_PX, round(y) + MARGIN_PX
    part = picture[row - reach : row + reach + 1, column - reach : column + reach + 1, ::-1]
    return bool((np.abs(part.astype(int) - colour).max(axis=2) <= NEAR).any())


def changed(picture, grey):
    """Find the pixels of the photo's panel that are no longer the photo's, as (x, y)."""
    height, width = grey.shape
    panel = picture[MARGIN_PX : MARGIN_PX + height, MARGIN_PX : MARGIN_PX + width]
    rows, columns = np.nonzero((panel != grey[..., None]).any(axis=2))
    return np.column_stack([columns, rows])


LINES = {
    "reference line": {"reference_line": ((100.0, 300.0), (400.0, 310.0))},
    "edge": {"edge": ((400.0, 200.0), (410.0, 300.0), (400.0, 400.0))},
    "silhouettes": {"silhouettes": (((90.0, 220.0), (400.0, 220.0)),)},
    "graduations": {"graduations": (((200.0, 260.0), (200.0, 300.0)),)},
    "divisions": {"divisions": (((420.0, 330.0), (470.0, 331.0)),)},
}


@pytest.mark.parametrize("name", LINES)
def test_a_line_is_drawn_where_it_was_found_and_nowhere_else(name):
    grey = noise(600, 700)  # shown in its own size
    kept = grey.copy()
    picture = draw(grey, sighting(Evidence(**LINES[name])))
    np.testing.assert_array_equal(grey, kept)
    (value,) = LINES[name].values()
    points = np.array(value, dtype=float).reshape(-1, 2)
    for start, end in pairwise(points):
        for share in (0.02, 0.3, 0.5, 0.98):
            assert shows(picture, COLOURS[name], *(start + share * (end - start)))
    # Every pixel that is no longer the photo's lies within the line's own width.
    pieces = [segment_distance(changed(picture, grey), *ends) for ends in pairwise(points)]
    assert np.min(pieces, axis=0).max() < 4


def segment_distance(at, start, end):
    """Give the distances of points, (N, 2), from a segment."""
    along = end - start
    share = np.clip((at - start) @ along / (along @ along), 0, 1)
    return np.hypot(*(at - start - share[:, None] * along).T)


@pytest.mark.parametrize("height", [150, 600, 2400])
def test_a_mark_has_its_place_to_half_a_pixel(height):
    """(p + 0.5) f - 0.5; p f would be 3 px off at f = 7. OpenCV itself draws to half a pixel."""
    grey = np.full((height, height + 20), 128, np.uint8)
    factor = enlargement(height + 20, height)
    y = round(0.4 * height)
    picture = draw(grey, sighting(Evidence(reference_line=((10.0, y), (height - 10.0, y)))))
    column = picture[:, MARGIN_PX + round(height * factor / 2)].astype(int)
    weight = np.abs(column[MARGIN_PX : MARGIN_PX + round(height * factor)] - 128).sum(axis=1)
    middle = (weight * np.arange(len(weight))).sum() / weight.sum()
    assert abs(middle - ((y + 0.5) * factor - 0.5)) < 0.5


@pytest.mark.parametrize("size", [(2000, 3001), (151, 325), (600, 700), (1280, 100)])
def test_marks_keep_their_place_on_a_photo_shown_larger_or_smaller(size):
    height, width = size
    x, y = 0.7 * width, 0.4 * height
    arm = 0.05 * width
    cross = (((x - arm, y), (x + arm, y)),)
    picture = draw(np.full(size, 128, np.uint8), sighting(Evidence(divisions=cross)))
    factor = enlargement(width, height)
    assert max(size) * factor <= LONG_SIDE_PX
    assert shows(picture, COLOURS["divisions"], (x + 0.5) * factor - 0.5, (y + 0.5) * factor - 0.5)


def closeup_part(picture, grey):
    """Cut the close-up's panel out of a picture whose photo is shown in its own size."""
    top = grey.shape[0] + 2 * MARGIN_PX
    return picture[top : top + 2 * SIZE[1], MARGIN_PX : MARGIN_PX + 2 * SIZE[0]]


def test_the_closeup_leaves_the_lines_themselves_to_see():
    grey = noise(600, 700)
    pose = Pose(400.0, 300.0, 0.0, 160.0)
    frame = Evidence(tuple(photo_to_closeup(pose).ravel()), SIZE)
    graduation = ((300.0, 300.0), (300.0, 270.0))
    refused = Refusal((reason("uncertain"),), evidence=frame)
    bare = closeup_part(draw(grey, refused), grey)
    evidence = replace(frame, graduations=(graduation,))
    marked = closeup_part(draw(grey, Refusal((reason("uncertain"),), evidence=evidence)), grey)
    rows, columns = np.nonzero((bare != marked).any(axis=2))
    # The close-up has the photo's own scale here: its point is the photo's, moved to the origin.
    x, outer = (2 * (p + 0.5) - 0.5 for p in (300 - 400 + ORIGIN[0], 270 - 300 + ORIGIN[1]))
    assert len(rows) > 0
    assert abs(columns.mean() - x) < 1
    assert rows.max() < outer  # wholly beyond the outer end
    assert rows.min() > outer - 24


def test_the_value_of_a_number_stands_beside_it():
    grey = noise(600, 700)
    pose = Pose(400.0, 300.0, 0.0, 160.0)
    frame = Evidence(tuple(photo_to_closeup(pose).ravel()), SIZE)

    def panel(*numerals):
        evidence = replace(frame, numerals=numerals)
        return closeup_part(draw(grey, Refusal((reason("uncertain"),), evidence=evidence)), grey)

    where = (250.0, 270.0)
    bare = panel()
    seen = 2 * (np.array(where) - (400, 300) + ORIGIN + 0.5) - 0.5
    for value in (5, 20):
        rows, columns = np.nonzero(
            (bare != panel(Numeral(where, "sleeve", value, 0.9))).any(axis=2)
        )
        away = np.hypot(columns - seen[0], rows - seen[1])
        assert away.min() > 5
        assert away.max() < 60
    five, three = (panel(Numeral(where, "sleeve", value, 0.9)) for value in (5, 3))
    assert (five != three).any()


def test_only_a_sighting_rings_the_place_of_reading():
    grey = noise(600, 700)
    frame = Evidence(tuple(photo_to_closeup(Pose(400.0, 300.0, 0.5, 160.0)).ravel()), SIZE)
    read = changed(draw(grey, sighting(frame)), grey)
    assert np.abs(read.mean(axis=0) - (400, 300)).max() < 0.5
    assert np.hypot(*(read - (400, 300)).T).max() < 20
    refused = Refusal((reason("uncertain"),), evidence=frame)
    assert len(changed(draw(grey, refused), grey)) == 0


def test_nothing_found_is_the_photo_alone():
    grey = noise(500, 641)
    picture = draw(grey, Refusal((reason("no_gauge"),)))
    assert picture.dtype == np.uint8
    assert len(changed(picture, grey)) == 0


def text_rows(picture, grey):
    """Count the rows below the photo that hold anything bright."""
    band = picture[grey.shape[0] + 2 * MARGIN_PX :]
    return int((band.max(axis=(1, 2)) > 200).sum())


def test_every_reason_and_line_is_written():
    grey = noise(500, 700)
    counts = [
        text_rows(draw(grey, Refusal(tuple(map(reason, list(REASONS)[:n])))), grey)
        for n in (1, 2, 3)
    ]
    assert counts == sorted(set(counts))
    plain = Refusal((reason("no_gauge"),))
    assert text_rows(draw(grey, plain, ["desk 4"]), grey) > text_rows(draw(grey, plain), grey)
    written = sighting(Evidence())
    assert text_rows(draw(grey, written, ["7.78 mm"]), grey) > 0
    assert text_rows(draw(grey, written), grey) == 0


def test_long_texts_stay_inside():
    grey = noise(300, 640)
    picture = draw(grey, sighting(Evidence()), ["7.78 mm", "word " * 80, "w" * 200])
    assert picture.shape[1] == 1280 + 2 * MARGIN_PX
    assert (picture[:, :MARGIN_PX] == picture[0, 0]).all()


def test_letters_the_font_lacks_are_spelled():
    grey = noise(300, 640)
    for text, spelled in [("28 × 0.01", "28 x 0.01"), ("−0.02", "-0.02"), ("Größe é", "Grosse e")]:
        np.testing.assert_array_equal(
            draw(grey, sighting(Evidence()), [text]), draw(grey, sighting(Evidence()), [spelled])
        )


def test_points_far_outside_do_no_harm():
    grey = noise(300, 640)
    far = ((1e12, -1e12), (-1e12, 1e12))
    lost = ((float("nan"), 0.0), (1.0, 2.0))
    evidence = Evidence(
        tuple(photo_to_closeup(Pose(9e6, -9e6, 0.0, 160.0)).ravel()),
        SIZE,
        reference_line=far,
        edge=(far[0], far[1], (5.0, 5.0)),
        graduations=(lost,),
        divisions=(((3.0, 3.0), (3.0, 3.0)),),
        numerals=(Numeral((1e9, 1e9), "sleeve", 5, 0.9),),
    )
    draw(grey, sighting(evidence))


def test_colours_differ_for_every_kind_of_eye():
    """Lightness alone, as an eye without colours has it (CIE 1976 L*), or hue tells each apart."""
    pairs = np.array([[COLOURS[name]] for name in COLOURS], dtype=np.uint8)
    lab = cv2.cvtColor(pairs.astype(np.float32) / 255, cv2.COLOR_RGB2LAB)[:, 0]
    # Without the red-green axis a*, what is left is L* and b*.
    left = lab[:, [0, 2]]
    gaps = np.hypot(*(left[:, None] - left[None]).transpose(2, 0, 1))
    assert gaps[~np.eye(len(left), dtype=bool)].min() > 15


def test_the_closeup_alone_is_the_lower_part_of_the_whole_drawing():
    grey = noise(480, 640)
    pose = Pose(320.0, 240.0, 0.3, 220.0)
    seen = sighting(
        Evidence(to_closeup=tuple(photo_to_closeup(pose).ravel()), edge=((300, 200), (310, 280)))
    )
    whole, alone = draw(grey, seen), draw_closeup(grey, seen)
    rows = alone.shape[0] - MARGIN_PX
    assert np.array_equal(whole[-rows:, : alone.shape[1]], alone[-rows:])
    nothing = sighting(Evidence())
    photo = draw_photo(grey, nothing)
    inner = draw_closeup(grey, nothing)[MARGIN_PX:-MARGIN_PX, MARGIN_PX:-MARGIN_PX]
    assert np.array_equal(inner, photo)  # there is no close-up: the whole photo stands for it
