"""A comparison on the disk: what was asked, and every outcome the moment it is known; it can be gone on with."""

import csv
import io
import json
import math
from dataclasses import asdict, fields
from pathlib import Path
from typing import IO, Any

from sim.errors import BadFile, CannotWrite
from sim.shop.store import read_limited, write_new
from sim.trials.trial import Outcome

ASKED, TOLD, TABLE = "comparison.json", "outcomes.jsonl", "trials.csv"
MOST_BYTES = 2_000_000_000
NOT_IN_TABLE = ("curve", "seconds")


class Ledger:
    """Outcomes of a comparison in a folder; one process writes it.

    Attributes
    ----------
    folder : Path
    outcomes : dict of key to Outcome
        What is done.
    notes : list of str
        What is to be told: a line that was cut off.
    """

    def __init__(self, folder: Path, asked: dict[str, Any], resume: bool = False) -> None:
        """Open the folder for these settings; with `resume` go on with what lies there.

        Raises
        ------
        CannotWrite
            It cannot be made or written to, or holds a comparison already and `resume` is not set.
        BadFile
            What lies there is damaged, or another comparison.
        """
        self.folder, self.outcomes, self.notes = Path(folder), dict[tuple[str, float, int], Outcome](), list[str]()
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise CannotWrite(f"{self.folder}: a folder for the comparison cannot be made: {error.strerror}") from None
        asked_at, told_at = self.folder / ASKED, self.folder / TOLD
        before = next((path for path in (asked_at, told_at) if path.exists()), None)
        if before and not resume:
            raise CannotWrite(f"{before} is there already: name another folder with --out, or go on by --resume")
        if before:
            self._same(asked)
        else:
            write_new(asked_at, json.dumps(asked, indent=1).encode())
        self._file: IO[bytes] = _opened(told_at)
        self._read(told_at)

    def _same(self, asked: dict[str, Any]) -> None:
        """What lies there was asked the same."""
        before = asked_in(self.folder)
        plain = json.loads(json.dumps(asked))
        if before != plain:
            other = next((key for key in plain if before.get(key) != plain[key]), "keys")
            path = self.folder / ASKED
            raise BadFile(f"{path}: is another comparison, its {other} differs: name another folder with --out")

    def _read(self, path: Path) -> None:
        """Outcomes of the lines that are whole; the file is cut behind them."""
        data, end = read_limited(path, MOST_BYTES), 0
        for number, line in enumerate(data.splitlines(keepends=True), start=1):
            try:
                if not line.endswith(b"\n"):
                    raise ValueError("torn")
                outcome = outcome_from(json.loads(line))
            except (ValueError, TypeError, KeyError):
                self.notes.append(f"{path}:{number}: this line is damaged; it and what follows are worked again")
                break
            self.outcomes[outcome.key] = outcome
            end += len(line)
        if end < len(data):
            self._cut(end)

    def add(self, outcome: Outcome) -> None:
        """Keep an outcome: it is handed to the system before it counts.

        Raises
        ------
        CannotWrite
            The disk is full, or gone; what was kept stands.
        """
        line = (json.dumps(asdict(outcome), allow_nan=True) + "\n").encode()
        before = self._file.seek(0, io.SEEK_END)
        try:
            while line:  # a disk that is nearly full takes a part and says no word
                line = line[self._file.write(line) :]
        except OSError as error:
            self._cut(before)
            where = f"{self.folder / TOLD}: cannot be written: {error.strerror}"
            raise CannotWrite(f"{where}; {len(self.outcomes)} trials are kept") from None
        self.outcomes[outcome.key] = outcome

    def _cut(self, end: int) -> None:
        """Take off half a line."""
        try:
            self._file.truncate(end)
        except OSError:
            self.notes.append(f"{self.folder / TOLD}: its last line may be torn")

    def close(self) -> None:
        """Let go of the file."""
        self._file.close()


def asked_in(folder: Path) -> dict[str, Any]:
    """What the comparison in a folder was asked.

    Raises
    ------
    BadFile
        There is none, or it is damaged.
    """
    path = Path(folder) / ASKED
    try:
        found = json.loads(read_limited(path, MOST_BYTES))
    except ValueError as error:
        if isinstance(error, BadFile):
            raise
        found = None
    if not isinstance(found, dict):
        raise BadFile(f"{path}: must be what an earlier comparison wrote, got something else")
    return found


def _opened(path: Path) -> IO[bytes]:
    """The file to add to, for this process alone."""
    try:
        file = open(path, "ab", buffering=0)  # noqa: SIM115
    except OSError as error:
        raise CannotWrite(f"{path}: cannot be written: {error.strerror}") from None
    try:
        import fcntl

        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        file.close()
        raise CannotWrite(f"{path}: another comparison is writing it: wait for that, or name another folder") from None
    except (ImportError, OSError):  # a system, or a disk, without locks
        pass
    return file


def outcome_from(data: dict[str, Any]) -> Outcome:
    """An outcome as it was written.

    Raises
    ------
    ValueError, TypeError, KeyError
        It is no such thing.
    """
    like = Outcome("", math.nan, 0)
    found = {}
    for one in fields(Outcome):
        value, kind = data[one.name], type(getattr(like, one.name))
        if kind is tuple:
            value = tuple(tuple(float(v) for v in row) for row in value)
        elif kind is float and isinstance(value, int) and not isinstance(value, bool):
            value = float(value)
        if type(value) is not kind:
            raise ValueError(f"{one.name} must be of the kind of {kind.__name__}, got {value!r}")
        found[one.name] = value
    return Outcome(**found)


def table(outcomes: list[Outcome]) -> str:
    """Every trial as a line of CSV, in the order given; numbers as they are, NaN as nothing. No time of a machine."""
    names = [one.name for one in fields(Outcome) if one.name not in NOT_IN_TABLE]
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(names)
    for outcome in outcomes:
        row = [getattr(outcome, name) for name in names]
        writer.writerow(["" if isinstance(v, float) and math.isnan(v) else int(v) if isinstance(v, bool) else v
                         for v in row])  # fmt: skip
    return text.getvalue()
