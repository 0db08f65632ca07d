"""The marks network's outputs are taken apart rightly: synthetic maps, hand-made truth."""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

import vision.networks
from vision import marks


def logit(p):
    return (np.log(p) - np.log1p(-p)).astype(np.float32)


def heat_of(points, sigma=1.3):
    """Draw (2, 64, 136) Gaussians, of height h, at (place, x, y, h) in close-up px."""
    heat = np.full((2, 64, 136), 1e-5)
    rows, cols = np.mgrid[:64, :136]
    for place, x, y, h in points:
        # cell i covers pixels 4 i to 4 i + 3, whose middle is 4 i + 1.5
        r2 = ((x - 1.5) / 4 - cols) ** 2 + ((y - 1.5) / 4 - rows) ** 2
        heat[place] = np.maximum(heat[place], h * np.exp(-r2 / (2 * sigma**2)))
    return np.clip(heat, 1e-5, 1 - 1e-5)


def decoded(points, whole=(3.0, -3.0)):
    ridges = np.full((6, 256, 544), -4, np.float32)
    return marks.decode(ridges, logit(heat_of(points)), np.array(whole, np.float32))


def test_numerals_are_found_to_a_tenth_of_a_pixel_and_told_apart():
    points = [
        (0, 100.2, 90.7, 0.9),
        (1, 401.6, 128.3, 0.8),
        (1, 402.0, 159.1, 0.6),
        (0, 340, 7, 0.3),
    ]
    found = marks.places(decoded(points))
    assert [n.on for n in found] == ["sleeve", "thimble", "thimble", "sleeve"]
    for numeral, (_, x, y, h) in zip(found, points, strict=True):
        assert abs(numeral.x - x) < 0.1  # half a pixel, the wrong rule for cells, fails
        assert abs(numeral.y - y) < 0.1
        assert 0.8 * h < numeral.heat <= h


def test_ridges_come_to_full_size_pixel_by_pixel():
    torch = pytest.importorskip("torch")
    cells = np.random.default_rng(3).normal(size=(24, 128, 272)).astype(np.float32)
    whole = torch.nn.functional.pixel_shuffle(torch.from_numpy(cells), 2)
    assert np.array_equal(marks.full_size(cells), whole.numpy())


def test_what_is_not_hot_or_too_near_is_no_numeral():
    assert marks.places(decoded([(0, 100, 90, 0.08)])) == []
    assert len(marks.places(decoded([(0, 100, 90, 0.9), (0, 105, 90, 0.8)]))) == 1
    assert len(marks.places(decoded([(0, 100, 90, 0.9), (0, 116, 90, 0.8)]))) == 2


def test_a_flat_top_counts_once_and_the_rim_is_no_trouble():
    heat = np.full((2, 64, 136), -6, np.float32)
    heat[0, 10, 20:22] = 2.0
    heat[1, 0, 135] = 2.0
    heat[1, 63, 0] = 2.0
    seen = marks.decode(
        np.zeros((6, 256, 544), np.float32),
        heat,
        np.zeros(2, np.float32),
    )
    found = marks.places(seen)
    assert sorted((n.on, round(n.x, 1)) for n in found[-2:]) == [
        ("thimble", 1.5),
        ("thimble", 541.5),
    ]
    assert [n.on for n in found].count("sleeve") == 1
    (flat,) = [n for n in found if n.on == "sleeve"]
    assert flat.x == pytest.approx(4 * 20.5 + 1.5, abs=0.05)


def test_maps_are_probabilities_and_read_only():
    seen = decoded([(0, 100, 90, 0.9)], whole=(np.log(3), -1000.0))
    assert seen.present == pytest.approx(0.75)
    assert seen.mirrored == 0.0
    assert np.allclose(seen.ridges, 1 / (1 + np.exp(4)), atol=1e-6)
    assert {m.dtype for m in (seen.ridges, seen.numeral_heat)} == {np.dtype(np.float32)}
    with pytest.raises(ValueError, match="read-only"):
        seen.ridges[0, 0, 0] = 1
    assert np.array_equal(seen.ridge("edge"), seen.ridges[3])


def test_ridges_are_named_in_the_order_the_network_is_trained_in():
    networks = pytest.importorskip("fixtures.training.networks", reason="needs torch")
    assert marks.RIDGES == networks.RIDGES
    assert marks.PLACES == networks.NUMERAL_PLACES
    assert marks.STRIDE_PX == networks.MARKS_STRIDE
    ridges = np.full((6, 256, 544), -9, np.float32)
    ridges[2] = 9
    seen = marks.decode(
        ridges,
        logit(heat_of([])),
        np.zeros(2, np.float32),
    )
    assert seen.ridge("division").min() > 0.99
    assert seen.ridge("graduation").max() < 0.01


@pytest.mark.parametrize(
    "wrong", [np.zeros((544, 256), np.uint8), np.zeros((256, 544), np.float32)]
)
def test_a_closeup_of_another_kind_is_refused(wrong):
    with pytest.raises(ValueError, match=r"a close-up is \(256, 544\) uint8"):
        marks.read_marks(wrong)


def test_a_shipped_file_runs_through_read_marks(tmp_path, monkeypatch):
    torch = pytest.importorskip("torch")
    pytest.importorskip("onnx")
    from fixtures.training import export, networks

    torch.manual_seed(4)
    net = networks.network("marks", 0.25).eval()
    (tmp_path / "weights").mkdir()
    export.rounded(net)
    export.export("marks", net.state_dict(), 0.25, tmp_path / "weights" / "marks.onnx")
    monkeypatch.setattr(vision.networks.resources, "files", lambda package: tmp_path)
    monkeypatch.setattr(vision.networks, "_HELD", threading.local())
    rng = np.random.default_rng(5)
    grey, other = rng.integers(0, 255, (2, 256, 544), dtype=np.uint8)
    seen = marks.read_marks(grey)
    with torch.no_grad():
        ridges, heat, _, whole = net(torch.from_numpy(vision.networks.standardise(grey)))
    assert np.allclose(seen.ridges, torch.sigmoid(ridges)[0].numpy(), atol=1e-4)
    assert np.allclose(seen.numeral_heat, torch.sigmoid(heat)[0].numpy(), atol=1e-4)
    assert seen.present == pytest.approx(float(torch.sigmoid(whole)[0, 0]), abs=1e-4)
    assert seen.ridges.std() > 0
    with ThreadPoolExecutor(2) as pool:  # two threads do not mix their pictures up
        several = list(pool.map(marks.read_marks, [grey, other] * 4))
    assert all(np.array_equal(seen.ridges, one.ridges) for one in several[::2])
    assert not np.array_equal(seen.ridges, several[1].ridges)
