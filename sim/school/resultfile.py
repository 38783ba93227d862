"""A learner's result file, NAME.result: what came of an attempt, with the logs of its jobs, under one seal.

One zip: `attempt.json`, and `LESSON-1.job` and so on. Its comment ends with the SHA-256 of every byte before it, so
that one changed byte is seen. Whoever makes a new seal as well is found by running the logs again: they must come to
the figures, from the start of the lesson, with what the lesson allows.

What no check of it can tell: whose hand it was; at what time; whether an attempt that came out badly was thrown away
first; and whether what was said beside the iron, hints and uncovering among it, was taken out of the file with all that
followed from it.
"""

import hashlib
import io
import json
import math
import re
import zipfile
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NoReturn, Protocol

from sim.books.rows import checked_int, checked_name, checked_text, checked_when
from sim.errors import BadFile, BadParam
from sim.school.attempt import Attempt, Said, said_data, said_from
from sim.school.classbook import DAMAGED, Collected, State
from sim.school.lesson import PARTS, Lesson
from sim.shop.commands import shown
from sim.shop.logbook import made_by
from sim.shop.store import read_limited, write_new

FORMAT, VERSION = "flatwright result", 1
TOLD = "attempt.json"
LOG = re.compile(r"[^/\\:\0]{1,100}-(\d{1,2})\.job")
SEAL = b"flatwright seal "
HEAD = b"PK\x03\x04"
SEAL_BYTES = 64
MOST_BYTES = 20_000_000  # of the file; an attempt of 40 rounds has 0.15 MB
MOST_TOLD_BYTES = 5_000_000
MOST_LOG_BYTES = 50_000_000  # unpacked, all together
MOST_LOGS = 20
MOST_FIGURES = 200
MOST_COUNTED = 1_000_000
KEYS = ("format", "version", "physics", "versions", "lesson", "lesson_sha256", "learner", "part", "seed", "begun",
        "ended", "said", "figures", "passed", "merit", "faults", "hints", "uncovered")  # fmt: skip


class Verdict(Protocol):
    """What a judge found: `sim.school.checks.Judged`, or as much of it as a result file holds."""

    @property
    def figures(self) -> Mapping[str, float]:
        """By name with unit."""

    @property
    def passed(self) -> bool:
        """Whether every limit was met."""

    @property
    def merit(self) -> bool:
        """Whether it was, on another day."""

    @property
    def faults(self) -> Mapping[int, int]:
        """Number of a fault to how often it was made."""


@dataclass(frozen=True)
class Result:
    """What a result file says.

    Attributes
    ----------
    physics : int
    versions : dict
        Of the programs that made it.
    lesson, lesson_sha256, learner, part : str
    seed : int
    begun, ended : str
        UTC; empty where they were not told.
    said : tuple of Said
    figures : dict of str to float
        NaN where there was none.
    passed, merit : bool
    faults : dict of int to int
    hints, uncovered : int
    logs : tuple of bytes
        One a piece.
    sealed : bool
        False when any byte was changed after it was written.
    """

    physics: int
    versions: dict[str, str]
    lesson: str
    lesson_sha256: str
    learner: str
    part: str
    seed: int
    begun: str
    ended: str
    said: tuple[Said, ...]
    figures: dict[str, float]
    passed: bool
    merit: bool
    faults: dict[int, int]
    hints: int
    uncovered: int
    logs: tuple[bytes, ...]
    sealed: bool

    def collected(self, state: State, why: str = "") -> Collected:
        """As a class collects it."""
        coach = sum(one.kind == "coach" for one in self.said)
        return Collected(self.learner, self.lesson, self.part, self.seed, self.figures, self.passed, self.merit,
                         self.faults, state, why, self.hints, coach, self.uncovered)  # fmt: skip


def lesson_sha256(lesson: Lesson) -> str:
    """SHA-256 of a lesson's file, whatever its line ends; of its data where it has no file."""
    if lesson.path.is_file():
        return hashlib.sha256(lesson.path.read_bytes().replace(b"\r\n", b"\n")).hexdigest()
    return hashlib.sha256(repr(lesson).encode()).hexdigest()


def write_result(path: Path, attempt: Attempt, learner: str, judged: Verdict, force: bool = False, *,
                 begun: str = "", ended: str = "") -> None:
    """Write the result file of an attempt, whole or not at all.

    Parameters
    ----------
    begun, ended : str
        UTC, as `sim.books.rows.stamp` writes it; may be left out.

    Raises
    ------
    BadParam
        A name that is none, or a time.
    CannotWrite
        The file is there already (unless `force`) or cannot be written; nothing is left behind.
    """
    hints, uncovered = asked_for(attempt.said)
    made = made_by()
    told = {
        "format": FORMAT, "version": VERSION, "physics": made["physics"], "versions": made["versions"],
        "lesson": attempt.lesson.name, "lesson_sha256": lesson_sha256(attempt.lesson),
        "learner": checked_name(learner), "part": attempt.part, "seed": attempt.seed,
        "begun": _when("begun", begun), "ended": _when("ended", ended), "said": said_data(attempt.said),
        "figures": {name: float(value) if math.isfinite(value) else None for name, value in judged.figures.items()},
        "passed": bool(judged.passed), "merit": bool(judged.merit),
        "faults": {str(number): int(count) for number, count in sorted(judged.faults.items())},
        "hints": hints, "uncovered": uncovered,
    }  # fmt: skip
    text = json.dumps(told, indent=1, allow_nan=False, ensure_ascii=False) + "\n"
    logs = [session.log() for session in attempt.sessions]
    write_new(Path(path), sealed(zipped(text.encode(), attempt.lesson.name, logs)), force)


def zipped(told: bytes, name: str, logs: Sequence[bytes]) -> bytes:
    """One zip of what is told and the logs, with room for the seal at its end."""
    box = io.BytesIO()
    plain = re.sub(r"[^A-Za-z0-9_-]", "_", name)[:100] or "piece"
    with zipfile.ZipFile(box, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as made:
        for one, data in ((TOLD, told), *((f"{plain}-{n}.job", log) for n, log in enumerate(logs, start=1))):
            made.writestr(zipfile.ZipInfo(one), data, zipfile.ZIP_DEFLATED)  # no date: equal attempts, equal bytes
        made.comment = SEAL + b"0" * SEAL_BYTES
    return box.getvalue()


def sealed(data: bytes) -> bytes:
    """The same bytes with their seal: the last 64 are the SHA-256 of all before them."""
    return data[:-SEAL_BYTES] + _seal(data)


def read_result(path: Path) -> Result:
    """What a result file says; nothing that it holds is believed yet, and nothing goes to the disk.

    Raises
    ------
    BadFile
        No result file, damaged, larger than the limits, or a value that cannot be: one line.
    """
    path = Path(path)
    data = read_limited(path, MOST_BYTES)
    whole = data[-SEAL_BYTES:] == _seal(data)
    try:
        told, logs = _unzipped(data, path)
        return _result(json.loads(told, parse_constant=_no_constant), logs, whole)
    except ValueError as error:  # BadFile and BadParam among them
        if not whole and SEAL in data[-SEAL_BYTES - len(SEAL) :]:
            raise _damaged(path) from None
        if isinstance(error, BadFile):
            raise
        why = f"{TOLD}: {error}" if isinstance(error, BadParam) else f"{TOLD} in it must be JSON, got something else"
        raise BadFile(f"{path}: {why}") from None
    except RecursionError:
        raise BadFile(f"{path}: {TOLD} in it must be JSON, got lists without end") from None


def saved_result(path: Path) -> Result | None:
    """What a damaged file still tells, without its logs; None where that was damaged too, or nothing was."""
    data = read_limited(Path(path), MOST_BYTES)
    start = 30 + len(TOLD)  # of the first file in a zip
    if data[:4] != HEAD or data[30:start] != TOLD.encode() or data[-SEAL_BYTES:] == _seal(data):
        return None
    try:
        text = zlib.decompressobj(-zlib.MAX_WBITS).decompress(data[start:], MOST_TOLD_BYTES)
        if zlib.crc32(text) != int.from_bytes(data[14:18], "little"):
            return None
        return _result(json.loads(text, parse_constant=_no_constant), (), False)
    except (zlib.error, ValueError, RecursionError):
        return None


def asked_for(said: Sequence[Said]) -> tuple[int, int]:
    """Hints and rungs of the coach, and how often heights were uncovered."""
    return sum(one.kind in ("hint", "coach") for one in said), sum(one.kind == "uncover" for one in said)


def _damaged(path: Path) -> BadFile:
    return BadFile(f"{path}: {DAMAGED}: bytes of it were lost or changed after it was written")


def _seal(data: bytes) -> bytes:
    return hashlib.sha256(data[:-SEAL_BYTES]).hexdigest().encode()


def _unzipped(data: bytes, path: Path) -> tuple[bytes, tuple[bytes, ...]]:
    """What is told, and the logs in their order; no size that the zip claims is believed."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as box:
            names = [one.filename for one in box.infolist()]
            logs = [found for name in names if (found := LOG.fullmatch(name))]
            order = sorted(logs, key=lambda found: int(found[1]))
            numbered = [int(found[1]) for found in order] == list(range(1, len(logs) + 1))
            if names.count(TOLD) != 1 or len(names) != len(logs) + 1 or not numbered or not 1 <= len(logs) <= MOST_LOGS:
                held = shown(", ".join(names[:MOST_LOGS]))
                raise BadFile(f"{path}: a result must hold {TOLD} and NAME-1.job to NAME-{MOST_LOGS}.job alone, got "
                              f"{held}")  # fmt: skip
            parts, left = [_member(box, TOLD, MOST_TOLD_BYTES, path)], MOST_LOG_BYTES
            for found in order:
                parts.append(_member(box, found[0], left, path))
                left -= len(parts[-1])
    except BadFile:
        raise
    except Exception:  # zipfile raises some ten kinds on damaged or odd archives
        if TOLD.encode() in data[: 40 + len(TOLD)]:
            raise _damaged(path) from None
        raise BadFile(f"{path}: must be a result file (NAME.result), got another kind of file") from None
    return parts[0], tuple(parts[1:])


def _member(box: zipfile.ZipFile, name: str, most_bytes: int, path: Path) -> bytes:
    if box.getinfo(name).compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        raise BadFile(f"{path}: {name} in it must be stored or deflated, got another way of packing")
    with box.open(name) as member:
        data = member.read(most_bytes + 1)
    if len(data) > most_bytes:
        raise BadFile(f"{path}: {name} in it may have at most {most_bytes / 1e6:.3g} MB, got more")
    return data


def _result(told: Any, logs: tuple[bytes, ...], whole: bool) -> Result:
    """Plain data as a result; BadParam for anything that cannot be."""
    if not isinstance(told, dict) or told.get("format") != FORMAT or told.get("version") != VERSION:
        raise BadParam(f"must be {FORMAT!r} of version {VERSION}, got another format or version")
    if set(told) != set(KEYS):
        raise BadParam(f"must have {', '.join(KEYS)}, got {shown(', '.join(map(str, told)))}")
    if told["part"] not in PARTS:
        raise BadParam(f"part must be one of {', '.join(PARTS)}, got {shown(told['part'])}")
    for name in ("passed", "merit"):
        if not isinstance(told[name], bool):
            raise BadParam(f"{name} must be true or false, got {shown(told[name])}")
    versions = _mapping(told, "versions")
    if not re.fullmatch("[0-9a-f]{64}", checked_text("lesson_sha256", told["lesson_sha256"])):
        raise BadParam(f"lesson_sha256 must be 64 hexadecimal digits, got {shown(told['lesson_sha256'])}")
    return Result(
        physics=checked_int("physics", told["physics"], 1, 2**31 - 1),
        versions={name: checked_text(f"versions.{name}", value) for name, value in versions.items()},
        lesson=checked_text("lesson", told["lesson"]), lesson_sha256=told["lesson_sha256"],
        learner=checked_name(told["learner"]), part=told["part"], seed=checked_int("seed", told["seed"], 0, 2**31 - 1),
        begun=_when("begun", told["begun"]), ended=_when("ended", told["ended"]),
        said=tuple(said_from(told["said"], "said")),
        figures={checked_text("figures", one): _figure(one, value) for one, value in _mapping(told, "figures").items()},
        passed=told["passed"], merit=told["merit"], faults=_faults(_mapping(told, "faults")),
        hints=_count("hints", told["hints"]), uncovered=_count("uncovered", told["uncovered"]),
        logs=logs, sealed=whole,
    )  # fmt: skip


def _mapping(told: Mapping[str, Any], name: str) -> dict[str, Any]:
    value = told[name]
    if not isinstance(value, dict) or len(value) > MOST_FIGURES:
        raise BadParam(f"{name} must be an object of at most {MOST_FIGURES} names, got {shown(value)}")
    return value


def _figure(name: str, value: Any) -> float:
    good = value is None or (isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e15)
    if not good:
        raise BadParam(f"figures.{name} must be a number or null, got {shown(value)}")
    return math.nan if value is None else float(value)


def _faults(told: Mapping[str, Any]) -> dict[int, int]:
    found = {}
    for number, count in told.items():
        if not re.fullmatch("[1-9][0-9]?", number):
            raise BadParam(f"faults must be numbers from 1 to 99, got {shown(number)}")
        found[int(number)] = _count(f"faults.{number}", count)
    return found


def _count(name: str, value: Any) -> int:
    if type(value) is not int or not 0 <= value <= MOST_COUNTED:
        raise BadParam(f"{name} must be a whole number from 0 to {MOST_COUNTED:,}, got {shown(value)}")
    return value


def _when(name: str, value: Any) -> str:
    """A time, or the empty text where none is told."""
    return "" if value == "" else checked_when(name, value)


def _no_constant(text: str) -> NoReturn:
    raise ValueError(f"{text} is not a number")
