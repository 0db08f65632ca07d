"""The command line: what is asked, what is answered, and the exit code."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from datetime import datetime, time, timedelta
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from reading import batch
from reading.cli import app, main
from reading.dates import check_done, lies_ahead
from reading.notices import CAUTION
from reading.problem import Problem
from vision.reasons import reason
from vision.sighting import Refusal

ROOT = Path(__file__).parents[2]
REFUSAL = Refusal((reason("blurred"),))


@pytest.fixture(autouse=True)
def own_book(tmp_path, monkeypatch):
    monkeypatch.setenv("DATUMLINE_BOOK", str(tmp_path / "book.sqlite"))


def run(*arguments):
    return CliRunner().invoke(app, [str(one) for one in arguments])


@pytest.fixture
def gauge():
    """A gauge with a zero error of +0.03 mm from 20 November and +0.05 mm from 1 December."""
    assert run("gauge", "add", "G1", "--pitch", "0.5mm", "--divisions", 50).exit_code == 0
    for error, date in (("+0.05 mm", "2024-12-01"), ("+0.03 mm", "2024-11-20")):
        assert run("zero", "G1", "--reading", error, "--on", date).exit_code == 0
    return "G1"


def test_a_photo_is_read_and_corrected(photos, sighted, gauge):
    path = photos("a.png", sighted(11, 27.7), taken="2024:11:25 10:30:00")
    result = run("read", path, "--gauge", gauge)
    assert result.exit_code == 0
    assert "5.777 − (+0.03) zero error = 5.747 mm corrected" in result.stdout
    assert "5 days old" in result.stdout
    assert result.stdout.rstrip().endswith(CAUTION)


@pytest.mark.parametrize(
    ("on", "corrected", "warning"),
    [
        ("2024-11-20", 5.747, None),
        ("2024-12-01", 5.727, None),
        ("2024-11-19", None, "zero_check_later"),
        ("2026-01-01", 5.727, "zero_check_old"),
    ],
)
def test_the_check_in_force_on_a_date_counts(on, corrected, warning, photos, sighted, gauge):
    path = photos("a.png", sighted(11, 27.7), taken="2024:11:25 10:30:00")
    result = run("read", path, "--gauge", gauge, "--on", on, "--format", "json")
    values = json.loads(result.stdout)
    assert values["corrected_mm"] == corrected
    assert [one["code"] for one in values["warnings"]] == ([warning] if warning else [])


def test_exit_code_3_when_any_is_refused(photos, sighted):
    paths = [photos("a.png", sighted(11, 28.0)), photos("b.png", REFUSAL)]
    result = run("read", *paths, "--format", "json")
    assert result.exit_code == 3
    assert [json.loads(line)["status"] for line in result.stdout.splitlines()] == [
        "read",
        "refused",
    ]
    assert CAUTION not in result.stdout


def test_exit_code_2_when_a_file_is_no_photo_and_the_others_are_read(photos, sighted, tmp_path):
    missing = tmp_path / "missing.jpg"
    paths = [missing, photos("b.png", REFUSAL), photos("c.png", sighted(11, 28.0))]
    result = run("read", *paths, "--format", "json")
    assert result.exit_code == 2
    rows = [json.loads(line) for line in result.stdout.splitlines()]
    assert [row["photo"] for row in rows] == [str(path) for path in paths]
    assert rows[0]["reasons"][0]["code"] == "unusable_file"
    assert rows[2]["shown_mm"] == 5.78
    assert len(result.stderr.splitlines()) == 1
    assert "missing.jpg" in result.stderr


def test_text_has_an_unusable_file_on_stderr_only(photos, sighted, tmp_path):
    result = run("read", tmp_path / "missing.jpg", photos("c.png", sighted(11, 28.0)))
    assert result.exit_code == 2
    assert "missing.jpg" not in result.stdout
    assert "5.780 mm shown" in result.stdout


def test_csv_has_a_header_and_a_row_a_photo(photos, sighted):
    paths = [photos("a.png", sighted(11, 28.0)), photos("b.png", REFUSAL)]
    lines = run("read", *paths, "--format", "csv").stdout.splitlines()
    assert len(lines) == 3
    assert lines[0].startswith("photo,status,reasons,gauge,pitch_mm")


def test_the_scale_that_is_named_is_the_one_that_is_looked_for(photos, sighted):
    told = []

    def seen(scale):
        told.append(scale)
        return sighted(6, 23.0, scale)

    path = photos("a.png", seen)
    result = run("read", path, "--pitch", "1/40 in", "--divisions", 25, "--format", "json")
    assert json.loads(result.stdout)["shown_mm"] == 4.3942  # 0.173 in x 25.4
    run("read", path, "--pitch", "0.5mm", "--divisions", 50, "--start", "25mm")
    assert [(str(one.pitch), one.unit, str(one.start)) for one in told] == [
        ("0.025", "in", "0"),
        ("0.5", "mm", "25"),
    ]


def test_explaining_writes_out_the_working(photos, sighted, gauge):
    path = photos("a.png", sighted(11, 27.7))
    command = ("read", path, "--gauge", gauge, "--on", "2024-11-25", "--explain")
    assert "Least count = pitch ÷ divisions = 0.5 mm ÷ 50 = 0.01 mm" in run(*command).stdout
    values = json.loads(run(*command, "--format", "json").stdout)
    assert values["working"][-1] == "Result = 5.747 ± 0.009 mm"
    refusal = run("read", photos("b.png", REFUSAL), "--explain")
    assert "What to do: " in refusal.stdout


def test_a_hand_reading_is_compared(photos, sighted, gauge):
    path = photos("a.png", sighted(11, 27.7))
    command = ("read", path, "--gauge", gauge, "--on", "2024-11-25", "--hand")
    assert "agrees with the corrected reading" in run(*command, "0.575 cm").stdout
    result = run(*command, "5.28")
    assert result.exit_code == 0
    assert "likeliest slip: the half-millimetre line was missed" in result.stdout
    explained = run(*command, "5.28", "--explain").stdout
    assert explained.count("likeliest slip") == 1


def test_overlays_are_saved_apart(photos, sighted, tmp_path, monkeypatch):
    drawn = []

    def draw(grey, seen, lines):
        drawn.append((grey.shape, lines))
        return np.zeros((8, 9, 3), np.uint8)

    monkeypatch.setattr("vision.overlay.draw", draw)
    (tmp_path / "other").mkdir()
    paths = [
        photos("a.png", sighted(11, 28.0)),
        photos("a.png", REFUSAL, folder=tmp_path / "other"),
    ]
    folder = tmp_path / "seen" / "today"
    assert run("read", *paths, "--overlay", folder).exit_code == 3
    assert sorted(path.name for path in folder.iterdir()) == [
        "a.png.2.overlay.jpg",
        "a.png.overlay.jpg",
    ]
    assert drawn[0] == ((24, 40), ("5.5 + 28.0 x 0.01 = 5.780 mm shown", "confidence 0.98"))


def test_an_overlay_folder_that_is_a_file_is_one_line(photos, sighted, monkeypatch):
    monkeypatch.setattr("vision.overlay.draw", lambda *_: np.zeros((8, 9, 3), np.uint8))
    path = photos("a.png", sighted(11, 28.0))
    result = run("read", path, "--overlay", path)
    assert result.exit_code == 2
    assert "choose another folder" in result.stderr


@pytest.mark.parametrize(
    ("arguments", "named"),
    [
        (("--gauge", "G9"), "G9"),
        (("--gauge", "G1", "--pitch", "1 mm"), "--gauge has its own scale"),
        (("--gauge", "G1", "--start", "25 mm"), "--gauge has its own scale"),
        (("--pitch", "0.5 mm"), "--divisions"),
        (("--divisions", "50"), "--pitch"),
        (("--pitch", "0.5", "--divisions", "50"), "no unit"),
        (("--pitch", "half a mm", "--divisions", "50"), "half a mm"),
        (("--pitch", "0 mm", "--divisions", "50"), "greater than 0"),
        (("--pitch", "0.5 mm", "--divisions", "30"), "no exact decimal"),
        (("--pitch", "0.5 mm", "--divisions", "1"), "2 to 1000"),
        (("--hand", "five"), "five"),
        (("--on", "yesterday"), "yesterday"),
        (("--format", "xml"), "xml"),
        (("--format", "csv", "--explain"), "--explain"),
        (("--book", "/nowhere/book.sqlite", "--gauge", "G1"), "/nowhere/book.sqlite"),
    ],
)
def test_arguments_that_cannot_be_used_are_one_line(arguments, named, photos, sighted, gauge):
    result = run("read", photos("a.png", sighted(11, 28.0)), *arguments)
    assert result.exit_code == 2
    assert named in result.stderr
    assert result.stdout == ""
    assert len(result.stderr.splitlines()) == 1


def test_a_missing_system_library_is_one_line(monkeypatch, tmp_path):
    def look(path, scale, edge_set_mm, near_divisions):
        raise ImportError("libGL.so.1: cannot open shared object file: No such file or directory")

    monkeypatch.setattr(batch, "look", look)
    result = run("read", tmp_path / "a.jpg")
    assert result.exit_code == 2
    assert "apt-get install libgl1 libglib2.0-0 libxcb1" in result.stderr
    assert len(result.stderr.splitlines()) == 1


def test_gauges_are_listed_and_shown(gauge):
    added = ("--start", "25mm", "--end", "50mm", "--vernier", 10, "--notes", "green box")
    assert run("gauge", "add", "G2", "--pitch", "0.5 mm", "--divisions", 50, *added).exit_code == 0
    listed = run("gauge", "list").stdout.splitlines()
    assert [line.split(":")[0] for line in listed] == ["G1", "G2"]
    assert listed[1].endswith("; green box [no zero check yet]")
    shown = run("gauge", "show", "G2").stdout
    assert "range from 25 to 50 mm; green box" in shown
    assert "least count 0.001 mm" in shown
    assert "no zero check on record" in shown
    history = run("gauge", "show", "G1").stdout.splitlines()
    assert [line.split()[-3] for line in history[1:3]] == ["+0.03", "+0.05"]


def test_a_gauge_is_added_once(gauge):
    result = run("gauge", "add", "G1", "--pitch", "1 mm", "--divisions", 100)
    assert (result.exit_code, result.stdout) == (2, "")
    assert "already" in result.stderr


def test_zero_photos_are_averaged_and_dated(photos, sighted, gauge):
    paths = [
        photos("a.png", sighted(-1, 47.0), taken="2024:12:05 10:30:00"),
        photos("b.png", sighted(0, 47.4), taken="2024:12:05 10:31:00"),
    ]
    result = run("zero", gauge, *paths)
    assert result.exit_code == 0
    assert "zero error -0.028 mm" in result.stdout
    assert "in force from 2024-12-05 10:31" in result.stdout
    later = photos("c.png", sighted(11, 28.0), taken="2024:12:06 09:00:00")
    values = json.loads(run("read", later, "--gauge", gauge, "--format", "json").stdout)
    assert values["corrected_mm"] == 5.808
    assert values["zero_check_date"] == "2024-12-05"


def test_a_refused_zero_photo_records_nothing(photos, sighted, gauge):
    before = run("gauge", "show", gauge).stdout
    result = run("zero", gauge, photos("a.png", sighted(0, 2.0)), photos("b.png", REFUSAL))
    assert result.exit_code == 3
    assert "[blurred]" in result.stdout
    assert "No zero check was recorded" in result.stderr
    assert run("gauge", "show", gauge).stdout == before


def test_an_open_or_unusable_zero_photo_records_nothing(photos, sighted, gauge, tmp_path):
    before = run("gauge", "show", gauge).stdout
    opened = run("zero", gauge, photos("a.png", sighted(9, 2.0)))
    assert (opened.exit_code, opened.stdout) == (2, "")
    assert "close the faces" in opened.stderr
    missing = run("zero", gauge, tmp_path / "missing.jpg")
    assert (missing.exit_code, len(missing.stderr.splitlines())) == (2, 1)
    mixed = (tmp_path / "missing.jpg", photos("b.png", REFUSAL))
    assert run("zero", gauge, *mixed).exit_code == 2
    assert run("gauge", "show", gauge).stdout == before


@pytest.mark.parametrize("arguments", [(), ("--reading", "+0.02 mm", "a.jpg")])
def test_a_zero_check_is_of_photos_or_typed(arguments, gauge):
    result = run("zero", gauge, *arguments)
    assert result.exit_code == 2
    assert "one of the two" in result.stderr


def test_a_zero_check_now_is_in_force_now(photos, sighted):
    run("gauge", "add", "G3", "--pitch", "0.5 mm", "--divisions", 50)
    assert run("zero", "G3", "--reading", "+0.02 mm").exit_code == 0
    path = photos("a.png", sighted(11, 28.0))
    values = json.loads(run("read", path, "--gauge", "G3", "--format", "json").stdout)
    assert values["corrected_mm"] == 5.76
    assert [one["code"] for one in values["warnings"]] == ["time_unknown"]
    tomorrow = (datetime.now() + timedelta(days=1)).date().isoformat()
    assert run("zero", "G3", "--reading", "-0.02 mm", "--on", tomorrow).exit_code == 0
    values = json.loads(run("read", path, "--gauge", "G3", "--format", "json").stdout)
    assert values["corrected_mm"] == 5.76


def test_what_is_dated_after_tomorrow_is_refused_and_what_is_to_come_is_named(
    photos, sighted, gauge
):
    before = run("gauge", "show", gauge).stdout
    later = datetime.now() + timedelta(days=2)
    taken = {"taken": f"{later:%Y:%m:%d %H:%M:%S}"}
    closed, work = (
        photos("a.png", sighted(0, 2.0), **taken),
        photos("b.png", sighted(9, 2), **taken),
    )
    typed = ("--reading", "+0.02 mm", "--on", f"{later:%Y-%m-%d}")
    keeping = ("read", work, "--gauge", gauge, "--keep")
    for command in (("zero", gauge, closed), ("zero", gauge, *typed), keeping):
        refused = run(*command)
        assert refused.exit_code == 2
        assert f"{later:%Y-%m-%d}" in refused.stderr
        assert " lies ahead, today is" in refused.stderr
        assert len(refused.stderr.splitlines()) == 1
    assert run("gauge", "show", gauge).stdout == before
    soon = datetime.now() + timedelta(hours=20)
    for on, warned in ((soon, 1), (datetime.now() - timedelta(hours=1), 0)):
        done = run("zero", gauge, "--reading", "+0.02 mm", "--on", f"{on:%Y-%m-%d %H:%M}")
        assert (done.exit_code, done.stdout.count("is still to come")) == (0, warned)


def test_today_named_as_a_day_is_not_to_come():
    now = datetime(2026, 11, 25, 12, 0)
    assert not lies_ahead(datetime.combine(now, time.max), now)
    assert lies_ahead(datetime.combine(now, time(12, 1)), now)
    assert lies_ahead(datetime.combine(now + timedelta(days=1), time.max), now)
    check_done("a", datetime(2026, 11, 26, 23, 59), now)
    with pytest.raises(Problem, match="a lies ahead, today is 2026-11-25"):
        check_done("a", datetime(2026, 11, 27), now)


def test_a_rod_checks_a_ranged_gauge(photos, sighted):
    run("gauge", "add", "G2", "--pitch", "0.5 mm", "--divisions", 50, "--start", "25 mm")
    path = photos("a.png", lambda scale: sighted(-1, 48.0, scale))
    assert "--rod" in run("zero", "G2", path).stderr
    assert "zero error -0.02" in run("zero", "G2", path, "--rod", "25 mm").stdout


def test_progress_only_where_a_terminal_watches(photos, sighted, monkeypatch, capsys):
    from reading import commands

    paths = [photos(f"{n}.png", sighted(n, 2.0)) for n in range(6)]
    assert run("read", *paths).stderr == ""
    monkeypatch.setattr("sys.stderr.isatty", lambda: True)
    assert commands.read(paths, commands.ReadRequest(), lambda text: None, print) == 0
    told = capsys.readouterr().err
    assert re.search(r"\r1 of 6 photos, [0-9.]+ a second, 0 min [0-9]{2} s left\r", told)
    assert re.search(r"\r6 of 6 photos, [0-9.]+ a second\n$", told)
    assert commands.read(paths[:5], commands.ReadRequest(), lambda text: None, print) == 0
    assert capsys.readouterr().err == ""


def test_one_real_process_gives_exit_code_and_one_line(tmp_path):
    code = "from reading.cli import main; main()"
    command = [sys.executable, "-c", code, "gauge", "show", "G1"]
    environment = {**os.environ, "DATUMLINE_BOOK": str(tmp_path / "none.sqlite")}
    done = subprocess.run(command, capture_output=True, text=True, cwd=ROOT, env=environment)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.count("\n") == 1
    assert "datumline gauge add" in done.stderr


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("--nope", "--nope"),
        ("nope", "nope"),
        ("read", "missing argument 'PHOTO...' (see datumline read --help)"),
        ("read a.jpg --divisions many", "'--divisions'"),
        ("measure", "missing option '--gauge' (see datumline measure --help)"),
        ("gauge add G1 --pitch", "(see datumline gauge add --help)"),
        ("gauge due --days -3", "(see datumline gauge due --help)"),
        ("gauge nope", "(see datumline gauge --help)"),
        ("book backup", "(see datumline book backup --help)"),
        ("archive read", "(see datumline archive read --help)"),
    ],
)
def test_a_mistake_in_the_options_is_one_line(line, said, monkeypatch, capsys):
    monkeypatch.setattr("sys.argv", ["datumline", *line.split()])
    with pytest.raises(SystemExit) as ended:
        main()
    told = capsys.readouterr()
    assert (ended.value.code, told.out, told.err.count("\n")) == (2, "", 1)
    assert told.err.startswith("datumline: ")
    assert said in told.err


def test_a_group_alone_tells_what_it_can(monkeypatch, capsys):
    monkeypatch.setattr("sys.argv", ["datumline", "gauge"])
    with pytest.raises(SystemExit):
        main()
    assert "calibrate" in capsys.readouterr().err


# Help of every command: tests/project/test_imports.py.
@pytest.mark.parametrize("arguments", [["--version"], ["gauge", "list"]])
def test_version_and_book_load_no_picture_library(arguments, tmp_path):
    code = (
        "import sys\nfrom reading.cli import app\n"
        "try: app(sys.argv[1:])\nexcept SystemExit as end: code = end.code\n"
        "heavy = {'cv2', 'numpy', 'skimage', 'PIL', 'scipy'} & set(sys.modules)\n"
        "sys.exit(f'loaded {heavy}' if heavy else code)"
    )
    command = [sys.executable, "-c", code, *arguments]
    run("gauge", "add", "G1", "--pitch", "0.5mm", "--divisions", 50)
    done = subprocess.run(command, capture_output=True, text=True, cwd=ROOT, timeout=60)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout
