"""A class: every fault of an assignment at once, every file judged by itself, one bad file stops no other."""

import csv
import io
import json
from dataclasses import replace
from textwrap import dedent

import pytest

from sim.errors import BadFile, BadFiles, BadParam
from sim.school.classbook import (
    Assignment,
    ClassBook,
    Collected,
    Handed,
    Task,
    class_csv,
    faults_csv,
    files_csv,
)
from sim.school.classroom import (
    as_asked,
    collect,
    folder_name,
    handed_out,
    read_assignment,
    read_handed_out,
    task_of,
)
from sim.school.lesson import Allowed
from tests.school.handed_in import LESSON

DONE = Collected("Ada", "crown", "alone", 41, {"flat_um": -2.5}, True, False, {2: 3}, "genuine")
FAKE = """
import json, os
from sim.errors import BadFile
from sim.school.classbook import Collected

def check(path):
    told = json.loads(path.read_text())
    if told == "die":
        os._exit(9)
    if told == "refuse":
        raise BadFile(f"{path}: is no result")
    told["faults"] = {int(number): count for number, count in told["faults"].items()}
    return Collected(**told)
"""


@pytest.fixture
def check(tmp_path, monkeypatch):
    """A check that believes what is written; in a module of its own, as other processes want it."""
    (tmp_path / "sham").mkdir()
    (tmp_path / "sham" / "sham_check.py").write_text(FAKE)
    monkeypatch.syspath_prepend(str(tmp_path / "sham"))
    import sham_check

    return sham_check.check


@pytest.fixture
def folder(tmp_path):
    made = tmp_path / "handed in"
    made.mkdir()
    return made


def write(folder, name, told):
    path = folder / name
    path.parent.mkdir(exist_ok=True)
    path.write_text(json.dumps(told if isinstance(told, str) else vars(told)))


def book(*found, assignment=None):
    return ClassBook(tuple(Handed(f"{n}.result", one) for n, one in enumerate(found)), assignment)


def assignment_of(tmp_path, text):
    path = tmp_path / "week.toml"
    path.write_text(dedent(text), encoding="utf-8")
    return path


GOOD = """\
    title = "Week 3: pale and dark"
    due = "Friday before noon"
    uncover = true

    [[lesson]]
    name = "crown"
    seed = 41

    [[lesson]]
    name = "crown"
    part = "check"
    seed = 42
    """


def test_an_assignment_is_read_and_comes_back_from_what_is_handed_out(tmp_path):
    found = read_assignment(assignment_of(tmp_path, GOOD), {"crown"})
    tasks = (Task("crown", "alone", 41), Task("crown", "check", 42))
    assert found == Assignment("Week 3: pale and dark", tasks, True, True, "Friday before noon")
    (tmp_path / "assignment.json").write_text(handed_out(found), encoding="utf-8")
    assert read_handed_out(tmp_path / "assignment.json") == found


def test_every_fault_of_an_assignment_is_told_at_once_with_its_line(tmp_path):
    path = assignment_of(tmp_path, """\
        title = " "
        coach = "yes"
        colour = "blue"

        [[lesson]]
        name = "crwon"
        part = "exam"
        seed = 1.5

        [[lesson]]
        name = "crown"

        [[lesson]]
        name = "crown"
        seed = 3

        [[lesson]]
        name = "crown"
        seed = -4

        [[lesson]]
        name = "crown"
        seed = 5
        """)  # fmt: skip
    with pytest.raises(BadFiles) as refused:
        read_assignment(path, {"crown", "hollow"})
    told = [fault.removeprefix(f"{path}:") for fault in refused.value.faults]
    assert [fault.split(":")[0] for fault in told] == ["1", "2", "3", "6", "7", "8", "10", "19", "21"]
    expected = (
        "title: must have 1 to 120 signs, got 0", "coach: must be true or false, got yes",
        "colour: must be one of title, due", "name: must be one of crown, hollow, got 'crwon'",
        "part: must be one of help, alone, check, got 'exam'", "seed: must be a whole number, got 1.5",
        "seed must be given, got nothing", "seed: must be in [0, 2.14748e+09], got -4",
        "asked for once, got crown alone as lesson[3] already",
    )  # fmt: skip
    for words, fault in zip(expected, told, strict=True):
        assert words in fault


@pytest.mark.parametrize("text, said", [
    ("title = ", "week.toml:1: must be TOML"), ("title = 'a'\nlesson = []", "lesson: must be 1 to 40 tables"),
    ("", "title must be given, got nothing"), ("title = 'a'\nlesson = 3", "must be a list of tables"),
])  # fmt: skip
def test_what_is_no_assignment_is_refused(tmp_path, text, said):
    with pytest.raises(BadFile) as refused:
        read_assignment(assignment_of(tmp_path, text))
    assert said in str(refused.value)
    assert "week.toml:" in str(refused.value)


@pytest.mark.parametrize(
    "data", [b"", b"[]", b"{}", b"[" * 50_000, b'{"format": "flatwright assignment", "version": 1}']
)
def test_what_is_no_handed_out_assignment_is_one_line(tmp_path, data):
    (tmp_path / "assignment.json").write_bytes(data)
    with pytest.raises(BadFile, match="must be an assignment as"):
        read_handed_out(tmp_path / "assignment.json")


@pytest.mark.parametrize("title, name", [
    ("Week 3: pale & dark", "week-3-pale-dark"), ("../../etc", "etc"), ("Übung", "ubung"), ("数", "assignment"),
    ("a" * 99, "a" * 60),
])  # fmt: skip
def test_a_title_becomes_a_plain_name_of_a_folder(title, name):
    assert folder_name(title) == name


def test_a_cell_shows_the_best_of_the_genuine_files():
    tried, merit = replace(DONE, passed=False), replace(DONE, merit=True)
    task = Task("crown", "alone")
    assert book(tried).cell("Ada", task) == "tried"
    assert book(DONE, tried).cell("Ada", task) == "passed"
    assert book(tried, merit, DONE).cell("Ada", task) == "merit"
    assert book(DONE).cell("Ada", Task("crown", "check")) == ""
    assert book(DONE).cell("Bea", task) == ""


def test_what_is_not_genuine_counts_for_nothing_and_is_said():
    edited, other = replace(DONE, state="edited"), replace(DONE, state="other physics")
    task = Task("crown", "alone")
    assert book(edited).cell("Ada", task) == "edited"
    assert book(other, edited).cell("Ada", task) == "edited, other physics"
    assert book(edited, replace(DONE, passed=False)).cell("Ada", task) == "tried (1 edited)"
    assert book(edited, other).faults() == {}


def test_a_damaged_file_is_told_in_the_cell_of_whom_it_is_of():
    task, damaged = Task("crown", "alone"), replace(DONE, learner="Bea", state="damaged")
    files = [Handed("a.result", DONE), Handed("b.result", damaged),
             Handed("in/ada/crown.result", unreadable="damaged: x"), Handed("cy.result", unreadable="damaged: x"),
             Handed("bea-2.result", unreadable="too large")]  # fmt: skip
    found = ClassBook(tuple(files))
    assert found.learners == ["Ada", "Bea", "cy"]
    lost = found.tasks[1]
    assert [class_csv(found).splitlines()[0]] == ["learner,crown (alone),lesson not known"]
    assert found.cell("Ada", task) == "passed (damaged: in/ada/crown.result)"
    assert found.cell("Bea", task) == "damaged: b.result"
    assert found.cell("Bea", lost) == "not readable: bea-2.result"
    assert found.cell("cy", lost) == "damaged: cy.result"
    assert found.cell("cy", task) == found.cell("Ada", lost) == ""
    assert found.faults() == {2: {"Ada": 3}}


def test_with_an_assignment_only_its_seed_counts_and_its_order_holds():
    asked = Assignment("a", (Task("hollow", "alone", 1), Task("crown", "alone", 7)))
    found = book(DONE, replace(DONE, lesson="arch"), replace(DONE, lesson="hollow", seed=1), assignment=asked)
    assert found.tasks == [*asked.tasks, Task("arch", "alone")]
    assert [found.cell("Ada", task) for task in found.tasks] == ["passed", "other seed, asked 7", "passed"]


def test_faults_are_added_up_by_learner_the_most_frequent_first():
    found = book(DONE, replace(DONE, faults={2: 1, 7: 9}), replace(DONE, learner="bea", faults={2: 1}))
    assert found.faults() == {7: {"Ada": 9}, 2: {"Ada": 4, "bea": 1}}
    assert found.learners == ["Ada", "bea"]
    rows = list(csv.reader(io.StringIO(faults_csv(found, {2: "dark rings"}))))
    assert rows == [["fault", "what", "Ada", "bea", "all"], ["7", "", "9", "0", "9"],
                    ["2", "dark rings", "4", "1", "5"]]  # fmt: skip


@pytest.mark.parametrize("hostile", ["=1+1", "+1", "-1", "@SUM(A1)", " \t=cmd|' /C calc'!A0", "\n=1"])
def test_no_text_becomes_a_formula_in_a_spreadsheet(hostile):
    found = book(replace(DONE, learner=hostile, lesson=hostile, part=hostile, why=hostile, figures={hostile: 1.0}))
    for text in (class_csv(found), files_csv(found), faults_csv(found, {2: hostile})):
        cells = [cell for row in csv.reader(io.StringIO(text)) for cell in row]
        assert any(cell.startswith("'") for cell in cells)
        assert not [cell for cell in cells if cell.startswith(("=", "+", "-", "@", " ", "\t", "\n"))]


def test_what_was_shown_against_the_assignment_is_told_and_a_fair_attempt_comes_first():
    quiet = Assignment("Week 3", (Task("crown", "alone", 41),), coach=False)
    asked = replace(DONE, hints=2, coach=1)
    task = quiet.tasks[0]
    assert book(asked, assignment=quiet).cell("Ada", task) == "passed (coach asked)"
    assert book(replace(DONE, uncovered=3), assignment=quiet).cell("Ada", task) == "passed (heights uncovered)"
    assert book(asked, replace(DONE, passed=False), assignment=quiet).cell("Ada", task) == "tried"
    assert book(replace(DONE, hints=2), assignment=quiet).cell("Ada", task) == "passed", "hints of the lesson itself"
    assert book(asked, assignment=replace(quiet, coach=True)).cell("Ada", task) == "passed"
    assert book(asked).cell("Ada", task) == "passed"


def test_a_lesson_shows_no_more_than_the_assignment_and_no_more_than_its_own_file():
    asked = Assignment("Week 3", (Task(LESSON.name, "alone", 41), Task(LESSON.name, "check", 42)), coach=False)
    shown = as_asked(LESSON, asked).allowed
    assert (shown.coach, shown.uncover) == (False, False)
    silent = replace(LESSON, allowed=Allowed(coach=False))
    assert as_asked(silent, replace(asked, coach=True, uncover=True)).allowed == Allowed(coach=False, uncover=True)
    assert [task_of(asked, LESSON.name, part).seed for part in (None, "check")] == [41, 42]
    with pytest.raises(BadParam, match=r"Week 3 asks for only-the-hardest \(alone, seed 41\).*, got crown \(help\)"):
        task_of(asked, "crown", "help")


def test_a_number_stays_a_number_in_csv():
    rows = list(csv.reader(io.StringIO(files_csv(book(DONE)))))
    assert rows[0][-1] == "flat_um"
    assert rows[1] == ["0.result", "Ada", "crown", "alone", "41", "yes", "no", "0", "0", "genuine", "", "-2.5"]


def test_collecting_lists_what_cannot_be_read_and_goes_on(folder, check):
    write(folder, "a.result", DONE)
    write(folder, "below/b.result", replace(DONE, learner="Bea\x1b[2J  two"))
    write(folder, "c.result", "refuse")
    (folder / "d.result").write_bytes(b"\xff")
    write(folder, "e.result", DONE)
    write(folder, "f.result", replace(DONE, learner=" "))
    write(folder, "notes.txt", "die")
    seen = []
    found = collect(folder, check, 1, seen=lambda done, total: seen.append((done, total)))
    names = [one.file.removesuffix(".result") for one in found.files]
    assert names == ["a", "below/b", "c", "d", "e", "f"]
    assert found.learners == ["Ada", "Bea?[2J two", "c", "d", "f"]
    assert [one.copy_of for one in found.files] == ["", "", "", "", "a.result", ""]
    assert found.files[2].unreadable == "is no result"
    assert found.files[3].unreadable.startswith("cannot be read: UnicodeDecodeError")
    assert found.files[5].unreadable == "no learner is named in it"
    assert (len(found.counted), found.faults()) == (2, {2: {"Ada": 3, "Bea?[2J two": 3}})
    assert seen == [(n, 6) for n in range(1, 7)]


def test_the_assignment_beside_the_files_gives_the_order(folder, check):
    asked = Assignment("Week 3", (Task("hollow", "alone", 1), Task("crown", "alone", 41)))
    (folder / "assignment.json").write_text(handed_out(asked))
    write(folder, "a.result", DONE)
    found = collect(folder, check, 1)
    assert (found.assignment, found.tasks) == (asked, list(asked.tasks))


def test_two_processes_find_what_one_finds(folder, check):
    for n in range(6):
        write(folder, f"{n}.result", replace(DONE, learner=f"learner {n}", seed=n))
    assert collect(folder, check, 2) == collect(folder, check, 1)


@pytest.mark.slow
def test_a_file_that_ends_its_process_is_listed_and_stops_no_other(folder, check):
    for n in range(6):
        write(folder, f"{n}.result", "die" if n == 2 else replace(DONE, learner=f"learner {n}"))
    found = collect(folder, check, 2)
    ended = "the process that read it ended without an answer"
    assert [one.unreadable for one in found.files] == ["", "", ended, "", "", ""]
    assert len(found.counted) == 5


def test_a_folder_without_results_is_one_line(folder, check):
    with pytest.raises(BadFile, match="must hold result files"):
        collect(folder, check)
    with pytest.raises(BadFile, match=r"must be a folder of result files, or one of them .*, got nothing"):
        collect(folder / "none", check)
