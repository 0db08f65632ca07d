"""Files that were moved, renamed or copied are known by their content: nothing is read twice."""

from __future__ import annotations

import json
import shutil
import sqlite3
from decimal import Decimal

from reading.archive import audit, changes
from reading.archive.asked import Options
from reading.archive.columns import COMPARED
from reading.archive.moves import Move, paired
from reading.archive.schema import STEPS
from reading.archive.store import Store
from reading.desk.decisions import CORRECT, Decision, decide
from tests.reading.archive import quick
from tests.reading.archive.conftest import lines_of, photos


def test_a_renamed_file_keeps_its_reading_and_is_told(archive, go, rows, results, log):
    root = archive(photos(4))
    go(root)
    before = rows()["0002.jpg"]
    (root / "sorted").mkdir()
    (root / "0002.jpg").rename(root / "sorted" / "second.jpg")
    said = go(root)
    assert len(lines_of(log)) == 4
    assert "0 read" in said[0]
    assert "3 unchanged, 1 known under another name" in said[0]
    assert said[1:] == [
        "  1 moved or renamed, and known by their content",
        "    sorted/second.jpg, moved from 0002.jpg: 0.146 mm shown",
    ]
    now = rows()
    assert set(now) == {"0000.jpg", "0001.jpg", "0003.jpg", "sorted/second.jpg"}
    same = [c for c in COMPARED if c not in ("photo", "dated")]
    assert [now["sorted/second.jpg"][c] for c in same] == [before[c] for c in same]
    with Store(results) as store:
        assert store.gone() == 0
        assert store.faults() == []
        (told,) = [json.loads(changes.to_json(one)) for one in changes.changes_of(store, 2)]
        assert (told["was"], told["photo"]) == ("0002.jpg", "sorted/second.jpg")


def test_a_moved_photo_is_corrected_for_the_gauge_of_its_new_folder(archive, go, rows, book, log):
    book("+0.02")
    options = Options(pattern="{gauge}/", book=book("+0.05", name="L08"))
    root = archive({"L07/a.jpg": quick.photo(3), "L08/b.jpg": quick.photo(4)})
    go(root, options)
    (root / "L07/a.jpg").rename(root / "L08/a.jpg")
    said = go(root, options)
    assert len(lines_of(log)) == 2
    assert rows()["L08/a.jpg"]["corrected_mm"] == 0.169
    assert "L08/a.jpg, moved from L07/a.jpg: " in said[-1]
    assert said[-1].endswith("; another gauge was named, another zero check is in force")


def test_back_under_its_old_name_it_is_moved_again(archive, go, rows, log):
    root = archive(photos(2))
    go(root)
    for old, new in (("0001.jpg", "x.jpg"), ("x.jpg", "0001.jpg")):
        (root / old).rename(root / new)
        assert f"    {new}, moved from {old}: 0.073 mm shown" in go(root)
    assert set(rows()) == {"0000.jpg", "0001.jpg"}
    assert len(lines_of(log)) == 2


def test_a_copy_is_a_row_of_its_own_and_no_move(archive, go, rows, log):
    root = archive(photos(2))
    go(root)
    shutil.copy(root / "0001.jpg", root / "copy.jpg")
    said = go(root)
    assert "1 known under another name" in said[0]
    assert len(said) == 1
    assert len(lines_of(log)) == 2
    assert rows()["copy.jpg"]["shown_mm"] == rows()["0001.jpg"]["shown_mm"]
    (root / "0001.jpg").unlink()  # the copy was there before: nothing was moved
    assert "1 photos of earlier runs are not there any more" in go(root)[1]


def test_what_was_decided_and_audited_goes_with_the_content(archive, go, results, log):
    root = archive({"a.jpg": quick.photo(3, confidence=0.5), "b.jpg": quick.photo(4, "refused")})
    go(root)
    with Store(results) as store:
        row = next(store.current("photo.photo = ?", "a.jpg"))
        decide(store, row, Decision(CORRECT, Decimal("0.22"), "mm"), "me")
        number = audit.draw(store, 1, 1, "none", "me")
        audit.enter(store, number, {1: "0.22 mm"}, "me")
    (root / "a.jpg").rename(root / "z.jpg")
    go(root)
    with Store(results) as store:
        row = next(store.current("photo.photo = ?", "z.jpg"))
        assert (row["verdict"], row["decided_shown"]) == ("correct", "0.22")
        _, (sampled,) = audit.sample(store, number)
        assert sampled["path"].endswith("z.jpg")
        assert audit.judge(store, number).rate.n == 1


def test_a_decision_on_a_file_that_was_never_read_is_that_file_s_alone(archive, go, results):
    go(archive({"a.jpg": b"", "b.jpg": b""}))
    with Store(results) as store:
        row = next(store.current("photo.photo = ?", "a.jpg"))
        decide(store, row, Decision("reject"), "me")
        assert [one["verdict"] for one in store.current()] == ["reject", None]


def test_files_that_kept_their_last_name_are_paired_first():
    found = [("s", was, 1, new) for was in ("a/x", "a/y") for new in ("b/v", "b/y")]
    assert paired(found) == [Move("b/y", "a/y", 1), Move("b/v", "a/x", 1)]
    assert paired([("s", "a", 1, "b"), ("s", "a", 1, "c")]) == [Move("b", "a", 1)]


def test_results_of_the_first_version_are_taken_over(archive, go, results, log):
    root = archive(photos(2))
    go(root)
    with sqlite3.connect(results) as plain:  # as the first version left it
        for made in ("INDEX reading_by_content", "INDEX reading_by_size", "TABLE move"):
            plain.execute(f"DROP {made}")
        plain.execute("DROP VIEW decided")
        plain.execute("ALTER TABLE photo DROP COLUMN since")
        plain.execute(next(one for one in STEPS[0] if "VIEW decided" in one))
        plain.execute("PRAGMA user_version = 1")
    plain.close()
    (root / "0001.jpg").rename(root / "x.jpg")
    assert "    x.jpg, moved from 0001.jpg: 0.073 mm shown" in go(root)
    assert len(lines_of(log)) == 2
