"""Going through an archive once and again: each photo once, and only what changed anew."""

from __future__ import annotations

import os

import pytest

from reading.archive.asked import Options
from reading.archive.columns import COMPARED, LEFT_OUT, NAMES
from reading.archive.store import Store, StoreError, locked
from reading.formats import COLUMNS
from reading.problem import Problem
from tests.reading.archive import quick
from tests.reading.archive.conftest import lines_of, photos


def test_rows_hold_what_read_says_and_no_column_is_forgotten():
    assert set(COLUMNS) <= {*NAMES, *LEFT_OUT}


def test_a_row_says_what_was_read_and_what_read_it(archive, go, rows):
    go(archive({"a.jpg": quick.photo(3), "b.jpg": quick.photo(4, "refused")}))
    read, refused = rows()["a.jpg"], rows()["b.jpg"]
    assert (read["status"], read["shown_mm"], read["thimble_division"]) == ("read", 0.219, 21.9)
    assert read["eyes"] is None
    assert len(read["weights"]) == len(read["sha256"]) == 64
    assert read["program"]
    assert read["read_s"] > 0
    assert (refused["status"], refused["codes"], refused["eyes"]) == (
        "refused",
        "blurred",
        "refused",
    )


def test_the_next_run_reads_only_what_is_new_or_changed(archive, go, rows, log):
    root = archive(photos(6))
    go(root)
    assert len(lines_of(log)) == 6
    before = rows()
    (root / "0002.jpg").write_bytes(quick.photo(70))
    (root / "new.jpg").write_bytes(quick.photo(71))
    os.utime(root / "0003.jpg", (1, 1))  # another date, the same content
    (root / "0005.jpg").unlink()
    said = go(root)
    assert len(lines_of(log)) == 8
    assert "2 read" in said[0]
    assert "4 unchanged" in said[0]
    assert "1 photos of earlier runs are not there any more" in said[1]
    assert "0002.jpg: 0.146 mm shown -> 5.11 mm shown" in "\n".join(said)
    now = rows()
    assert set(now) == {f"{n:04d}.jpg" for n in range(5)} | {"new.jpg"}
    for name in ("0000.jpg", "0003.jpg"):
        assert [now[name][c] for c in COMPARED] == [before[name][c] for c in COMPARED]


def test_a_change_that_keeps_size_and_date_is_found_unless_times_are_trusted(
    archive, go, rows, log
):
    root = archive({"a.jpg": quick.photo(3)})
    go(root)
    about = (root / "a.jpg").stat()
    (root / "a.jpg").write_bytes(quick.photo(4))
    os.utime(root / "a.jpg", ns=(about.st_atime_ns, about.st_mtime_ns))
    go(root, Options(trust_times=True))
    assert rows()["a.jpg"]["shown_mm"] == 0.219
    go(root)
    assert rows()["a.jpg"]["shown_mm"] == 0.292


def test_a_new_zero_check_corrects_without_reading_anew(archive, go, rows, book, log):
    root = archive({"L07/pin/a.jpg": quick.photo(3), "L07/pin/b.jpg": quick.photo(4, "refused")})
    options = Options(pattern="{gauge}/{part}/", book=book("+0.02"))
    go(root, options)
    first = rows()["L07/pin/a.jpg"]
    assert (first["gauge"], first["part"], first["corrected_mm"]) == ("L07", "pin", 0.199)
    book("+0.02", "+0.03")
    said = go(root, options)
    assert len(lines_of(log)) == 2
    assert "2 corrected anew" in said[0]
    assert "another zero check is in force" in "\n".join(said)
    again = rows()["L07/pin/a.jpg"]
    assert (again["corrected_mm"], again["zero_error_mm"]) == (0.189, 0.03)
    assert again["zero_check_number"] != first["zero_check_number"]
    assert rows()["L07/pin/b.jpg"]["zero_error_mm"] == 0.03  # for what a person reads in it


def test_photos_of_a_gauge_that_is_not_in_the_book_wait_for_it(archive, go, rows, book, log):
    root = archive({"L07/a.jpg": quick.photo(3), "L09/a.jpg": quick.photo(4)})
    options = Options(pattern="{gauge}/", book=book("+0.02"))
    said = go(root, options)
    assert "not in the book: L09" in said[1]
    assert rows()["L09/a.jpg"]["codes"] == "unknown_gauge"
    book("+0.01", name="L09")
    said = go(root, options)
    assert rows()["L09/a.jpg"]["corrected_mm"] == 0.282
    assert "the gauge was entered in the book" in "\n".join(said)
    assert len(lines_of(log)) == 2


def test_photos_that_a_manifest_lists_but_nobody_has_are_told(archive, go, tmp_path):
    root = archive({"x/a.jpg": quick.photo(3), "b.jpg": quick.photo(4)})
    (tmp_path / "m.csv").write_text("photo,part\na.jpg,pin\nb.jpg,pin\nc.jpg,pin\n")
    said = go(root, Options(manifest=tmp_path / "m.csv"))
    assert said[1] == "  listed in the manifest, but not there: c.jpg"


def test_another_version_is_counted_and_reads_anew_when_asked(archive, go, monkeypatch, log):
    root = archive(photos(2))
    go(root)
    monkeypatch.setattr("reading.archive.asked.weights_identity", lambda: "other")
    said = go(root)
    assert "2 were read by another version" in said[1]
    assert len(lines_of(log)) == 2
    go(root, Options(again=True))
    assert len(lines_of(log)) == 4
    said = go(root, Options(again=True))
    assert len(lines_of(log)) == 4  # what this version read is not read anew


def test_unusable_files_are_tried_again_when_asked_as_a_package_may_be_there_now(archive, go, log):
    root = archive({"a.heic": quick.photo(1, "unknown")})
    for options, reads in ((Options(), 1), (Options(), 1), (Options(again=True), 2)):
        said = go(root, options)
        assert len(lines_of(log)) == reads
    assert "1 unchanged" in said[0]


def test_what_a_newer_version_reads_otherwise_is_told_with_the_cause(archive, go, monkeypatch):
    root = archive(photos(3))
    go(root)
    monkeypatch.setattr("reading.archive.asked.weights_identity", lambda: "other")
    monkeypatch.setenv(quick.STEP, "8.3")
    said = go(root, Options(again=True))
    assert "2 read otherwise than before: 2 as other networks" in said[1]
    assert (
        said[2] == "    0002.jpg: 0.146 mm shown -> 0.166 mm shown [2.0 divisions]; other networks"
    )


def test_results_that_another_run_writes_are_left_alone(archive, go, results):
    root = archive(photos(1))
    with locked(results), pytest.raises(StoreError, match="another run is writing here"):
        go(root)
    go(root)
    assert not results.with_name("results.sqlite.lock").exists()


def test_a_file_that_is_something_else_is_not_written_to(archive, go, tmp_path):
    root, other = archive(photos(1)), tmp_path / "other.sqlite"
    other.write_bytes(b"something else entirely, and long enough to be looked at" * 20)
    before = other.read_bytes()
    with pytest.raises(Problem, match=r"other\.sqlite"):
        go(root, results=other)
    assert other.read_bytes() == before


def test_results_inside_the_archive_are_no_part_of_it(archive, go, rows):
    root = archive(photos(2))
    inside = root / "results.db"
    go(root, results=inside)
    go(root, results=inside)
    assert set(rows(inside)) == {"0000.jpg", "0001.jpg"}


def test_a_store_is_sound_and_its_readings_are_never_changed(archive, go, results, rows):
    root = archive(photos(3))
    go(root)
    with Store(results) as store:
        first = [store.reading(n) for n in (1, 2, 3)]
    (root / "0001.jpg").write_bytes(quick.photo(9))
    go(root)
    with Store(results) as store:
        assert [store.reading(n) for n in (1, 2, 3)] == first
        assert store.faults() == []
        assert len(store.runs()) == 2


@pytest.mark.parametrize("root", ["not there", "file.jpg"])
def test_no_archive_is_said(go, tmp_path, root):
    (tmp_path / "file.jpg").write_bytes(b"x")
    with pytest.raises(Problem, match="name the archive's folder"):
        go(tmp_path / root)
