"""Networks are loaded from the package, lazily, and see what they were trained to see."""

from __future__ import annotations

import subprocess
import sys
from importlib import resources

import cv2
import numpy as np
import pytest

from vision import networks

SHAPES = {"finder": (384, 384), "marks": (256, 544), "gap": (288, 160), "numerals": (80, 96)}


def test_pictures_are_standardised_as_in_training():
    torch = pytest.importorskip("torch")
    from fixtures.training import networks as trained_networks

    grey = np.random.default_rng(3).integers(90, 110, (256, 544), dtype=np.uint8)
    trained = trained_networks.standardise(
        torch.from_numpy(grey[None, None].astype(np.float32) / 255)
    ).numpy()
    assert np.allclose(networks.standardise(grey), trained, atol=1e-4)
    assert networks.standardise(np.full((8, 9), 7, np.uint8)).max() == 0


def test_gain_and_offset_do_not_matter():
    grey = np.random.default_rng(3).integers(20, 120, (256, 544), dtype=np.uint8)
    assert np.allclose(networks.standardise(grey), networks.standardise(2 * grey + 10), atol=0.02)


def test_no_weights_say_so():
    with pytest.raises(FileNotFoundError, match="install the package anew"):
        networks.load("nothing_of_that_name")


@pytest.mark.parametrize("name", list(SHAPES))
def test_the_quicker_engine_gives_what_the_usual_one_gives(name):
    grey = np.random.default_rng(4).integers(0, 255, SHAPES[name], dtype=np.uint8)
    file = resources.files("vision").joinpath("weights", f"{name}.onnx")
    usual = cv2.dnn.readNetFromONNX(np.frombuffer(file.read_bytes(), np.uint8))
    loaded = networks.load(name)
    for net in (usual, loaded):
        net.setInput(networks.standardise(grey))
    names = loaded.getUnconnectedOutLayersNames()
    assert names
    for ours, theirs in zip(loaded.forward(names), usual.forward(names), strict=True):
        assert np.abs(ours - theirs).max() < 1e-3  # of logits


def test_importing_loads_no_network():
    code = (
        "import vision.marks, vision.finder, vision.networks as n;"
        "print(vars(n._HELD), 'torch' in __import__('sys').modules)"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ran.stdout.strip() == "{} False"
