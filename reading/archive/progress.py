"""How far a run is, at what rate, and how long it may take yet; only where a terminal watches."""

from __future__ import annotations

import sys
import threading
import time
from collections import deque
from collections.abc import Callable, Iterable
from itertools import count
from typing import TextIO

from reading.archive.run import Tally

EVERY_S = 0.2  # between two lines: a person can't read faster
RATE_OVER_S = 60.0  # what the rate is told from
Clock = Callable[[], float]


class Progress:
    """Writes one line, over and over.

    Parameters
    ----------
    count_files : callable
        Lists the archive's files once more, to know how many there are; it runs beside the reading.
    stream : text file
        Where to write; nothing is written where it is no terminal.
    clock : callable
        Seconds from any moment.
    """

    def __init__(
        self,
        count_files: Callable[[], Iterable[object]],
        stream: TextIO = sys.stderr,
        clock: Clock = time.monotonic,
    ) -> None:
        self._stream, self._clock = stream, clock
        self._watched = stream.isatty()
        self._total: int | None = None
        self._next, self._begun = 0.0, clock()
        self._lately: deque[tuple[float, int]] = deque()
        if self._watched:
            threading.Thread(target=self._count, args=(count_files,), daemon=True).start()

    def __call__(self, tally: Tally) -> None:
        """Write the line, if it is time to."""
        now = self._clock()
        if not self._watched or now < self._next:
            return
        self._next = now + EVERY_S
        self._lately.append((now, tally.newly_read))
        while len(self._lately) > 2 and now - self._lately[0][0] > RATE_OVER_S:
            self._lately.popleft()
        self._stream.write(f"\r{self.line(tally, now):<100}")
        self._stream.flush()

    def line(self, tally: Tally, now: float) -> str:
        """Say how far a run is."""
        total = "" if self._total is None else f" of {self._total}"
        parts = [f"{tally.files}{total} files"]
        rate = self._rate(now, tally.newly_read)
        if rate:
            parts.append(f"{rate:.1f} read a second")
        if rate and self._total is not None:
            left = max(0, self._total - tally.files) / rate
            parts.append(f"{in_words(left)} left")
        for number, words in ((tally.refused, "refused"), (tally.unusable, "unusable")):
            parts += [f"{number} {words}"] if number else []
        return ", ".join(parts)

    def end(self) -> None:
        """Go on to a line of its own."""
        if self._watched:
            self._stream.write("\n")

    def _rate(self, now: float, done: int) -> float:
        """Give the photos read a second, of late."""
        then, before = self._lately[0] if self._lately else (self._begun, 0)
        return (done - before) / (now - then) if now - then > 1.0 else 0.0

    def _count(self, count_files: Callable[[], Iterable[object]]) -> None:
        self._total = max((n for n, _ in zip(count(1), count_files(), strict=False)), default=0)


def in_words(seconds: float) -> str:
    """Write a time as a person would say it."""
    for unit, length in (("d", 86_400), ("h", 3600), ("min", 60)):
        if seconds >= 2 * length:
            return f"{seconds / length:.0f} {unit}"
    return f"{seconds:.0f} s"
