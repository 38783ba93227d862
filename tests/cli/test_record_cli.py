"""`flatwright record` as a user meets it."""

import pytest

from sim.books.record import Answer, Record
from sim.cli import main

COMMAND = "record"
ANSWER = Answer("which stands highest", 3, "f", False, True, 4.0, True, 0.5, 2.0, 0.0, None, 1, "2026-03-04T10:20:30Z",
                "a")  # fmt: skip


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.setenv("FLATWRIGHT_DATA", str(tmp_path / "data"))
    monkeypatch.chdir(tmp_path)
    return tmp_path / "data"


@pytest.fixture
def filled(folder):
    with Record.open(folder) as record:
        record.switch("Ada")
        number = record.begin_attempt("crown", "check", 5, ["crown.job"])
        record.end_attempt(number, {"flat_um": 2.5, "skill": float("nan")}, True, True, 600.0)
        record.begin_attempt("hollow", "help", 5)
        for n in range(8):
            record.add_answer(ANSWER if n else Answer(**{**vars(ANSWER), "held_out": True}))
    return folder


def test_an_empty_record_says_where_the_first_lesson_appears(folder, capsys):
    assert main([COMMAND]) == 0
    out, err = capsys.readouterr()
    assert out.splitlines() == ["learner", "Your first finished lesson appears here.",
                                "curves: flatwright record --out DIR"]  # fmt: skip
    assert err == ""


def test_a_record_is_told_as_plain_tables_in_a_pipe(filled, capsys):
    assert main([COMMAND]) == 0
    out = capsys.readouterr().out
    assert "\x1b" not in out
    rows = [line.split() for line in out.splitlines()]
    assert [row[:5] for row in rows if row[:1] in (["crown"], ["hollow"])] == [
        ["crown", "merit", "1", "0", "10"], ["hollow", "tried", "1", "1", "0"]]  # fmt: skip
    assert ["which", "stands", "highest", "7", "3", "1", "more", "1", "3", "7", "more"] in rows
    assert ["answer", "answers"] in rows, "the rest of both cells: the name is long"
    assert max(len(line) for line in out.splitlines()) <= 80


def test_json_holds_lessons_and_levels_apart(filled, told):
    found = told()
    assert (found["learner"], found["learners"], found["answers"], found["notes"]) == ("Ada", ["Ada"], 8, [])
    assert found["lessons"][0]["figures"] == {"flat_um": 2.5, "skill": None}
    assert [(row["lesson"], row["best"], row["unfinished"]) for row in found["lessons"]] == [
        ("crown", "merit", 0), ("hollow", "tried", 1)]  # fmt: skip
    assert [(one["level"], one["held_out"], one["skill"], one["answers"]) for one in found["levels"]] == [
        (3, False, 75.0, 7), (3, True, None, 1)]  # fmt: skip


def test_out_writes_one_page_and_keeps_one_that_is_there(filled, capsys, refused, tmp_path):
    assert main([COMMAND, "--out", "told"]) == 0
    assert capsys.readouterr().out.endswith("page: told/progress.html\n")
    assert "Progress of Ada" in (tmp_path / "told" / "progress.html").read_text(encoding="utf-8")
    assert "is there already" in refused("--out", "told")
    assert main([COMMAND, "--out", "told", "--force"]) == 0


def test_shop_cards_are_told_in_words_with_their_units(folder, told, capsys, tmp_path):
    with Record.open(folder) as record:
        record.switch("Ada")
        record.add_card("films", {"film_heavy": 8.0, "marks_thin": 12.0, "gone": 3.5})
        record.add_card("no longer there", {"x": 2.0})
    found = told()
    assert [(one["card"], one["values"]) for one in found["cards"]] == [
        ("films", {"film_heavy": 8.0, "marks_thin": 12.0, "gone": 3.5}), ("no longer there", {"x": 2.0})]  # fmt: skip
    assert main([COMMAND, "--out", "told"]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "marks in the square, thin: 12" in out
    assert "beside the model: flatwright cards NAME" in out
    assert "Your first finished lesson" not in out
    page = (tmp_path / "told" / "progress.html").read_text(encoding="utf-8")
    assert "heavy film, if you can weigh it: 8.0 µm; marks in the square, thin: 12; gone: 3.5" in page
    assert "2 shop cards filled in." in page
    with Record.open(folder) as record:
        record.switch("Bea")
    assert told()["cards"] == [], "of this learner only"


def test_a_learner_moves_to_another_machine(filled, told, tmp_path):
    assert told("--export", "ada.json")["exported"] == "ada.json"
    there = ("--data-dir", str(tmp_path / "there"))
    taken = told("--take-in", "ada.json", *there)["taken_in"]
    assert taken == {"learner": "Ada", "attempts": 2, "answers": 8, "known": 0, "cards": 0}
    assert told("--take-in", "ada.json", *there)["taken_in"]["known"] == 10
    assert told("--learner", "ada", *there)["lessons"] == told()["lessons"]


def test_learners_are_switched_renamed_and_deleted(filled, told, refused):
    assert told("--switch", "Bea")["learners"] == ["Ada", "Bea"]
    assert told()["learner"] == "Bea"
    assert told("--learner", "Ada")["answers"] == 8
    assert told("--rename", "Beatrix")["learner"] == "Beatrix"
    assert "must go with --yes, got none" in refused("--delete", "Ada")
    gone = told("--delete", "Ada", "--yes")
    assert (gone["deleted"], gone["files"], gone["learners"]) == ("Ada", ["crown.job"], ["Beatrix"])


@pytest.mark.parametrize("words, said", [
    (("--learner", "Nobody"), "the learner must be one of the record's (nobody yet), got 'Nobody'"),
    (("--delete", "Nobody", "--yes"), "the learner must be one of the record's (nobody yet), got 'Nobody'"),
    (("--switch", ""), "a learner's name must have 1 to 60 signs that can be printed, got ''"),
    (("--yes",), "--yes must go with --delete NAME"), (("--take-in", "nothing.json"), "nothing.json: no such file"),
    (("--switch", "A", "--rename", "B"), "not allowed with argument"), (("--out", ""), "--out must name a folder, got"),
    (("--export", ""), "--export must name a file, got ''"),
])  # fmt: skip
def test_what_cannot_be_is_one_line(folder, refused, words, said):
    assert said in refused(*words)


def test_a_damaged_record_is_told_beside_the_answer(filled, capsys):
    (filled / "record.sqlite3").write_bytes(b"no record" * 500)
    assert main([COMMAND]) == 0
    out, err = capsys.readouterr()
    assert "Your first finished lesson appears here." in out
    assert err.count("\n") == 1
    assert "it was set aside as record-damaged-" in err
