"""One photo of an archive -> one row, whatever is wrong with it. Runs in a process of its own."""

from __future__ import annotations

import hashlib
import os
import tempfile
import threading
import time
import zipfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import IO

from reading import batch
from reading.archive.codes import FileFault
from reading.archive.columns import Row, fault_row, result_row
from reading.archive.naming import Named
from reading.archive.place import Found, Source, open_file
from reading.archive.zips import BROKEN, MOST_BYTES, fault_of, one_line, open_member, open_zip
from reading.batch import EdgeSet, Look
from reading.correct import choose_correction, correct, refused
from reading.known import KnownGauge
from reading.notices import notice
from reading.result import FROM_PHOTO, FROM_USER, Correction, Reading, Unusable, When
from vision.scale import Scale
from vision.sighting import Refusal

LookAt = Callable[[Path, Scale | None, EdgeSet | None], Look | Unusable]
Came = Row | str  # of a photo: its row, or the SHA-256 of a content that is on record already
DATED_BY_FILE = "file"  # beside those of reading.result: the photo has no time of its own
_CHUNK_BYTES = 1 << 20
_HEAD_BYTES = 16


@dataclass(frozen=True)
class Known(KnownGauge):
    """What photos of one gauge, or of none, are read and corrected with.

    `state` tells two such apart: it changes when the gauge's record or zero checks do.
    """

    state: str = ""


@dataclass(frozen=True)
class Settings:
    """What all photos of a run are read with; `look` reads one picture."""

    by_gauge: Mapping[str | None, Known] = field(default_factory=lambda: {None: Known()})
    program: str = ""
    weights: str = ""
    look: LookAt = batch.look


@dataclass(frozen=True)
class Task:
    """A photo to be read, and its place among the archive's files.

    `known` are the SHA-256 of contents for which the photo need not be looked at.
    """

    found: Found
    named: Named
    known: tuple[str, ...] = ()
    place: int = 0


def read(task: Task, settings: Settings) -> Came:
    """Read a photo of an archive.

    Returns
    -------
    dict or str
        The row; the SHA-256 where the file holds what need not be looked at. Never an exception:
        what is wrong with a file is in its row.
    """
    started = time.perf_counter()
    name, known = task.found.name, settings.by_gauge.get(task.named.gauge)
    try:
        if known is None:
            row = fault_row(name, "unknown_gauge", task.named.gauge or "")
        else:
            with fetched(task.found.source) as (path, sha256):
                fetched_at = time.perf_counter()
                if sha256 and sha256 in task.known:
                    return sha256
                row = _row(task, known, settings.look, path, sha256)
                row["fetch_s"] = round(fetched_at - started, 6)
    except FileFault as fault:
        row = fault_row(name, fault.code, fault.detail)
    except Exception as error:  # of ours; the run goes on, and the row tells
        row = fault_row(name, "unexpected_error", f"{type(error).__name__}: {one_line(error)}")
    row = labelled(row, task.named, known or Known())
    row |= {"size_bytes": task.found.size_bytes}
    row |= {"program": settings.program, "weights": settings.weights}
    row["read_s"] = round(time.perf_counter() - started, 6)
    row["read_at"] = datetime.now().isoformat(timespec="seconds")
    return row


def _row(task: Task, known: Known, look: LookAt, path: Path, sha256: str) -> Row:
    """Read a fetched file."""
    name = task.found.name
    seen = look(path, known.scale, known.edge_set_mm)
    if isinstance(seen, Unusable):
        words = seen.message.removeprefix(f"{path}: ").replace(str(path), "the file")
        row = result_row(name, Unusable(name, words), None)
        row["sha256"] = sha256
        return row
    looked = Look(replace(seen.photo, name=name), seen.seen)
    return corrected_row(looked, task.named, known, task.found.dated)


def corrected_row(looked: Look, named: Named, known: Known, file_dated: datetime) -> Row:
    """Make the row of what was seen, dated by what was said, else by the photo, else by its file.

    A refused photo gets its date and zero error too: what a person reads in it can be corrected.
    """
    if named.on is not None:
        when = When(named.on, FROM_USER)
    elif looked.photo.taken is not None:
        when = When(looked.photo.taken, FROM_PHOTO)
    else:
        when = When(file_dated, DATED_BY_FILE)
    name = looked.photo.name
    if isinstance(looked.seen, Refusal):
        row = result_row(name, refused(looked.photo, looked.seen, known.gauge), looked)
        return row | _correction_cells(when, known)
    reading = correct(looked.photo, looked.seen, when, known.gauge, known.checks, known.zero_days)
    if when.source == DATED_BY_FILE:
        reading = _file_dated(reading)
    return result_row(name, reading, looked)


def _correction_cells(when: When, known: Known) -> Row:
    """Give the date of a photo, and the zero check that would be taken off."""
    row: Row = {"dated": when.at.isoformat(timespec="seconds"), "dated_by": when.source}
    correction = choose_correction(known.gauge, known.checks, when.at)
    if known.gauge is not None and isinstance(correction, Correction):
        check = correction.check
        row |= {"zero_error_mm": float(known.gauge.scale.to_mm(check.zero_error))}
        row |= {"zero_check_date": check.at.date().isoformat(), "zero_check_number": check.number}
        row |= {"zero_check_age_days": correction.age_days}
    return row


def _file_dated(reading: Reading) -> Reading:
    """Warn that the zero check was chosen by the file's date."""
    if reading.gauge is None:
        return reading
    return replace(reading, notices=(*reading.notices, notice("file_dated")))


def labelled(row: Row, named: Named, known: Known) -> Row:
    """Add to a row what was known before the photo was read."""
    row |= {"gauge": named.gauge, "part": named.part}
    return row | {"scale_asked": scale_text(known.scale), "gauge_state": state_of(named, known)}


def scale_text(scale: Scale | None) -> str:
    """Write the scale that a photo is read with, in one line; nothing to infer it."""
    if scale is None:
        return ""
    vernier = f", vernier {scale.vernier}" if scale.vernier else ""
    backwards = ", reversed" if scale.reversed else ""
    return f"{scale.pitch} {scale.unit} / {scale.divisions} from {scale.start}{vernier}{backwards}"


def state_of(named: Named, known: Known) -> str:
    """Write what a photo is corrected with, apart from its own time."""
    on = named.on.isoformat() if named.on else ""
    return "|".join((named.gauge or "", known.state, named.part or "", on))


@contextmanager
def fetched(source: Source) -> Iterator[tuple[Path, str]]:
    """Give a file on this machine with a photo's bytes, and their SHA-256.

    The SHA-256 is empty for what is too large to be a photo.

    Raises
    ------
    FileFault
        If it can't be read, is empty or no photo.
    """
    try:
        if source.member is None and not source.remote:
            with open(source.path, "rb") as file:
                _check_head(file.read(_HEAD_BYTES))
                file.seek(0)
                small = os.fstat(file.fileno()).st_size <= MOST_BYTES
                sha256 = _copied(file, None) if small else ""
            yield Path(source.path), sha256
            return
        with tempfile.NamedTemporaryFile(prefix="datumline-", suffix=".photo") as copy:
            with opened(source) as file:
                sha256 = _copied(file, copy)
            copy.flush()
            with open(copy.name, "rb") as again:
                _check_head(again.read(_HEAD_BYTES))
            yield Path(copy.name), sha256
    except OSError as error:
        raise fault_of(error) from error


_HELD = threading.local()  # a thread's ZIP opened last, by path: its list is long to read


@contextmanager
def opened(source: Source) -> Iterator[IO[bytes]]:
    """Open a photo's bytes, wherever they lie."""
    if source.member is None:
        with open_file(source.path, source.remote) as file:
            yield file
        return
    packed = _held_zip(source)
    try:
        with open_member(packed, source.member) as file:
            yield file
    except BROKEN as error:
        raise FileFault("unusable_file", one_line(error)) from error


def _held_zip(source: Source) -> zipfile.ZipFile:
    """Open a ZIP, or give the one that this thread opened last."""
    held: dict[str, zipfile.ZipFile] = _HELD.__dict__
    if source.path not in held:
        for other in held.values():
            other.close()
        held.clear()
        held[source.path] = open_zip(source.path, source.remote)
    return held[source.path]


def _copied(file: IO[bytes], copy: IO[bytes] | None) -> str:
    """Hash a file's bytes, and copy them where asked to; FileFault if there are too many."""
    digest, count = hashlib.sha256(), 0
    while chunk := file.read(_CHUNK_BYTES):
        count += len(chunk)
        if count > MOST_BYTES:
            raise FileFault("unusable_file", f"over {MOST_BYTES // 10**6} MB")
        digest.update(chunk)
        if copy is not None:
            copy.write(chunk)
    return digest.hexdigest()


def _check_head(head: bytes) -> None:
    """Tell by its first bytes whether a file may be a photo."""
    if not head:
        raise FileFault("empty_file")
    heif = head[4:8] == b"ftyp"
    riff = head[:4] == b"RIFF" and head[8:12] == b"WEBP"
    if not (heif or riff or head.startswith(_MAGIC)):
        raise FileFault("not_a_photo", "a ZIP: name it .zip" if head[:4] == b"PK\x03\x04" else "")


# First bytes of JPEG, PNG, TIFF, BigTIFF and BMP (their specifications), as in vision.photo.
_MAGIC = (
    b"\xff\xd8\xff",
    b"\x89PNG\r\n\x1a\n",
    b"II*\x00",
    b"MM\x00*",
    b"II+\x00",
    b"MM\x00+",
    b"BM",
)
