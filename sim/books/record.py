"""The learner's record: attempts at lessons, what was asked in them, answers of drills; on this machine only."""

import json
import sqlite3
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Any
from uuid import uuid4

from sim import PHYSICS
from sim.books.moving import TakenIn, quoted, read_told, take_in, told_record
from sim.books.recordfile import FILE, open_file, telling, writing
from sim.books.rows import (
    ANSWER_COLUMNS,
    PARTS,
    RESULTS,
    Answer,
    Attempt,
    Note,
    answer_of,
    answer_values,
    checked_flag,
    checked_float,
    checked_int,
    checked_name,
    checked_text,
    data_text,
    figures_of,
    figures_text,
    files_text,
    stamp,
    utc_now,
)
from sim.books.shopcards import CardResult, card_results, card_values, insert_card
from sim.errors import BadParam

__all__ = ["DEFAULT", "Answer", "Attempt", "Note", "Record", "TakenIn", "stamp"]
DEFAULT = "learner"  # who practises until a name is given


class Record:
    """The record of one folder, and who practises now. Every change is on the disk when its method returns.

    Attributes
    ----------
    path : Path
        Of the SQLite file.
    notes : list of str
        What has to be told once: that a damaged record was set aside, and under which name.

    Notes
    -----
    Several processes may have the same file open: each command is one transaction and waits up to 10 s for another's.
    Every method raises CannotWrite when the file cannot be written, and BadFile when it is found damaged; nothing is
    then changed. A Record belongs to the thread that opened it.
    """

    def __init__(self, db: sqlite3.Connection, path: Path, notes: list[str], now: Callable[[], datetime]) -> None:
        self.path, self.notes = path, notes
        self._db, self._now = db, now
        self._learner: int | None = None

    @classmethod
    def open(cls, folder: str | Path, now: Callable[[], datetime] = utc_now) -> "Record":
        """Open the record of a folder; the folder and the file are made when they are not there.

        Parameters
        ----------
        folder : str or Path
            `sim.paths.data_dir(...)`.
        now : function of nothing to datetime
            With a time zone; every time that is written comes from it.

        Raises
        ------
        BadFile
            For a file that a newer flatwright wrote; it is left as it is.
        CannotWrite
            If the file cannot be made or opened.
        """
        db, notes = open_file(Path(folder), now)
        return cls(db, Path(folder) / FILE, notes, now)

    def close(self) -> None:
        """Let the file go; nothing is lost without it."""
        self._db.close()

    def __enter__(self) -> "Record":
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self.close()

    def now(self) -> datetime:
        """The time by which the record is written."""
        return self._now()

    # Learners

    def learners(self) -> list[str]:
        """Every name, in the order of the alphabet."""
        with telling(self.path):
            return sorted((name for name, in self._db.execute("SELECT name FROM learner")), key=str.casefold)

    def current(self) -> str:
        """Who practises now: whom this process or the last one switched to; "learner" is made when there is none."""
        number = self._current()
        with telling(self.path):
            name: str = self._db.execute("SELECT name FROM learner WHERE id = ?", (number,)).fetchone()[0]
        return name

    def switch(self, name: str) -> str:
        """Let another learner practise; made when new. Returns the name as it is kept.

        Raises
        ------
        BadParam
            For a name that is not allowed.
        """
        plain = checked_name(name)
        with writing(self._db, self.path):
            number = self._number(plain)
            number = self._added(plain) if number is None else number
            self._keep_current(number)
        self._learner = number
        return self.current()

    def rename(self, name: str, new: str) -> str:
        """Give a learner another name; returns it as it is kept.

        Raises
        ------
        BadParam
            If there is no such learner, the new name is not allowed, or another learner has it.
        """
        plain = checked_name(new)
        with writing(self._db, self.path):
            number = self._known(name)
            taken = self._number(plain)
            if taken is not None and taken != number:
                raise BadParam(f"the new name must be free, got {plain!r}, whom the record has already")
            self._db.execute("UPDATE learner SET name = ? WHERE id = ?", (plain, number))
        return plain

    def delete(self, name: str) -> tuple[str, ...]:
        """Delete a learner with everything that is kept of him, overwritten on the disk.

        Returns the names of the job files of his attempts, which are not touched.

        Raises
        ------
        BadParam
            If there is no such learner.

        Notes
        -----
        While another process has the record open, pages of before may stay in the file beside it until that process
        closes; `notes` then says so. Exported files and records that were set aside are not touched.
        """
        with writing(self._db, self.path):
            number = self._known(name)
            rows = self._db.execute("SELECT files FROM attempt WHERE learner = ? ORDER BY id", (number,)).fetchall()
            self._db.execute("DELETE FROM learner WHERE id = ?", (number,))
        if self._learner == number:
            self._learner = None
        self._sweep()
        return tuple(dict.fromkeys(one for text, in rows for one in _names(text)))

    # Attempts

    def begin_attempt(self, lesson: str, part: str, seed: int, files: Sequence[str] = ()) -> int:
        """Write down that the current learner begins a part of a lesson; returns the attempt's number.

        Raises
        ------
        BadParam
            For a part, seed or name that is not allowed.
        """
        if part not in PARTS:
            raise BadParam(f"part must be one of {', '.join(PARTS)}, got {part!r}")
        values = (checked_text("lesson", lesson), part, checked_int("seed", seed), PHYSICS, stamp(self._now()),
                  files_text(files), uuid4().hex)  # fmt: skip
        learner = self._current()
        with writing(self._db, self.path):
            made = self._db.execute(
                "INSERT INTO attempt (learner, lesson, part, seed, physics, begun, files, uid) "
                "VALUES (?, ?, ?, ?, ?, ?, ?, ?)", (learner, *values)).lastrowid  # fmt: skip
        assert made is not None
        return made

    def note(self, number: int, kind: str, data: Mapping[str, Any]) -> None:
        """Write down what happened in an attempt: a hint, something uncovered, a rung of the coach.

        Raises
        ------
        BadParam
            If there is no such attempt, or `data` is more than plain numbers and texts.
        """
        values = (checked_text("kind", kind), data_text(data), stamp(self._now()), uuid4().hex)
        with writing(self._db, self.path):
            self._attempt(number)
            self._db.execute('INSERT INTO note (attempt, kind, data, "when", uid) VALUES (?, ?, ?, ?, ?)',
                             (number, *values))  # fmt: skip

    def end_attempt(
        self, number: int, figures: Mapping[str, float], passed: bool, merit: bool, clock_s: float,
        *, files: Sequence[str] | None = None,
    ) -> None:  # fmt: skip
        """Write down how an attempt came out.

        Parameters
        ----------
        figures : mapping of name with unit to number
            What is not finite is kept as "none".
        clock_s : float
            Of the shop.
        files : sequence of str, optional
            Job logs, in place of those that were named at the beginning.

        Raises
        ------
        BadParam
            If there is no such attempt, or it is ended already; nothing is changed.
        """
        values = [stamp(self._now()), checked_flag("passed", passed), checked_flag("merit", merit),
                  checked_float("clock_s", clock_s, 0.0), figures_text(figures)]  # fmt: skip
        named = None if files is None else files_text(files)
        with writing(self._db, self.path):
            if self._attempt(number).ended is not None:
                raise BadParam(f"an attempt must be going on to be ended, got {number}, which is ended already")
            self._db.execute("UPDATE attempt SET ended = ?, passed = ?, merit = ?, clock_s = ?, figures = ?, "
                             "files = coalesce(?, files) WHERE id = ?", (*values, named, number))  # fmt: skip

    def drop_attempt(self, number: int) -> None:
        """Take an attempt that has not ended, in which nothing was done, out of the record, with what was noted of it.

        Raises
        ------
        BadParam
            If there is no such attempt, or it has ended.
        """
        if not self._attempt(number).unfinished:
            raise BadParam(f"the attempt must not have ended to be dropped, got {number}, which has")
        with writing(self._db, self.path):
            self._db.execute("DELETE FROM note WHERE attempt = ?", (number,))
            self._db.execute("DELETE FROM attempt WHERE id = ?", (number,))

    def attempts(self, lesson: str | None = None, learner: str | None = None) -> list[Attempt]:
        """Attempts of a learner (default: the current one) in the order in which they were begun."""
        number = self._current() if learner is None else self._known(learner)
        where, values = ("AND lesson = ?", (number, lesson)) if lesson is not None else ("", (number,))
        return self._attempts(f"learner = ? {where} ORDER BY begun, attempt.id", values)

    def noted(self, number: int) -> list[Note]:
        """Notes of an attempt in their order; none for an attempt that is not there."""
        asked = 'SELECT kind, data, "when" FROM note WHERE attempt = ? ORDER BY "when", id'
        with telling(self.path):
            return [Note(kind, json.loads(data), when) for kind, data, when in self._db.execute(asked, (number,))]

    def best(self, learner: str | None = None) -> dict[str, str]:
        """Lesson to "merit", "passed" or "tried", the best of a learner's attempts (default: the current one)."""
        found: dict[str, str] = {}
        for one in self.attempts(learner=learner):
            found[one.lesson] = max(found.get(one.lesson, RESULTS[0]), one.result, key=RESULTS.index)
        return found

    # Answers

    def add_answer(self, answer: Answer) -> None:
        """Write down an answer of the current learner.

        Raises
        ------
        BadParam
            For a value that is not allowed.
        """
        values = (*answer_values(answer), uuid4().hex)
        learner = self._current()
        marks = ", ".join("?" * (len(ANSWER_COLUMNS) + 2))
        with writing(self._db, self.path):
            self._db.execute(f"INSERT INTO answer (learner, {quoted(ANSWER_COLUMNS)}, uid) VALUES ({marks})",
                             (learner, *values))  # fmt: skip

    def answers(self, kind: str | None = None, learner: str | None = None) -> list[Answer]:
        """Answers of a learner (default: the current one), oldest first."""
        number = self._current() if learner is None else self._known(learner)
        asked = f"SELECT {quoted(ANSWER_COLUMNS)} FROM answer WHERE learner = ?{' AND kind = ?' * (kind is not None)}"
        values = (number,) if kind is None else (number, kind)
        with telling(self.path):
            return [answer_of(row) for row in self._db.execute(f'{asked} ORDER BY "when", id', values)]

    # Shop cards

    def add_card(self, card: str, values: Mapping[str, float]) -> None:
        """Write down what the current learner found at a real plate with a shop card, by field.

        Raises
        ------
        BadParam
            For no values, more than 100, or one that is not a finite number.
        """
        row = card_values(card, values, stamp(self._now()))
        learner = self._current()
        with writing(self._db, self.path):
            insert_card(self._db, learner, uuid4().hex, row)

    def cards(self, card: str | None = None, learner: str | None = None) -> list[CardResult]:
        """Entries of a learner (default: the current one), of one card or of all, oldest first."""
        number = self._current() if learner is None else self._known(learner)
        with telling(self.path):
            return card_results(self._db, number, card)

    # Moving

    def export(self, path: str | Path, learner: str | None = None, force: bool = False) -> None:
        """Write everything that is kept of a learner (default: the current one) to one JSON file.

        Raises
        ------
        BadParam
            If there is no such learner.
        CannotWrite
            If the file is there already (unless `force`) or cannot be written.
        """
        from sim.shop.store import write_new

        number = self._current() if learner is None else self._known(learner)
        with telling(self.path):
            self._db.execute("BEGIN")  # one moment of a record that others write
            try:
                told = told_record(self._db, number)
            finally:
                self._db.execute("COMMIT")
        write_new(Path(path), (json.dumps(told, indent=1, allow_nan=False) + "\n").encode(), force)

    def take_in(self, path: str | Path) -> TakenIn:
        """Take in a file that `export` wrote here or elsewhere; all of it or nothing.

        A learner who came from there before is the same one, under whatever name he has here. Another learner of the
        same name is not mixed with him: who comes is then called "NAME 2", unless nothing is kept yet of the one here.

        Raises
        ------
        BadFile
            If it is no such file, or holds a value that is not allowed.
        """
        told = read_told(Path(path))
        with writing(self._db, self.path):
            number = self._comes_as(told["uid"], told["name"])
            attempts, answers, known, cards = take_in(self._db, told, number)
            name = self._db.execute("SELECT name FROM learner WHERE id = ?", (number,)).fetchone()[0]
        return TakenIn(name, attempts, answers, known, cards)

    # Inside

    def _current(self) -> int:
        """Number of who practises now; one who was deleted by another process is not brought back."""
        with telling(self.path):
            if self._learner is not None:
                if self._db.execute("SELECT 1 FROM learner WHERE id = ?", (self._learner,)).fetchone():
                    return self._learner
                raise BadParam("the learner must be in the record, got one whom another window deleted; choose another")
        with writing(self._db, self.path):
            found = self._db.execute("SELECT learner.id FROM kept JOIN learner ON learner.id = kept.value "
                                     "WHERE kept.key = 'current'").fetchone()  # fmt: skip
            found = found or self._db.execute("SELECT id FROM learner ORDER BY id LIMIT 1").fetchone()
            number: int = found[0] if found else self._added(DEFAULT)
            self._keep_current(number)
        self._learner = number
        return number

    def _keep_current(self, number: int) -> None:
        self._db.execute("INSERT OR REPLACE INTO kept (key, value) VALUES ('current', ?)", (number,))

    def _added(self, name: str, uid: str | None = None) -> int:
        values = (name, uid or uuid4().hex)
        made = self._db.execute("INSERT INTO learner (name, uid) VALUES (?, ?)", values).lastrowid
        assert made is not None
        return made

    def _number(self, name: str) -> int | None:
        """Number of a learner by his name, large and small letters alike where it is clear; None when unknown."""
        with telling(self.path):
            rows = self._db.execute("SELECT id, name FROM learner ORDER BY id").fetchall()
        alike = [number for number, kept in rows if kept.casefold() == name.casefold()]
        same = [number for number, kept in rows if kept == name]
        return next(iter([*same, *alike]), None)

    def _known(self, name: str) -> int:
        number = self._number(checked_name(name))
        if number is None:
            known = ", ".join(self.learners()) or "nobody yet"
            raise BadParam(f"the learner must be one of the record's ({known}), got {name!r}")
        return number

    def _comes_as(self, uid: str, name: str) -> int:
        """Whom a file belongs to: the learner of its uid; an empty one of its name; else a new one."""
        found = self._db.execute("SELECT id FROM learner WHERE uid = ?", (uid,)).fetchone()
        if found:
            return int(found[0])
        number = self._number(name)
        if number is not None and not self._has_done(number):
            self._db.execute("UPDATE learner SET uid = ? WHERE id = ?", (uid, number))
            return number
        count = 2
        free = name
        while self._number(free) is not None:
            free, count = f"{name} {count}", count + 1
        return self._added(free, uid)

    def _has_done(self, number: int) -> bool:
        asked = ("SELECT EXISTS (SELECT 1 FROM attempt WHERE learner = ?) "
                 "OR EXISTS (SELECT 1 FROM answer WHERE learner = ?) "
                 "OR EXISTS (SELECT 1 FROM card_result WHERE learner = ?)")  # fmt: skip
        return bool(self._db.execute(asked, (number, number, number)).fetchone()[0])

    def _attempt(self, number: int) -> Attempt:
        found = self._attempts("attempt.id = ?", (checked_int("attempt", number),))
        if not found:
            raise BadParam(f"the attempt must be in the record, got {number}")
        return found[0]

    def _attempts(self, where: str, values: tuple[Any, ...]) -> list[Attempt]:
        asked = (
            "SELECT attempt.id, learner.name, lesson, part, seed, physics, begun, ended, passed, merit, clock_s, "
            f"figures, files FROM attempt JOIN learner ON learner.id = attempt.learner WHERE {where}"
        )
        with telling(self.path):
            rows = self._db.execute(asked, values).fetchall()
        return [_attempt_of(row) for row in rows]

    def _sweep(self) -> None:
        """Take what was deleted off the disk: pages written anew, and the file beside them emptied."""
        try:
            self._db.execute("VACUUM")
            busy = self._db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]
        except sqlite3.OperationalError:
            busy = 1
        if busy:
            told = "another process has it open; what was deleted leaves the disk when that one closes"
            self.notes.append(f"{self.path}: {told}")


def _attempt_of(row: tuple[Any, ...]) -> Attempt:
    """An attempt of a row in the order of `Record._attempts`."""
    number, learner, lesson, part, seed, physics, begun, ended, passed, merit, clock_s, figures, files = row
    return Attempt(number, learner, lesson, part, seed, physics, begun, ended, _flag(passed), _flag(merit), clock_s,
                   figures_of(figures), _names(files))  # fmt: skip


def _flag(value: int | None) -> bool | None:
    return None if value is None else bool(value)


def _names(text: str) -> tuple[str, ...]:
    return tuple(json.loads(text))
