"""A file to grey pixels, upright, with the time it was taken: the only file reader here."""

from __future__ import annotations

import hashlib
import io
import os
import stat
import threading
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image
from PIL.BmpImagePlugin import BmpImageFile
from PIL.PngImagePlugin import PngImageFile
from PIL.TiffImagePlugin import TiffImageFile
from PIL.WebPImagePlugin import WebPImageFile

from vision.jpeg import decode_grey, open_jpeg, read_frame

if TYPE_CHECKING:
    from numpy.typing import NDArray

MAX_PIXELS = 64_000_000  # passes the 50-megapixel photos of phones
_BYTES_PER_PIXEL = 8  # four channels of 16 bits, the most that an uncompressed photo takes
_BYTES_BESIDE_PIXELS = 64_000_000  # clips, previews and profiles that phones append
_GROUND = 255  # what shows through transparent pixels: white paper

# Tags of Exif 2.32 (CIPA DC-008-2019), sections 4.6.4 and 4.6.5.
_ORIENTATION, _DATE_TIME, _EXIF_IFD, _DATE_TIME_ORIGINAL = 0x0112, 0x0132, 0x8769, 0x9003

# Exif orientation to what makes the stored rows and columns upright.
_UPRIGHT: dict[int, Callable[[NDArray[np.uint8]], NDArray[np.uint8]]] = {
    2: lambda a: a[:, ::-1],
    3: lambda a: a[::-1, ::-1],
    4: lambda a: a[::-1],
    5: lambda a: a.T,
    6: lambda a: a.T[:, ::-1],
    7: lambda a: a.T[::-1, ::-1],
    8: lambda a: a.T[::-1],
}

_HUSHING = threading.Lock()

_HEIF_BRANDS = (b"heic", b"heix", b"hevc", b"hevx", b"heim", b"heis", b"mif1", b"msf1")


class PhotoError(ValueError):
    """A file that can't be used as a photo; its text is one line with the file and the remedy."""


@dataclass(frozen=True)
class Photo:
    """A photo as it is meant to be looked at.

    `grey` is (H, W) uint8, read-only. `sha256` is that of the file's bytes. `taken` is the camera's
    own local time, None where the file has none. Where it was taken is not kept.
    """

    path: Path
    name: str
    sha256: str
    grey: NDArray[np.uint8] = field(repr=False, compare=False)
    taken: datetime | None


def load(path: Path, *, max_pixels: int = MAX_PIXELS) -> Photo:
    """Read a JPEG, PNG, TIFF, WebP, BMP or (with the heic extra) HEIC file as a grey photo.

    The format is told by content, the size is checked before anything is decoded, the first frame
    counts, colours become their luminance (ITU-R BT.601), 16 bits become 8 by their upper byte, and
    transparent pixels show white. At most about 12 bytes a pixel are in use on the way.

    Parameters
    ----------
    path : Path
        The file.
    max_pixels : int
        The largest picture taken, width times height.

    Raises
    ------
    PhotoError
        If the file can't be read, is not of these formats, is too large, cut short or corrupt. What
        can't be noticed in a JPEG is said in `vision.jpeg.decode_grey`.
    """
    data = _read(path, max_pixels * _BYTES_PER_PIXEL + _BYTES_BESIDE_PIXELS)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # Pillow's, about odd tags that are not used here
            grey, taken = _decode(data, max_pixels)
    except _UnusableError as error:
        raise PhotoError(f"{_shown(path)}: {error}") from None
    except MemoryError:
        raise PhotoError(
            f"{_shown(path)}: too little memory to decode it: shrink the picture"
        ) from None
    except Exception as error:  # a decoder fed with hostile bytes may raise anything
        raise PhotoError(
            f"{_shown(path)}: the file is damaged ({_one_line(error)}): "
            "copy it from the camera again, or save it anew"
        ) from error
    grey.flags.writeable = False
    return Photo(path, path.name, hashlib.sha256(data).hexdigest(), grey, taken)


class _UnusableError(Exception):
    """A sound file that is not taken; its text says why and what to do."""


def _read(path: Path, max_bytes: int) -> bytes:
    """Read a file's bytes; PhotoError if it is no ordinary file, empty or too long."""
    try:
        about = path.stat()
        if stat.S_ISDIR(about.st_mode):
            raise PhotoError(f"{_shown(path)}: a folder: name the photos in it")
        if not stat.S_ISREG(about.st_mode):
            raise PhotoError(
                f"{_shown(path)}: not an ordinary file: save the photo to a file first"
            )
        if about.st_size > max_bytes:
            raise PhotoError(
                f"{_shown(path)}: {about.st_size / 1e6:.0f} MB, at most {max_bytes / 1e6:.0f} MB "
                "allowed: save it as JPEG"
            )
        with path.open("rb") as file:
            data = file.read(max_bytes)
    except FileNotFoundError:
        raise PhotoError(f"{_shown(path)}: no such file: check the name and the folder") from None
    except PermissionError:
        raise PhotoError(f"{_shown(path)}: may not be read: change its permissions") from None
    except (OSError, ValueError) as error:
        if isinstance(error, PhotoError):
            raise
        raise PhotoError(
            f"{_shown(path)}: can't be read ({_one_line(error)}): copy it to this computer first"
        ) from None
    if not data:
        raise PhotoError(f"{_shown(path)}: the file is empty: copy it from the camera again")
    return data


def _decode(data: bytes, max_pixels: int) -> tuple[NDArray[np.uint8], datetime | None]:
    """Turn a file's bytes into upright grey pixels and the time they were taken."""
    if data.startswith(b"\xff\xd8\xff"):
        frame = read_frame(data)
        _check_size(frame.width_px, frame.height_px, max_pixels)
        jpeg = open_jpeg(data, frame)
        grey, exif = decode_grey(jpeg, frame), jpeg.getexif()
        return _upright(grey, exif), _taken(exif)
    image = _open(data)
    _check_size(*image.size, max_pixels)
    taken = _taken(image.getexif())
    with _hushed() if image.format == "TIFF" else nullcontext():
        image.load()
    # Read after the decode: some plugins turn the picture themselves and then drop the tag.
    return _upright(_grey(image), image.getexif()), taken


@contextmanager
def _hushed() -> Iterator[None]:
    """Keep libtiff, which reports to the terminal whatever it is asked, from writing there."""
    with _HUSHING:
        try:
            kept = os.dup(2)
        except OSError:  # there is no terminal to keep clean
            yield
            return
        try:
            with open(os.devnull, "wb") as nowhere:
                os.dup2(nowhere.fileno(), 2)
            yield
        finally:
            os.dup2(kept, 2)
            os.close(kept)


def _open(data: bytes) -> Image.Image:
    """Open the first frame of a file that is not JPEG, by its first bytes, without decoding it."""
    stream = io.BytesIO(data)
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return PngImageFile(stream)
    if data[:4] in (b"II*\x00", b"MM\x00*", b"II+\x00", b"MM\x00+"):
        return TiffImageFile(stream)
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return WebPImageFile(stream)
    if data.startswith(b"BM"):
        return BmpImageFile(stream)
    if data[4:8] == b"ftyp" and data[8:12] in _HEIF_BRANDS:
        try:
            from pillow_heif import HeifImageFile
        except ImportError:
            raise _UnusableError(
                "HEIC needs one more package: pip install 'datumline[heic]', or save it as JPEG"
            ) from None
        heic: Image.Image = HeifImageFile(stream)
        return heic
    raise _UnusableError("not a photo (JPEG, PNG, TIFF, WebP, BMP or HEIC): save it as JPEG")


def _check_size(width: int, height: int, max_pixels: int) -> None:
    if width * height > max_pixels:
        raise _UnusableError(
            f"{width} x {height} px, at most {max_pixels / 1e6:g} million allowed: "
            "shrink the picture, or crop it to the gauge"
        )


def _grey(image: Image.Image) -> NDArray[np.uint8]:
    """Turn a decoded picture of any mode into (H, W) uint8."""
    if image.mode.startswith("I;16"):
        return (np.asarray(image) >> 8).astype(np.uint8)
    if image.mode in ("I", "F"):
        raise _UnusableError("more than 16 bits a pixel: save it with 8 or 16")
    if image.has_transparency_data:
        image = image.convert("RGBA")
        ground = Image.new("L", image.size, _GROUND)
        ground.paste(image.convert("L"), mask=image.getchannel("A"))
        return np.asarray(ground)
    return np.asarray(image if image.mode == "L" else image.convert("L"))


def _upright(grey: NDArray[np.uint8], exif: Image.Exif) -> NDArray[np.uint8]:
    """Turn the stored pixels as the Exif orientation says; an unknown one leaves them."""
    turn = _UPRIGHT.get(exif.get(_ORIENTATION, 1))
    return np.ascontiguousarray(turn(grey)) if turn else grey


def _taken(exif: Image.Exif) -> datetime | None:
    """Read when a photo was taken, or else when its file was written, or None."""
    for text in (exif.get_ifd(_EXIF_IFD).get(_DATE_TIME_ORIGINAL), exif.get(_DATE_TIME)):
        try:
            return datetime.strptime(str(text).strip("\x00 "), "%Y:%m:%d %H:%M:%S")
        except ValueError:
            continue
    return None


def _shown(path: Path) -> str:
    """Write a path on one line, whatever its name holds."""
    text = str(path)
    return text if text.isprintable() else ascii(text)


def _one_line(error: Exception) -> str:
    """Write an error's own words on one line."""
    words = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
    return " ".join(words.split())[:100] or type(error).__name__
