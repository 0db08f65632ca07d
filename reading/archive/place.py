"""Where a photo of an archive lies: a file, a member of a ZIP, or a file behind fsspec."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import IO, cast

from reading.problem import Problem


@dataclass(frozen=True)
class Source:
    """Where a photo's bytes are.

    `path` is exact (surrogates stand for bytes that are no UTF-8), a URL where `remote`. `member`
    is the place in the list of a ZIP.
    """

    path: str
    member: int | None = None
    remote: bool = False


@dataclass(frozen=True)
class Found:
    """One file of the archive that may be a photo.

    `name` is its path below the archive, as `names.shown` writes it; a member of a ZIP goes by the
    ZIP's path and its own. `stamp` tells a changed file: the time of its change in ns, or the
    CRC-32 of a member. `dated` is the file's date, local.
    """

    name: str
    source: Source
    size_bytes: int
    stamp: int
    dated: datetime


@dataclass(frozen=True)
class Fault:
    """Something of the archive that can't be opened: its name, a code of `codes`, what was said."""

    name: str
    code: str
    detail: str = ""


def open_file(path: str, remote: bool) -> IO[bytes]:
    """Open a file of this machine, or any that fsspec reaches."""
    if not remote:
        return open(path, "rb")
    return cast("IO[bytes]", fsspec_module().open(path, "rb").open())


def fsspec_module():  # type: ignore[no-untyped-def]
    """Import fsspec, or say how to get it."""
    try:
        import fsspec
    except ImportError:
        raise Problem(
            "photos behind a URL need one more package: pip install 'datumline[cluster]'"
        ) from None
    return fsspec
