"""Photos behind any address that fsspec knows: here its file system in memory."""

from __future__ import annotations

import pytest

from reading.archive.naming import Named
from reading.archive.reader import Settings, Task, read
from reading.archive.remote import walk_remote
from reading.problem import Problem
from tests.reading.archive import hostile, quick

fsspec = pytest.importorskip("fsspec")


@pytest.fixture
def url():
    """An archive in memory, with a ZIP."""
    storage = fsspec.filesystem("memory")
    files = {"L07/b.jpg": quick.photo(3), "a.jpg": quick.photo(4), "empty.jpg": b""}
    files["old.zip"] = hostile.zip_of({"x.jpg": quick.photo(5), "../slip.jpg": quick.photo(6)})
    for name, data in files.items():
        storage.pipe_file(f"/lab/{name}", data)
    yield "memory://lab"
    storage.rm("/lab", recursive=True)


def rows(url):
    settings = Settings(look=quick.look)
    found = {}
    for one in walk_remote(url):
        found[one.name] = read(Task(one, Named()), settings) if hasattr(one, "source") else one
    return found


def test_every_file_is_found_and_read(url):
    found = rows(url)
    assert list(found) == [
        "L07/b.jpg",
        "a.jpg",
        "empty.jpg",
        "old.zip/x.jpg",
        "old.zip/../slip.jpg",
    ]
    shown = {name: found[name]["shown_mm"] for name in ("L07/b.jpg", "a.jpg", "old.zip/x.jpg")}
    assert shown == {"L07/b.jpg": 0.219, "a.jpg": 0.292, "old.zip/x.jpg": 0.365}
    assert found["empty.jpg"]["codes"] == "empty_file"
    assert found["old.zip/../slip.jpg"].code == "zip_unsafe_name"


def test_a_changed_file_has_another_stamp(url):
    before = {one.name: one.stamp for one in walk_remote(url) if hasattr(one, "stamp")}
    fsspec.filesystem("memory").pipe_file("/lab/a.jpg", quick.photo(9))
    after = {one.name: one.stamp for one in walk_remote(url) if hasattr(one, "stamp")}
    assert {name for name in after if after[name] != before[name]} == {"a.jpg"}


@pytest.mark.parametrize("wrong", ["memory://nowhere", "nosuch://lab"])
def test_addresses_that_lead_nowhere(wrong):
    with pytest.raises(Problem, match=r"check the address|can't be opened"):
        list(walk_remote(wrong))


def test_a_zip_is_an_archive_by_its_own_address(tmp_path):
    packed = tmp_path / "packed.zip"
    packed.write_bytes(hostile.zip_of({"L07/a.jpg": quick.photo(3), "b.jpg": quick.photo(4)}))
    shown = {name: row["shown_mm"] for name, row in rows(f"file://{packed}").items()}
    assert shown == {"packed.zip/L07/a.jpg": 0.219, "packed.zip/b.jpg": 0.292}
    with pytest.raises(Problem, match="name the ZIP itself"):
        rows(f"zip://::file://{packed}")
