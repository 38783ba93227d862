"""Pages of a class: a sheet to print, and tables in which every name is a word."""

import json
import re
from dataclasses import replace

import pytest

from sim.errors import CannotWrite
from sim.report.class_page import assignment_page, class_page, write_assignment, write_class
from sim.school.classbook import Assignment, ClassBook, Collected, Handed, Task
from sim.school.faults import FAULTS

DONE = Collected("Ada", "crown", "alone", 41, {"flat_um": 2.5}, True, True, {2: 3}, "genuine")
TASKS = (Task("crown", "alone", 41), Task("hollow", "check", 7))
WEEK = Assignment("Week 3", TASKS, False, False, "Friday", "Bring a pen.")
HOSTILE = "<script>alert('x')</script>&"


def words(page):
    return " ".join(re.sub(r"<style>.*?</style>|<[^>]+>", " ", page, flags=re.S).split())


def test_the_sheet_holds_every_task_with_its_seed_and_what_is_shown():
    told = words(assignment_page(WEEK))
    assert "Week 3 Due: Friday Name: ____" in told
    assert "1. crown alone 41 ☐ 2. hollow check on another day 7 ☐" in told
    assert "Bring a pen." in told
    assert "The coach is silent. Heights stay covered." in told
    assert "The coach speaks when it is asked. Heights may be uncovered" in words(
        assignment_page(replace(WEEK, coach=True, uncover=True)))  # fmt: skip


def test_the_page_of_a_class_tells_learners_lessons_faults_and_files():
    files = (Handed("a.result", DONE), Handed("b.result", replace(DONE, learner="Bea", state="edited", why="line 9")),
             Handed("c.result", unreadable="is no zip"), Handed("d.result", DONE, copy_of="a.result"))  # fmt: skip
    page = class_page(ClassBook(files, WEEK), FAULTS)
    told = words(page)
    assert "Week 3 4 files of 2 learners. 1 genuine 1 edited 1 not readable 1 a copy" in told
    assert "learner crown alone, seed 41 hollow check, seed 7 lesson not known" in told
    assert "Ada merit · · Bea edited · · c · · not readable c.result" in told
    assert "2 dark rings taken for high, pale centres left 3 3" in told
    assert "a.result Ada crown (alone) 41 merit genuine" in told
    assert "b.result Bea crown (alone) 41 says merit edited line 9" in told
    assert "c.result not readable is no zip" in told
    assert "d.result Ada crown (alone) 41 merit genuine the same bytes as a.result, counted once" in told
    assert [f"chip {kind}" in page for kind in ("merit", "bad", "tried")] == [True, True, False]
    assert "better than the limit on another day" in told, "the words that come are explained"
    assert "another version of the model" not in told, "and no others"
    assert "http" not in page.replace("http-equiv", ""), "nothing is fetched"


def test_a_cell_tells_state_and_file_of_what_was_damaged():
    files = (Handed("a.result", replace(DONE, state="damaged")), Handed("b.result", replace(DONE, seed=4)))
    told = words(class_page(ClassBook(files, WEEK), FAULTS))
    assert "Ada damaged a.result ·" in told
    told = words(class_page(ClassBook((files[0], Handed("c.result", DONE)), WEEK), FAULTS))
    assert "Ada merit damaged: a.result ·" in told


def test_every_name_is_escaped():
    one = replace(DONE, learner=HOSTILE, lesson=HOSTILE, part=HOSTILE, why=HOSTILE)
    book = ClassBook((Handed(HOSTILE, one), Handed("b", unreadable=HOSTILE), Handed("c", one, copy_of=HOSTILE)),
                     Assignment(HOSTILE, (Task(HOSTILE, HOSTILE, 1),), due=HOSTILE, note=HOSTILE))  # fmt: skip
    for page in (class_page(book, {2: HOSTILE}), assignment_page(book.assignment)):
        assert "<script" not in page
        assert "alert('x')" not in page
        assert "&lt;script&gt;" in page


def test_the_folder_of_an_assignment_is_written_once(tmp_path):
    page, data = write_assignment(tmp_path, WEEK)
    assert page == tmp_path / "week-3" / "assignment.html"
    told = json.loads(data.read_text(encoding="utf-8"))
    assert (told["title"], told["coach"], told["tasks"][1]) == (
        "Week 3", False, {"lesson": "hollow", "part": "check", "seed": 7})  # fmt: skip
    with pytest.raises(CannotWrite, match="is there already"):
        write_assignment(tmp_path, replace(WEEK, due="Monday"))
    assert "Friday" in page.read_text(encoding="utf-8")
    write_assignment(tmp_path, replace(WEEK, due="Monday"), force=True)
    assert "Monday" in page.read_text(encoding="utf-8")


def test_the_tables_of_a_class_are_written_together_or_not_at_all(tmp_path):
    book = ClassBook((Handed("a.result", replace(DONE, learner="Zoë")),))
    (tmp_path / "faults.csv").write_text("mine")
    with pytest.raises(CannotWrite, match=r"faults\.csv: is there already"):
        write_class(tmp_path, book, FAULTS)
    assert [path.name for path in tmp_path.iterdir()] == ["faults.csv"]
    written = write_class(tmp_path, book, FAULTS, force=True)
    assert [path.name for path in written] == ["class.html", "class.csv", "faults.csv", "files.csv"]
    assert written[1].read_bytes().startswith(b"\xef\xbb\xbf")
    assert written[1].read_text(encoding="utf-8-sig").splitlines() == ["learner,crown (alone)", "Zoë,merit"]
    assert "dark rings" in (tmp_path / "faults.csv").read_text(encoding="utf-8-sig")
