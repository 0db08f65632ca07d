"""JPEG to grey in one strict decode: a file cut short or corrupt is an error, not a picture.

The usual decoders fill what is missing with grey and go on. Here the frame header is read first,
and the picture is decoded with one more row of blocks than it has: data that ends where the picture
ends leaves that row untouched, data with blocks lost or gained does not.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from PIL.JpegImagePlugin import JpegImageFile

if TYPE_CHECKING:
    from numpy.typing import NDArray

# Markers of ITU-T T.81 (09/92), table B.1.
_DHT, _SOI, _EOI, _SOS = 0xC4, 0xD8, 0xD9, 0xDA
_RESTARTS = range(0xD0, 0xD8)
_FRAMES = (0xC0, 0xC1, 0xC2, 0xC3, *range(0xC5, 0xC8), *range(0xC9, 0xCC), *range(0xCD, 0xD0))
_SEQUENTIAL_HUFFMAN = (0xC0, 0xC1)
_END_OF_BLOCK = 0x00  # T.81 F.1.2.2.1
_STANDALONE = (0x01, *_RESTARTS)  # markers without a length
_UNTOUCHED = 128  # grey of a block without coefficients: zero after the level shift of T.81 A.3.1
_LARGEST_SIDE_PX = 65500  # the limit of libjpeg (JPEG_MAX_DIMENSION in jmorecfg.h)
_MOST_SCANS = 100  # ten are usual for a progressive photo (libjpeg wizard.txt)
_PADDING_BYTES = 16  # a run of zeros at least this long before the end is filling, not picture


@dataclass(frozen=True)
class Frame:
    """What a JPEG's headers say: picture size, block size, and where the picture ends."""

    width_px: int
    height_px: int
    block_width_px: int  # of a minimum coded unit, T.81 A.2
    block_height_px: int
    height_at: int  # offset of the two bytes that hold the height
    scan_at: int  # offset of the first scan's data
    end: int  # offset just after the picture's last byte, EOI included
    countable: bool  # one sequential Huffman scan, so that blocks can be counted
    padding_shows: bool  # a block decoded from padding can't look untouched


def read_frame(data: bytes) -> Frame:
    """Read the headers of a JPEG and follow its scans to the end of the picture.

    What follows the picture (previews, clips, depth maps) is left out.

    Raises
    ------
    ValueError
        If the picture has no frame, no end, too many scans, or a marker where none may be.
    """
    frame: tuple[int, int] | None = None  # marker, offset of its length
    first_scan = scans = luminance = 0
    first_codes: dict[int, int] = {}
    at = 2
    while True:
        marker, at = _next_marker(data, at)
        if marker == _EOI:
            break
        if marker in _STANDALONE:
            continue
        length = int.from_bytes(data[at : at + 2], "big")
        if length < 2 or marker in (0x00, _SOI) or at + length > len(data):
            raise ValueError("corrupt picture data")
        if marker in _FRAMES:
            if frame:
                raise ValueError("corrupt picture data")
            frame = marker, at
        if marker == _DHT and not scans:
            first_codes |= _first_codes(data[at + 2 : at + length])
        at += length
        if marker == _SOS:
            scans += 1
            first_scan = first_scan or at
            luminance = data[at - length + 4] & 15 | 16
            at = _end_of_scan(data, at)
            if scans > _MOST_SCANS:
                raise ValueError(f"more than {_MOST_SCANS} scans")
    if frame is None or not first_scan:
        raise ValueError("no picture inside")
    countable = scans == 1 and frame[0] in _SEQUENTIAL_HUFFMAN
    padding_shows = countable and first_codes.get(luminance, _END_OF_BLOCK) != _END_OF_BLOCK
    return _frame(data, frame[1], first_scan, at, countable, padding_shows)


def _first_codes(tables: bytes) -> dict[int, int]:
    """Give what the code of zeros alone means in each Huffman table (T.81 B.2.4.2, C.2)."""
    first: dict[int, int] = {}
    while len(tables) > 17:
        first[tables[0]] = tables[17]
        tables = tables[17 + sum(tables[1:17]) :]
    return first


def _next_marker(data: bytes, at: int) -> tuple[int, int]:
    """Give the marker at an offset and the offset after it, fill bytes skipped (T.81 B.1.1.2)."""
    if data[at : at + 1] not in (b"\xff", b""):
        raise ValueError("corrupt picture data")
    while data[at : at + 1] == b"\xff":
        at += 1
    if at >= len(data):
        raise ValueError("cut short")
    return data[at], at + 1


def _end_of_scan(data: bytes, at: int) -> int:
    """Find the first marker after a scan's data that is neither stuffing nor a restart."""
    body = np.frombuffer(data, np.uint8, offset=at)
    flags = np.flatnonzero(body[:-1] == 0xFF)
    following = body[flags + 1]
    ends = flags[(following != 0) & (following != 0xFF) & (following & 0xF8 != _RESTARTS.start)]
    if not len(ends):
        raise ValueError("cut short")
    return at + int(ends[0])


def _frame(
    data: bytes, at: int, scan_at: int, end: int, countable: bool, padding_shows: bool
) -> Frame:
    """Take a frame header apart (T.81 B.2.2)."""
    height, width = (int.from_bytes(data[at + i : at + i + 2], "big") for i in (3, 5))
    components = data[at + 7]
    factors = data[at + 9 : at + 9 + 3 * components : 3]
    if not (width and height and components and len(factors) == components):
        raise ValueError("no picture size")
    # A single component is stored block by block, whatever its factors (T.81 A.2.2).
    across = max(f >> 4 for f in factors) if components > 1 else 1
    down = max(f & 15 for f in factors) if components > 1 else 1
    return Frame(
        width, height, 8 * across, 8 * down, at + 3, scan_at, end, countable, padding_shows
    )


def open_jpeg(data: bytes, frame: Frame) -> JpegImageFile:
    """Open a JPEG for `decode_grey`: its picture alone, with a row of blocks more if countable."""
    picture = data[: frame.end]
    if _countable(frame):
        body = picture[frame.scan_at : -2]
        padding = len(body) - len(body.rstrip(b"\x00"))
        if padding >= _PADDING_BYTES:
            body = body[:-padding]
        rows = -(-frame.height_px // frame.block_height_px) + 1
        height = (rows * frame.block_height_px).to_bytes(2, "big")
        head = picture[: frame.height_at] + height + picture[frame.height_at + 2 : frame.scan_at]
        picture = head + body + bytes((0xFF, _EOI))
    return JpegImageFile(io.BytesIO(picture))


def decode_grey(image: JpegImageFile, frame: Frame) -> NDArray[np.uint8]:
    """Decode what `open_jpeg` opened to its luminance, (H, W) uint8, in one pass.

    Raises
    ------
    ValueError
        If blocks were lost or gained on the way. Not noticed: damage that leaves the count of
        blocks as it was or stays between two restart markers, the loss of less than a row of
        blocks where the Huffman tables were made for the picture, and damage to the data of a
        progressive file, of which only the markers are checked.
    OSError
        If the decoder gives up.
    """
    image.draft("L", None)
    image.load()
    grey = np.asarray(image if image.mode == "L" else image.convert("L"))
    if _countable(frame) and image.mode == "L":
        _check_blocks(grey, frame)
    return grey[: frame.height_px]


def _countable(frame: Frame) -> bool:
    """Tell whether a picture may be given one more row of blocks."""
    return frame.countable and frame.height_px + 2 * frame.block_height_px <= _LARGEST_SIDE_PX


def _check_blocks(grey: NDArray[np.uint8], frame: Frame) -> None:
    """Raise ValueError unless the data ended with the last block of the picture's last row."""
    height, width = frame.block_height_px, frame.block_width_px
    added = grey[-height:]
    # The first added block takes the padding bits for data; the others are left untouched.
    if (added[:, width:] != _UNTOUCHED).any():
        raise ValueError("corrupt picture data")
    if (added[:, :width] != _UNTOUCHED).any():
        return
    tops = range(0, len(grey) - height, height)
    last = _untouched(grey[tops[-1] : -height], width)
    if not last[-1]:
        if frame.padding_shows:  # so the padding went into the picture's own last block
            raise ValueError("cut short")
        return
    untouched = np.concatenate([_untouched(grey[y : y + height], width) for y in tops])
    if untouched.all():
        return
    start = len(untouched) - int(np.argmin(untouched[::-1]))
    if not frame.padding_shows and start > len(untouched) - len(last):
        return  # a few blocks of grey say nothing here
    # A plain grey ground has grey above it too; where data ran out there is picture above.
    if start < len(last) or not untouched[start - len(last)]:
        raise ValueError("cut short")


def _untouched(row: NDArray[np.uint8], width: int) -> NDArray[np.bool_]:
    """Tell which blocks in a row of blocks hold nothing but the grey of no data."""
    columns = (row == _UNTOUCHED).all(axis=0)
    return np.logical_and.reduceat(columns, np.arange(0, len(columns), width))
