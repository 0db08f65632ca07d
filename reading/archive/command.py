"""What `datumline archive` does, from what was typed to lines and an exit code."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from reading import batch
from reading.archive import changes, export
from reading.archive.asked import Options, asked_of, request_of
from reading.archive.place import Fault, Found
from reading.archive.progress import Progress
from reading.archive.reader import LookAt, Task
from reading.archive.run import Request, Tally, go_through
from reading.archive.store import Store, locked
from reading.archive.walk import ZIP_ENDING, walk
from reading.archive.workers import PATIENCE_S, Outcome, read_all
from reading.problem import Problem
from reading.terminal import DONE, Say

SHOWN_NAMES = 5  # of gauges that are not in the book, or photos that are not there
MANY_PHOTOS = 1_000_000  # so many that every core is worth a process


@dataclass(frozen=True)
class ArchiveRequest:
    """Where an archive lies, where its results go, and who reads it."""

    root: str
    results: Path
    workers: int | None = None
    patience_s: float = PATIENCE_S
    cluster: str | None = None
    partition: int = 64
    parts: str | None = None


def read_archive(
    wanted: ArchiveRequest, options: Options, say: Say, look: LookAt = batch.look
) -> int:
    """Read an archive, or go on with it, and say what came of it; give the exit code."""
    export.check_ending(wanted.results)
    request = request_of(options, look)
    working = export.store_of(wanted.results)
    list_files = _listing(wanted, working)
    progress = Progress(list_files)
    with locked(working), Store(working, create=True) as store, _reading(wanted, request) as reader:
        try:
            asked = asked_of(_absolute(wanted.root), request, options)
            tally = go_through(store, asked, request, list_files(), reader, progress)
        finally:
            progress.end()
        for line in tally_lines(tally, store.gone()):
            say(line)
        missing = sorted(request.naming.manifest.keys() - tally.listed)
        if missing:
            say(f"  listed in the manifest, but not there: {_some(missing)}")
        for line in changes.summary_lines(store, tally.run):
            say(line)
        if working != wanted.results:
            count = export.export(store, wanted.results)
            say(f"{wanted.results}: {count} rows (worked in {working}, keep it to go on)")
    return DONE


def tally_lines(tally: Tally, gone: int) -> list[str]:
    """Say what a run came to."""
    again = f", {tally.done_before} had been read before it was stopped" if tally.goes_on else ""
    parts = [f"{tally.read} read", f"{tally.refused} refused", f"{tally.unusable} unusable"]
    parts += [f"{tally.no_photos} no photos"] if tally.no_photos else []
    unknown = tally.of_unknown_gauges
    parts += [f"{unknown} not read for want of their gauge"] if unknown else []
    parts += [f"{tally.unchanged} unchanged"] if tally.unchanged else []
    parts += [f"{tally.elsewhere} known under another name"] if tally.elsewhere else []
    parts += [f"{tally.corrected_anew} corrected anew"] if tally.corrected_anew else []
    lines = [f"run {tally.run}: {tally.files} files: {', '.join(parts)}{again}"]
    if gone:
        lines.append(f"  {gone} photos of earlier runs are not there any more; their rows stay")
    if tally.older:
        lines.append(f"  {tally.older} were read by another version: --again reads them anew")
    if tally.unknown_gauges:
        lines.append(
            f"  gauges that are not in the book: {_some(sorted(tally.unknown_gauges))}: enter "
            "them (datumline gauge add) and run again"
        )
    return lines


def _some(names: Sequence[str]) -> str:
    """Write the first of many names."""
    return ", ".join([*names[:SHOWN_NAMES], *(["…"] if len(names) > SHOWN_NAMES else [])])


def _listing(wanted: ArchiveRequest, working: Path) -> Callable[[], Iterator[Found | Fault]]:
    """Give what lists the archive's files; Problem if there is no archive."""
    if "://" in wanted.root:
        from reading.archive.remote import walk_remote

        return lambda: walk_remote(wanted.root)
    root = Path(wanted.root).absolute()  # workers of a cluster stand elsewhere
    if not root.is_dir() and not (root.is_file() and root.suffix.lower() == ZIP_ENDING):
        raise Problem(f"{wanted.root}: no folder and no ZIP here, name the archive's folder")
    ours = [working, wanted.results] + [
        working.with_name(working.name + ending) for ending in ("-wal", "-shm", "-journal", ".lock")
    ]
    return lambda: walk(root, ours)


def _absolute(root: str) -> str:
    return root if "://" in root else str(Path(root).absolute())


@contextmanager
def _reading(
    wanted: ArchiveRequest, request: Request
) -> Iterator[Callable[[Iterator[Task]], Iterator[Outcome]]]:
    """Give what reads tasks: processes of this machine, or a cluster."""
    if wanted.cluster is not None:
        from reading.archive.cluster import connected

        parts = wanted.parts or f"{wanted.results}.parts"
        with connected(wanted.cluster, request.settings, wanted.partition, parts) as reader:
            yield reader
        return
    workers = wanted.workers or batch.worker_count(MANY_PHOTOS)
    yield lambda tasks: read_all(tasks, request.settings, workers, wanted.patience_s)
