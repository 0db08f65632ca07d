"""What a person reads an audit's sample from: a page of pictures, and a form to fill in."""

from __future__ import annotations

import csv
from pathlib import Path

from reading.archive import audit, eyes
from reading.archive.store import Store
from reading.pages import html
from reading.problem import Problem

PAGE, FORM = "audit.html", "audit.csv"
PICTURE_PX = 2000  # widest: a division of a scale that fills the picture is still 10 px
HOW = (
    "Write into {form} what each picture shows, as on the scale, the zero error not taken off: "
    "a number and its unit, or ? where it can't be read. Nothing here says what was read."
)


def check_free(folder: Path) -> None:
    """Problem if another audit's form lies in a folder."""
    if (folder / FORM).exists():
        raise Problem(f"{folder / FORM}: is there already, name another folder")


def save(store: Store, number: int, folder: Path) -> int:
    """Save the page and the form of an audit; neither tells what was read. Give the count.

    Raises
    ------
    Problem
        If the files can't be written, or are there already.
    """
    check_free(folder)
    _, rows = audit.sample(store, number)
    parts = [html.paragraph(HOW.format(form=FORM))]
    for row in rows:
        parts.append(html.heading(str(row["place"])))
        try:
            parts.append(html.jpeg(eyes.blind(row, PICTURE_PX), f"Picture {row['place']!s}"))
        except Problem as problem:
            parts.append(html.paragraph(f"This picture can't be shown. {problem}"))
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with (folder / FORM).open("x", newline="", encoding="utf-8") as file:
            table = csv.writer(file, lineterminator="\n")
            table.writerow(audit.FORM)
            table.writerows((row["place"], "", eyes.unit_of(row)) for row in rows)
    except OSError as error:
        raise Problem(f"{folder}: can't be written ({error.strerror}), name another") from error
    html.save(html.page(f"Audit {number}", parts), folder / PAGE)
    return len(rows)
