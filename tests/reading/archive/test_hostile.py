"""An archive with everything that can be wrong: each a row with its code, none stops the run."""

from __future__ import annotations

import io
import os
from collections import Counter

import numpy as np
import pytest
from PIL import Image

from reading.archive.asked import Options
from reading.archive.codes import CODES
from reading.archive.command import ArchiveRequest, read_archive
from reading.archive.names import exact
from reading.archive.reader import Source, fetched
from reading.archive.store import source_of
from reading.archive.walk import walk
from reading.archive.zips import members
from reading.problem import Problem
from tests.reading.archive import hostile, quick
from tests.reading.archive.conftest import photos
from vision.reasons import REASONS

TINY = 300


@pytest.fixture
def sound():
    """A photo without a gauge, as JPEG."""
    data = io.BytesIO()
    pixels = np.random.default_rng(5).integers(0, 255, (60, 80), dtype=np.uint8)
    Image.fromarray(pixels).save(data, "JPEG")
    return data.getvalue()


@pytest.fixture
def archive(tmp_path, sound):
    """Make the hostile archive; folders that may not be entered are opened again at the end."""
    root = tmp_path / "archive"
    yield root, hostile.make(root, sound, tiny=TINY)
    (root / "locked").chmod(0o700)


def test_every_file_is_a_row_with_its_code(archive, results, rows, tmp_path):
    """With the real reader."""
    root, wanted = archive
    assert read_archive(ArchiveRequest(str(root), results), Options(), print) == 0
    found = {name: row["codes"] for name, row in rows().items()}
    readable = {name for name, code in wanted.items() if code is None}
    assert {name: found.pop(name) for name in readable} == dict.fromkeys(readable, "no_gauge")
    of_overlap = [name for name in found if name.startswith("overlap.zip")]
    assert of_overlap == ["overlap.zip"]
    assert found == {name: code for name, code in wanted.items() if code}
    assert set(found.values()) <= {*CODES, *REASONS}
    assert sorted(path.name for path in tmp_path.iterdir()) == ["archive", "results.sqlite"]


def test_a_second_run_finds_the_same(archive, go):
    root, wanted = archive
    go(root)
    said = go(root)
    assert f"{len(wanted)} files: 0 read, 0 refused, 0 unusable, {len(wanted)} unchanged" in said[0]


def test_names_of_any_bytes_lead_back_to_their_files(archive, go, rows):
    root, wanted = archive
    go(root)
    for name, row in rows().items():
        source = source_of(row)
        if wanted[name] is None and source.member is None:
            assert source.path == str(root / exact(name))
            assert os.path.lexists(source.path)


def test_codes_are_told_apart_from_those_of_pictures():
    assert not set(CODES) & set(REASONS)


@pytest.mark.parametrize("word", ["ends", "hangs", "fails"])
def test_a_photo_that_breaks_its_reader_costs_one_row(make_folder, results, rows, word):
    root = make_folder(photos(8) | {"0003.jpg": quick.photo(3, word)})
    wanted = ArchiveRequest(str(root), results, 2, patience_s=3.0)
    assert read_archive(wanted, Options(), print, quick.look) == 0
    codes = {name: row["codes"] for name, row in rows().items() if row["codes"]}
    expected = {"ends": "reader_crashed", "hangs": "timed_out", "fails": "unexpected_error"}
    assert codes == {"0003.jpg": expected[word]}
    assert len(rows()) == 8
    assert {row["weights"] for row in rows().values()} == {rows()["0000.jpg"]["weights"]}


@pytest.fixture
def make_folder(tmp_path):
    def make(files):
        for name, data in files.items():
            (tmp_path / "photos").mkdir(exist_ok=True)
            (tmp_path / "photos" / name).write_bytes(data)
        return tmp_path / "photos"

    return make


def test_a_zip_is_not_unpacked_anywhere(archive, go):
    root, _ = archive
    before = Counter(str(path.parent) for path in root.rglob("*") if not path.is_symlink())
    go(root)
    assert Counter(str(path.parent) for path in root.rglob("*") if not path.is_symlink()) == before
    assert not (root.parent / "slip.jpg").exists()


def test_what_unpacks_to_more_than_it_says_is_stopped(tmp_path, monkeypatch):
    monkeypatch.setattr("reading.archive.reader.MOST_BYTES", 1000)
    (tmp_path / "a.zip").write_bytes(hostile.zip_of({"x.jpg": bytes(5000)}))
    with (
        pytest.raises(Exception, match="unusable_file"),
        fetched(Source(str(tmp_path / "a.zip"), 0)),
    ):
        pass


def test_a_list_of_members_too_long_to_hold_is_not_read(tmp_path, monkeypatch):
    monkeypatch.setattr("reading.archive.zips.MOST_LIST_BYTES", 4000)
    (tmp_path / "a.zip").write_bytes(hostile.zip_of({f"{n:04d}": b"" for n in range(100)}))
    (found,) = members("a.zip", str(tmp_path / "a.zip"))
    assert found.code == "zip_too_many"
    monkeypatch.setattr("reading.archive.zips.MOST_LIST_BYTES", 6000)
    assert len(list(members("a.zip", str(tmp_path / "a.zip")))) == 100


def test_two_members_of_one_name_are_two_photos(tmp_path):
    import warnings
    import zipfile

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        with zipfile.ZipFile(tmp_path / "a.zip", "w") as packed:
            packed.writestr("x.jpg", quick.photo(1))
            packed.writestr("x.jpg", quick.photo(2))
    assert [one.name for one in walk(tmp_path)] == ["a.zip/x.jpg", "a.zip/x.jpg\\#2"]


def test_members_with_names_that_are_no_utf8_keep_them(tmp_path):
    data = hostile.zip_of({"AAAA.jpg": quick.photo(1)}).replace(b"AAAA", b"\xff\x80aa")
    (tmp_path / "a.zip").write_bytes(data)
    (found,) = walk(tmp_path)
    assert found.name == r"a.zip/\xff\x80aa.jpg"


def test_a_folder_that_vanished_or_a_broken_root_is_said(tmp_path):
    with pytest.raises(Problem, match="no folder and no ZIP"):
        read_archive(
            ArchiveRequest(str(tmp_path / "gone"), tmp_path / "r.sqlite"), Options(), print
        )
