"""The networks that ship with the package: loading them, running them, and reading their maps."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from importlib import resources
from typing import TYPE_CHECKING

import cv2
import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

SPREAD = 1e-3  # share of the grey range added to a picture's standard deviation, as in training

# OpenCV 5's newer engine has no Winograd convolutions: it takes 1.3 to 1.8 times as long
_ENGINE = (cv2.dnn.ENGINE_CLASSIC,) if hasattr(cv2.dnn, "ENGINE_CLASSIC") else ()

_HELD = threading.local()  # a network keeps its input between calls: each thread has its own


def run(
    name: str, grey: NDArray[np.uint8], outputs: Sequence[str]
) -> tuple[NDArray[np.float32], ...]:
    """Run the network `name` on a grey picture of its size; it is loaded once a thread.

    Raises
    ------
    FileNotFoundError
        If the package was built without its weights.
    """
    if not hasattr(_HELD, name):
        setattr(_HELD, name, load(name))
    net: cv2.dnn.Net = getattr(_HELD, name)
    net.setInput(standardise(grey))
    return tuple(np.asarray(out, dtype=np.float32) for out in net.forward(list(outputs)))


def standardise(grey: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Bring a grey picture (H, W) to mean 0 and standard deviation 1, as (1, 1, H, W)."""
    mean, std = cv2.meanStdDev(grey)
    scale = 1.0 / (float(std[0, 0]) + 255.0 * SPREAD)
    return np.multiply(grey - np.float32(mean[0, 0]), np.float32(scale))[None, None]


def load(name: str) -> cv2.dnn.Net:
    """Load the network that ships as `weights/NAME.onnx`.

    Raises
    ------
    FileNotFoundError
        If the package was built without its weights.
    """
    file = resources.files("vision").joinpath("weights", f"{name}.onnx")
    if not file.is_file():
        raise FileNotFoundError(f"vision/weights/{name}.onnx: not there; install the package anew")
    with resources.as_file(file) as path:  # for bytes OpenCV 5.0 takes the newer engine even so
        return cv2.dnn.readNetFromONNX(str(path), *_ENGINE)


def sigmoid(logits: NDArray[np.float32]) -> NDArray[np.float32]:
    """1 / (1 + exp(-logit)), by the tangent, which cannot overflow."""
    return np.float32(0.5) + np.float32(0.5) * np.tanh(np.float32(0.5) * logits)


def peaks(heat: NDArray[np.float32], least: float, apart: int) -> list[tuple[int, int]]:
    """Find the (row, col) of every cell hotter than `least` and all cells within `apart` of it."""
    kernel = np.ones((2 * apart + 1, 2 * apart + 1), dtype=np.uint8)
    highest = cv2.dilate(np.ascontiguousarray(heat), kernel)
    rows, cols = np.nonzero((heat >= highest) & (heat >= least))
    ordered = sorted(zip(rows.tolist(), cols.tolist(), strict=True), key=lambda at: -heat[at])
    kept: list[tuple[int, int]] = []
    for row, col in ordered:  # equal neighbours: the first stands for all
        if all(max(abs(row - r), abs(col - c)) > apart for r, c in kept):
            kept.append((row, col))
    return kept
