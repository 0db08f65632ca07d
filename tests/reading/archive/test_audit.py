"""Samples: fair, the same by the same seed, blind; and what they say of the archive."""

from __future__ import annotations

import csv
from collections import Counter

import pytest
from typer.testing import CliRunner

from reading.archive import audit, audit_form, eyes
from reading.archive.asked import Options
from reading.archive.store import Store
from reading.cli import app
from reading.problem import Problem
from tests.reading.archive import quick
from tests.reading.archive.conftest import photos


@pytest.fixture
def store(archive, go, results, book):
    """30 readings on L07, 10 on L08, 3 refused."""
    many = photos(30, "L07/") | photos(10, "L08/")
    many |= {f"L07/r{n}.jpg": quick.photo(n, "refused") for n in range(3)}
    path = book("+0.02")
    book("+0.01", name="L08")
    go(archive(many), Options(pattern="{gauge}/", book=path))
    with Store(results) as opened:
        yield opened


@pytest.fixture
def blind(monkeypatch):
    """Made-up photos are no pictures."""
    monkeypatch.setattr(eyes, "blind", lambda row, widest_px: b"\xff\xd8")


def strata(store, number):
    return Counter(str(row["stratum"]) for row in audit.sample(store, number)[1])


def test_strata_get_their_shares(store):
    assert strata(store, audit.draw(store, 8, 1, "gauge", "")) == {"L07": 6, "L08": 2}
    assert strata(store, audit.draw(store, 40, 1, "gauge", "")) == {"L07": 30, "L08": 10}
    assert strata(store, audit.draw(store, 5, 1, "none", "")) == {"all": 5}


def test_every_photo_has_the_same_chance(store):
    """2 of 40 in 400 samples: each photo 20 times in the mean, and strata rounded fairly."""
    drawn: Counter[str] = Counter()
    of_l08 = 0
    for seed in range(400):
        with store.change() as change:
            rows = audit.sample(store, audit.draw(store, 2, seed, "gauge", ""))[1]
            drawn.update(str(row["photo"]) for row in rows)
            of_l08 += sum(row["stratum"] == "L08" for row in rows)
            change.execute("DELETE FROM audit_photo")
    assert len(drawn) == 40
    # Sum of (seen - 20)² / 20 over 40 photos: chi squared, 39 degrees; 1 in 1000 above 72.1.
    assert sum((drawn[name] - 20) ** 2 / 20 for name in drawn) < 72.1
    assert 160 <= of_l08 <= 240  # 200 in the mean, standard deviation at most 14


def test_only_sure_ones_where_asked(archive, go, results):
    files = {f"{n}.jpg": quick.photo(n, confidence=0.9 if n % 2 else 0.98) for n in range(8)}
    go(archive(files))
    with Store(results) as store:
        _, rows = audit.sample(store, audit.draw(store, 4, 1, "none", "", sure_only=True))
        assert sorted(str(row["photo"]) for row in rows) == ["0.jpg", "2.jpg", "4.jpg", "6.jpg"]
        with pytest.raises(Problem, match="1 to 4"):
            audit.draw(store, 5, 1, "none", "", sure_only=True)


def test_a_seed_gives_its_sample(store):
    samples = [
        [row["photo"] for row in audit.sample(store, audit.draw(store, 6, seed, "gauge", ""))[1]]
        for seed in (1, 1, 2)
    ]
    assert samples[0] == samples[1] != samples[2]


def test_the_page_and_the_form_do_not_tell_what_was_read(store, tmp_path, blind):
    number = audit.draw(store, 6, 1, "gauge", "")
    assert audit_form.save(store, number, tmp_path / "audit") == 6
    page = (tmp_path / "audit" / audit_form.PAGE).read_text()
    form = (tmp_path / "audit" / audit_form.FORM).read_text()
    for row in audit.sample(store, number)[1]:
        for told in (row["shown_mm"], row["thimble_division"], row["sleeve_mm"], row["photo"]):
            assert f">{told}" not in page
            assert (
                str(told) not in form.replace("number,reading,unit", "")[2:] or len(str(told)) < 4
            )
    with (tmp_path / "audit" / audit_form.FORM).open() as file:
        assert {line["reading"] for line in csv.DictReader(file)} == {""}
    with pytest.raises(Problem, match="is there already"):
        audit_form.save(store, number, tmp_path / "audit")


def test_answers_are_compared_and_bound_the_error_rate(store, tmp_path):
    number, rows = audit.sample(store, audit.draw(store, 20, 3, "gauge", "me"))
    answers = {int(row["place"]): f"{row['shown_mm']} mm" for row in rows}
    near, far, unread, left = 3, 4, 5, 6
    shown = {place: float(text.split()[0]) for place, text in answers.items()}
    answers[near] = f"{shown[near] + 0.009:.4f} mm"  # 0.9 of a division of 0.01 mm
    answers[far] = f"{(shown[far] + 0.011) / 10:.5f} cm"  # 1.1 divisions
    answers[unread] = "?"
    del answers[left]
    audit.enter(store, number, answers, "me")
    verdict = audit.judge(store, number)
    assert [one.place for one in verdict.wrong] == [far, unread]
    assert (verdict.rate.k, verdict.rate.n, verdict.left) == (2, 19, 1)
    # 2 of 19: 0.0130 to 0.3314, by the quantiles of beta (tests/reading/qualify/test_bounds.py).
    assert tuple(round(one, 4) for one in verdict.rate.between) == (0.013, 0.3314)
    assert verdict.population == 40
    lines = audit.verdict_lines(verdict)
    assert lines[0].endswith("2 of 19 readings wrong (not within 1 division): 11 %")
    assert "lies between 1.3 and 33 %" in lines[1]
    assert "1 pictures of the sample have no answer yet" in lines[3]
    wider = audit.judge(store, number, 1.2)
    assert [one.place for one in wider.wrong] == [unread]


def test_the_newest_answer_counts(store):
    number, rows = audit.sample(store, audit.draw(store, 1, 3, "gauge", "me"))
    for answer in ("?", f"{rows[0]['shown_mm']} mm"):
        audit.enter(store, number, {1: answer}, "me")
    assert audit.judge(store, number).rate.k == 0


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("number,reading,unit\n1,about 3,mm\n", "line 2: 'about 3' is not a length"),
        ("number,reading,unit\nx,3,mm\n", "line 2: no number of a picture"),
        ("number,reading,unit\n1,3,furlong\n", "furlong"),
    ],
)
def test_forms_that_are_not_understood(tmp_path, text, told):
    (tmp_path / "form.csv").write_text(text)
    with pytest.raises(Problem, match=told):
        audit.read_form(tmp_path / "form.csv")


def test_a_form_is_understood(tmp_path):
    path = tmp_path / "form.csv"
    path.write_text('number,reading,unit\n1,5.99,mm\n2,,mm\n3,"0,599 cm",mm\n4,X,mm\n5,0.2,in\n')
    assert audit.read_form(path) == {1: "5.99 mm", 3: "0,599 cm", 4: "X", 5: "0.2 in"}


@pytest.mark.parametrize(("count", "by"), [(41, "gauge"), (0, "gauge"), (3, "day")])
def test_samples_that_can_t_be_drawn(store, count, by):
    with pytest.raises(Problem, match="--"):
        audit.draw(store, count, 1, by, "")


@pytest.mark.parametrize("at_most", ["0", "1e-9", "100", "nan"])
def test_a_promise_that_no_sample_can_prove_is_one_line(tmp_path, at_most):
    asked = ["archive", "sample", str(tmp_path / "r.sqlite"), str(tmp_path), "--at-most", at_most]
    done = CliRunner().invoke(app, asked)
    assert done.exit_code == 2
    assert done.stderr.startswith("datumline: --at-most ")
    assert done.stderr.count("\n") == 1


def test_what_is_not_there_is_said(store):
    with pytest.raises(Problem, match="no audit was drawn"):
        audit.sample(store, None)
    number = audit.draw(store, 3, 1, "gauge", "")
    with pytest.raises(Problem, match="nothing was entered yet"):
        audit.judge(store, number)
    with pytest.raises(Problem, match="picture 4: audit 1 has pictures 1 to 3"):
        audit.enter(store, number, {4: "3 mm"}, "")
