"""`flatwright class` as a teacher meets it; the check of a result file is a sham here."""

import importlib
import json

import pytest

from sim.cli import main
from sim.errors import BadFile
from sim.school.classroom import Collected

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
    assert "cyd.result: not readable: in/cyd.result: is no result" in rows
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
