"""What lies in an archive on this machine: every file once, in the order of names."""

from __future__ import annotations

import os
import stat
from collections.abc import Collection, Iterator
from datetime import datetime
from pathlib import Path

from reading.archive.names import shown
from reading.archive.place import Fault, Found, Source
from reading.archive.zips import members, one_line

ZIP_ENDING = ".zip"


def walk(root: Path, leave_out: Collection[Path] = ()) -> Iterator[Found | Fault]:
    """List every file below a folder, and what lies in its ZIPs; or in one ZIP.

    Links to files are followed, links to folders are not: so no loop is possible, and no photo is
    found twice. Files are named, not opened, but for ZIPs.

    Parameters
    ----------
    root : Path
        The folder or ZIP.
    leave_out : collection of Path
        Files that are no part of the archive, as its results may lie in it.
    """
    hidden = {os.path.abspath(path) for path in leave_out}
    if not root.is_dir():
        yield from members(shown(root.name), str(root))
        return
    open_folders = [_listing(str(root), "")]
    while open_folders:
        for entry in open_folders[-1]:
            if isinstance(entry, Fault):
                yield entry
                continue
            name = f"{entry[1]}{os.fsdecode(entry[0].name)}"
            if entry[0].is_dir(follow_symlinks=False):
                open_folders.append(_listing(entry[0].path, f"{name}/"))
                break
            if os.path.abspath(entry[0].path) not in hidden:
                yield from _file(entry[0], shown(name))
        else:
            open_folders.pop()


def _listing(path: str, before: str) -> Iterator[Fault | tuple[os.DirEntry[str], str]]:
    """List a folder in the order of names, or say that it can't be."""
    try:
        with os.scandir(path) as entries:
            found = sorted(entries, key=lambda entry: os.fsencode(entry.name))
    except OSError as error:
        yield Fault(shown(before.rstrip("/")) or ".", "folder_unreadable", one_line(error))
        return
    for entry in found:
        yield entry, before


def _file(entry: os.DirEntry[str], name: str) -> Iterator[Found | Fault]:
    """Say what a file is, a ZIP member by member."""
    try:
        about = entry.stat()
    except OSError as error:
        linked = entry.is_symlink()
        yield Fault(name, "broken_link" if linked else "file_error", one_line(error))
        return
    if stat.S_ISDIR(about.st_mode):
        yield Fault(name, "linked_folder")
    elif not stat.S_ISREG(about.st_mode):
        yield Fault(name, "not_ordinary")
    elif entry.name.lower().endswith(ZIP_ENDING):
        yield from members(name, entry.path)
    else:
        yield Found(name, Source(entry.path), about.st_size, about.st_mtime_ns, file_date(about))


def file_date(about: os.stat_result) -> datetime:
    """Give a file's date, local and without a zone; the epoch where it is out of all range."""
    try:
        return datetime.fromtimestamp(about.st_mtime).replace(microsecond=0)
    except (OverflowError, OSError, ValueError):
        return datetime(1970, 1, 1)
