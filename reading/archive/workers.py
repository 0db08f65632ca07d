"""Processes that read photos; one that dies or hangs costs its photo a row, and never the run."""

from __future__ import annotations

import multiprocessing
import signal
import time
from collections import deque
from collections.abc import Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from multiprocessing.connection import Connection, wait
from multiprocessing.context import SpawnProcess

from reading.archive.columns import Row, fault_row
from reading.archive.reader import Came, Known, Settings, Task, labelled, read

AHEAD = 2  # photos handed to a process at once, so that it need not wait for the next
TRIES = 2  # a photo that ends its process twice is at fault; once may be the machine
PATIENCE_S = 120.0  # for one photo: a hundred times what one takes
START_S = 120.0  # for a process to begin, before any photo's time counts
READY = None  # what a process says first
Outcome = tuple[Task, Came]


@dataclass
class _Worker:
    """A process, the way to it, and the photos it has in hand, in their order."""

    process: SpawnProcess
    way: Connection
    in_hand: deque[Task] = field(default_factory=deque)
    since: float = 0.0  # when it took up the first of them; while it starts, later by `START_S`
    ready: bool = False


def read_all(
    tasks: Iterable[Task], settings: Settings, workers: int, patience_s: float = PATIENCE_S
) -> Iterator[Outcome]:
    """Read photos with so many processes; outcomes come as they are ready.

    Parameters
    ----------
    tasks : iterable of Task
        Taken as they are needed, so that memory stays flat.
    settings : Settings
    workers : int
        1 or more.
    patience_s : float
        How long one photo may take.

    Yields
    ------
    (Task, row or SHA-256)
        As `reader.read` gives it. Every task comes out once.
    """
    pool = _Pool(iter(tasks), settings, patience_s)
    try:
        pool.fill(workers)
        while pool.busy:
            yield from pool.outcomes()
    finally:
        pool.close()


class _Pool:
    """The processes of one run, and the photos to be read again after a process died."""

    def __init__(self, tasks: Iterator[Task], settings: Settings, patience_s: float) -> None:
        self._tasks, self._settings, self._patience_s = tasks, settings, patience_s
        self._workers: list[_Worker] = []
        self._again: deque[Task] = deque()
        self._deaths: dict[str, int] = {}

    @property
    def busy(self) -> bool:
        """Whether any photo is in hand."""
        return any(worker.in_hand for worker in self._workers)

    def fill(self, workers: int) -> None:
        """Start processes and hand each its first photos."""
        for _ in range(workers):
            worker = self._start()
            self._workers.append(worker)
            self._hand_out(worker)

    def outcomes(self) -> Iterator[Outcome]:
        """Wait for the next news: outcomes, or a process that died or hangs."""
        busy = {worker.way: worker for worker in self._workers if worker.in_hand}
        first = min(worker.since for worker in busy.values())
        ready = wait(list(busy), max(0.0, first + self._patience_s - time.monotonic()))
        for way in ready:
            assert isinstance(way, Connection)
            yield from self._receive(busy[way])
        for worker in busy.values():
            late = worker.in_hand and time.monotonic() - worker.since > self._patience_s
            if late and not worker.way.poll():
                task = worker.in_hand.popleft()
                self._replace(worker)
                detail = f"over {self._patience_s:g} s"
                yield task, self._fault(task, "timed_out", detail)
        for worker in self._workers:
            if not worker.in_hand:
                self._hand_out(worker)

    def close(self) -> None:
        """End all processes."""
        for worker in self._workers:
            worker.way.close()
            worker.process.kill()
        for worker in self._workers:
            worker.process.join()
            worker.process.close()

    def _start(self) -> _Worker:
        # Fresh processes, not copies of this one: threads of libraries do not survive copying.
        context = multiprocessing.get_context("spawn")
        ours, theirs = context.Pipe()
        process = context.Process(target=_serve, args=(theirs, self._settings), daemon=True)
        process.start()
        theirs.close()
        return _Worker(process, ours)

    def _hand_out(self, worker: _Worker) -> None:
        """Hand out photos up to `AHEAD`; one that ended a process before is handed out alone."""
        while len(worker.in_hand) < AHEAD:
            if worker.in_hand and self._deaths.get(worker.in_hand[0].found.name):
                return
            task = self._again.popleft() if self._again else next(self._tasks, None)
            if task is None:
                return
            if worker.in_hand and self._deaths.get(task.found.name):
                self._again.appendleft(task)
                return
            if not worker.in_hand:
                worker.since = time.monotonic() + (0.0 if worker.ready else START_S)
            worker.in_hand.append(task)
            try:
                worker.way.send(task)
            except OSError:  # it has died: noticed when its outcome is waited for
                return

    def _receive(self, worker: _Worker) -> Iterator[Outcome]:
        try:
            said: Came | None = worker.way.recv()
        except (EOFError, OSError):
            yield from self._bury(worker)
            return
        if said is READY:
            worker.ready, worker.since = True, time.monotonic()
            return
        task = worker.in_hand.popleft()
        worker.since = time.monotonic()
        self._hand_out(worker)
        yield task, said

    def _bury(self, worker: _Worker) -> Iterator[Outcome]:
        """Replace a process that died; its first photo is read again, or at fault."""
        task = worker.in_hand.popleft()
        name = task.found.name
        self._deaths[name] = self._deaths.get(name, 0) + 1
        at_fault = self._deaths[name] >= TRIES
        if at_fault:
            del self._deaths[name]
        else:
            self._again.append(task)
        self._replace(worker)
        if at_fault:
            yield task, self._fault(task, "reader_crashed", "")

    def _replace(self, worker: _Worker) -> None:
        """Start a fresh process in place of one; what it had in hand is read again."""
        self._again.extend(worker.in_hand)
        worker.way.close()
        worker.process.kill()
        worker.process.join()
        fresh = self._start()
        worker.process, worker.way = fresh.process, fresh.way
        worker.in_hand, worker.ready = deque(), False
        self._hand_out(worker)

    def _fault(self, task: Task, code: str, detail: str) -> Row:
        """Make the row of a photo that could not be read to its end."""
        known = self._settings.by_gauge.get(task.named.gauge) or Known()
        row = labelled(fault_row(task.found.name, code, detail), task.named, known)
        row |= {"size_bytes": task.found.size_bytes}
        return row | {"program": self._settings.program, "weights": self._settings.weights}


def _serve(way: Connection, settings: Settings) -> None:
    """Read photos until nobody asks any more, on one core."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the run's own process says when to stop
    import cv2

    cv2.setNumThreads(1)
    with suppress(EOFError, OSError):  # nobody is there any more
        way.send(READY)
        while True:
            task = way.recv()
            way.send(read(task, settings))
