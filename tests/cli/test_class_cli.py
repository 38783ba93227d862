"""`flatwright class` as a teacher meets it, with a sham check of result files first and the true one after it."""

import importlib
import json

import pytest

from sim.cli import main
from sim.errors import BadFile, BadParam
from sim.school.attempt import begin_attempt
from sim.school.checks import judge
from sim.school.classbook import Collected
from sim.school.facts import gather
from sim.school.lessonfile import read_lesson
from sim.school.result import shipped_lesson, write_result
from sim.shop.commands import RollFilm, SpotFace, WipeFace

COMMAND = "class"
WEEK = 'title = "Week 3"\n[[lesson]]\nname = "crown"\nseed = 41\n'


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("sim.paths.lessons", lambda: tmp_path / "lessons")
    (tmp_path / "week.toml").write_text(WEEK)
    for name in ("in", "lessons"):
        (tmp_path / name).mkdir()
    return tmp_path


@pytest.fixture
def sham(monkeypatch):
    """Stands in for the check: the file's first word is the learner, its second the state."""

    def check(path):
        learner, state = path.read_text().split()
        if state == "torn":
            raise BadFile(f"{path}: is no result")
        return Collected(learner, "crown", "alone", 41, {"flat_um": float("nan")}, True, False, {2: 3}, state)

    monkeypatch.setattr(importlib.import_module("sim.cli.class"), "check", check)


def test_an_assignment_is_handed_out_as_one_folder(folder, told, refused):
    found = told("week.toml")
    assert (found["title"], found["tasks"]) == ("Week 3", [{"lesson": "crown", "part": "alone", "seed": 41}])
    assert sorted(path.name for path in (folder / "week-3").iterdir()) == ["assignment.html", "assignment.json"]
    assert "is there already" in refused("week.toml")
    assert told("week.toml", "--force")["files"] == ["week-3/assignment.html", "week-3/assignment.json"]


def test_every_fault_of_an_assignment_is_a_line_of_its_own(folder, capsys):
    (folder / "lessons" / "arch.toml").write_text("")  # then there are lessons, and their names are known
    (folder / "week.toml").write_text(WEEK.replace("41", "'x'") + "colour = 1\n")
    assert main([COMMAND, "week.toml"]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert [line.split(": ")[1] for line in err.splitlines()] == ["week.toml:3", "week.toml:4", "week.toml:5"]
    assert not (folder / "week-3").exists()


def test_results_are_collected_as_tables(folder, sham, capsys):
    (folder / "in" / "ada.result").write_text("Ada genuine")
    (folder / "in" / "bea.result").write_text("Bea edited")
    (folder / "in" / "cyd.result").write_text("Cyd torn")
    assert main([COMMAND, "in", "--out", "told"]) == 1, "one is edited, one cannot be read"
    out, err = capsys.readouterr()
    rows = [" ".join(line.split()) for line in out.splitlines()]
    assert (err, "\x1b" in out) == ("", False)
    assert "Ada passed" in rows
    assert "Bea edited" in rows
    assert "2 dark rings taken for high, pale centres left 1 3" in rows
    assert "cyd not readable: cyd.result" in rows, "its row has the file's name, for nothing tells whose it is"
    assert "cyd.result: not readable: is no result" in rows
    assert rows[-1] == "told/files.csv"
    written = sorted(path.name for path in (folder / "told").iterdir())
    assert written == ["class.csv", "class.html", "faults.csv", "files.csv"]


def test_json_of_what_was_collected(folder, sham, told):
    (folder / "in" / "ada.result").write_text("Ada genuine")
    found = told("in")
    assert found["learners"] == {"Ada": {"crown (alone)": "passed"}}
    assert found["faults"] == {"2": {"Ada": 3}}
    assert found["files"][0]["collected"]["figures"] == {"flat_um": None}
    assert json.dumps(found["written"]) == "[]"


@pytest.mark.parametrize("words, said", [
    (("in",), "in: must hold result files (NAME.result), got none"),
    (("none.toml",), "none.toml: must be a class assignment that can be read"),
    (("none.result",), "none.result: must be a folder of result files, or one of them (NAME.result), got nothing"),
    (("in", "--force"), "--force must go with --out DIR"), (("",), "must name a file, got ''"),
])  # fmt: skip
def test_what_cannot_be_is_one_line(folder, refused, words, said):
    assert said in refused(*words)


def test_tables_that_are_there_are_kept_and_told_before_the_work(folder, sham, refused):
    (folder / "in" / "ada.result").write_text("Ada torn")
    (folder / "told").mkdir()
    (folder / "told" / "files.csv").write_text("mine")
    assert "files.csv: is there already" in refused("in", "--out", "told")
    assert [path.name for path in (folder / "told").iterdir()] == ["files.csv"]


LESSON = """
title = "Two prints"
number = 9
goal = "Print twice."
minutes = 5
belief = "One print is enough."
permission = "Spoil it."
[[piece]]
plate = { length_mm = 120, width_mm = 100 }
before = [{ do = "RollFilm", weight_um = 3.0 }]
[allowed]
tools = ["roll", "spot", "wipe"]
[[step]]
text = "Print, wipe, print."
[[check]]
name = "film_cv"
passes = 0.9
[model]
way = "lay_films"
[wrong]
way = "lay_films"
fails = "film_cv"
reason = "a rag leaves streaks"
"""


@pytest.fixture
def handed_in(folder, monkeypatch):
    """Two learners' files of a lesson on the disk, made as a learner's program makes them."""
    monkeypatch.setattr("sim.school.lessonfile.lessons", lambda: folder / "lessons")
    shipped_lesson.cache_clear()
    (folder / "lessons" / "09-two-prints.toml").write_text(LESSON)
    lesson = shipped_lesson("09-two-prints")
    for name in ("Ada", "Bea"):
        attempt = begin_attempt(lesson, "alone", 41)
        for command in (SpotFace(30.0, 30.0), WipeFace(), RollFilm(1.5), SpotFace(30.0, 30.0)):
            attempt.do(command)
        attempt.say("coach", rule="heavy film", rung=1)
        write_result(folder / "in" / f"{name}.result", attempt, name, judge(lesson, gather(attempt)))
    yield folder
    shipped_lesson.cache_clear()


def test_files_of_a_lesson_are_run_again_and_held_against_what_was_asked(handed_in, told):
    week = WEEK.replace("crown", "09-two-prints") + 'part = "alone"\n'
    (handed_in / "week.toml").write_text(week.replace("[[", "coach = false\n[["))
    told("week.toml")
    (handed_in / "in" / "assignment.json").write_bytes((handed_in / "week-3" / "assignment.json").read_bytes())
    found = told("in")
    column = "09-two-prints (alone, seed 41)"
    assert found["learners"] == {name: {column: "passed (coach asked)"} for name in ("Ada", "Bea")}
    assert found["files"][0]["collected"]["figures"]["rounds"] == 2.0
    assert found["files"][0]["collected"]["state"] == "genuine"


def test_one_edited_byte_is_told_and_ends_with_1(handed_in, capsys):
    path = handed_in / "in" / "Bea.result"
    data = path.read_bytes()
    path.write_bytes(data.replace(b"attempt.json", b"attempt.jsom"))
    (handed_in / "in" / "cyd.result").write_bytes(data[:-1] + bytes([data[-1] ^ 1]))
    assert main([COMMAND, "in"]) == 1
    out, err = capsys.readouterr()
    assert err == ""
    rows = [" ".join(line.split()) for line in out.splitlines()]
    assert "Bea edited damaged: Bea.result" in rows, "which lesson it was of cannot be read"
    assert "Bea.result: damaged: bytes of it were lost or changed after it was written" in rows
    assert "cyd.result: edited: its seal is broken: a byte was changed after it was written" in rows
    assert "CRC" not in out


def test_one_result_file_alone_is_judged_as_in_its_folder(handed_in, told, capsys):
    found = told("in/Ada.result")
    assert found["learners"] == {"Ada": {"09-two-prints (alone)": "passed"}}
    assert [one["file"] for one in found["files"]] == ["Ada.result"]


def test_a_teachers_own_lesson_goes_with_the_assignment_and_is_judged_by_the_file_beside_it(handed_in, told, refused):
    (handed_in / "lessons" / "09-two-prints.toml").rename(handed_in / "two-of-mine.toml")
    (handed_in / "lessons" / "01-other.toml").write_text(LESSON)
    shipped_lesson.cache_clear()
    lesson = read_lesson(handed_in / "two-of-mine.toml")
    attempt = begin_attempt(lesson, "alone", 41)
    for command in (SpotFace(30.0, 30.0), WipeFace(), RollFilm(1.5), SpotFace(30.0, 30.0)):
        attempt.do(command)
    mine = handed_in / "mine"
    mine.mkdir()
    write_result(mine / "Ada.result", attempt, "Ada", judge(lesson, gather(attempt)))

    def state():
        return told("mine")["files"][0]["collected"]["state"]

    assert state() == "other lesson"
    (mine / "two-of-mine.toml").write_bytes((handed_in / "two-of-mine.toml").read_bytes())
    assert state() == "other lesson", "a file that came in with the others is not believed unless it was asked for"
    (mine / "two-of-mine.toml").unlink()
    assert told("mine", "--lesson", "two-of-mine.toml")["files"][0]["collected"]["state"] == "genuine"
    (handed_in / "week.toml").write_text(WEEK.replace("crown", "two-of-mine"))
    assert "week-3/two-of-mine.toml" in told("week.toml")["files"]
    for name in ("assignment.json", "two-of-mine.toml"):
        (mine / name).write_bytes((handed_in / "week-3" / name).read_bytes())
    assert state() == "genuine"
    (mine / "two-of-mine.toml").write_text(LESSON.replace("0.9", "0.0001"))
    assert state() == "other lesson"
    assert "another name than a shipped one, got 01-other.toml" in refused("mine", "--lesson", "lessons/01-other.toml")


def test_a_lesson_is_asked_for_by_its_number_too(handed_in, told):
    (handed_in / "week.toml").write_text(WEEK.replace("crown", "9"))
    assert told("week.toml")["tasks"] == [{"lesson": "09-two-prints", "part": "alone", "seed": 41}]


def test_an_assignment_asks_for_lessons_that_there_are(handed_in, refused):
    assert "lesson[1].name: must be one of 09-two-prints, got 'crown'" in refused("week.toml")


def test_a_result_file_names_no_lesson_but_a_shipped_one(handed_in):
    easy = handed_in / "in" / "easy.toml"
    easy.write_text(LESSON.replace("0.9", "900"))
    for name in (str(easy), "easy", "9", "../lessons/09-two-prints"):
        with pytest.raises(BadParam, match=r"lesson must be one of 09-two-prints, got"):
            shipped_lesson(name)


ACTS = [{"do": "SpotFace", "x_mm": 30.0, "y_mm": 30.0}, {"do": "WipeFace"}, {"do": "RollFilm", "weight_um": 1.5},
        {"do": "SpotFace", "x_mm": 30.0, "y_mm": 30.0}]  # fmt: skip


def test_a_learner_works_at_an_assignment_and_hands_in_what_is_collected_as_asked(handed_in, told, capsys):
    (handed_in / "week.toml").write_text(WEEK.replace("crown", "09-two-prints").replace("[[", "coach = false\n[["))
    told("week.toml")
    for path in (handed_in / "in").iterdir():
        path.unlink()
    asked = "week-3/assignment.json"
    play = ("lesson", "09-two-prints", "--assignment", asked, "--data-dir", "mine", "--answers", "acts.json", "--json")
    (handed_in / "acts.json").write_text(json.dumps([*ACTS, {"say": "coach", "rule": "heavy film", "rung": 1}]))
    assert main([*play, "--result", "in/dan.result"]) == 2
    assert "The coach is silent here." in capsys.readouterr().err
    (handed_in / "acts.json").write_text(json.dumps(ACTS))
    assert main([*play, "--seed", "4"]) == 2
    assert "--seed must be 41, as week-3/assignment.json asks, got 4" in capsys.readouterr().err
    assert main([*play, "--part", "check"]) == 2
    assert "Week 3 asks for 09-two-prints (alone, seed 41)" in capsys.readouterr().err
    assert main([*play, "--result", "in/dan.result"]) == 0
    assert json.loads(capsys.readouterr().out)["seed"] == 41
    (handed_in / "in" / "assignment.json").write_bytes((handed_in / asked).read_bytes())
    assert told("in")["learners"] == {"learner": {"09-two-prints (alone, seed 41)": "passed"}}
