"""What people decide on photos: entered beside what was read, never over it; undone by a row."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from reading.archive.columns import Row
from reading.archive.store import Store
from reading.length import plain

ACCEPT, CORRECT, REJECT, UNDO = "accept", "correct", "reject", "undo"


@dataclass(frozen=True)
class Decision:
    """A person's word on a photo: its reading as shown, or that it can't be read."""

    verdict: str
    shown: Decimal | None = None
    unit: str | None = None
    note: str = ""

    def __post_init__(self) -> None:
        if self.verdict not in (ACCEPT, CORRECT, REJECT):
            raise ValueError(f"verdict {self.verdict!r}: {ACCEPT}, {CORRECT} or {REJECT}")
        if (self.shown is None) != (self.verdict == REJECT) or (self.shown is None) != (
            self.unit is None
        ):
            raise ValueError(f"{self.verdict}: a length with its unit, and none to reject")


def decide(store: Store, row: Row, decision: Decision, who: str) -> int:
    """Enter a decision on a photo's row, and give its number; the newest one holds."""
    shown = None if decision.shown is None else plain(decision.shown)
    cells = (_now(), who, row["photo"], row["sha256"], row["number"], decision.verdict)
    with store.change() as change:
        done = change.execute(
            "INSERT INTO decision (at, who, photo, sha256, reading, verdict, shown, unit, note) "
            "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (*cells, shown, decision.unit, decision.note),
        )
        return int(done.lastrowid or 0)


def undo(store: Store, who: str) -> str | None:
    """Take back a person's newest decision that holds; give its photo, or None if there is none.

    The decision before it on that photo, if any, holds again.
    """
    with store.change() as change:
        last = change.execute(
            "SELECT * FROM decision WHERE who = ? AND verdict != ? AND number NOT IN "
            "(SELECT undoes FROM decision WHERE undoes NOT NULL) ORDER BY number DESC LIMIT 1",
            (who, UNDO),
        ).fetchone()
        if last is None:
            return None
        change.execute(
            "INSERT INTO decision (at, who, photo, sha256, reading, verdict, note, undoes) "
            "VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
            (_now(), who, last["photo"], last["sha256"], last["reading"], UNDO, "", last["number"]),
        )
        return str(last["photo"])


def _now() -> str:
    return datetime.now().isoformat(timespec="seconds")
