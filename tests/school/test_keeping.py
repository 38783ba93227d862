"""An attempt on the disk: every word and act is there when it is done, and what was broken off is gone on with."""

import json
import os
import signal
import subprocess
import sys
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

import sim
from sim.books.record import Record
from sim.errors import BadFile, CannotWrite
from sim.school.attempt import said_data
from sim.school.facts import gather
from sim.school.keeping import FILE, open_attempt, prepare, put_away, read_head, resume, unfinished, write_head
from sim.school.parts import parts_of
from sim.shop.commands import RollFilm
from sim.shop.logbook import fingerprint
from tests.school.test_attempt import LESSON, PRINT

NOON = datetime(2026, 3, 4, 12, 0, tzinfo=UTC)


def find(name):
    assert name == LESSON.name
    return LESSON


@pytest.fixture
def begun(tmp_path):
    record = Record.open(tmp_path / "data", now=lambda: NOON)
    attempt = open_attempt(tmp_path / "attempts", LESSON, "alone", 7, now=NOON)
    write_head(attempt, record)
    return attempt, record


def test_an_attempt_lies_in_a_folder_of_its_own_and_in_the_record(begun, tmp_path):
    attempt, record = begun
    assert attempt.folder.name == "only-the-hardest-alone-7-20260304T120000"
    assert {one.name for one in attempt.folder.iterdir()} >= {FILE, "only-the-hardest-1.job"}
    head = read_head(attempt.folder)
    (row,) = record.attempts()
    assert (head.lesson, head.part, head.seed, head.record) == ("only-the-hardest", "alone", 7, row.id)
    assert row.files == (str(attempt.folder / "only-the-hardest-1.job"),), "not below the data folder"
    with pytest.raises(CannotWrite, match="is there already"):
        write_head(attempt, record)
    other = open_attempt(tmp_path / "attempts", LESSON, "alone", 7, now=NOON)
    assert other.folder != attempt.folder
    assert unfinished(tmp_path / "attempts") == [attempt.folder], "one without a head was never begun"


def test_it_is_gone_on_with_where_it_stopped_and_comes_to_the_same(begun, tmp_path):
    attempt, _ = begun
    attempt.say("predict", x_mm=30.0, y_mm=20.0)
    attempt.do(PRINT)
    attempt.say("calls", calls=[[30.0, 20.0, 1, True]])
    again = resume(attempt.folder, find)
    assert said_data(again.said) == said_data(attempt.said)
    assert fingerprint(again.session.job) == fingerprint(attempt.session.job)
    assert (again.part, again.seed, again.begun, again.piece, again.ended) == ("alone", 7, attempt.begun, 0, False)
    again.do(RollFilm(1.5))
    again.say("answer", question="form", value="hollow")
    facts = gather(again)
    assert facts.printed[0].predicted == {"x_mm": 30.0, "y_mm": 20.0}
    assert facts.answers == {(0, "form"): "hollow"}
    again.finished()
    assert unfinished(tmp_path / "attempts") == []
    assert resume(attempt.folder, find).ended


CHILD = """
import sys
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from sim.kernels.warm import warm
from sim.school.keeping import open_attempt, write_head
from tests.school.test_attempt import LESSON, PRINT
warm()
attempt = open_attempt(Path(sys.argv[1]), LESSON, "alone", 7, now=datetime(2026, 3, 4, tzinfo=UTC))
write_head(attempt, None)
attempt.do(PRINT)
n = 0
while True:
    attempt.say("answer", question="q", value=n)
    n += 1
    if n == 50:
        print("GO", flush=True)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="no SIGKILL there")
def test_a_process_that_is_killed_loses_at_most_what_was_being_said(tmp_path):
    child = subprocess.Popen([sys.executable, "-c", CHILD, str(tmp_path)], stdout=subprocess.PIPE, text=True)
    assert child.stdout is not None
    assert child.stdout.readline().strip() == "GO"
    os.kill(child.pid, signal.SIGKILL)
    child.wait()
    child.stdout.close()
    (folder,) = unfinished(tmp_path)
    attempt = resume(folder, find)
    values = [one.data["value"] for one in attempt.said]
    assert values == list(range(len(values)))
    assert len(values) >= 50
    assert len(attempt.session.commands) == attempt.begun[0] + 1
    attempt.say("answer", question="q", value="after")
    assert resume(folder, find).said[-1].data["value"] == "after"


def test_a_torn_line_is_cut_off_and_told_and_a_damaged_one_ends_what_is_taken(begun):
    attempt, _ = begun
    attempt.say("answer", question="form", value="hollow")
    attempt.close()
    path = attempt.folder / FILE
    whole = path.read_bytes()
    path.write_bytes(whole + b'{"piece": 0, "after": 3, "sa')
    again = resume(attempt.folder, find)
    assert len(again.said) == 1
    assert "cut short" in again.notes[0]
    assert path.read_bytes() == whole
    path.write_bytes(whole + b"nothing\n" + whole.splitlines(keepends=True)[-1])
    again = resume(attempt.folder, find)
    assert len(again.said) == 1
    assert ":3: is damaged" in again.notes[0]


def test_worked_faces_are_made_ready_round_by_round_and_it_can_be_stopped():
    told = []
    prepare(LESSON, "alone", 7, lambda done, total: told.append((done, total)))
    assert told[-1] == (3, 3)

    def stop(done, total):
        raise InterruptedError

    with pytest.raises(InterruptedError):
        prepare(LESSON, "alone", 7, stop)


def test_a_file_that_is_no_attempt_or_of_other_physics_is_refused_in_one_line(begun, tmp_path):
    attempt, _ = begun
    path = attempt.folder / FILE
    head = json.loads(path.read_text().splitlines()[0])
    path.write_text(json.dumps(head | {"physics": sim.PHYSICS - 1}) + "\n")
    with pytest.raises(BadFile, match="physics must be"):
        resume(attempt.folder, find)
    assert unfinished(tmp_path / "attempts") == [attempt.folder]
    put_away(attempt.folder)
    assert unfinished(tmp_path / "attempts") == [], "put away though it cannot be opened"
    path.write_text(json.dumps(head | {"pieces": 2, "begun": [1, 2]}) + "\n")
    with pytest.raises(BadFile, match="pieces must be 1"):
        resume(attempt.folder, find)
    path.write_text(json.dumps(head | {"covered": 5}) + "\n")
    with pytest.raises(BadFile, match="covered must be a list"):
        resume(attempt.folder, find)
    path.write_text(json.dumps(head | {"begun": [1, 2]}) + "\n")
    with pytest.raises(BadFile, match="begun must hold a count"):
        resume(attempt.folder, find)
    path.write_text("[]\n")
    with pytest.raises(BadFile, match="must be the head"):
        resume(attempt.folder, find)
    with pytest.raises(BadFile, match="no attempt"):
        resume(tmp_path / "nowhere", find)


def test_the_parts_of_a_lesson_are_told_with_their_seeds_and_a_check_waits_for_another_day(tmp_path):
    clock = [NOON]
    record = Record.open(tmp_path, now=lambda: clock[0])
    parts = {one.name: one for one in parts_of(LESSON, record)}
    assert [one.seed for one in parts.values()] == [1, 1000, 5000]
    assert [one.closed == "" for one in parts.values()] == [True, True, False]
    assert "passed alone" in parts["check"].closed
    number = record.begin_attempt(LESSON.name, "alone", 1000)
    alone = parts_of(LESSON, record)[1]
    assert (alone.seed, alone.told) == (1001, "begun, not ended")
    record.end_attempt(number, {"top_down_um": 2.0}, True, False, 60.0)
    clock[0] = NOON + timedelta(hours=19, minutes=29, seconds=30)
    alone, check = parts_of(LESSON, record)[1:]
    assert "0 h 31 min" in check.closed
    assert alone.told == "passed, 1 attempt"
    clock[0] = NOON + timedelta(hours=20)
    assert parts_of(LESSON, record)[2].closed == ""


def test_a_lesson_from_a_file_of_ones_own_is_gone_on_with_from_that_file(tmp_path):
    path = tmp_path / "own.toml"
    path.write_text("")
    attempt = open_attempt(tmp_path / "attempts", replace(LESSON, path=path), "help", 1, now=NOON)
    write_head(attempt, None)
    asked = []

    def found(name):
        asked.append(name)
        return LESSON

    resume(attempt.folder, found)
    assert asked == [str(path)]
    attempt.do(PRINT)
    attempt.finished()
    assert [one["do"] for one in json.loads((attempt.folder / "acts.json").read_text()) if "do" in one] == ["SpotFace"]
