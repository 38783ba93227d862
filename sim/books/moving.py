"""One learner's record as one JSON file, and such a file taken in elsewhere; what is there already is not doubled."""

import json
import re
import sqlite3
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sim.books.rows import (
    ANSWER_COLUMNS,
    PARTS,
    Answer,
    answer_of,
    answer_values,
    checked_flag,
    checked_float,
    checked_int,
    checked_name,
    checked_text,
    checked_when,
    data_text,
    figures_of,
    figures_text,
    files_text,
)
from sim.books.shopcards import card_values, insert_card, told_cards
from sim.errors import BadFile, BadParam

FORMAT = "flatwright record of one learner"
FORMAT_VERSION = 1
MOST_BYTES = 100_000_000
UID = re.compile(r"[0-9a-f]{32}")
ATTEMPT_COLUMNS = ("lesson", "part", "seed", "physics", "begun", "ended", "passed", "merit", "clock_s", "figures",
                   "files")  # fmt: skip
NOTE_COLUMNS = ("kind", "data", "when")


@dataclass(frozen=True)
class TakenIn:
    """What came of a file: under which name, how many attempts, answers and shop cards were new, how many known."""

    learner: str
    attempts: int
    answers: int
    known: int
    cards: int = 0


def told_record(db: sqlite3.Connection, learner: int) -> dict[str, Any]:
    """Everything that is kept of a learner, as plain data."""
    name, uid = db.execute("SELECT name, uid FROM learner WHERE id = ?", (learner,)).fetchone()
    attempts = []
    asked = f"SELECT id, uid, {', '.join(ATTEMPT_COLUMNS)} FROM attempt WHERE learner = ? ORDER BY begun, id"
    for number, *values in db.execute(asked, (learner,)).fetchall():
        one = dict(zip(("uid", *ATTEMPT_COLUMNS), values, strict=True))
        one |= {key: None if one[key] is None else bool(one[key]) for key in ("passed", "merit")}
        one |= {key: json.loads(one[key]) for key in ("figures", "files")}
        notes = db.execute('SELECT uid, kind, data, "when" FROM note WHERE attempt = ? ORDER BY id', (number,))
        one["notes"] = [{"uid": uid, "kind": kind, "data": json.loads(data), "when": when}
                        for uid, kind, data, when in notes]  # fmt: skip
        attempts.append(one)
    asked = f"""SELECT uid, {quoted(ANSWER_COLUMNS)} FROM answer WHERE learner = ? ORDER BY "when", id"""
    answers = [{"uid": one, **vars(answer_of(values))} for one, *values in db.execute(asked, (learner,))]
    return {"format": FORMAT, "version": FORMAT_VERSION, "learner": {"uid": uid, "name": name},
            "attempts": attempts, "answers": answers, "cards": told_cards(db, learner)}  # fmt: skip


def read_told(path: Path) -> dict[str, Any]:
    """A file that `told_record` filled, every value checked.

    Raises
    ------
    BadFile
        If it cannot be read, is no such file, is of a newer version, or holds a value that is not allowed.
    """
    from sim.shop.store import read_limited

    data = read_limited(path, MOST_BYTES)
    try:
        told = json.loads(data)
    except (ValueError, RecursionError):
        told = None
    if not isinstance(told, dict) or told.get("format") != FORMAT:
        raise BadFile(f"{path}: must be the record of a learner as `flatwright record --export` writes it")
    if told.get("version") != FORMAT_VERSION:
        raise BadFile(f"{path}: its version must be {FORMAT_VERSION}, got {str(told.get('version'))[:20]}")
    try:
        learner = _table(told, "learner")
        made = {"name": checked_name(learner.get("name")), "uid": _uid(learner),
                "attempts": [_attempt(one) for one in _rows(told, "attempts")],
                "answers": [_answer(one) for one in _rows(told, "answers")],
                "cards": [_card(one) for one in _rows({"cards": [], **told}, "cards")]}  # fmt: skip
    except BadParam as error:
        raise BadFile(f"{path}: {error}") from None
    return made


def take_in(db: sqlite3.Connection, told: dict[str, Any], learner: int) -> tuple[int, int, int, int]:
    """Add what is new to a learner, within the caller's transaction; how many attempts, answers, known ones, cards.

    An attempt that went on here when it was taken in last, and is ended in the file, is ended here too.
    """
    attempts = answers = known = cards = 0
    names = ", ".join(ATTEMPT_COLUMNS)
    marks = ", ".join("?" * len(ATTEMPT_COLUMNS))
    for uid, values, notes in told["attempts"]:
        found = db.execute("SELECT id, ended FROM attempt WHERE learner = ? AND uid = ?", (learner, uid)).fetchone()
        if found is None:
            number = db.execute(f"INSERT INTO attempt (learner, uid, {names}) VALUES (?, ?, {marks})",
                                (learner, uid, *values)).lastrowid  # fmt: skip
            attempts += 1
        else:
            number, ended = found
            known += 1
            if ended is None:
                db.execute(f"UPDATE attempt SET ({names}) = ({marks}) WHERE id = ?", (*values, number))
        db.executemany('INSERT OR IGNORE INTO note (attempt, uid, kind, data, "when") VALUES (?, ?, ?, ?, ?)',
                       [(number, *note) for note in notes])  # fmt: skip
    marks = ", ".join("?" * len(ANSWER_COLUMNS))
    for uid, values in told["answers"]:
        made = db.execute(f"INSERT OR IGNORE INTO answer (learner, uid, {quoted(ANSWER_COLUMNS)}) "
                          f"VALUES (?, ?, {marks})", (learner, uid, *values)).rowcount  # fmt: skip
        answers += made
        known += not made
    for uid, row in told["cards"]:
        made = insert_card(db, learner, uid, row)
        cards += made
        known += not made
    return attempts, answers, known, cards


def quoted(names: tuple[str, ...]) -> str:
    """Names of columns for SQL, where `right` and `when` are words of its own."""
    return ", ".join(f'"{name}"' for name in names)


def _attempt(one: dict[str, Any]) -> tuple[str, tuple[Any, ...], list[tuple[str, str, str, str]]]:
    part = checked_text("part", one.get("part"))
    if part not in PARTS:
        raise BadParam(f"part must be one of {', '.join(PARTS)}, got {part!r}")
    ended = one.get("ended")
    files = one.get("files")
    figures = figures_text(_table(one, "figures"))
    figures_of(figures)
    values = (
        checked_text("lesson", one.get("lesson")), part, checked_int("seed", one.get("seed")),
        checked_int("physics", one.get("physics")), checked_when("begun", one.get("begun")),
        None if ended is None else checked_when("ended", ended),
        checked_flag("passed", one.get("passed"), none=True), checked_flag("merit", one.get("merit"), none=True),
        checked_float("clock_s", one.get("clock_s"), 0.0), figures,
        files_text(files if isinstance(files, list) else ""),
    )  # fmt: skip
    notes = [(_uid(note), checked_text("kind", note.get("kind")), data_text(_table(note, "data")),
              checked_when("when", note.get("when"))) for note in _rows(one, "notes")]  # fmt: skip
    return _uid(one), values, notes


def _answer(one: dict[str, Any]) -> tuple[str, tuple[Any, ...]]:
    missing = [name for name in ANSWER_COLUMNS if name not in one]
    if missing:
        raise BadParam(f"{missing[0]} of an answer must be given, got nothing")
    return _uid(one), answer_values(Answer(**{name: one[name] for name in ANSWER_COLUMNS}))


def _card(one: dict[str, Any]) -> tuple[str, tuple[str, str, str]]:
    return _uid(one), card_values(one.get("card", ""), _table(one, "values"), one.get("when", ""))


def _uid(one: dict[str, Any]) -> str:
    uid = one.get("uid")
    if not isinstance(uid, str) or not UID.fullmatch(uid):
        raise BadParam(f"uid must be 32 signs of 0-9 and a-f, got {str(uid)[:40]!r}")
    return uid


def _table(one: dict[str, Any], key: str) -> dict[str, Any]:
    found = one.get(key)
    if not isinstance(found, dict):
        raise BadParam(f"{key} must be an object, got {str(found)[:40]!r}")
    return found


def _rows(one: dict[str, Any], key: str) -> list[dict[str, Any]]:
    found = one.get(key)
    if not isinstance(found, list) or not all(isinstance(row, dict) for row in found):
        raise BadParam(f"{key} must be a list of objects, got {str(found)[:40]!r}")
    return found
