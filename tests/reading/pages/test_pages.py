"""Drawings and pages: well formed, to scale, and with everything escaped."""

from __future__ import annotations

import io
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from PIL import Image

from reading.pages import html
from reading.pages.drawing import Box, Dot, Drawing, Stroke, Words, png, svg
from reading.pages.plot import ALARM, Level, axis, plot
from reading.problem import Problem

SVG = "{http://www.w3.org/2000/svg}"


def drawn():
    points = [(0.0, 1.0), (5.0, 3.0), (10.0, 2.0)]
    return plot(points, axis([0, 10]), ("length/mm", "error/µm"), [Level(2.5, "limit")], [1])


def test_points_lie_where_their_numbers_say():
    tree = ElementTree.fromstring(svg(drawn()))
    circles = [
        (float(one.get("cx")), float(one.get("cy")), one.get("fill"))
        for one in tree.iter(f"{SVG}circle")
    ]
    (x0, y0, _), (x1, y1, alarm), (x2, y2, _) = circles
    assert x1 - x0 == pytest.approx(x2 - x1, abs=0.11)
    assert x1 > x0
    assert y0 - y1 == pytest.approx(2 * (y2 - y1), abs=0.21)  # y grows downwards
    assert alarm == ALARM
    texts = [one.text for one in tree.iter(f"{SVG}text")]
    assert {"length/mm", "error/µm", "limit"} <= set(texts)


def test_words_are_escaped():
    text = svg(Drawing(10, 10, (Words((1, 1), "<b> & 'c'"),)))
    (found,) = ElementTree.fromstring(text).iter(f"{SVG}text")
    assert found.text == "<b> & 'c'"


def test_a_painted_picture_shows_what_is_drawn():
    drawing = Drawing(
        60,
        40,
        (
            Stroke(((0, 20.5), (60, 20.5)), "#ff0000", True),
            Dot((30, 10), "#0000ff", 4.0),
            Box(((50, 12), (44, 2)), "#00ff00"),
            Words((2, 38), "0.5"),
        ),
    )
    pixels = np.asarray(Image.open(io.BytesIO(png(drawing))))
    assert pixels.shape == (80, 120, 3)
    assert tuple(pixels[20, 60]) == (0, 0, 255)
    green = np.argwhere((pixels == (0, 255, 0)).all(axis=2))
    assert green.min(axis=0).tolist() == [4, 88]  # two painted pixels to each drawn one
    assert green.max(axis=0).tolist() == [24, 100]
    (box,) = ElementTree.fromstring(svg(drawing)).iter(f"{SVG}rect")
    found = [float(box.get(name)) for name in ("x", "y", "width", "height")]
    assert found == [44, 2, 6, 10]
    row = pixels[41, :, 1] < 128
    assert 0.4 < row.mean() < 0.8  # dashes and gaps
    assert (pixels[60:, :40] < 128).any()


@given(values=st.lists(st.floats(-1e4, 1e4), min_size=1, max_size=9))
@example(values=[0.0, 5e-324])
@example(values=[8.0, -5e-324])
def test_an_axis_holds_its_values(values):
    found = axis(values)
    nothing = 1e-9 * (max(values) - min(values))  # no eye sees it
    assert found.low <= min(values) + nothing
    assert found.high >= max(values) - nothing
    assert 2 <= len(found.ticks) <= 13


def test_a_page_escapes_and_saves(tmp_path):
    text = html.page("A & <B>", [html.paragraph("x < y", "result"), html.table(("<",), [(1,)])])
    assert "<title>A &amp; &lt;B&gt;</title>" in text
    assert "x &lt; y" in text
    html.save(text, tmp_path / "a.html")
    assert (tmp_path / "a.html").read_text(encoding="utf-8") == text
    with pytest.raises(Problem, match="choose another place"):
        html.save(text, tmp_path)
    assert [one.name for one in tmp_path.iterdir()] == ["a.html"]  # nothing half written is left


def test_a_mark_on_each_sheet_stays_within_its_string():
    marked = html.page("A", [], mark='1"} </style> \\')
    style = marked[marked.index("<style>") : marked.index("</style>")]
    assert 'content: "1\\000022 \\00007d  \\00003c /style\\00003e  \\00005c "' in style
    assert marked.count("</style>") == 1


def test_pictures_lie_side_by_side_with_their_captions():
    page = html.gallery([(f"<{n}>", b"jpeg") for n in range(5)])
    assert page.count("<figure>") == page.count("data:image/jpeg") == 5
    assert "&lt;4&gt;" in page
    assert html.gallery([]) == html.items([]) == ""
