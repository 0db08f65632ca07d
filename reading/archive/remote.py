"""What lies in an archive behind a URL, for every kind of storage that fsspec reaches."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from typing import Any

from reading.archive.names import shown
from reading.archive.place import Fault, Found, Source, fsspec_module
from reading.archive.walk import ZIP_ENDING
from reading.archive.zips import members, one_line
from reading.problem import Problem

# What kinds of storage call the time of a file's change.
TIMES = ("mtime", "LastModified", "last_modified", "updated", "modified", "created")
CHANGED = ("ETag", "etag", "md5Hash", "checksum")  # and what tells a changed content


def walk_remote(url: str) -> Iterator[Found | Fault]:
    """List every file below a URL, and what lies in its ZIPs, in the order of names.

    The URL names a folder, or a ZIP.

    Raises
    ------
    Problem
        If fsspec is not there, knows no such storage, or finds nothing there.
    """
    fsspec = fsspec_module()
    if url.startswith("zip://"):
        raise Problem(f"{url}: name the ZIP itself, by an address like file:///archive.zip")
    try:
        storage, root = fsspec.core.url_to_fs(url)
        packed = root.lower().endswith(ZIP_ENDING) and storage.isfile(root)
        if not packed and not storage.isdir(root):
            raise Problem(f"{url}: no folder and no ZIP here, check the address")
    except (ImportError, ValueError, OSError) as error:
        raise Problem(f"{url}: can't be opened ({one_line(error)})") from error
    if packed:
        yield from members(shown(root.rpartition("/")[2]), url, remote=True)
        return
    yield from _folder(storage, root, root.rstrip("/"))


def _folder(storage: Any, folder: str, root: str) -> Iterator[Found | Fault]:
    """List a folder and those in it, entry by entry."""
    try:
        entries = sorted(storage.ls(folder, detail=True), key=lambda entry: str(entry["name"]))
    except OSError as error:
        name = shown(folder.removeprefix(root).strip("/")) or "."
        yield Fault(name, "folder_unreadable", one_line(error))
        return
    for entry in entries:
        path = str(entry["name"])
        name = shown(path.removeprefix(root).strip("/"))
        if entry["type"] == "directory":
            linked = entry.get("islink", False)
            if linked:
                yield Fault(name, "linked_folder")
            elif path.rstrip("/") != folder.rstrip("/"):
                yield from _folder(storage, path, root)
        elif entry["type"] != "file":
            yield Fault(name, "broken_link" if entry.get("islink") else "not_ordinary")
        elif path.lower().endswith(ZIP_ENDING):
            yield from members(name, storage.unstrip_protocol(path), remote=True)
        else:
            source = Source(storage.unstrip_protocol(path), None, True)
            yield Found(name, source, int(entry["size"] or 0), _stamp(entry), _dated(entry))


def _stamp(entry: dict[str, Any]) -> int:
    """Give a number that changes with the file: of its tag where it has one, else of its time."""
    for key in (*CHANGED, *TIMES):
        if entry.get(key) is not None:
            value = entry[key]
            if isinstance(value, float):
                return round(value * 1e9)
            return _number(str(value))
    return 0


def _number(text: str) -> int:
    """Turn a tag into a number that SQLite holds."""
    import hashlib

    return int.from_bytes(hashlib.sha256(text.encode()).digest()[:7])


def _dated(entry: dict[str, Any]) -> datetime:
    """Give a file's date, local and without a zone; the epoch where its storage tells none."""
    for key in TIMES:
        value = entry.get(key)
        try:
            if isinstance(value, datetime):
                return value.astimezone().replace(tzinfo=None, microsecond=0)
            if isinstance(value, int | float):
                return datetime.fromtimestamp(value).replace(microsecond=0)
            if isinstance(value, str):
                moment = datetime.fromisoformat(value)
                return moment.astimezone().replace(tzinfo=None, microsecond=0)
        except (ValueError, OSError, OverflowError):
            continue
    return datetime(1970, 1, 1)
