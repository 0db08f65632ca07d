"""Saving the pictures that show what was seen."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from reading.problem import Problem
from vision.sighting import Refusal, Sighting

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

JPEG_QUALITY = 90  # no visible loss, a tenth of a PNG's size (common practice)


def save_overlay(
    photo: Path,
    folder: Path,
    seen: Sighting | Refusal,
    lines: Sequence[str],
    taken: Collection[Path],
) -> Path:
    """Draw what was seen on a photo and save it in a folder, which is made if need be.

    Parameters
    ----------
    photo, folder : Path
    seen : Sighting or Refusal
    lines : sequence of str
        The decision, to be printed on the picture.
    taken : collection of Path
        Files of this run, which are not overwritten: photos of one name from two folders.

    Returns
    -------
    Path
        ``FOLDER/NAME.overlay.jpg``, with a number before the ending where that is taken.

    Raises
    ------
    Problem
        If the folder or file can't be written.
    """
    data = overlay_jpeg(photo, seen, lines)
    target = _free_name(folder, photo, taken)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        target.write_bytes(data)
    except OSError as error:
        raise Problem(
            f"{target}: the overlay can't be written ({error.strerror}), choose another folder"
        ) from error
    return target


def overlay_jpeg(
    photo: Path, seen: Sighting | Refusal, lines: Sequence[str], widest_px: int | None = None
) -> bytes:
    """Draw what was seen on a photo, as JPEG data; shrunk to `widest_px` where that is given."""
    from vision.overlay import draw
    from vision.photo import load

    return to_jpeg(draw(load(photo).grey, seen, lines), widest_px)


def to_jpeg(
    picture: NDArray[np.uint8], widest_px: int | None = None, quality: int = JPEG_QUALITY
) -> bytes:
    """Write a picture, grey or blue first, as JPEG data, at most `widest_px` wide."""
    import cv2

    height, width = picture.shape[:2]
    if widest_px is not None and width > widest_px:
        size = (widest_px, max(1, round(height * widest_px / width)))
        small = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
    else:
        small = picture
    _, data = cv2.imencode(".jpg", small, [cv2.IMWRITE_JPEG_QUALITY, quality])
    return data.tobytes()


def _free_name(folder: Path, photo: Path, taken: Collection[Path]) -> Path:
    """Name the overlay of a photo, apart from the other overlays of this run."""
    target = folder / f"{photo.name}.overlay.jpg"
    number = 2
    while target in taken:
        target = folder / f"{photo.name}.{number}.overlay.jpg"
        number += 1
    return target
