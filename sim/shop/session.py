"""The session: the only way to change a job; it keeps the log, takes back, saves, loads and re-runs."""

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Self

import sim
from sim.errors import BadFile, BadParam, CannotWrite, Refused, ShopError
from sim.shop import sight
from sim.shop.checkpoint import checkpoint, job_at
from sim.shop.commands import Command, SpotFace, WipeFace, perform, shown
from sim.shop.job import Job, JobStart, begin_job
from sim.shop.logbook import Logbook, fingerprint, read_job_file
from sim.shop.partwork import SpotUpright
from sim.shop.store import checkpoint_path, packed, write_new

COPIES_MB = 200.0
Progress = Callable[[int, int], None]


class Session:
    """A job in hand; made by `begin` or `load`. As a context manager it closes its log at the end.

    Attributes
    ----------
    notes : list of str
        What is to be told after loading: a line cut off, a checkpoint that could not be used.
    fingerprints : bool
        False for a run that is thrown away: then none is taken of a round, which costs as much as a stoning.
    """

    def __init__(self, book: Logbook, job: Job, first: int = 0, *, copies_mb: float = COPIES_MB) -> None:
        self.notes: list[str] = []
        self.fingerprints = True
        self._book = book
        self._job = job
        self._copies_mb = copies_mb
        self._copies: list[tuple[int, Job]] = []
        self._floor: tuple[int, Job] | None = None  # a log of two physics cannot be run again from its start
        if book.base or book.physics != sim.PHYSICS:
            self._floor = first, job.copy()
        self._keep_copy(first, job)
        _lock(job)

    @classmethod
    def begin(cls, start: JobStart, path: Path | None = None, force: bool = False, *,
              copies_mb: float = COPIES_MB) -> Self:
        """A new job, logged at `path` if one is given.

        Parameters
        ----------
        copies_mb : float
            Room for the copies that make `undo` quick, one a round; 0 for a run that takes nothing back.

        Raises
        ------
        BadParam
            A start that cannot be made.
        CannotWrite
            The file or its checkpoint is there already (unless `force`), or it cannot be written.
        """
        session = cls(Logbook.begin(start), begin_job(start), copies_mb=copies_mb)
        if path is not None:
            session._attach(Path(path), force)
        return session

    @classmethod
    def load(cls, path: Path, progress: Progress | None = None, *, copies_mb: float = COPIES_MB) -> Self:
        """A job from its file: from the checkpoint where that fits the log, the rest by running the log again.

        A packed job comes without a file; `save` it under a name to go on logging.

        Raises
        ------
        BadFile
            No job file, damaged at its head, or of other physics without a checkpoint that fits its last line.
        """
        path = Path(path)
        book, data = read_job_file(path)
        notes = list(book.warnings)
        found = None
        if data is not None:
            try:
                found = _fitting(data, book)
            except ValueError as error:
                notes.append(f"{path}: the checkpoint of this job is damaged and was not used: {shown(str(error))}")
        other = book.physics != sim.PHYSICS
        if (found is None and (other or book.base)) or (other and found and found[0] < len(book.commands)):
            raise BadFile(f"{path}:1: physics must be {sim.PHYSICS} to run this log again, got {book.physics}"
                          f"{' after a change' if book.base else ''}, and no checkpoint fits its last line")
        first, job = found or (0, _begun(book, path))
        session = cls(book, job, first, copies_mb=copies_mb)
        session.notes = notes
        _open(job)
        for n in range(first, len(book.commands)):
            if isinstance(book.commands[n], SpotFace | SpotUpright):
                session._keep_copy(n, job)
            _again(book, n, job, path)
            if progress:
                progress(n + 1 - first, len(book.commands) - first)
        _lock(job)
        return session

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *what: object) -> None:
        self.close()

    @property
    def job(self) -> Job:
        """The job, to look at: its arrays are locked outside `do`. Ask again after each command."""
        return self._job

    @property
    def commands(self) -> tuple[Command, ...]:
        """What was done and stands, in order."""
        return tuple(self._book.commands)

    @property
    def path(self) -> Path | None:
        """File of the log; None when it is kept in memory alone."""
        return self._book.path

    def look(self) -> sight.Sight:
        """What a person sees of the job now."""
        return sight.look(self._job)

    def do(self, command: Command) -> Any:
        """Do a command, all of it or nothing, and log it; returns what the act returns.

        Raises
        ------
        Refused
            With every problem, when it is not possible now; the job is unchanged.
        CannotWrite
            When it cannot be logged; the job is unchanged.
        """
        problems = command.problems(self._job)
        if problems:
            raise Refused("; ".join(problems))
        return self._done(command)

    def try_do(self, command: Command) -> list[str]:
        """Do a command if it is possible; the problems if not, none when it was done."""
        problems = command.problems(self._job)
        if not problems:
            try:
                self._done(command)
            except Refused as error:
                problems = [str(error)]
        return problems

    def _done(self, command: Command) -> Any:
        """Act and log, or come back to the job as it was: some refusals only show in the act, as a part that tips."""
        self._current_physics()
        count = len(self._book.commands)
        if isinstance(command, SpotFace | SpotUpright):
            self._fingerprint_round()
            self._keep_copy(count, self._job)
        _open(self._job)
        try:
            result = perform(command, self._job)
            self._book.add_command(command)
        except BaseException as error:
            self._job = self._job_after(count)
            if isinstance(error, ShopError) and not isinstance(error, CannotWrite):
                raise Refused(str(error)) from None
            raise
        finally:
            _lock(self._job)
        if isinstance(command, WipeFace):
            self._fingerprint_round()
        return result

    def undo(self, count: int = 1, progress: Progress | None = None) -> tuple[Command, ...]:
        """Take back the last commands and return them; the log remembers both.

        Raises
        ------
        BadParam
            A count below 1.
        Refused
            When there are not so many; the job is unchanged.
        CannotWrite
            When it cannot be logged; the job is unchanged.
        """
        if not isinstance(count, int) or count < 1:
            raise BadParam(f"count must be a whole number from 1, got {shown(count)}")
        left = len(self._book.commands) - count
        lowest = self._floor[0] if self._floor else 0
        if left < lowest:
            why = ": what came before was made under other physics" if lowest else ""
            raise Refused(f"at most {len(self._book.commands) - lowest} commands can be taken back, got {count}{why}")
        self._current_physics()
        job = self._job_after(left, progress)
        taken = tuple(self._book.commands[left:])
        self._book.add_undo(count)
        self._job = job
        self._copies = [kept for kept in self._copies if kept[0] <= left]
        _lock(job)
        return taken

    def save(self, path: Path | None = None, force: bool = False) -> None:
        """Write the log and its checkpoint, NAME.job and NAME.job.npz.

        With no path, or the session's own: brings its checkpoint up to date. A session without a file goes on
        logging at `path`; one that has a file leaves a copy there.

        Raises
        ------
        CannotWrite
            A file is there already (unless `force`) or cannot be written; none is half written.
        """
        if path is None and self.path is None:
            raise CannotWrite("a job that has no file yet must be given a name to be saved under")
        target = Path(path or self.path or "")
        self._current_physics()
        self._fingerprint_now()
        if self.path is None:
            self._attach(target, force)
        elif target.absolute() != self.path.absolute():
            _refuse_existing(checkpoint_path(target), force)
            write_new(target, self._book.data(), force)
        write_new(checkpoint_path(target), checkpoint(self._job, self._book.crc), force=True)

    def log(self) -> bytes:
        """The bytes of its log as they would be in its file, with a fingerprint at the end."""
        self._fingerprint_now()
        return self._book.data()

    def pack(self, path: Path, force: bool = False) -> None:
        """Write log and checkpoint as one zip to mail.

        Raises
        ------
        CannotWrite
            It is there already (unless `force`) or cannot be written.
        """
        name = (self.path or Path(path)).name.removesuffix(".zip").removesuffix(".job").lstrip(".")
        plain = "".join("_" if mark in '\\:"' else mark for mark in name) or "packed"
        write_new(Path(path), packed(f"{plain}.job", self._book.data(), checkpoint(self._job, self._book.crc)), force)

    def close(self) -> None:
        """Fingerprint what was done since the last one and let the file go; a later `do` opens it again."""
        if self._book.writing:
            with suppress(CannotWrite):
                self._fingerprint_now()
        self._book.close()

    def _attach(self, path: Path, force: bool) -> None:
        """Log at a new file from here on."""
        _refuse_existing(checkpoint_path(path), force)
        self._book.attach(path, force)
        with suppress(OSError):
            checkpoint_path(path).unlink(missing_ok=True)

    def _current_physics(self) -> None:
        """Before the first change of a job of other physics: say so in its log."""
        if self._book.physics != sim.PHYSICS:
            self._book.add_physics()

    def _fingerprint_round(self) -> None:
        """One fingerprint a round; a disk that is full is told by the command that follows."""
        prints, round_ = self._book.prints, self._job.round
        if self.fingerprints and round_ > 0 and not (prints and prints[-1].round == round_):
            with suppress(CannotWrite):
                self._fingerprint_now()

    def _fingerprint_now(self) -> None:
        prints = self._book.prints
        if not (prints and prints[-1].after == len(self._book.commands)):
            self._book.add_print(self._job.round, fingerprint(self._job))

    def _keep_copy(self, count: int, job: Job) -> None:
        """Keep a copy to come back to, and drop the oldest of too many."""
        size = sum(array.nbytes for array in job.arrays().values())
        most = int(self._copies_mb * 1e6 // size)
        if most > 0 and not (self._copies and self._copies[-1][0] == count):
            self._copies = [*self._copies[max(0, len(self._copies) - most + 1) :], (count, job.copy())]

    def _job_after(self, count: int, progress: Progress | None = None) -> Job:
        """The job as it stood after so many commands: the nearest copy and the commands that followed."""
        kept = [copy for copy in (self._floor, *self._copies) if copy is not None and copy[0] <= count]
        first, job = max(kept, key=lambda copy: copy[0], default=(0, None))
        job = job.copy() if job else begin_job(self._book.start)
        for n in range(first, count):
            perform(self._book.commands[n], job)
            if progress:
                progress(n + 1 - first, count - first)
        return job


@dataclass(frozen=True)
class Replayed:
    """What came of running a job file again.

    Attributes
    ----------
    commands, rounds, fingerprints_checked : int
    ok : bool
        Every fingerprint agrees: the same face, bit for bit.
    whole : bool
        Nothing of the log had to be left out, and it ends with a fingerprint, as a session that was closed leaves it.
    notes : list of str
        What differs and what was left out, one line each.
    job : Job
        Where it ended; at the first fingerprint that does not agree, if one does not.
    """

    commands: int
    rounds: int
    fingerprints_checked: int
    ok: bool
    whole: bool
    notes: list[str]
    job: Job


def replay(path: Path, progress: Progress | None = None) -> Replayed:
    """Run a job file or a packed job again from its start and hold it against its fingerprints.

    Raises
    ------
    BadFile
        No job file, or one of other physics.
    """
    path = Path(path)
    book, _ = read_job_file(path)
    if book.base or book.physics != sim.PHYSICS:
        got = f"{book.physics}{' after a change' if book.base else ''}"
        raise BadFile(f"{path}:1: physics must be {sim.PHYSICS} from start to end to run this log again, got {got}")
    notes = list(book.warnings)
    job = _begun(book, path)
    prints = list(reversed(book.prints))
    checked, total = 0, len(book.commands)
    for n in range(total + 1):
        while prints and prints[-1].after == n:
            told = prints.pop()
            checked += 1
            if fingerprint(job) != told.sha256:
                notes.append(f"{path}:{told.line}: the face of round {told.round} is not the one that was logged here")
                return Replayed(n, job.round, checked, False, book.whole, notes, job)
        if n < total:
            _again(book, n, job, path)
            if progress:
                progress(n + 1, total)
    ended = not total or (bool(book.prints) and book.prints[-1].after == total)
    if book.whole and not ended:
        got = f"{total} commands and none after the last"
        notes.append(f"{path}: must end with a fingerprint of the last face, got {got}: "
                     "the file was cut short, or its session was never closed")
    return Replayed(total, job.round, checked, True, book.whole and ended, notes, job)


def _begun(book: Logbook, path: Path) -> Job:
    try:
        return begin_job(book.start)
    except BadParam as error:
        raise BadFile(f"{path}:1: start: {error}") from None


def _again(book: Logbook, n: int, job: Job, path: Path) -> None:
    """Do one command of a log; a log may hold what no session would have written."""
    command = book.commands[n]
    try:
        problems = command.problems(job)
        if problems:
            raise Refused("; ".join(problems))
        perform(command, job)
    except ShopError as error:
        raise BadFile(f"{path}:{book.places[n]}: {type(command).__name__}: {error}") from None


def _fitting(data: bytes, book: Logbook) -> tuple[int, Job] | None:
    """Number of commands and the job of a checkpoint whose line in this log still stands; ValueError when damaged."""
    job, crc = job_at(data, book.start)
    count = book.count_at.get(crc, -1)
    told = [one.sha256 for one in book.prints if one.after == count]
    if told and told[-1] != fingerprint(job):
        raise ValueError("not the face of its line in the log")
    return (count, job) if count >= book.base else None


def _refuse_existing(path: Path, force: bool) -> None:
    if path.exists() and not force:
        raise CannotWrite(f"{path}: is there already and is not overwritten without --force")


def _lock(job: Job) -> None:
    for array in job.arrays().values():
        array.flags.writeable = False


def _open(job: Job) -> None:
    for array in job.arrays().values():
        array.flags.writeable = True
