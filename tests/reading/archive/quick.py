"""A reader that costs nothing, for archives of made-up files: what a file says is what it shows.

A file made by `photo` holds JPEG's first bytes, a word and a number. The word says what befalls its
reader: ``shows`` a reading, ``refused``, ``ends`` the process, ``hangs``, or ``fails`` with a bug.
"""

from __future__ import annotations

import hashlib
import os
import signal
import time
from datetime import datetime
from decimal import Decimal
from pathlib import Path

from reading.batch import Look
from reading.result import PhotoRecord, Unusable
from vision.reasons import reason
from vision.scale import Scale
from vision.sighting import Alternative, Evidence, Numeral, Refusal, Sighting

HEAD = b"\xff\xd8\xff"  # with which every JPEG begins (ITU-T T.81, B.1.1.3)
FINE = Scale(Decimal("0.5"), 50)
LOG = "DATUMLINE_TEST_LOG"  # names a file that gets a line for every photo read
PAUSE = "DATUMLINE_TEST_PAUSE"  # seconds that a photo takes
STEP = "DATUMLINE_TEST_STEP"  # divisions from one number's reading to the next


def photo(number: int, word: str = "shows", confidence: float = 0.98) -> bytes:
    """Make a file's content."""
    return HEAD + f" {word} {number} {confidence}".encode()


def sighting(number: int, scale: Scale | None = None, confidence: float = 0.98) -> Sighting:
    """Say what the file of a number shows."""
    turns, division = divmod(number * float(os.environ.get(STEP, "7.3")), 50)
    others = (
        Alternative(int(turns), division, confidence),
        Alternative(int(turns) + 1, division, 0.01),
    )
    evidence = Evidence(
        to_closeup=(1.0, 0.0, 2.5, 0.0, 1.0, 3.5),
        closeup_size=(420, 240),
        reference_line=((1.0, 2.0), (3.0, 4.0)),
        numerals=(Numeral((5.0, 6.0), "sleeve", 5, 0.9),),
    )
    return Sighting(
        scale or FINE,
        scale is not None,
        1.0 if scale else 0.9,
        int(turns),
        division,
        0.1,
        confidence,
        12.5,
        0.01,
        0.012,
        others,
        evidence,
    )


def look(path: Path, scale: Scale | None, edge_set_mm: object = None) -> Look | Unusable:
    """Read a made-up file, as `reading.batch.look` reads a photo."""
    data = path.read_bytes()
    if log := os.environ.get(LOG):
        with open(log, "a") as file:
            file.write(f"{hashlib.sha256(data).hexdigest()}\n")
    time.sleep(float(os.environ.get(PAUSE, "0")))
    words = data.removeprefix(HEAD).split()
    record = PhotoRecord(
        str(path), hashlib.sha256(data).hexdigest(), datetime(2026, 1, 1 + int(words[1]) % 28, 9)
    )
    match words[0].decode():
        case "shows":
            return Look(record, sighting(int(words[1]), scale, float(words[2])))
        case "refused":
            return Look(record, Refusal((reason("blurred"),), scale))
        case "ends":
            os.kill(os.getpid(), signal.SIGKILL)
        case "hangs":
            time.sleep(3600)
        case "fails":
            raise ZeroDivisionError("a bug of ours")
    return Unusable(str(path), f"{path}: damaged: copy it again")
