"""The file of the record: opened for several processes, brought to this version, set aside when it is damaged."""

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from datetime import datetime
from pathlib import Path
from time import monotonic, sleep

from sim.errors import BadFile, CannotWrite

FILE = "record.sqlite3"
LOCK = "record.lock"
BUSY_S = 10.0  # another process's command is waited for
BESIDE = ("", "-wal", "-shm", "-journal")
TABLES = {"learner", "attempt", "answer"}  # every version has these
STEPS: tuple[tuple[str, ...], ...] = (
    (
        "CREATE TABLE learner (id INTEGER PRIMARY KEY AUTOINCREMENT, name TEXT NOT NULL UNIQUE)",
        """CREATE TABLE attempt (id INTEGER PRIMARY KEY AUTOINCREMENT,
        learner INTEGER NOT NULL REFERENCES learner (id) ON DELETE CASCADE,
        lesson TEXT NOT NULL, part TEXT NOT NULL, seed INTEGER NOT NULL, physics INTEGER NOT NULL,
        begun TEXT NOT NULL, ended TEXT, passed INTEGER, merit INTEGER, clock_s REAL NOT NULL DEFAULT 0,
        figures TEXT NOT NULL DEFAULT '{}', hints INTEGER NOT NULL DEFAULT 0)""",
        """CREATE TABLE answer (id INTEGER PRIMARY KEY AUTOINCREMENT,
        learner INTEGER NOT NULL REFERENCES learner (id) ON DELETE CASCADE,
        kind TEXT NOT NULL, level INTEGER NOT NULL, family TEXT NOT NULL, held_out INTEGER NOT NULL,
        "right" INTEGER NOT NULL, seconds REAL NOT NULL, within INTEGER NOT NULL, loss REAL NOT NULL,
        chance REAL NOT NULL, best REAL NOT NULL, seed INTEGER NOT NULL, "when" TEXT NOT NULL)""",
    ),
    (
        "CREATE TABLE kept (key TEXT PRIMARY KEY, value INTEGER)",
        "ALTER TABLE learner ADD COLUMN uid TEXT NOT NULL DEFAULT ''",
        "ALTER TABLE attempt ADD COLUMN uid TEXT NOT NULL DEFAULT ''",
        "ALTER TABLE attempt ADD COLUMN files TEXT NOT NULL DEFAULT '[]'",
        "ALTER TABLE answer ADD COLUMN uid TEXT NOT NULL DEFAULT ''",
        "ALTER TABLE answer ADD COLUMN sure INTEGER",
        "ALTER TABLE answer ADD COLUMN sitting TEXT NOT NULL DEFAULT ''",
        "UPDATE learner SET uid = lower(hex(randomblob(16)))",
        "UPDATE attempt SET uid = lower(hex(randomblob(16)))",
        """UPDATE answer SET uid = lower(hex(randomblob(16))), sitting = substr("when", 1, 10)""",
        """CREATE TABLE note (id INTEGER PRIMARY KEY AUTOINCREMENT,
        attempt INTEGER NOT NULL REFERENCES attempt (id) ON DELETE CASCADE,
        kind TEXT NOT NULL, data TEXT NOT NULL, "when" TEXT NOT NULL, uid TEXT NOT NULL)""",
        """INSERT INTO note (attempt, kind, data, "when", uid)
        SELECT id, 'hints', '{"count": ' || hints || '}', begun, lower(hex(randomblob(16)))
        FROM attempt WHERE hints > 0""",
        "UPDATE attempt SET hints = 0",  # stays empty: older SQLite cannot drop a column
        "CREATE UNIQUE INDEX learner_uid ON learner (uid)",
        "CREATE UNIQUE INDEX attempt_uid ON attempt (learner, uid)",
        "CREATE UNIQUE INDEX answer_uid ON answer (learner, uid)",
        "CREATE UNIQUE INDEX note_uid ON note (attempt, uid)",
        "CREATE INDEX answer_kind ON answer (learner, kind)",
    ),
    (
        """CREATE TABLE card_result (id INTEGER PRIMARY KEY AUTOINCREMENT,
        learner INTEGER NOT NULL REFERENCES learner (id) ON DELETE CASCADE,
        card TEXT NOT NULL, data TEXT NOT NULL, "when" TEXT NOT NULL, uid TEXT NOT NULL)""",
        "CREATE UNIQUE INDEX card_result_uid ON card_result (learner, uid)",
    ),
)
"""SQL that leads from each version to the next, the first from nothing. Never edited once shipped: add a step."""
VERSION = len(STEPS)


class _Damaged(Exception):
    """The file is no record, or not a whole one."""


def open_file(folder: Path, now: Callable[[], datetime]) -> tuple[sqlite3.Connection, list[str]]:
    """The record of a folder, at this version; what had to be set aside is told in the second value.

    Raises
    ------
    BadFile
        For a file of a newer version, which is left as it is.
    CannotWrite
        If the folder or the file cannot be made or opened, or another process keeps it locked.
    """
    path = folder / FILE
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except (OSError, ValueError) as error:
        raise CannotWrite(f"{folder}: must be a folder, got: {getattr(error, 'strerror', None) or error}") from None
    try:
        return _connected(path), []
    except _Damaged:
        pass
    with telling(path), closing(sqlite3.connect(folder / LOCK, timeout=BUSY_S, isolation_level=None)) as lock:
        lock.execute("BEGIN EXCLUSIVE")  # or the new file of another process would be set aside
        try:
            return _connected(path), []
        except _Damaged as error:
            aside = _set_aside(path, now())
            told = f"{path}: is damaged ({error}); it was set aside as {aside.name}, and a new record is begun"
            return _connected(path), [told]


@contextmanager
def telling(path: Path) -> Iterator[None]:
    """SQLite's complaints as one line of the shop."""
    try:
        yield
    except sqlite3.Error as error:
        if _is_damage(error):
            raise BadFile(f"{path}: is damaged ({error}); close flatwright and open it again to set it aside") from None
        why = "another process keeps it locked" if "locked" in str(error) else str(error)
        raise CannotWrite(f"{path}: cannot be written or read: {why}") from None


@contextmanager
def writing(db: sqlite3.Connection, path: Path) -> Iterator[None]:
    """A transaction that holds the only right to write from its beginning; kept whole or not at all."""
    with telling(path):
        db.execute("BEGIN IMMEDIATE")
        try:
            yield
            db.execute("COMMIT")
        except BaseException:
            if db.in_transaction:  # a full disk has taken it back already
                db.execute("ROLLBACK")
            raise


def make_version(db: sqlite3.Connection, version: int) -> None:
    """Bring a file to a version, step by step, within the transaction that the caller has begun."""
    for number in range(version_of(db), version):
        for statement in STEPS[number]:
            db.execute(statement)
        db.execute(f"PRAGMA user_version = {number + 1}")


def version_of(db: sqlite3.Connection) -> int:
    """The `user_version` of a file; 0 for a new one."""
    found: int = db.execute("PRAGMA user_version").fetchone()[0]
    return found


def _connected(path: Path) -> sqlite3.Connection:
    """A connection to a sound file of this version; closed again when there is none."""
    try:
        db = sqlite3.connect(path, timeout=BUSY_S, isolation_level=None)
    except sqlite3.Error as error:
        raise CannotWrite(f"{path}: cannot be opened: {error}") from None
    try:
        with telling(path):
            _made_ready(db, path)
    except sqlite3.Error as error:  # what `telling` did not see
        db.close()
        raise CannotWrite(f"{path}: cannot be opened: {error}") from None
    except BaseException:
        db.close()
        raise
    return db


def _made_ready(db: sqlite3.Connection, path: Path) -> None:
    try:
        db.execute("BEGIN")  # version and tables of one moment: another process may just be making them
        version = version_of(db)
        if version > VERSION:
            raise BadFile(f"{path}: its version must be at most {VERSION}, got {version}: a newer flatwright wrote it; "
                          "it is left as it is")
        _refuse_damage(db, version)
        db.execute("COMMIT")
        _write_ahead(db)
        for setting in ("synchronous = FULL", "foreign_keys = OFF", "secure_delete = ON"):
            db.execute(f"PRAGMA {setting}").fetchone()
        if version < VERSION:
            with writing(db, path):
                make_version(db, VERSION)
        db.execute("PRAGMA foreign_keys = ON")
    except sqlite3.DatabaseError as error:
        if _is_damage(error):
            raise _Damaged(str(error)) from None
        raise


def _write_ahead(db: sqlite3.Connection) -> None:
    """Readers and one writer side by side; SQLite does not wait by itself while two processes ask for it at once."""
    until = monotonic() + BUSY_S
    while True:
        try:
            db.execute("PRAGMA journal_mode = WAL").fetchone()
            return
        except sqlite3.OperationalError as error:
            if "locked" not in str(error) or monotonic() > until:
                raise
            sleep(0.02)


def _refuse_damage(db: sqlite3.Connection, version: int) -> None:
    """Look through the whole file; a file of something else is damage too."""
    found = [row[0] for row in db.execute("PRAGMA quick_check(3)")]
    if found != ["ok"]:
        raise _Damaged(" ".join(found[0].split())[:80])
    tables = {row[0] for row in db.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    if (version or tables) and not (version and tables >= TABLES):
        raise _Damaged("it holds other tables than a record")


def _is_damage(error: sqlite3.Error) -> bool:
    code = getattr(error, "sqlite_errorcode", None)
    return code is not None and code & 0xFF in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)


def _set_aside(path: Path, now: datetime) -> Path:
    """Give a damaged file, and what lies beside it, a name that nothing has yet."""
    stem = f"{path.stem}-damaged-{now:%Y%m%d-%H%M%S}"
    names = (f"{stem}{f'-{count}' * (count > 1)}{path.suffix}" for count in range(1, 10_000))
    aside = next((path.with_name(name) for name in names
                  if not any(path.with_name(f"{name}{end}").exists() for end in BESIDE)), None)  # fmt: skip
    try:
        if aside is None:
            raise CannotWrite(f"{path}: is damaged, and no name is free to set it aside")
        for end in BESIDE:
            part = path.with_name(f"{path.name}{end}")
            if part.exists():
                part.rename(aside.with_name(f"{aside.name}{end}"))
    except CannotWrite:
        raise
    except OSError as error:
        raise CannotWrite(f"{path}: is damaged and cannot be set aside: {error.strerror}") from None
    return aside
