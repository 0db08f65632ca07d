"""The desk by what is typed: one photo after another, decisions kept, undone, exported."""

from __future__ import annotations

import csv
import io
from decimal import Decimal

import pytest
from typer.testing import CliRunner

from reading.archive import eyes
from reading.archive.asked import Options
from reading.archive.command import ArchiveRequest, read_archive
from reading.archive.export import export
from reading.archive.store import Store
from reading.cli import app
from reading.desk.decisions import ACCEPT, CORRECT, REJECT, Decision, decide, undo
from reading.desk.desk import Desk, Sitting
from reading.desk.orders import GoTo, understood
from reading.problem import Problem
from tests.reading.archive import quick

FILES = {
    "a.jpg": quick.photo(3),  # sure: needs no eyes
    "b.jpg": quick.photo(4, confidence=0.8),
    "c.jpg": quick.photo(5, "refused"),
    "d.jpg": quick.photo(6, confidence=0.7),
    "e.jpg": b"",
    "notes.txt": b"hello",
}


@pytest.fixture
def results(tmp_path):
    """An archive's results, of which b, c, d and e need eyes."""
    root = tmp_path / "archive"
    root.mkdir()
    for name, data in FILES.items():
        (root / name).write_bytes(data)
    path = tmp_path / "r.sqlite"
    read_archive(
        ArchiveRequest(str(root), path, 1), Options(pitch="0.5 mm", divisions=50), print, quick.look
    )
    return path


def sit(results, *lines, who="me", **changes):
    """Sit down and type lines; what was said, what was complained of, and the exit code."""
    said, complained = [], []
    with Store(results) as store:
        desk = Desk(store, Sitting(who, **changes), said.append, complained.append)
        code = desk.run(lines)
    return said, complained, code


def decided(results):
    with Store(results) as store:
        return {
            row["photo"]: (row["verdict"], row["decided_shown"], row["note"])
            for row in store.current("decision.number NOT NULL")
        }


def test_each_photo_that_needs_eyes_once_with_its_choices(results):
    said, _, code = sit(results, "s", "s", "s", "s")
    shown = [line for line in said if "to go)" in line]
    assert [line.partition(":")[0] for line in shown] == ["b.jpg", "c.jpg", "d.jpg", "e.jpg"]
    assert shown[0] == "b.jpg: 0.292 mm shown, confidence 0.80   (4 to go)"
    assert "  1  0.292 mm (0.80)" in said
    assert "  2  0.792 mm (0.01)" in said
    assert any("The scale is too blurred." in line for line in said)
    assert (said[-1], code) == ("0 decided, 4 still need eyes: nothing is left", 0)


def test_accept_correct_reject_with_notes(results):
    sit(results, "a # plain", "c 0.36 mm", "2 # a turn more", "r # file is lost")
    assert decided(results) == {
        "b.jpg": ("accept", "0.292", "plain"),
        "c.jpg": ("correct", "0.36", ""),
        "d.jpg": ("correct", "0.938", "a turn more"),
        "e.jpg": ("reject", None, "file is lost"),
    }


def test_the_choice_that_is_the_tool_s_own_reading_is_accepted(results):
    sit(results, "1")
    assert decided(results) == {"b.jpg": ("accept", "0.292", "")}


def test_quit_and_go_on_later(results):
    said, _, _ = sit(results, "a", "q", "a", "a")
    assert said[-1] == "1 decided, 3 still need eyes: the rest stays for another time"
    said, _, _ = sit(results, "s", "a")
    assert said[0].startswith("c.jpg: refused [blurred]   (3 to go)")
    assert set(decided(results)) == {"b.jpg", "d.jpg"}


def test_undo_goes_back_to_the_photo_and_leaves_a_trace(results):
    said, _, _ = sit(results, "a", "u", "r", "q")
    assert "  undone: b.jpg" in said
    assert decided(results) == {"b.jpg": ("reject", None, "")}
    with Store(results) as store:
        kept = store.select("SELECT verdict, undoes FROM decision ORDER BY number")
    assert [(row["verdict"], row["undoes"]) for row in kept] == [
        ("accept", None),
        ("undo", 1),
        ("reject", None),
    ]


def test_undo_reaches_back_before_this_sitting_but_not_into_others(results):
    sit(results, "a", "q")
    _, complained, _ = sit(results, "u", "q", who="you")
    assert complained == ["  there is no decision of yours to undo"]
    sit(results, "u", "q")
    assert decided(results) == {}


def test_deciding_again_replaces_and_undoing_that_brings_it_back(results):
    sit(results, "a", "@b.jpg", "c 0.3 mm", "q")
    assert decided(results)["b.jpg"] == ("correct", "0.3", "")
    sit(results, "u", "q")
    assert decided(results)["b.jpg"] == ("accept", "0.292", "")


@pytest.mark.parametrize(
    "text", ["7", "0", "c", "c seven", "c 0.3 furlong", "x", "a b", "r 3", "@nothing.jpg", "1 2"]
)
def test_what_is_not_understood_changes_nothing(results, text):
    _, complained, code = sit(results, text, "q")
    assert len(complained) == 1
    assert code == 0
    assert decided(results) == {}


def test_a_script_stops_where_it_is_not_understood(results):
    """The lines after it were meant for other photos."""
    said, complained, code = sit(results, "a", "sevn", "a", "a", strict=True)
    assert code == 2
    assert "'sevn' is not understood" in complained[0]
    assert "stopped there" in said[-1]
    assert set(decided(results)) == {"b.jpg"}


def test_a_refused_photo_can_t_be_accepted(results):
    _, complained, _ = sit(results, "s", "a", "q")
    assert "the tool refused this photo" in complained[0]


def test_the_picture_is_written_and_opened(results, tmp_path, monkeypatch):
    monkeypatch.setattr(eyes, "overlay", lambda row, widest: b"picture of " + row["photo"].encode())
    opened = []
    said, _, _ = sit(results, "o", "q", pictures=tmp_path / "p", show=opened.append)
    (path,) = opened
    assert path.read_bytes() == b"picture of b.jpg"
    assert f"  picture: {path}" in said


def test_a_photo_that_is_gone_can_still_be_decided(results, tmp_path):
    (tmp_path / "archive" / "b.jpg").unlink()
    said, _, _ = sit(results, "r # lost", "q", pictures=tmp_path / "p")
    assert any("no picture: The file was gone" in line for line in said)
    assert decided(results)["b.jpg"][0] == "reject"


def test_decisions_are_kept_apart_and_exported_beside_what_was_read(results, tmp_path):
    with Store(results) as store:
        before = [store.reading(n) for n in range(1, 7)]
    sit(results, "2 # a turn more", "q")
    with Store(results) as store:
        assert [store.reading(n) for n in range(1, 7)] == before
        export(store, tmp_path / "r.csv")
    with (tmp_path / "r.csv").open(newline="") as file:
        row = {one["photo"]: one for one in csv.DictReader(file)}["b.jpg"]
    assert (row["shown_mm"], row["decision"], row["decided_shown_mm"]) == (
        "0.292",
        "correct",
        "0.792",
    )
    assert (row["decided_by"], row["decision_note"]) == ("me", "a turn more")


def test_a_decision_holds_for_the_content_it_was_made_on(results, tmp_path):
    sit(results, "a", "q")
    root = tmp_path / "archive"
    options = Options(pitch="0.5 mm", divisions=50)
    read_archive(ArchiveRequest(str(root), results, 1), options, print, quick.look)
    assert set(decided(results)) == {"b.jpg"}
    (root / "b.jpg").write_bytes(quick.photo(8, confidence=0.8))
    read_archive(ArchiveRequest(str(root), results, 1), options, print, quick.look)
    assert decided(results) == {}
    sit(results, "r", "q")
    (root / "b.jpg").write_bytes(FILES["b.jpg"])
    read_archive(ArchiveRequest(str(root), results, 1), options, print, quick.look)
    assert decided(results) == {"b.jpg": ("accept", "0.292", "")}


def test_only_one_gauge(results):
    said, _, _ = sit(results, gauge="L07")
    assert said == ["0 decided, 0 still need eyes: nothing is left"]


def test_scripted_through_standard_input(results, monkeypatch):
    monkeypatch.setattr(eyes, "overlay", lambda row, widest: b"")
    monkeypatch.setattr("sys.stdin", io.StringIO())
    done = CliRunner().invoke(app, ["desk", str(results), "--who", "me"], input="a\nr # no\nq\n")
    assert done.exit_code == 0, done.output
    assert "2 decided, 2 still need eyes" in done.output
    assert set(decided(results)) == {"b.jpg", "c.jpg"}
    done = CliRunner().invoke(app, ["desk", str(results), "--who", "me"], input="what\n")
    assert done.exit_code == 2


def test_lengths_of_inch_gauges_are_said_in_inches():
    row = {"unit": "in", "shown_mm": 4.75742, "status": "read"}
    assert eyes.in_unit(4.75742, row) == Decimal("0.1873")  # x 25.4, exact
    assert understood("c 0.1874", row | {"alternatives": "[]"}) == Decision(
        CORRECT, Decimal("0.1874"), "in"
    )
    assert understood("@x y.jpg", row) == GoTo("x y.jpg")


def test_decisions_that_make_no_sense_can_t_be_made():
    for bad in (("maybe",), (REJECT, Decimal(1), "mm"), (ACCEPT,), (CORRECT, Decimal(1), None)):
        with pytest.raises(ValueError, match=":"):
            Decision(*bad)


def test_an_undo_can_t_be_undone_twice(results):
    with Store(results) as store:
        row = next(store.current("photo.photo = 'b.jpg'"))
        decide(store, row, Decision(REJECT), "me")
        assert undo(store, "me") == "b.jpg"
        assert undo(store, "me") is None


def test_results_that_are_not_there(tmp_path):
    with pytest.raises(Problem, match="there are no results here yet"):
        Store(tmp_path / "no.sqlite")
