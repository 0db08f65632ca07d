"""Files that were moved or renamed: names that are gone, and new ones with their content."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class Move:
    """A photo that was there under another name, and its last reading under that."""

    photo: str
    was: str
    reading: int


def paired(found: Iterable[tuple[str, str, int, str]]) -> list[Move]:
    """Pair the names that are gone with the new ones, each at most once.

    Parameters
    ----------
    found : iterable of (content, name that is gone, its reading, new name)
        Every pair that may be.

    Returns
    -------
    list of Move
        Of several files with one content those that kept their last name go together first, then
        the rest in the order of names.
    """
    contents: dict[str, list[Move]] = defaultdict(list)
    for content, was, reading, photo in found:
        contents[content].append(Move(photo, was, reading))
    moves = []
    for may_be in contents.values():
        taken: set[str] = set()
        for one in sorted(may_be, key=_likeliest_first):
            if one.photo not in taken and one.was not in taken:
                moves.append(one)
                taken |= {one.photo, one.was}
    return moves


def _likeliest_first(move: Move) -> tuple[bool, str, str]:
    return (_last(move.photo) != _last(move.was), move.photo, move.was)


def _last(name: str) -> str:
    return name.rpartition("/")[2]
