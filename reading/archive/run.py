"""Going through an archive: what must be read, what is on record already, and what came of it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace
from datetime import datetime

from reading.archive import codes, seen
from reading.archive.columns import EYES_UNUSABLE, READ, Row, fault_row, same
from reading.archive.naming import Named, Naming
from reading.archive.place import Fault, Found
from reading.archive.reader import (
    DATED_BY_FILE,
    Came,
    Known,
    Settings,
    Task,
    corrected_row,
    labelled,
    scale_text,
    state_of,
)
from reading.archive.store import Asked, Settled, Store
from reading.archive.workers import Outcome
from reading.batch import Look
from reading.result import FROM_PHOTO, PhotoRecord

ReadAll = Callable[[Iterator[Task]], Iterator[Outcome]]
Watch = Callable[["Tally"], None]  # told after every file


@dataclass(frozen=True)
class Request:
    """What is asked of a run, apart from where the photos lie and who reads them.

    `again` has photos read anew that another version read or that could not be used, as for want of
    a package; `trust_times` takes a file of the same size and time as unchanged without looking
    into it.
    """

    naming: Naming
    settings: Settings
    again: bool = False
    trust_times: bool = False


@dataclass
class Tally:
    """What came of a run so far. `older` counts rows that another version read, and that hold."""

    run: int = 0
    goes_on: bool = False
    done_before: int = 0
    read: int = 0
    refused: int = 0
    unusable: int = 0
    no_photos: int = 0
    of_unknown_gauges: int = 0
    unchanged: int = 0
    elsewhere: int = 0  # known by their content from another name
    corrected_anew: int = 0
    older: int = 0
    unknown_gauges: set[str] = field(default_factory=set)
    listed: set[str] = field(default_factory=set)  # lines of the manifest that a file was found for

    @property
    def files(self) -> int:
        """Files gone through, this time."""
        known = self.unchanged + self.elsewhere + self.corrected_anew
        return self.newly_read + known + self.done_before

    @property
    def newly_read(self) -> int:
        """Files that were opened and read, or found unusable."""
        entered = self.read + self.refused + self.unusable
        return entered + self.no_photos + self.of_unknown_gauges

    def count(self, row: Row) -> None:
        """Count a row that was entered."""
        if row["codes"] == "unknown_gauge":
            self.of_unknown_gauges += 1
            self.unknown_gauges.add(str(row["gauge"]))
        elif row["status"] == READ:
            self.read += 1
        elif row["eyes"] == EYES_UNUSABLE:
            self.unusable += 1
        elif row["eyes"] is None:
            self.no_photos += 1
        else:
            self.refused += 1


def go_through(
    store: Store,
    asked: Asked,
    request: Request,
    found: Iterable[Found | Fault],
    read_all: ReadAll,
    watch: Watch,
) -> Tally:
    """Go through an archive, or go on with it, and leave every file of it on record once.

    Parameters
    ----------
    store : Store
        The results, locked for this run.
    asked : Asked
        What this run is; one that was stopped and asked the same goes on.
    request : Request
    found : iterable of Found or Fault
        What lies in the archive, every name once.
    read_all : callable
        Reads tasks: on this machine's cores, or on a cluster.
    watch : callable
        Told the tally after every file.
    """
    number, goes_on = store.begin(asked)
    tally = Tally(number, goes_on)
    plan = _Plan(store, request, tally)
    for task, came in read_all(plan.tasks(found, watch)):
        plan.settle(task, came)
        watch(tally)
    store.finish(number)
    return tally


class _Plan:
    """One run: decides what to read, and enters what came of it."""

    def __init__(self, store: Store, request: Request, tally: Tally) -> None:
        self._store, self._request, self._tally = store, request, tally

    def tasks(self, found: Iterable[Found | Fault], watch: Watch) -> Iterator[Task]:
        """Give the photos that must be read; what needs no reading is entered at once."""
        for place, one in enumerate(found):
            if line := self._request.naming.line_of(one.name):
                self._tally.listed.add(line)
            if isinstance(one, Fault):
                row = fault_row(one.name, one.code, one.detail)
                self._enter(labelled(row, self._request.naming.of(one.name), Known()), None)
                watch(self._tally)
                continue
            task = self._task(one)
            if task is None:
                watch(self._tally)
            else:
                yield replace(task, place=place)

    def settle(self, task: Task, came: Came) -> None:
        """Enter what came of a photo: its row, or which content on record it holds."""
        if not isinstance(came, str):
            self._enter(came, task.found)
            return
        settled = self._store.settled(task.found.name)
        if settled is not None and settled.sha256 == came:
            self._unchanged(task, settled)
        else:
            self._known_elsewhere(task, came)

    def _task(self, found: Found) -> Task | None:
        """Say how a file must be read; None where it is settled already."""
        named = self._request.naming.of(found.name)
        known = self._request.settings.by_gauge.get(named.gauge)
        settled = self._store.settled(found.name)
        if settled is None:
            return Task(found, named, self._contents(found, named, known))
        same_file = (settled.size_bytes, settled.stamp) == (found.size_bytes, found.stamp)
        if settled.run == self._tally.run and same_file:
            self._tally.done_before += 1
            return None
        if known is None or self._must_read(settled, named, known):
            return Task(found, named)
        if self._request.trust_times and same_file:
            self._unchanged(Task(found, named), settled)
            return None
        others = () if same_file else self._contents(found, named, known)
        return Task(found, named, (settled.sha256, *others))

    def _contents(self, found: Found, named: Named, known: Known | None) -> tuple[str, ...]:
        """Give the contents on record that the file may hold, whose readings would do for it."""
        if known is None:
            return ()
        may_be = self._store.of_size(found.size_bytes, found.name)
        would_do = (one.sha256 for one in may_be if not self._must_read(one, named, known))
        return tuple(dict.fromkeys(would_do))

    def _must_read(self, settled: Settled, named: Named, known: Known) -> bool:
        """Tell whether a photo must be read although its content may be what it was."""
        if settled.scale_asked != scale_text(known.scale):
            return True
        told = (settled.codes or "").split()
        if any(code in codes.PASSING for code in told):
            return True
        if self._request.again and (self._is_older(settled) or "unusable_file" in told):
            return True
        if settled.gauge_state == state_of(named, known):
            return False
        return not _correctable(self._store.reading(settled.reading))

    def _is_older(self, settled: Settled) -> bool:
        ours = (self._request.settings.program, self._request.settings.weights)
        return (settled.program, settled.weights) != ours

    def _unchanged(self, task: Task, settled: Settled) -> None:
        """Enter a photo whose content is what it was; correct it anew where its gauge is not."""
        known = self._request.settings.by_gauge[task.named.gauge]
        if settled.gauge_state == state_of(task.named, known):
            self._tally.older += self._is_older(settled)
            self._store.touch(self._tally.run, task.found.name, task.found)
            self._tally.unchanged += 1
            return
        self._take_over(task, settled)
        self._tally.corrected_anew += 1

    def _known_elsewhere(self, task: Task, sha256: str) -> None:
        """Enter a photo whose content was read under another name."""
        known = self._request.settings.by_gauge[task.named.gauge]
        there = self._store.of_content(sha256)
        self._take_over(
            task, next(one for one in there if not self._must_read(one, task.named, known))
        )
        self._tally.elsewhere += 1

    def _take_over(self, task: Task, settled: Settled) -> None:
        """Enter what was read of a content, corrected as the photo asks."""
        known = self._request.settings.by_gauge[task.named.gauge]
        self._tally.older += self._is_older(settled)
        row = corrected_anew(self._store.reading(settled.reading), task, known)
        self._store.keep(self._tally.run, row, task.found)

    def _enter(self, row: Row, found: Found | None) -> None:
        """Enter a row, unless it only says again what is on record."""
        name = str(row["photo"])
        settled = self._store.settled(name)
        if settled is not None and same(row, self._store.reading(settled.reading)):
            self._store.touch(self._tally.run, name, found)
            self._tally.unchanged += 1
            return
        self._store.keep(self._tally.run, row, found)
        self._tally.count(row)


def _correctable(row: Row) -> bool:
    """Tell whether a row can be corrected anew without its photo: the photo's own time is known."""
    return row["seen"] is None or row["dated_by"] in (FROM_PHOTO, DATED_BY_FILE)


def corrected_anew(row: Row, task: Task, known: Known) -> Row:
    """Correct what was seen once more, with another zero error or for another gauge.

    What the picture showed stays as it was read, and so does which version read it.
    """
    name = task.found.name
    if isinstance(row["seen"], bytes):
        by_photo = row["dated_by"] == FROM_PHOTO
        taken = datetime.fromisoformat(str(row["dated"])) if by_photo else None
        looked = Look(PhotoRecord(name, str(row["sha256"]), taken), seen.unpack(row["seen"]))
        fresh = corrected_row(looked, task.named, known, task.found.dated)
    else:
        fresh = row | {"photo": name}
    kept = ("size_bytes", "program", "weights", "fetch_s", "read_s", "read_at")
    fresh |= {column: row[column] for column in kept}
    return labelled({n: fresh[n] for n in row if n in fresh}, task.named, known)
