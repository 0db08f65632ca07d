"""The same reading on a Dask cluster: photos in partitions, each read whole or not at all."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from itertools import groupby, islice
from typing import Any

from reading.archive.columns import Row, fault_row
from reading.archive.partition import key_of, read_partition, rows_of
from reading.archive.place import fsspec_module
from reading.archive.reader import Known, Settings, Task, labelled
from reading.archive.workers import Outcome
from reading.problem import Problem

AHEAD_PER_CORE = 2  # partitions handed out before their turn
CONNECT_S = 20.0
RETRIES = 2  # of a partition whose worker could not write it


@contextlib.contextmanager
def connected(
    address: str, settings: Settings, partition: int, parts: str
) -> Iterator[Callable[[Iterator[Task]], Iterator[Outcome]]]:
    """Connect to a cluster, and give what reads photos there as `workers.read_all` does here.

    Parameters
    ----------
    address : str
        The scheduler's, like ``tcp://10.0.0.5:8786``.
    settings : Settings
    partition : int
        Photos of one job.
    parts : str
        Folder (path or URL) that the workers and this machine reach alike, for the partitions;
        what is left of it is removed at the end.

    Raises
    ------
    Problem
        If the packages are missing or there is no cluster at that address.
    """
    try:
        from distributed import Client
    except ImportError:
        raise Problem("--cluster needs more packages: pip install 'datumline[cluster]'") from None
    folder = parts if "://" in parts else f"file://{os.path.abspath(parts)}"
    storage, root = fsspec_module().core.url_to_fs(folder)
    storage.makedirs(root, exist_ok=True)
    try:
        client = Client(address, timeout=CONNECT_S, set_as_default=False)
    except (OSError, ValueError) as error:
        raise Problem(f"--cluster {address}: no cluster answers there ({error})") from error
    with client:
        job = _Job(client, settings, partition, folder)
        yield job.outcomes
    storage.rm(root, recursive=True)


@dataclass
class _Job:
    """The partitions of one run on a cluster."""

    client: Any
    settings: Settings
    partition: int
    folder: str
    open: dict[str, list[Task]] = field(default_factory=dict)

    def outcomes(self, tasks: Iterator[Task]) -> Iterator[Outcome]:
        """Read photos on the cluster; outcomes come partition by partition, as they are ready."""
        from distributed import as_completed

        done = as_completed(loop=self.client.loop)
        cores = max(1, sum(self.client.nthreads().values()))
        partitions = _partitions(tasks, self.partition)
        for part in islice(partitions, AHEAD_PER_CORE * cores):
            done.add(self._submitted(part))
        while self.open:
            future = next(done)
            part = self.open.pop(future.key)
            again = []
            if future.status == "finished":
                yield from zip(part, rows_of(future.result()), strict=True)
            elif len(part) > 1 and _ended_its_worker(future):
                again = [[task] for task in part]  # one of them is at fault: each by itself
            elif _ended_its_worker(future):
                yield part[0], self._crashed(part[0])
            else:
                raise Problem(f"--cluster: a worker failed: {future.exception()}")
            following = again or list(islice(partitions, 1))
            for one in following:
                done.add(self._submitted(one))

    def _submitted(self, tasks: list[Task]) -> Any:
        """Hand out a partition, with the gauges that are in it."""
        by_gauge = self.settings.by_gauge
        wanted = {task.named.gauge for task in tasks}
        settings = replace(
            self.settings, by_gauge={name: by_gauge[name] for name in wanted if name in by_gauge}
        )
        key = key_of(tasks, settings)
        name = f"datumline-{key}"
        self.open[name] = tasks
        return self.client.submit(
            read_partition, tasks, settings, self.folder, key, key=name, retries=RETRIES
        )

    def _crashed(self, task: Task) -> Row:
        """Make the row of a photo that ended its workers."""
        known = self.settings.by_gauge.get(task.named.gauge) or Known()
        row = labelled(fault_row(task.found.name, "reader_crashed"), task.named, known)
        row |= {"size_bytes": task.found.size_bytes}
        return row | {"program": self.settings.program, "weights": self.settings.weights}


def _partitions(tasks: Iterator[Task], size: int) -> Iterator[list[Task]]:
    """Group photos by their place in the archive: a run that goes on makes the same groups."""
    for _, group in groupby(tasks, key=lambda task: task.place // size):
        yield list(group)


def _ended_its_worker(future: Any) -> bool:
    """Tell whether a partition took its workers down with it."""
    from distributed.scheduler import KilledWorker

    return isinstance(future.exception(), KilledWorker)
