"""The learner's record: nothing is lost, nothing is doubled, what is deleted is gone."""

import json
import os
import signal
import sqlite3
import subprocess
import sys
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from math import isnan, nan

import pytest

from sim import PHYSICS
from sim.books.record import Answer, Record
from sim.books.recordfile import FILE, STEPS, VERSION, make_version
from sim.errors import BadFile, BadParam, CannotWrite

ANSWER = Answer(kind="highest", level=3, family="highest-3-window", held_out=False, right=True, seconds=4.5,
                within=True, loss=0.25, chance=1.5, best=0.0, sure=None, seed=7, when="2026-03-04T10:20:30Z",
                sitting="a")  # fmt: skip
BEGUN = datetime(2026, 3, 4, 10, 20, 30, tzinfo=UTC)


class Clock:
    """A clock that stands until a test moves it."""

    def __init__(self):
        self.now = BEGUN

    def __call__(self):
        return self.now


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def record(tmp_path, clock):
    with Record.open(tmp_path / "data", clock) as made:
        yield made


def child(code, *words):
    """A process of its own that runs a piece of Python."""
    env = {**os.environ, "PYTHONPATH": os.getcwd()}
    return subprocess.Popen([sys.executable, "-c", code, *map(str, words)], env=env, stdin=subprocess.PIPE,
                            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)  # fmt: skip


def test_a_new_record_has_one_learner_and_nothing_else(record):
    assert record.learners() == []
    assert record.current() == "learner"
    assert record.learners() == ["learner"]
    assert (record.attempts(), record.answers(), record.best(), record.notes) == ([], [], {}, [])


def test_an_attempt_is_kept_from_its_beginning_to_its_end(record, clock, tmp_path):
    number = record.begin_attempt("crown", "alone", 41, ("crown.job",))
    record.note(number, "hint", {"rung": 2, "text": "Look at the edge"})
    with Record.open(tmp_path / "data", clock) as other:
        (seen,) = other.attempts()
        assert (seen.lesson, seen.part, seen.seed, seen.physics) == ("crown", "alone", 41, PHYSICS)
        assert (seen.begun, seen.ended, seen.unfinished, seen.passed) == ("2026-03-04T10:20:30Z", None, True, None)
        assert other.noted(number)[0].data == {"rung": 2, "text": "Look at the edge"}
        assert other.best() == {"crown": "tried"}
    clock.now += timedelta(minutes=12)
    record.end_attempt(number, {"flat_um": 3.5, "skill": nan}, True, False, 720.0)
    (done,) = record.attempts("crown")
    assert (done.ended, done.unfinished, done.passed, done.merit) == ("2026-03-04T10:32:30Z", False, True, False)
    assert (done.clock_s, done.files, done.figures["flat_um"]) == (720.0, ("crown.job",), 3.5)
    assert isnan(done.figures["skill"])
    assert record.attempts("hollow") == []


def test_the_best_of_a_lesson_is_never_taken_back_by_a_later_attempt(record):
    for lesson, passed, merit in (("a", True, True), ("a", False, False), ("b", True, False), ("b", False, False)):
        record.end_attempt(record.begin_attempt(lesson, "check", 1), {}, passed, merit, 1.0)
    record.begin_attempt("c", "alone", 1)
    assert record.best() == {"a": "merit", "b": "passed", "c": "tried"}


def test_an_attempt_ends_once_and_its_job_files_can_be_named_then(record):
    number = record.begin_attempt("crown", "alone", 1, ["old.job"])
    record.end_attempt(number, {}, True, False, 1.0, files=["one.job", "two.job"])
    with pytest.raises(BadParam, match="ended already"):
        record.end_attempt(number, {}, False, False, 1.0)
    assert (record.attempts()[0].passed, record.attempts()[0].files) == (True, ("one.job", "two.job"))


def test_answers_come_back_as_they_were_given_and_by_kind(record):
    others = [replace(ANSWER, kind="count", sure=True, within=False), replace(ANSWER, sure=False, held_out=True)]
    for answer in (ANSWER, *others):
        record.add_answer(answer)
    assert record.answers() == [ANSWER, *others]
    assert record.answers("count") == others[:1]
    assert record.answers("what next") == []


@pytest.mark.parametrize("wrong, said", [
    ({"level": 11}, "level must be a whole number in [1, 10], got 11"), ({"loss": nan}, "loss must be a finite number"),
    ({"seconds": -1.0}, "seconds must be a finite number of at least 0"), ({"right": "yes"}, "right must be true or"),
    ({"when": "4 March"}, "when must be a time like 2026-03-04T10:20:30Z"), ({"seed": 2**70}, "seed must be a whole"),
    ({"when": "2026-13-04T10:20:30Z"}, "when must be a time"), ({"kind": "\ud800"}, "kind must be a text of at most"),
])  # fmt: skip
def test_an_answer_that_cannot_be_is_refused_and_not_kept(record, wrong, said):
    with pytest.raises(BadParam) as refused:
        record.add_answer(replace(ANSWER, **wrong))
    assert said in str(refused.value)
    assert record.answers() == []


@pytest.mark.parametrize("call, said", [
    (lambda r: r.begin_attempt("a", "exam", 1), "part must be one of watch, help, alone, check, free, got 'exam'"),
    (lambda r: r.note(99, "hint", {}), "the attempt must be in the record, got 99"),
    (lambda r: r.end_attempt(99, {}, True, True, 0.0), "the attempt must be in the record, got 99"),
    (lambda r: r.note(r.begin_attempt("a", "help", 1), "hint", {"at": object()}), "must be plain numbers and texts"),
    (lambda r: r.switch("  "), "a learner's name must have 1 to 60 signs"),
    (lambda r: r.switch("a" * 61), "a learner's name must have 1 to 60 signs"),
    (lambda r: r.rename("Nobody", "Ada"), "the learner must be one of the record's (nobody yet), got 'Nobody'"),
    (lambda r: r.attempts(learner="Nobody"), "the learner must be one of"),
    (lambda r: r.begin_attempt("a", "help", 1, "one.job"), "files must be a list of names"),
])  # fmt: skip
def test_what_is_not_allowed_is_one_line(record, call, said):
    with pytest.raises(BadParam) as refused:
        call(record)
    assert said in str(refused.value)
    assert "\n" not in str(refused.value)


def test_several_learners_keep_their_own_and_who_practised_last_is_kept(record, tmp_path):
    record.add_answer(ANSWER)
    assert record.switch("Bench  two") == "Bench two"
    assert record.answers() == []
    record.begin_attempt("crown", "help", 1)
    assert record.switch("LEARNER") == "learner"
    assert (len(record.answers()), record.attempts()) == (1, [])
    assert len(record.attempts(learner="Bench two")) == 1
    record.switch("Bench two")
    with Record.open(tmp_path / "data") as other:
        assert (other.current(), other.learners()) == ("Bench two", ["Bench two", "learner"])
        other.switch("learner")
    assert record.current() == "Bench two", "another window changes nobody in this one"


def test_a_new_name_keeps_all_and_a_name_that_is_taken_is_refused(record):
    record.add_answer(ANSWER)
    record.switch("second")
    assert record.rename("learner", "First place") == "First place"
    assert record.answers(learner="first PLACE") == [ANSWER]
    with pytest.raises(BadParam, match="the new name must be free"):
        record.rename("second", "first place")
    assert record.rename("second", "Second") == "Second"
    assert record.learners() == ["First place", "Second"]


def test_names_in_sql_are_only_names(record):
    hostile = "x'); DROP TABLE answer; --"
    record.switch(hostile)
    record.add_answer(replace(ANSWER, kind=hostile))
    assert (record.current(), len(record.answers(hostile))) == (hostile, 1)


def test_what_is_deleted_leaves_no_trace_in_the_folder(record, tmp_path):
    record.switch("Ada")
    number = record.begin_attempt("secret-lesson-in-iron", "help", 1, ["ada.job"])
    for count in range(50):
        record.note(number, "hint", {"text": f"unheard-of words {count}"})
    record.add_answer(replace(ANSWER, family="family-of-nobody-else"))
    record.switch("second")
    record.add_answer(ANSWER)
    assert record.delete("ada") == ("ada.job",)
    assert (record.learners(), record.current(), record.answers()) == (["second"], "second", [ANSWER])
    left = b"".join(path.read_bytes() for path in (tmp_path / "data").iterdir())
    for words in (b"Ada", b"secret-lesson-in-iron", b"unheard-of words", b"family-of-nobody-else"):
        assert words not in left
    assert b"highest-3-window" in left
    assert record.notes == []


def test_while_another_window_reads_a_deletion_says_what_stays(record, tmp_path, monkeypatch):
    monkeypatch.setattr("sim.books.recordfile.BUSY_S", 0.05)
    with Record.open(tmp_path / "data") as mine, closing(sqlite3.connect(tmp_path / "data" / FILE)) as other:
        mine.switch("Ada")
        other.execute("BEGIN")
        other.execute("SELECT * FROM learner").fetchall()
        mine.delete("Ada")
        assert "another process has it open" in mine.notes[0]
        assert mine.learners() == []


def test_the_last_learner_can_be_deleted_and_one_who_is_gone_does_not_come_back(record, tmp_path):
    record.switch("Ada")
    with Record.open(tmp_path / "data") as other:
        other.delete("Ada")
        other.switch("New")
    with pytest.raises(BadParam, match="whom another window deleted"):
        record.add_answer(ANSWER)
    assert record.switch("New") == "New"
    assert record.answers() == []
    record.delete("New")
    assert record.current() == "learner"


def test_a_learner_moves_to_another_machine_and_nothing_is_doubled(record, tmp_path, clock):
    record.switch("Ada")
    number = record.begin_attempt("crown", "alone", 41, ["crown.job"])
    record.note(number, "hint", {"rung": 1})
    open_number = record.begin_attempt("hollow", "help", 42)
    record.add_answer(ANSWER)
    record.add_answer(ANSWER)
    record.end_attempt(number, {"flat_um": nan, "skill": 61.0}, True, True, 9.0)
    record.export(tmp_path / "ada.json")
    with Record.open(tmp_path / "elsewhere", clock) as there:
        taken = there.take_in(tmp_path / "ada.json")
        assert (taken.learner, taken.attempts, taken.answers, taken.known) == ("Ada", 2, 2, 0)
        again = there.take_in(tmp_path / "ada.json")
        assert (again.learner, again.attempts, again.answers, again.known) == ("Ada", 0, 0, 4)
        there.switch("Ada")
        assert there.answers() == record.answers() == [ANSWER, ANSWER]
        assert there.best() == {"crown": "merit", "hollow": "tried"}
        first = there.attempts()[0]
        assert (first.files, first.figures["skill"]) == (("crown.job",), 61.0)
        assert there.noted(first.id)[0].data == {"rung": 1}
        there.rename("Ada", "Ada at home")
        record.end_attempt(open_number, {}, True, False, 5.0)
        record.note(open_number, "hint", {"rung": 3})
        record.add_answer(replace(ANSWER, kind="count"))
        record.export(tmp_path / "later.json")
        later = there.take_in(tmp_path / "later.json")
        assert (later.learner, later.attempts, later.answers, later.known) == ("Ada at home", 0, 1, 4)
        assert there.best() == {"crown": "merit", "hollow": "passed"}
        assert len(there.noted(there.attempts("hollow")[0].id)) == 1
        assert len(there.answers()) == 3


def test_another_learner_of_the_same_name_is_not_mixed_in(record, tmp_path, clock):
    record.add_answer(ANSWER)
    record.export(tmp_path / "one.json")
    with Record.open(tmp_path / "b", clock) as there:
        assert there.current() == "learner"
        assert there.take_in(tmp_path / "one.json").learner == "learner", "nothing was kept of the one here"
    with Record.open(tmp_path / "c", clock) as there:
        there.add_answer(replace(ANSWER, kind="count"))
        assert there.take_in(tmp_path / "one.json").learner == "learner 2"
        assert there.take_in(tmp_path / "one.json").known == 1
        assert there.learners() == ["learner", "learner 2"]
        assert [one.kind for one in there.answers()] == ["count"]


def test_an_export_goes_over_no_file(record, tmp_path):
    (tmp_path / "here.json").write_text("mine")
    with pytest.raises(CannotWrite, match="is there already"):
        record.export(tmp_path / "here.json")
    assert (tmp_path / "here.json").read_text() == "mine"


@pytest.mark.parametrize("edit, said", [
    (lambda d: d.update(format="x"), "must be the record of a learner"),
    (lambda d: d.update(version=9), "its version must be 1, got 9"),
    (lambda d: d["learner"].update(name=""), "a learner's name must have"),
    (lambda d: d["learner"].update(uid="x"), "uid must be 32 signs"),
    (lambda d: d["attempts"][0].update(part="exam"), "part must be one of"),
    (lambda d: d["attempts"][0].update(figures={"x": "1"}), "figure x must be a number"),
    (lambda d: d["attempts"][0].update(files="x"), "files must be a list"),
    (lambda d: d["attempts"][0].update(notes=3), "notes must be a list of objects"),
    (lambda d: d["answers"][0].pop("loss"), "loss of an answer must be given"),
    (lambda d: d["answers"][0].update(level="3"), "level must be a whole number"),
    (lambda d: d.update(answers=[3]), "answers must be a list of objects"),
])  # fmt: skip
def test_a_file_with_one_wrong_value_is_refused_whole(record, tmp_path, edit, said):
    record.begin_attempt("crown", "alone", 1)
    record.add_answer(ANSWER)
    record.export(tmp_path / "ada.json")
    told = json.loads((tmp_path / "ada.json").read_text())
    edit(told)
    (tmp_path / "ada.json").write_text(json.dumps(told))
    with Record.open(tmp_path / "b") as there:
        with pytest.raises(BadFile) as refused:
            there.take_in(tmp_path / "ada.json")
        assert str(refused.value).startswith(f"{tmp_path / 'ada.json'}: ")
        assert said in str(refused.value)
        assert there.learners() == []


@pytest.mark.parametrize("data", [b"", b"\xff\xfe", b"[" * 100_000, b"null", b"{}"])
def test_what_is_no_record_of_a_learner_is_one_line(record, tmp_path, data):
    (tmp_path / "x.json").write_bytes(data)
    with pytest.raises(BadFile, match="must be the record of a learner"):
        record.take_in(tmp_path / "x.json")


def test_a_record_of_version_1_comes_to_this_version_with_all_that_it_held(tmp_path):
    with closing(sqlite3.connect(tmp_path / FILE, isolation_level=None)) as old:
        make_version(old, 1)
        old.execute("INSERT INTO learner (name) VALUES ('Ada'), ('Second')")
        old.execute("INSERT INTO attempt (learner, lesson, part, seed, physics, begun, ended, passed, merit, clock_s, "
                    "figures, hints) VALUES (2, 'crown', 'alone', 5, 9, '2026-01-02T03:04:05Z', NULL, NULL, NULL, 0, "
                    "'{\"flat_um\": 2.5}', 3), (1, 'hollow', 'check', 6, 9, '2026-01-02T03:04:05Z', "
                    "'2026-01-02T04:04:05Z', 1, 0, 60, '{}', 0)")  # fmt: skip
        old.executemany('INSERT INTO answer (learner, kind, level, family, held_out, "right", seconds, within, loss, '
                        'chance, best, seed, "when") VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)',
                        [(2, "count", 4, "f", 0, 1, 3.5, 1, 1, 2, 0, 8, "2026-01-02T03:04:05Z")] * 2)  # fmt: skip
    with Record.open(tmp_path) as record:
        assert (record.learners(), record.current(), record.notes) == (["Ada", "Second"], "Ada", [])
        assert record.best() == {"hollow": "passed"}
        (attempt,) = record.attempts(learner="Second")
        assert (attempt.figures, attempt.files, attempt.unfinished) == ({"flat_um": 2.5}, (), True)
        assert [(note.kind, note.data) for note in record.noted(attempt.id)] == [("hints", {"count": 3})]
        assert record.noted(record.attempts()[0].id) == []
        given = record.answers(learner="Second")
        assert [(one.sure, one.sitting, one.loss) for one in given] == [(None, "2026-01-02", 1.0)] * 2
        record.export(tmp_path / "second.json", "Second")
        assert record.take_in(tmp_path / "second.json").known == 3
    with closing(sqlite3.connect(tmp_path / FILE)) as now:
        assert now.execute("PRAGMA user_version").fetchone() == (VERSION,)


def test_a_step_that_fails_leaves_the_old_file_as_it_was(tmp_path, monkeypatch):
    with closing(sqlite3.connect(tmp_path / FILE, isolation_level=None)) as old:
        make_version(old, 1)
        old.execute("INSERT INTO learner (name) VALUES ('Ada')")
    with monkeypatch.context() as patch:
        broken = (STEPS[0], (*STEPS[1][:4], "SELECT 1 FROM nowhere"))
        patch.setattr("sim.books.recordfile.STEPS", broken)
        with pytest.raises(CannotWrite, match="no such table: nowhere"):
            Record.open(tmp_path)
    with Record.open(tmp_path) as record:
        assert record.learners() == ["Ada"]


def test_a_record_of_a_newer_version_is_refused_and_left_alone(tmp_path):
    with Record.open(tmp_path) as record:
        record.switch("Ada")
    with closing(sqlite3.connect(tmp_path / FILE)) as newer:
        newer.execute(f"PRAGMA user_version = {VERSION + 1}")
    before = (tmp_path / FILE).read_bytes()
    with pytest.raises(BadFile) as refused:
        Record.open(tmp_path)
    assert str(refused.value).endswith(f"its version must be at most {VERSION}, got {VERSION + 1}: a newer flatwright "
                                       "wrote it; it is left as it is")  # fmt: skip
    assert (tmp_path / FILE).read_bytes() == before
    assert [path.name for path in tmp_path.iterdir()] == [FILE]


def damage_of(kind, good):
    """A record's bytes, damaged in one of four ways."""
    if kind == "other tables":
        with closing(sqlite3.connect(":memory:")) as db:
            db.execute("CREATE TABLE cake (x)")
            return db.serialize()
    return {"words": b"this is no record at all" * 100, "cut short": good[: len(good) // 2],
            "middle": good[:5000] + b"\xa5" * 4000 + good[9000:]}[kind]  # fmt: skip


@pytest.mark.parametrize("kind", ["words", "cut short", "middle", "other tables"])
def test_a_damaged_record_is_set_aside_by_name_and_a_new_one_begun(tmp_path, clock, kind):
    with Record.open(tmp_path, clock) as record:
        record.switch("Ada")
        for _ in range(60):
            record.add_answer(ANSWER)
    damaged = damage_of(kind, (tmp_path / FILE).read_bytes())
    for name in ("record-damaged-20260304-102030.sqlite3", "record-damaged-20260304-102030-2.sqlite3"):
        (tmp_path / FILE).write_bytes(damaged)
        with Record.open(tmp_path, clock) as record:
            assert len(record.notes) == 1
            assert record.notes[0].startswith(f"{tmp_path / FILE}: is damaged (")
            assert record.notes[0].endswith(f"it was set aside as {name}, and a new record is begun")
            assert record.learners() == []
            record.add_answer(ANSWER)
        assert (tmp_path / name).read_bytes() == damaged
    with Record.open(tmp_path, clock) as record:
        assert (record.notes, record.answers()) == ([], [ANSWER])


def test_damage_found_while_a_record_is_open_is_one_line(tmp_path, monkeypatch):
    with Record.open(tmp_path) as record:
        for _ in range(300):
            record.add_answer(ANSWER)
    with open(tmp_path / FILE, "r+b") as file:
        file.seek(4096)
        file.write(b"\xa5" * ((tmp_path / FILE).stat().st_size - 4096))
    monkeypatch.setattr("sim.books.recordfile._refuse_damage", lambda db, version: None)  # it came later
    said = "close flatwright and open it again to set it aside"
    with Record.open(tmp_path) as record, pytest.raises(BadFile, match=said):
        record.current()


def test_a_folder_that_cannot_be_is_one_line(tmp_path):
    (tmp_path / "file").write_text("x")
    (tmp_path / "taken" / FILE).mkdir(parents=True)
    for folder in (tmp_path / "file", tmp_path / "file" / "below", tmp_path / "taken"):
        with pytest.raises(CannotWrite) as refused:
            Record.open(folder)
        assert str(refused.value).startswith(str(folder))
    assert (tmp_path / "taken" / FILE).is_dir()


def test_a_file_that_another_process_keeps_is_said_and_not_set_aside(tmp_path, monkeypatch):
    monkeypatch.setattr("sim.books.recordfile.BUSY_S", 0.05)
    with Record.open(tmp_path) as record, closing(sqlite3.connect(tmp_path / FILE, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(CannotWrite, match="another process keeps it locked"):
            record.switch("Ada")
        other.execute("ROLLBACK")
        assert record.switch("Ada") == "Ada"


def test_a_full_disk_is_one_line_and_loses_nothing_that_was_kept(record):
    record.add_answer(ANSWER)
    pages = record._db.execute("PRAGMA page_count").fetchone()[0]
    record._db.execute(f"PRAGMA max_page_count = {pages}")
    with pytest.raises(CannotWrite, match="disk is full"):
        record.note(record.begin_attempt("crown", "help", 1), "long", {"text": "x" * 100_000})
    record._db.execute(f"PRAGMA max_page_count = {pages + 100}")
    record.add_answer(ANSWER)
    (attempt,) = record.attempts()
    assert (record.answers(), record.noted(attempt.id)) == ([ANSWER] * 2, [])


WRITES = """
import sys
from sim.books.record import Answer, Record
folder, who, count = sys.argv[1:]
print("ready", flush=True)
sys.stdin.readline()
with Record.open(folder) as record:
    for n in range(int(count)):
        number = record.begin_attempt(who, "alone", n)
        record.note(number, "hint", {"n": n})
        when = "2026-03-04T10:20:30Z"
        record.add_answer(Answer(who, 1, "f", False, True, 1.0, True, 0.0, 1.0, 0.0, None, n, when, who))
        record.end_attempt(number, {"n": n}, True, False, 1.0)
print(len(record.notes))
"""


def test_two_processes_that_open_and_write_at_once_lose_nothing(tmp_path):
    count = 25
    writers = [child(WRITES, tmp_path / "data", who, count) for who in ("one", "two")]
    assert [writer.stdout.readline() for writer in writers] == ["ready\n"] * 2
    ended = []
    for writer in writers:
        writer.stdin.write("\n")
        writer.stdin.flush()
    for writer in writers:
        ended.append(writer.communicate(timeout=60))
    assert ended == [("0\n", "")] * 2
    with Record.open(tmp_path / "data") as record:
        assert record.notes == []
        for who in ("one", "two"):
            assert [one.seed for one in record.answers(who)] == list(range(count))
            done = record.attempts(who)
            assert [one.figures["n"] for one in done] == list(range(count))
            assert all(one.passed and len(record.noted(one.id)) == 1 for one in done)
        assert record.learners() == ["learner"]


DIES = """
import sys
from sim.books.record import Record
record = Record.open(sys.argv[1])
number = record.begin_attempt("crown", "alone", 5, ["crown.job"])
n = 0
while True:
    record.note(number, "hint", {"n": n})
    print(n, flush=True)
    n += 1
"""


def test_a_process_that_is_killed_in_an_attempt_leaves_every_note_that_it_made(tmp_path):
    dying = child(DIES, tmp_path)
    told = [int(dying.stdout.readline()) for _ in range(20)]
    dying.send_signal(signal.SIGKILL)
    told += [int(line) for line in dying.communicate(timeout=60)[0].splitlines()]
    with Record.open(tmp_path) as record:
        (attempt,) = record.attempts()
        assert (attempt.unfinished, attempt.lesson, attempt.files) == (True, "crown", ("crown.job",))
        kept = [note.data["n"] for note in record.noted(attempt.id)]
        assert kept[: len(told)] == told
        assert len(kept) <= len(told) + 1, "at most the one that was being written"
        assert record.notes == []
        record.end_attempt(attempt.id, {}, False, False, 0.0)


def test_two_processes_that_find_a_damaged_record_set_it_aside_once(tmp_path):
    (tmp_path / "data").mkdir()
    (tmp_path / "data" / FILE).write_bytes(b"no record" * 1000)
    writers = [child(WRITES, tmp_path / "data", who, 3) for who in ("one", "two")]
    assert [writer.stdout.readline() for writer in writers] == ["ready\n"] * 2
    told = [writer.communicate("\n", timeout=60) for writer in writers]
    assert [err for _, err in told] == ["", ""]
    assert len(list((tmp_path / "data").glob("record-damaged-*.sqlite3"))) == 1
    with Record.open(tmp_path / "data") as record:
        assert [len(record.answers(who)) for who in ("one", "two")] == [3, 3]


def test_an_attempt_in_which_nothing_was_done_is_dropped_with_its_notes_and_one_that_ended_is_not(tmp_path):
    with Record.open(tmp_path) as record:
        ended = record.begin_attempt("01-lay-a-film", "alone", 1000)
        record.end_attempt(ended, {}, False, False, 0.0)
        bare = record.begin_attempt("01-lay-a-film", "alone", 1001)
        record.note(bare, "hint", {"step": 1, "rung": 1})
        record.drop_attempt(bare)
        assert [one.id for one in record.attempts()] == [ended]
        with pytest.raises(BadParam, match="must not have ended"):
            record.drop_attempt(ended)
        with pytest.raises(BadParam, match="must be in the record"):
            record.drop_attempt(bare)
