"""Which program and which networks read a photo, so that a row says what made it."""

from __future__ import annotations

import hashlib
from functools import cache
from importlib import resources
from importlib.metadata import PackageNotFoundError, version

LIBRARIES = ("numpy", "opencv-python", "pillow")  # whose versions may change a reading's last place


@cache
def weights_identity() -> str:
    """Give the SHA-256 over the networks that ship: their names and their own SHA-256, by name."""
    together = hashlib.sha256()
    folder = resources.files("vision").joinpath("weights")
    for file in sorted(folder.iterdir(), key=lambda one: one.name):
        if file.name.endswith(".onnx"):
            own = hashlib.sha256(file.read_bytes()).hexdigest()
            together.update(f"{own}  {file.name}\n".encode())
    return together.hexdigest()


def libraries() -> str:
    """Name the libraries that take part in a reading, with their versions."""
    return ", ".join(f"{name} {_version(name)}" for name in LIBRARIES)


def _version(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return "unknown"
