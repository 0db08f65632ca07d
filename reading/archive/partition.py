"""One job of a cluster: some photos -> one file of rows, the same whoever does it and how often."""

from __future__ import annotations

import base64
import hashlib
import json
import uuid
from collections.abc import Sequence

from reading.archive.identity import weights_identity
from reading.archive.place import fsspec_module
from reading.archive.reader import Came, Settings, Task, read, scale_text, state_of
from reading.correct import program_version


class VersionError(RuntimeError):
    """A worker that would read otherwise than the machine that asked."""


def key_of(tasks: Sequence[Task], settings: Settings) -> str:
    """Name a partition by all that its rows depend on; a job done twice has one name."""
    told = [settings.program, settings.weights]
    for task in tasks:
        known = settings.by_gauge.get(task.named.gauge)
        told += [repr(task), scale_text(known.scale) if known else "?"]
        told += [state_of(task.named, known) if known else "?"]
    return hashlib.sha256("\n".join(told).encode("utf-8", "surrogatepass")).hexdigest()[:40]


def read_partition(tasks: Sequence[Task], settings: Settings, folder: str, key: str) -> str:
    """Read photos on one core of a worker and leave their rows in a file of the folder.

    The file is put in its place whole, under the partition's name; where it is already, as another
    worker had done the job, nothing is read.

    Parameters
    ----------
    tasks : sequence of Task
    settings : Settings
    folder : str
        A URL that the workers and the run reach alike.
    key : str
        Of `key_of`.

    Returns
    -------
    str
        The file's URL.

    Raises
    ------
    VersionError
        If another version is installed on the worker.
    """
    import cv2

    if settings.weights != weights_identity() or settings.program != program_version():
        raise VersionError(f"this worker has datumline {program_version()}, or other networks")
    cv2.setNumThreads(1)
    storage, root = fsspec_module().core.url_to_fs(folder)
    target = f"{root}/{key}.jsonl"
    if not storage.exists(target):
        lines = "".join(f"{_line(read(task, settings))}\n" for task in tasks)
        part = f"{root}/{key}.{uuid.uuid4().hex}.part"
        storage.pipe_file(part, lines.encode())
        storage.mv(part, target)
    return f"{folder}/{key}.jsonl"


def rows_of(url: str) -> list[Came]:
    """Read what came of a job's photos, in the order of its photos."""
    storage, path = fsspec_module().core.url_to_fs(url)
    return [_row(line) for line in storage.cat_file(path).decode().splitlines()]


def _line(row: Came) -> str:
    """Write what came of a photo as one line of JSON; bytes in base 64."""
    if isinstance(row, str):
        return json.dumps(row)
    cells = {
        name: {"bytes": base64.b64encode(cell).decode()} if isinstance(cell, bytes) else cell
        for name, cell in row.items()
    }
    return json.dumps(cells, allow_nan=False)


def _row(line: str) -> Came:
    cells = json.loads(line)
    if isinstance(cells, str):
        return cells
    return {
        name: base64.b64decode(cell["bytes"]) if isinstance(cell, dict) else cell
        for name, cell in cells.items()
    }
