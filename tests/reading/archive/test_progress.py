"""The line that says how far a run is."""

from __future__ import annotations

import io
import time

import pytest

from reading.archive.progress import Progress, in_words
from reading.archive.run import Tally


class Terminal(io.StringIO):
    def isatty(self):
        return True


def test_rate_and_time_left():
    clock = iter(float(n) for n in range(100))
    screen = Terminal()
    progress = Progress(lambda: range(100), screen, lambda: next(clock))
    while progress._total is None:  # counted beside the reading
        time.sleep(0.001)
    for done in range(0, 30, 5):
        progress(Tally(read=done, refused=done // 5))
    last = screen.getvalue().rpartition("\r")[2].strip()
    # 25 + 5 of 100 after 5 s: 30 / 5 s = 6 a second, 70 left at 6 a second is 12 s.
    assert last == "30 of 100 files, 6.0 read a second, 12 s left, 5 refused"


def test_nothing_is_written_where_nobody_watches():
    file = io.StringIO()
    progress = Progress(lambda: pytest.fail("counted for nobody"), file)
    progress(Tally(read=5))
    progress.end()
    assert file.getvalue() == ""


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(5, "5 s"), (119, "119 s"), (120, "2 min"), (7200, "2 h"), (90_000, "25 h"), (200_000, "2 d")],
)
def test_times_in_words(seconds, words):
    assert in_words(seconds) == words
