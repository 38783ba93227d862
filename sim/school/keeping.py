"""Attempts on the disk: jobs and what was said, line by line, so that one that was broken off is gone on with."""

import json
import os
import shutil
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import Any, TextIO

import sim
from sim.books.record import Record
from sim.errors import BadFile, BadParam, CannotWrite
from sim.hands.worked import worked_job
from sim.paths import lessons
from sim.school.attempt import Attempt, Said, begin_attempt, piece_start, said_data, said_from
from sim.school.lesson import PARTS, Lesson, pieces_of
from sim.school.play import acts_of, acts_text
from sim.shop.session import Session
from sim.shop.store import write_new

FILE = "attempt.jsonl"
ACTS = "acts.json"
FORMAT = 1
COVERED = ("coach", "uncover")
HEAD = {"format": int, "lesson": str, "part": str, "seed": int, "file": str, "physics": int, "pieces": int,
        "begun": list, "record": int, "learner": str}  # fmt: skip


@dataclass(frozen=True)
class Head:
    """The first line of an attempt's file; `record`: its number in the record of `learner`, 0 for none.

    file: of a lesson that is not a shipped one. covered: "coach", "uncover", where an assignment wants them off.
    """

    lesson: str
    part: str
    seed: int
    physics: int
    pieces: int
    begun: tuple[int, ...]
    record: int
    file: str
    covered: tuple[str, ...] = ()
    learner: str = ""


@dataclass(eq=False)
class KeptAttempt(Attempt):
    """An attempt of which every word is on the disk when it has been said, as every act is.

    Attributes
    ----------
    folder : Path
        With its jobs and the file of what was said.
    record : int
        Its number in the record; 0 for none.
    learner : str
        Whose it is; empty for nobody's.
    ended : bool
    notes : list of str
        What had to be left out when it was opened again.
    """

    folder: Path = field(default_factory=Path)
    record: int = 0
    learner: str = ""
    ended: bool = False
    notes: list[str] = field(default_factory=list)
    _file: TextIO | None = None

    def say(self, kind: str, **data: Any) -> None:
        """Say something, and write it down.

        Raises
        ------
        BadParam
            As `Attempt.say`.
        CannotWrite
            It could not be written; it is said all the same, and lost if the program stops now.
        """
        super().say(kind, **data)
        self._write(said_data(self.said[-1:])[0])

    def take_piece(self, number: int) -> None:
        """Take another piece in hand, and write it down; raises as `Attempt.take_piece`, and CannotWrite."""
        if number != self.piece:
            super().take_piece(number)
            self._write({"take": number})

    def finished(self) -> None:
        """Write down that it is over, and its acts as one file: it is not offered any more; raises CannotWrite."""
        if not self.ended:
            self.ended = True
            self._write({"ended": True})
            write_new(self.folder / ACTS, acts_text(acts_of(self)).encode(), force=True)

    def forget(self) -> None:
        """Take away its folder: nothing was done in it."""
        self.ended = True
        self.close()
        shutil.rmtree(self.folder, ignore_errors=True)

    def close(self) -> None:
        """Close every file; a word that is said later opens its own again."""
        super().close()
        if self._file is not None:
            self._file.close()
            self._file = None

    def _write(self, row: dict[str, Any]) -> None:
        path = self.folder / FILE
        try:
            if self._file is None:
                self._file = path.open("a", encoding="utf-8")
            self._file.write(json.dumps(row, allow_nan=False) + "\n")
            self._file.flush()
        except OSError as error:
            raise CannotWrite(f"{path}: what is said cannot be kept: {error.strerror}") from None


def open_attempt(root: Path, lesson: Lesson, part: str, seed: int, *, now: datetime) -> KeptAttempt:
    """Begin an attempt in a folder of its own under `root`, named by lesson, part, seed and time; not in the record.

    Raises
    ------
    BadParam
        An unknown part.
    CannotWrite
        The folder cannot be written.
    """
    folder = _free(root, f"{lesson.name}-{part}-{seed}-{now:%Y%m%dT%H%M%S}")
    plain = begin_attempt(lesson, part, seed, folder)
    return KeptAttempt(lesson, part, seed, plain.sessions, plain.begun, folder=folder)


def prepare(lesson: Lesson, part: str, seed: int, progress: Callable[[int, int], None]) -> None:
    """Have the worked faces of a lesson made before it is begun, round by round; they are kept in the cache.

    What `progress` raises stops it.
    """
    pieces = [one for one in pieces_of(lesson, seed) if one.worked is not None]
    total = sum(one.worked.rounds for one in pieces if one.worked is not None)
    done = 0
    for piece in pieces:
        worked = piece.worked
        assert worked is not None  # only those were taken
        before = done

        def on_round(_: object) -> None:
            nonlocal done
            done += 1
            progress(done, total)

        worked_job(piece_start(piece, part, seed), worked.hand, worked.rounds, on_round,
                   stone=worked.stone, crossing=worked.crossing)  # fmt: skip
        done = before + worked.rounds
        progress(done, total)


def write_head(attempt: KeptAttempt, record: Record | None) -> None:
    """Enter an attempt in the record and write the head of its file: from now on it is offered to go on.

    Raises
    ------
    BadParam
        The record does not take it.
    CannotWrite
        Its file is there already or cannot be written.
    """
    path = attempt.folder / FILE
    if path.exists():
        raise CannotWrite(f"{path}: is there already")
    home = None if record is None else record.path.parent.absolute()
    files = [_named(one.path, home) for one in attempt.sessions]
    attempt.record = record.begin_attempt(attempt.lesson.name, attempt.part, attempt.seed, files) if record else 0
    attempt.learner = record.current() if record else ""
    attempt._write({
        "format": FORMAT, "lesson": attempt.lesson.name, "part": attempt.part, "seed": attempt.seed,
        "file": _own_file(attempt.lesson), "physics": sim.PHYSICS, "pieces": len(attempt.sessions),
        "begun": list(attempt.begun), "record": attempt.record, "learner": attempt.learner,
        "covered": [name for name in COVERED if not getattr(attempt.lesson.allowed, name)]})  # fmt: skip


def read_head(folder: Path) -> Head:
    """The head of an attempt's file.

    Raises
    ------
    BadFile
        There is none, or it is not one of ours.
    """
    head, _, _ = _lines(folder)
    return head


def resume(folder: Path, find: Callable[[str], Lesson]) -> KeptAttempt:
    """Go on with an attempt where it stopped; `find` gives the lesson of a name.

    Raises
    ------
    BadFile
        No attempt, damaged at its head, or begun under other physics.
    BadParam
        An unknown lesson.
    """
    head, rows, notes = _lines(folder)
    path = folder / FILE
    if head.physics != sim.PHYSICS:
        raise BadFile(f"{path}:1: physics must be {sim.PHYSICS} to go on, got {head.physics}: begin the lesson again")
    lesson = find(head.file or head.lesson)
    allowed = lesson.allowed
    lesson = replace(lesson, allowed=replace(allowed, coach=allowed.coach and "coach" not in head.covered,
                                             uncover=allowed.uncover and "uncover" not in head.covered))
    if head.pieces != len(lesson.pieces):
        raise BadFile(f"{path}:1: pieces must be {len(lesson.pieces)}, as the lesson has now, got {head.pieces}")
    sessions = [Session.load(folder / f"{head.lesson}-{n + 1}.job") for n in range(head.pieces)]
    said, piece, ended = _gone_through(rows, [len(one.commands) for one in sessions], notes, path)
    notes += [note for one in sessions for note in one.notes]
    return KeptAttempt(lesson, head.part, head.seed, sessions, head.begun, said, piece, folder=folder,
                       record=head.record, learner=head.learner, ended=ended, notes=notes)  # fmt: skip


def put_away(folder: Path) -> None:
    """Offer an attempt no more; its files stay. Nothing of it is opened, so one of other physics can be put away too.

    Raises
    ------
    CannotWrite
        Its file cannot be written.
    """
    try:
        whole = (folder / FILE).read_bytes().endswith(b"\n")
        with (folder / FILE).open("a", encoding="utf-8", newline="\n") as file:
            file.write(f'{"" if whole else chr(10)}{{"ended": true}}\n')
    except OSError as error:
        raise CannotWrite(f"{folder / FILE}: cannot be written: {error.strerror}") from None


def unfinished(root: Path, learner: str | None = None) -> list[Path]:
    """Folders of attempts that were begun and not ended, the newest first; of one learner and of nobody, or all."""
    found = []
    for path in root.glob(f"*/{FILE}"):
        with suppress(BadFile, OSError):
            head, rows, _ = _lines(path.parent)
            if learner is not None and head.learner not in ("", learner):
                continue
            if not any(row.get("ended") for row in rows):
                found.append((path.stat().st_mtime_ns, path.parent))
    return [folder for _, folder in sorted(found, reverse=True)]


def _own_file(lesson: Lesson) -> str:
    """Path of a lesson's file where it is not a shipped one; else nothing."""
    path = lesson.path.absolute()
    return str(path) if path.is_file() and path.parent != lessons().absolute() else ""


def _named(path: Path | None, home: Path | None) -> str:
    """A job log by its name from the data folder on."""
    whole = (path or Path()).absolute()
    return whole.relative_to(home).as_posix() if home is not None and whole.is_relative_to(home) else str(whole)


def _free(root: Path, name: str) -> Path:
    """A folder that is not there yet."""
    folder, number = root / name, 2
    while folder.exists():
        folder, number = root / f"{name}-{number}", number + 1
    return folder


def _lines(folder: Path) -> tuple[Head, list[dict[str, Any]], list[str]]:
    """Head and rows of an attempt's file; a torn last line is cut off it, and told."""
    path, notes = folder / FILE, list[str]()
    try:
        data = path.read_bytes()
    except OSError as error:
        raise BadFile(f"{path}: is no attempt that can be gone on with: {error.strerror}") from None
    whole = data[: data.rfind(b"\n") + 1]
    if len(whole) < len(data):
        notes.append(f"{path}: its last line was cut short and is left out")
        with suppress(OSError):
            os.truncate(path, len(whole))
    rows = []
    for n, line in enumerate(whole.splitlines(), start=1):
        try:
            row = json.loads(line)
        except ValueError:
            row = None
        if not isinstance(row, dict):
            if n == 1:
                break
            notes.append(f"{path}:{n}: is damaged; it and what follows is left out")
            break
        rows.append(row)
    return _head(rows[:1], path), rows[1:], notes


def _head(first: list[dict[str, Any]], path: Path) -> Head:
    told = first[0] if first else {}
    wrong = [key for key, kind in HEAD.items() if type(told.get(key)) is not kind]
    if wrong or told["format"] != FORMAT or told["part"] not in PARTS:
        raise BadFile(f"{path}:1: must be the head of an attempt, format {FORMAT}; wrong: {', '.join(wrong) or 'part'}")
    begun = tuple(told["begun"])
    if told["pieces"] < 1 or len(begun) != told["pieces"] or any(type(n) is not int or n < 0 for n in begun):
        raise BadFile(f"{path}:1: begun must hold a count for each of its {told['pieces']} pieces")
    covered = told.get("covered", [])
    if not isinstance(covered, list) or not all(one in COVERED for one in covered):
        raise BadFile(f"{path}:1: covered must be a list of {', '.join(COVERED)}, got {str(covered)[:60]}")
    return Head(told["lesson"], told["part"], told["seed"], told["physics"], told["pieces"], begun,
                told["record"], told["file"], tuple(covered), told["learner"])  # fmt: skip


def _gone_through(rows: list[dict[str, Any]], counts: list[int], notes: list[str],
                  path: Path) -> tuple[list[Said], int, bool]:
    """What was said, the piece in hand, and whether it is over; what does not fit the jobs is left out and told."""
    said: list[Said] = []
    piece, ended = 0, False
    for n, row in enumerate(rows, start=2):
        if "take" in row:
            piece = row["take"] if type(row["take"]) is int and 0 <= row["take"] < len(counts) else piece
        elif row.get("ended") is True:
            ended = True
        else:
            try:
                one = said_from([row], f"{path}:{n}")[0]
            except BadParam as error:
                notes.append(f"{error}; it is left out")
                continue
            if one.piece < len(counts) and one.after <= counts[one.piece]:
                said.append(one)
    return said, piece, ended
