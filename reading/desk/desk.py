"""The desk: photos that need eyes, one by one, until they are decided on or somebody stops."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from reading.archive import eyes
from reading.archive.columns import Row
from reading.archive.store import Store
from reading.desk import orders
from reading.desk.decisions import Decision, decide, undo
from reading.desk.orders import GoTo
from reading.length import plain
from reading.problem import Problem
from reading.terminal import DONE, USER_ERROR, Say

SHOWN_REASONS = 3
PICTURE_PX = 1280  # widest, fits a screen


@dataclass(frozen=True)
class Sitting:
    """Who sits at the desk, of which gauge, where pictures go, and what opens them.

    `strict` stops at a line that is not understood: what follows it was meant for other photos.
    """

    who: str
    gauge: str | None = None
    pictures: Path | None = None
    show: Callable[[Path], None] | None = None
    at_once: bool = False  # whether each picture is opened without being asked for
    strict: bool = False


class Desk:
    """Goes through what needs eyes.

    Parameters
    ----------
    store : Store
    sitting : Sitting
    say, complain : callable
        Print a line.
    """

    def __init__(self, store: Store, sitting: Sitting, say: Say, complain: Say) -> None:
        self._store, self._sitting, self._say, self._complain = store, sitting, say, complain
        self._queue = [str(row["photo"]) for row in self._rows(eyes.OPEN)]
        self._later: set[str] = set()
        self._decided = 0

    def run(self, lines: Iterable[str]) -> int:
        """Go through the photos with the lines that are typed; give the exit code."""
        typed = iter(lines)
        name = self._next()
        while name is not None:
            row = self._row(name)
            path = self._present(row)
            name, code = self._dealt_with(row, path, typed)
            if code is not None:
                return code
        self._close("nothing is left")
        return DONE

    def _dealt_with(
        self, row: Row, path: Path | None, typed: Iterator[str]
    ) -> tuple[str | None, int | None]:
        """Take lines until they settle a photo; the next photo, or the code to end with."""
        for text in typed:
            if not text.strip():
                continue
            try:
                order = orders.understood(text, row)
                if isinstance(order, GoTo):
                    return str(self._row(order.photo)["photo"]), None
            except Problem as problem:
                self._complain(f"  {problem}")
                if self._sitting.strict:
                    self._close("stopped there")
                    return None, USER_ERROR
                continue
            following = self._obeyed(order, row, path)
            if following is not None:
                return following, None
            if order == orders.QUIT:
                self._close("the rest stays for another time")
                return None, DONE
            if isinstance(order, Decision) or order == orders.LATER:
                return self._next(), None
        self._close("the rest stays for another time")
        return None, DONE

    def _obeyed(self, order: orders.Order, row: Row, path: Path | None) -> str | None:
        """Do what was said; give the photo to go to, where that follows from it."""
        name = str(row["photo"])
        match order:
            case Decision():
                decide(self._store, row, order, self._sitting.who)
                self._say(f"  {decision_words(order)}")
                self._decided += 1
                self._later.add(name)  # it is off the queue for this sitting either way
            case orders.LATER:
                self._later.add(name)
            case orders.UNDO:
                back = undo(self._store, self._sitting.who)
                if back is None:
                    self._complain("  there is no decision of yours to undo")
                else:
                    self._say(f"  undone: {back}")
                    self._decided -= 1
                    self._later.discard(back)
                return back
            case orders.OPEN:
                self._open(path)
            case orders.HELP_WANTED:
                self._say(orders.HELP)
        return None

    def _present(self, row: Row) -> Path | None:
        """Put a photo on the desk: its name, what is wrong, the choices, its picture."""
        left = sum(name not in self._later for name in self._queue)
        self._say(f"{row['photo']!s}: {eyes.what_was_read(row)}   ({left} to go)")
        for line in eyes.reasons(row)[:SHOWN_REASONS]:
            self._say(f"  {line}")
        path = None
        if self._sitting.pictures is not None:
            try:
                path = self._picture(row, self._sitting.pictures)
                self._say(f"  picture: {path}")
            except Problem as problem:
                words = str(problem).removeprefix(f"{row['photo']!s}: ")
                self._say(f"  no picture: {words}")
        for number, words in enumerate(eyes.choices(row), start=1):
            self._say(f"  {number}  {words}")
        if row["verdict"] is not None:
            self._say(f"  decided before: {row['verdict']!s} {row['decided_shown'] or ''!s}")
        if self._sitting.at_once:
            self._open(path)
        return path

    def _picture(self, row: Row, folder: Path) -> Path:
        """Save the picture with what was seen."""
        data = eyes.overlay(row, PICTURE_PX)
        path = folder / f"{int(row['number'] or 0):07d}.overlay.jpg"
        try:
            folder.mkdir(parents=True, exist_ok=True)
            path.write_bytes(data)
        except OSError as error:
            raise Problem(f"{path}: can't be written ({error.strerror})") from error
        return path

    def _open(self, path: Path | None) -> None:
        if path is None or self._sitting.show is None:
            self._complain("  there is no picture to open")
        else:
            self._sitting.show(path)

    def _next(self) -> str | None:
        """Give the next photo of the queue that was not dealt with in this sitting."""
        return next((name for name in self._queue if name not in self._later), None)

    def _row(self, name: str) -> Row:
        """Give a photo's row; Problem if there is none of that name."""
        found = next(self._store.current("photo.photo = ?", name), None)
        if found is None:
            raise Problem(f"@{name}: no photo of that name in {self._store.path}")
        if name not in self._queue:
            self._queue.append(name)
        return found

    def _rows(self, where: str) -> Iterator[Row]:
        if self._sitting.gauge is None:
            return self._store.current(where)
        return self._store.current(f"{where} AND reading.gauge = ?", self._sitting.gauge)

    def _close(self, words: str) -> None:
        left = sum(1 for _ in self._rows(eyes.OPEN))
        self._say(f"{self._decided} decided, {left} still need eyes: {words}")


def decision_words(decision: Decision) -> str:
    """Say what was entered."""
    length = "" if decision.shown is None else f" {plain(decision.shown)} {decision.unit}"
    note = f" ({decision.note})" if decision.note else ""
    return f"{decision.verdict}{length}{note}"
