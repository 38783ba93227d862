"""The job file: JSON lines that each end in a running checksum, so that a torn or edited line is seen.

Line 1 is the header (format, physics, versions, start); then one line a command, `{"undo": n}`, and once a round the
fingerprint of the face. The checksum of a line runs over everything above it as well.
"""

import dataclasses
import errno
import hashlib
import importlib.metadata
import io
import itertools
import json
import math
import operator
import os
import platform
import re
import time
import zlib
from contextlib import suppress
from pathlib import Path
from typing import Any, NamedTuple, NoReturn

import numpy as np

import sim
from sim.errors import BadFile, BadParam, CannotWrite
from sim.shop import partwork  # noqa: F401 - its commands are registered
from sim.shop.commands import Command, as_data, from_data, shown
from sim.shop.job import WRITTEN, Job, JobStart
from sim.shop.starts import start_from_data
from sim.shop.store import MOST_BYTES, MOST_CHECKPOINT_BYTES, checkpoint_path, read_limited, unpacked, write_new

FORMAT = 1
SYNC_S = 1.0
FINGERPRINTED = ("height_um", "burr_um", "blue_um", "film_um", *WRITTEN)
SEALED = re.compile(rb',"crc":"([0-9a-f]{8})"}\n\Z')


class Print(NamedTuple):
    """Fingerprint of a face: how many commands it was made after, in which round, what it is, its line in the log."""

    after: int
    round: int
    sha256: str
    line: int


def fingerprint(job: Job) -> str:
    """SHA-256 over heights, burrs, blue and the film on the plate: 7 ms for a face of 640 x 440 cells.

    Of a part of several faces also what is written on it, what was read, and what was cut.
    """
    digest = hashlib.sha256()
    if job.start.part is not None:
        written = {name: (one.round, one.turned, one.datum, one.cuts) for name, one in job.part.written.items()}
        digest.update(repr((job.in_hand, job.cuts, job.readings, written)).encode())
    for name, array in job.arrays().items():
        if name.rpartition("/")[2] in FINGERPRINTED:
            digest.update(f"{name} {array.shape}".encode())
            digest.update(np.ascontiguousarray(array, dtype="<f8").data)
    return digest.hexdigest()


class Logbook:
    """Everything that was done to a job, in memory and, once `attach`ed, in its file.

    Attributes
    ----------
    start : JobStart
    physics : int
        Number under which the last commands were made.
    base : int
        Commands before this were made under other physics; a re-run begins behind them.
    commands, places : list
        Commands that stand (undone ones are gone), and the line of each.
    prints : list of Print
    count_at : dict
        For each line that still stands, by its checksum: the number of commands then.
    lines : list of bytes
        The file as it is, or would be.
    crc : int
        Checksum of the last line.
    warnings : list of str
        What was cut off on reading.
    """

    def __init__(self) -> None:
        self.start = JobStart()
        self.physics = sim.PHYSICS
        self.base = 0
        self.commands: list[Command] = []
        self.places: list[int] = []
        self.prints: list[Print] = []
        self.count_at: dict[int, int] = {}
        self.lines: list[bytes] = []
        self.crc = 0
        self.warnings: list[str] = []
        self.path: Path | None = None
        self._file: io.FileIO | None = None
        self._bytes = 0  # that are ours in the file
        self._found = 0  # bytes in the file, with what is to be cut off
        self._edited = False
        self._synced_s = -math.inf

    # writing

    @classmethod
    def begin(cls, start: JobStart) -> "Logbook":
        """A log that holds its header alone."""
        book = cls()
        book._write({"job": "flatwright", "format": FORMAT, **made_by(), "start": dataclasses.asdict(start)})
        book.start = start
        return book

    def add_command(self, command: Command) -> None:
        """Log a command that was done.

        Raises
        ------
        CannotWrite
            When the file cannot be written; the log is unchanged.
        """
        self._write(as_data(command))
        self._add(command)

    def add_undo(self, count: int) -> None:
        """Log that the last `count` commands were taken back; raises as `add_command`."""
        self._write({"undo": count})
        self._take_back(count)

    def add_print(self, round_: int, sha256: str) -> None:
        """Log the fingerprint of the face as it is now; raises as `add_command`."""
        self._write({"round": round_, "sha256": sha256})
        self.prints.append(Print(len(self.commands), round_, sha256, len(self.lines)))

    def add_physics(self) -> None:
        """Log that from here on the physics of this version hold; raises as `add_command`."""
        self._write(made_by())
        self.physics, self.base = sim.PHYSICS, len(self.commands)

    def attach(self, path: Path, force: bool = False) -> None:
        """Write the log to a new file and go on writing there.

        Raises
        ------
        CannotWrite
            When the file is there already (unless `force`) or cannot be written; nothing is changed.
        """
        write_new(path, self.data(), force)
        self.close()
        self.path, self._bytes = path, sum(map(len, self.lines))
        self._found, self._edited = self._bytes, False

    def data(self) -> bytes:
        """The bytes of the file."""
        return b"".join(self.lines)

    def close(self) -> None:
        """Force what was written to the disk and let the file go; writing opens it again."""
        if self._file is not None:
            with suppress(OSError):
                os.fsync(self._file.fileno())
            self._file.close()
            self._file, self._found = None, self._bytes

    def _write(self, entry: dict[str, Any]) -> None:
        """Seal an entry, write it, then keep it."""
        body = json.dumps(entry, separators=(",", ":"), allow_nan=False, default=operator.index).encode()
        crc = zlib.crc32(body, self.crc)
        line = body[:-1] + b',"crc":"%08x"}\n' % crc
        if self.path is not None:
            self._to_file(self.path, line)
        self.lines.append(line)
        self.crc = crc
        self.count_at[crc] = len(self.commands) + ("do" in entry)

    def _to_file(self, path: Path, line: bytes) -> None:
        """Append a line at once and whole, or leave the file as it was."""
        try:
            file = self._file = self._file or self._opened(path)
            _unchanged(path, os.stat(path).st_size, self._bytes)
            try:
                if file.write(line) != len(line):
                    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
            except BaseException:
                file.truncate(self._bytes)
                file.seek(self._bytes)
                raise
            self._bytes += len(line)
            if time.monotonic() - self._synced_s >= SYNC_S:
                os.fsync(file.fileno())
                self._synced_s = time.monotonic()
        except CannotWrite:
            raise
        except OSError as error:
            raise CannotWrite(f"{path}: cannot be written: {error.strerror or error}") from None

    def _opened(self, path: Path) -> io.FileIO:
        """The file at its end, without what reading cut off; an edited one is kept beside it first."""
        file = open(path, "r+b", buffering=0)  # noqa: SIM115
        try:
            _unchanged(path, os.fstat(file.fileno()).st_size, self._found)
            if self._edited:
                kept = next(p for n in itertools.count(1) if not (p := Path(f"{path}.damaged-{n}")).exists())
                write_new(kept, file.read())
                self._edited = False
            file.truncate(self._bytes)
            file.seek(self._bytes)
        except BaseException:
            file.close()
            raise
        self._found = self._bytes
        return file

    # reading

    @classmethod
    def read(cls, data: bytes, path: Path, attached: bool) -> "Logbook":
        """The log in these bytes, up to the last good line; what was cut off is told in `warnings`.

        Parameters
        ----------
        path : Path
            For messages; where to go on writing when `attached`.

        Raises
        ------
        BadFile
            With file and line: no job file at all, another format, or a line whose checksum is right and whose
            content is not allowed.
        """
        book = cls()
        raw = data.split(b"\n")
        lines = [line + b"\n" for line in raw[:-1]] + ([raw[-1]] if raw[-1] else [])
        for number, line in enumerate(lines, start=1):
            entry = book._unsealed(line)
            if entry is None:
                book._stop(path, number, len(lines))
                break
            try:
                book._read_header(entry) if number == 1 else book._read_entry(entry)
            except BadParam as error:
                raise BadFile(f"{path}:{number}: {error}") from None
            book.lines.append(line)
            book.count_at[book.crc] = len(book.commands)
        if not book.lines:
            got = "an empty file" if not data else "another file, or one whose first line was changed"
            raise BadFile(f"{path}:1: must be a job file of flatwright, got {got}")
        if attached:
            book.path, book._bytes, book._found = path, sum(map(len, book.lines)), len(data)
        return book

    @property
    def writing(self) -> bool:
        """True from the first line written until `close`."""
        return self._file is not None

    @property
    def whole(self) -> bool:
        """False when something was cut off on reading."""
        return not self.warnings

    def _unsealed(self, line: bytes) -> dict[str, Any] | None:
        """The entry in a line whose checksum is right, which becomes `crc`; None for any other line."""
        found = SEALED.search(line)
        if not found:
            return None
        body = line[: found.start()] + b"}"
        crc = zlib.crc32(body, self.crc)
        if crc != int(found[1], 16):
            return None
        try:
            entry = json.loads(body, parse_constant=_no_constant)
        except (ValueError, RecursionError):
            return None
        if not isinstance(entry, dict):
            return None
        self.crc = crc
        return entry

    def _stop(self, path: Path, number: int, last: int) -> None:
        """Say why reading stops here."""
        torn = number == last
        self._edited = not torn
        why = "is cut short or damaged" if torn else "was changed after it was written (its checksum is wrong)"
        self.warnings.append(f"{path}:{number}: this line {why}; the job stands as of the {number - 1} lines before it"
                             + ("" if torn else f", {last - number + 1} lines are left out"))

    def _read_header(self, entry: dict[str, Any]) -> None:
        if entry.get("job") != "flatwright":
            raise BadParam("must be a job file of flatwright, got another file")
        if type(entry.get("format")) is not int or entry["format"] != FORMAT:
            raise BadParam(f"format must be {FORMAT} for this version of flatwright, got {shown(entry.get('format'))}")
        _only(entry, ("job", "format", "physics", "versions", "start"))
        self.physics = _physics(entry)
        self.start = start_from_data(entry["start"])

    def _read_entry(self, entry: dict[str, Any]) -> None:
        if "do" in entry:
            self._add(from_data(entry), len(self.lines) + 1)
        elif "undo" in entry:
            _only(entry, ("undo",))
            count, most = entry["undo"], len(self.commands) - self.base
            if type(count) is not int or not 1 <= count <= most:
                raise BadParam(f"undo must be from 1 to the {most} commands that stand, got {shown(count)}")
            self._take_back(count)
        elif "sha256" in entry:
            _only(entry, ("round", "sha256"))
            if type(entry["round"]) is not int or not 0 <= entry["round"] < 2**31:
                raise BadParam(f"round must be a whole number, got {shown(entry['round'])}")
            if not isinstance(entry["sha256"], str) or not re.fullmatch("[0-9a-f]{64}", entry["sha256"]):
                raise BadParam(f"sha256 must be 64 hexadecimal digits, got {shown(entry['sha256'])}")
            self.prints.append(Print(len(self.commands), entry["round"], entry["sha256"], len(self.lines) + 1))
        else:
            _only(entry, ("physics", "versions"))
            self.physics, self.base = _physics(entry), len(self.commands)

    def _add(self, command: Command, line: int | None = None) -> None:
        self.commands.append(command)
        self.places.append(line or len(self.lines))

    def _take_back(self, count: int) -> None:
        """Forget the last commands, and the fingerprints and checksums that came after them."""
        left = len(self.commands) - count
        del self.commands[left:], self.places[left:]
        self.prints = [one for one in self.prints if one.after <= left]
        self.count_at = {crc: n for crc, n in self.count_at.items() if n <= left}
        self.count_at[self.crc] = left


def made_by() -> dict[str, Any]:
    """Physics number and versions of what runs here, as they go into a log."""
    versions = {"flatwright": sim.__version__, "python": platform.python_version()}
    versions |= {name: importlib.metadata.version(name) for name in ("numpy", "numba")}
    return {"physics": sim.PHYSICS, "versions": versions}


def _physics(entry: dict[str, Any]) -> int:
    number, versions = entry["physics"], entry["versions"]
    if type(number) is not int or not 1 <= number < 2**31:
        raise BadParam(f"physics must be a whole number from 1, got {shown(number)}")
    if not isinstance(versions, dict) or len(versions) > 20 or not all(isinstance(v, str) for v in versions.values()):
        raise BadParam(f"versions must name programs and their versions, got {shown(versions)}")
    return number


def _only(entry: dict[str, Any], keys: tuple[str, ...]) -> None:
    """Refuse an entry that has not just these keys."""
    if set(entry) != set(keys):
        raise BadParam(f"this line must have {', '.join(keys)}, got {shown(', '.join(entry))}")


def _unchanged(path: Path, size: int, ours: int) -> None:
    """Refuse to write where someone else wrote."""
    if size != ours:
        raise CannotWrite(f"{path}: was changed by another program while it was open; save under another name")


def _no_constant(text: str) -> NoReturn:
    raise ValueError(f"{text} is not a number")


def read_job_file(path: Path) -> tuple[Logbook, bytes | None]:
    """The log and the checkpoint, if there is one, of a job file or of a packed job.

    Raises
    ------
    BadFile
        As `Logbook.read`, `read_limited` and `unpacked`.
    """
    data = read_limited(path, MOST_BYTES)
    if data.startswith(b"PK\x03\x04"):
        log, checkpoint = unpacked(data, path)
        return Logbook.read(log, path, attached=False), checkpoint
    book = Logbook.read(data, path, attached=True)
    try:
        return book, read_limited(checkpoint_path(path), MOST_CHECKPOINT_BYTES)
    except BadFile:
        return book, None
