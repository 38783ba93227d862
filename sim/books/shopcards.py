"""What learners wrote down at a real plate: one table of its own in the file of the record."""

import json
import math
import re
import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sim.errors import BadFile, BadParam, CannotWrite

FILE = "record.sqlite3"
WAIT_S = 10.0  # for another process that writes
MOST_VALUES = 100
WHEN = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(Z|\+00:00)", re.ASCII)
TABLE = """CREATE TABLE IF NOT EXISTS card_results (
    id INTEGER PRIMARY KEY, learner TEXT NOT NULL, card TEXT NOT NULL, entered TEXT NOT NULL, data TEXT NOT NULL)"""


@dataclass(frozen=True)
class CardResult:
    """One entry: whose, of which card, when (UTC, ISO, seconds), and the values by field, in the field's unit."""

    learner: str
    card: str
    when: str
    values: dict[str, float]


class CardBook:
    """Results of shop cards in a data folder. The file is made by the first entry; looking makes nothing.

    Several processes may use one file: each entry is a transaction of its own.
    """

    def __init__(self, folder: Path) -> None:
        self.path = Path(folder) / FILE

    def add(self, learner: str, card: str, values: Mapping[str, float], when: str) -> None:
        """Keep what a learner wrote down.

        Parameters
        ----------
        values : 1 to 100 finite numbers by field
        when : str
            UTC, ISO 8601 to the second: "2026-03-01T09:30:00+00:00".

        Raises
        ------
        BadParam
            An empty name, no values or too many, one that is not a finite number, or no such time.
        BadFile
            The file is there and is no record.
        CannotWrite
            It cannot be written; nothing was kept.
        """
        for word, name in (("learner", learner), ("card", card)):
            if not name.strip() or len(name) > 100:
                raise BadParam(f"{word} must be a name of 1 to 100 letters, got {name[:40]!r}")
        if not 1 <= len(values) <= MOST_VALUES or not all(math.isfinite(value) for value in values.values()):
            raise BadParam(f"values must be 1 to {MOST_VALUES} finite numbers, got {str(dict(values))[:60]}")
        if not WHEN.fullmatch(when):
            raise BadParam(f"when must be UTC such as 2026-03-01T09:30:00+00:00, got {when[:40]!r}")
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise CannotWrite(f"{self.path}: cannot be written: {error.strerror or error}") from None
        row = learner, card, when, json.dumps({key: float(value) for key, value in values.items()}, allow_nan=False)
        with self._open() as book, book:
            book.execute(TABLE)
            book.execute("INSERT INTO card_results (learner, card, entered, data) VALUES (?, ?, ?, ?)", row)

    def results(self, learner: str, card: str | None = None) -> list[CardResult]:
        """What a learner entered, of one card or of all, the oldest first.

        Raises
        ------
        BadFile
            The file is there and is no record, or an entry in it is damaged.
        """
        found = []
        for who, which, when, data in self._rows(learner):
            try:
                values = {str(key): float(value) for key, value in json.loads(data).items()}
            except (ValueError, TypeError, AttributeError):
                raise BadFile(f"{self.path}: an entry of card {str(which)[:40]!r} is damaged") from None
            if card in (None, which):
                found.append(CardResult(str(who), str(which), str(when), values))
        return found

    def forget(self, learner: str) -> int:
        """Delete everything that a learner entered; returns how many entries there were.

        Raises
        ------
        BadFile, CannotWrite
            As `add`.
        """
        if not self._rows(learner):
            return 0
        with self._open() as book, book:
            return book.execute("DELETE FROM card_results WHERE learner = ?", (learner,)).rowcount

    def _rows(self, learner: str) -> list[tuple[Any, ...]]:
        """Entries of a learner, the oldest first; none where there is no file or no table yet."""
        if not self.path.is_file():
            return []
        with self._open() as book:
            if not book.execute("SELECT 1 FROM sqlite_master WHERE name = 'card_results'").fetchone():
                return []
            asked = "SELECT learner, card, entered, data FROM card_results WHERE learner = ? ORDER BY entered, id"
            return book.execute(asked, (learner,)).fetchall()

    @contextmanager
    def _open(self) -> Iterator[sqlite3.Connection]:
        """The file, closed at the end; what SQLite says becomes one line."""
        try:
            with closing(sqlite3.connect(self.path, timeout=WAIT_S)) as book:
                book.execute("PRAGMA journal_mode = WAL")
                yield book
        except sqlite3.OperationalError as error:
            raise CannotWrite(f"{self.path}: cannot be used: {error}") from None
        except sqlite3.DatabaseError as error:
            raise BadFile(f"{self.path}: must be a record of flatwright, got: {error}") from None
