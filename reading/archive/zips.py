"""What lies in a ZIP, without trusting it: names, sizes and counts are checked before any byte."""

from __future__ import annotations

import os
import stat
import struct
import zipfile
import zlib
from collections.abc import Iterator
from datetime import datetime
from typing import IO

from reading.archive.codes import FileFault
from reading.archive.names import shown
from reading.archive.place import Fault, Found, Source, open_file

# A photo is packed already, and deflate can't do better than 1032 : 1 (RFC 1951, and the arithmetic
# in zlib's "technical details"). What claims more than these is no photo (common practice).
MOST_BYTES = 576_000_000  # of one member: what vision.photo takes of a file
LARGE_BYTES, MOST_RATIO = 20_000_000, 200.0  # of one member: from this size, this many times
MOST_TOTAL_RATIO = 1100.0  # of all members to the file: above it they overlap
MOST_LIST_BYTES = 128_000_000  # of the list of members, which is held in memory: about 1 million
_END, _END_BYTES, _MOST_COMMENT = b"PK\x05\x06", 22, 65_535  # APPNOTE 4.3.16
_LOCATOR_BYTES, _END64 = 20, b"PK\x06\x06"  # APPNOTE 4.3.15, 4.3.14
_UTF8_NAME, _ENCRYPTED = 0x800, 0x1  # general purpose flags, APPNOTE 4.4.4
_KNOWN = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED, zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA)


class _OwningZip(zipfile.ZipFile):
    """A ZIP that closes the file it was opened from."""

    def __init__(self, file: IO[bytes]) -> None:
        self._owned = file
        super().__init__(file)

    def close(self) -> None:
        super().close()
        self._owned.close()


def members(name: str, path: str, *, remote: bool = False) -> Iterator[Found | Fault]:
    """List what lies in a ZIP: files that may be photos, and what was not unpacked and why.

    Parameters
    ----------
    name : str
        The ZIP's name as shown.
    path : str
        Where it is, exactly.
    remote : bool
        Whether `path` is a URL for fsspec.
    """
    try:
        packed = open_zip(path, remote)
    except FileFault as fault:
        yield Fault(name, fault.code, fault.detail)
        return
    with packed:
        infos = packed.infolist()
        size = _size(packed)
        if sum(info.file_size for info in infos) > max(MOST_TOTAL_RATIO * size, LARGE_BYTES):
            yield Fault(name, "zip_bomb", f"{size} bytes hold {len(infos)} overlapping files")
            return
        seen: dict[str, int] = {}
        for place, info in enumerate(infos):
            if info.is_dir():
                continue
            inner = shown(exact_name(info))
            count = seen[inner] = seen.get(inner, 0) + 1
            full = f"{name}/{inner}" + (f"\\#{count}" if count > 1 else "")
            code = _objection(info)
            if code:
                yield Fault(full, code)
            else:
                source = Source(path, place, remote)
                yield Found(full, source, info.file_size, info.CRC, _dated(info))


def open_zip(path: str, remote: bool) -> zipfile.ZipFile:
    """Open a ZIP whose list is not too long; FileFault if it can't be."""
    try:
        file = open_file(path, remote)
    except OSError as error:
        raise fault_of(error) from error
    try:
        if _list_bytes(file) > MOST_LIST_BYTES:
            raise FileFault("zip_too_many", f"its list alone is over {MOST_LIST_BYTES // 10**6} MB")
        return _OwningZip(file)
    except FileFault:
        file.close()
        raise
    except MemoryError as error:
        file.close()
        raise FileFault("zip_too_many") from error
    except Exception as error:  # a list of members may be anything
        file.close()
        raise FileFault("zip_unreadable", one_line(error)) from error


def open_member(packed: zipfile.ZipFile, place: int) -> IO[bytes]:
    """Open one member; FileFault if it is not there any more or can't be unpacked."""
    infos = packed.infolist()
    if place >= len(infos):
        raise FileFault("vanished")
    code = _objection(infos[place])
    if code:
        raise FileFault(code)
    return packed.open(infos[place])


# What unpacking raises where the bytes are not what the list says.
BROKEN = (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, ValueError)


def exact_name(info: zipfile.ZipInfo) -> str:
    """Give a member's name as its bytes stand in the ZIP, read as UTF-8 where they are."""
    if info.flag_bits & _UTF8_NAME:
        return info.orig_filename
    return os.fsdecode(info.orig_filename.encode("cp437"))


def fault_of(error: OSError) -> FileFault:
    """Say by code what the system said of a file."""
    if isinstance(error, FileNotFoundError):
        return FileFault("vanished")
    if isinstance(error, PermissionError):
        return FileFault("not_permitted")
    return FileFault("file_error", one_line(error))


def one_line(error: BaseException) -> str:
    """Write an error's own words on one line."""
    words = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
    return shown(" ".join(words.split())[:100]) or type(error).__name__


def _objection(info: zipfile.ZipInfo) -> str:
    """Say why a member is not unpacked, by code; nothing where it may be."""
    name = exact_name(info).replace("\\", "/")
    parts = name.split("/")
    if ".." in parts or name.startswith("/") or "\0" in name or name[1:2] == ":":
        return "zip_unsafe_name"
    if stat.S_ISLNK(info.external_attr >> 16):
        return "zip_link"
    if info.flag_bits & _ENCRYPTED:
        return "zip_encrypted"
    if info.compress_type not in _KNOWN:
        return "zip_method"
    ratio = info.file_size / max(info.compress_size, 1)
    if info.file_size > MOST_BYTES or (info.file_size > LARGE_BYTES and ratio > MOST_RATIO):
        return "zip_bomb"
    return "zip_in_zip" if name.lower().endswith(".zip") else ""


def _dated(info: zipfile.ZipInfo) -> datetime:
    """Give a member's date; the first day that ZIPs know where it has none."""
    try:
        return datetime(*info.date_time)
    except ValueError:
        return datetime(1980, 1, 1)


def _size(packed: zipfile.ZipFile) -> int:
    assert packed.fp is not None
    packed.fp.seek(0, os.SEEK_END)
    return packed.fp.tell()


def _list_bytes(file: IO[bytes]) -> int:
    """Read from a ZIP's end how long its list of members is; 0 where that is not found."""
    size = file.seek(0, os.SEEK_END)
    tail_from = max(0, size - _END_BYTES - _MOST_COMMENT - _LOCATOR_BYTES)
    file.seek(tail_from)
    tail = file.read()
    file.seek(0)
    at = tail.rfind(_END)
    if at < 0 or at + _END_BYTES > len(tail):
        return 0
    (length,) = struct.unpack_from("<I", tail, at + 12)
    if length != 0xFFFFFFFF or at < _LOCATOR_BYTES:
        return int(length)
    (record_at,) = struct.unpack_from("<Q", tail, at - _LOCATOR_BYTES + 8)
    file.seek(record_at)
    record = file.read(56)
    file.seek(0)
    if not record.startswith(_END64) or len(record) < 56:
        return 0
    return int(struct.unpack_from("<Q", record, 40)[0])
