"""A class: an assignment handed out, result files collected, each checked by itself, all of them as two tables."""

import hashlib
import json
import re
from collections.abc import Callable, Collection, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import asdict, replace
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import Any

from sim.errors import BadFile, BadParam, ShopError
from sim.intake.keyed import FLAG, LIST, TEXT, Fault, Reading, read_toml, refuse
from sim.school.classbook import Assignment, ClassBook, Collected, Handed, Task, plain, task_text
from sim.school.lesson import PARTS, Lesson
from sim.school.resultfile import MOST_BYTES

FORMAT = "flatwright assignment"
HANDED_OUT = "assignment.json"
RESULTS = "*.result"
PART = {"allowed": PARTS, "unit": ""}
SEED = {"allowed": (0, 2**31 - 1), "unit": ""}
KEYS = {"title": TEXT, "due": TEXT, "note": TEXT, "coach": FLAG, "uncover": FLAG, "lesson": LIST}
LESSON_KEYS = {"name": TEXT, "part": PART, "seed": SEED}
MOST_LESSONS = 40
LONGEST = {"title": 120, "due": 200, "note": 2000}
ALONE_UP_TO = 3  # so few files are not worth the start of other processes
Check = Callable[[Path], Collected]


def read_assignment(path: str | Path, known: Collection[str] | None = None) -> Assignment:
    """An assignment in TOML: title, due, note, coach, uncover, and `[[lesson]]` with name, part and seed.

    Parameters
    ----------
    known : collection of str, optional
        Names of the lessons that there are; without it every name is taken.

    Raises
    ------
    BadFile
        If the file cannot be read or is not TOML.
    BadFiles
        With every fault of the content: `file:line: path.to.key: what, allowed, got`.
    """
    data, text = read_toml(Path(path), "class assignment")
    reading = Reading()
    got = reading.table(data, (), dict(KEYS), ("title", "lesson"))
    for key, most in LONGEST.items():
        least = int(key == "title")
        if key in got and not least <= len(got[key].strip()) <= most:
            reading.faults.append(((key,), f"{key} must have {least} to {most} signs, got {len(got[key].strip())}"))
    rows = got.get("lesson", [])
    if "lesson" in got and not 1 <= len(rows) <= MOST_LESSONS:
        reading.faults.append((("lesson",), f"lesson must be 1 to {MOST_LESSONS} tables [[lesson]], got {len(rows)}"))
    tasks = [_task(reading, one, n, known) for n, one in enumerate(rows)]
    reading.faults += _doubled(tasks)
    refuse(path, text, reading.faults)
    flags = {key: got[key] for key in ("coach", "uncover") if key in got}
    words = {key: got[key].strip() for key in ("due", "note") if key in got}
    return Assignment(got["title"].strip(), tuple(task for task in tasks if task), **flags, **words)


def handed_out(assignment: Assignment) -> str:
    """The text of `assignment.json`, from which a learner's program reads what is asked and shown."""
    told = {"format": FORMAT, "version": 1, **asdict(assignment)}
    return json.dumps(told, indent=1, allow_nan=False, ensure_ascii=False) + "\n"


def read_handed_out(path: Path) -> Assignment:
    """An `assignment.json` as `handed_out` wrote it.

    Raises
    ------
    BadFile
        If it cannot be read or holds anything else.
    """
    from sim.shop.store import read_limited

    try:
        told = json.loads(read_limited(path, 1_000_000))
        if told["format"] != FORMAT or told["version"] != 1:
            raise BadParam(f"must be of format {FORMAT!r}, version 1, got another")
        tasks = tuple(Task(_word(one["lesson"]), _word(one["part"]), _whole(one["seed"])) for one in told["tasks"])
        flags = {key: bool(told[key]) for key in ("coach", "uncover")}
        return Assignment(_word(told["title"]), tasks, **flags, due=_word(told["due"]), note=_word(told["note"]))
    except BadFile:
        raise
    except (ValueError, KeyError, TypeError, RecursionError, BadParam) as error:
        got = f"without {error}" if isinstance(error, KeyError) else "something else"
        raise BadFile(f"{path}: must be an assignment as `flatwright class ASSIGNMENT.toml` hands it out, got {got}"
                      ) from None  # fmt: skip


def task_of(assignment: Assignment, lesson: str, part: str | None = None) -> Task:
    """What an assignment asks of a lesson: of this part, or the first that it asks for.

    Raises
    ------
    BadParam
        It does not ask for it.
    """
    for task in assignment.tasks:
        if task.lesson == lesson and part in (None, task.part):
            return task
    asked = ", ".join(map(task_text, assignment.tasks))
    raise BadParam(f"{assignment.title} asks for {asked}, got {lesson}{f' ({part})' if part else ''}")


def as_asked(lesson: Lesson, assignment: Assignment) -> Lesson:
    """A lesson with the coach silent and heights covered where the assignment wants it so; never with more shown."""
    allowed = lesson.allowed
    shown = replace(allowed, coach=allowed.coach and assignment.coach, uncover=allowed.uncover and assignment.uncover)
    return replace(lesson, allowed=shown)


def own_lessons(folder: Path, assignment: Assignment) -> list[Path]:
    """Lesson files in a folder that an assignment asks for by their names; others that lie there are left alone."""
    names = {task.lesson for task in assignment.tasks}
    return sorted(path for path in folder.glob("*.toml") if path.stem in names)


def folder_name(title: str) -> str:
    """A title as the name of a folder: plain letters and figures, at most 60."""
    return re.sub(r"[^a-z0-9]+", "-", plain(title)).strip("-")[:60].rstrip("-") or "assignment"


def collect(
    folder: Path, check: Check, processes: int = 2, *, seen: Callable[[int, int], None] = lambda done, of: None
) -> ClassBook:
    """Check every result file in a folder and those in it; what cannot be read is listed, the rest goes on.

    Parameters
    ----------
    folder : Path
        Or one result file.
    check : function of a path
        Of a module, not a lambda: it runs in other processes, for files of strangers may end one.
    processes : int
        1: in this process.
    seen : function of (done, all)
        Called after each file.

    Raises
    ------
    BadFile
        If there is no such folder, no result file in it, or its `assignment.json` is none.
    """
    paths = _result_files(folder)
    folder = folder if folder.is_dir() else folder.parent
    asked = folder / HANDED_OUT
    assignment = read_handed_out(asked) if asked.is_file() else None
    first: dict[str, str] = {}
    files = []
    alone = processes == 1 or len(paths) <= ALONE_UP_TO
    answers = map(partial(_one, check), paths) if alone else _apart(check, paths, processes)
    for path, (digest, found) in zip(paths, answers, strict=True):
        name = _printable(path.relative_to(folder).as_posix())
        copy_of = first.setdefault(digest, name) if digest else name
        if isinstance(found, Collected):
            files.append(Handed(name, found, copy_of="" if copy_of == name else copy_of))
        else:
            files.append(Handed(name, unreadable=found))
        seen(len(files), len(paths))
    return ClassBook(tuple(files), assignment)


def _result_files(folder: Path) -> list[Path]:
    if folder.is_file() and folder.match(RESULTS):
        return [folder]
    if not folder.is_dir():
        got = "another file" if folder.exists() else "nothing"
        raise BadFile(f"{folder}: must be a folder of result files, or one of them (NAME.result), got {got}")
    paths = sorted(path for path in folder.rglob(RESULTS) if path.is_file())
    if not paths:
        raise BadFile(f"{folder}: must hold result files (NAME.result), got none")
    return paths


def _task(reading: Reading, data: Any, n: int, known: Collection[str] | None) -> Task | None:
    at = ("lesson", n)
    got = reading.table(data, at, dict(LESSON_KEYS), ("name", "seed"))
    name, seed = got.get("name"), got.get("seed")
    numbered = {one.partition("-")[0].lstrip("0"): one for one in known or () if one[:1].isdigit()}
    name = name if name is None or name in (known or ()) else numbered.get(name.lstrip("0"), name)
    if name is not None and known is not None and name not in known:
        reading.faults.append(((*at, "name"), f"name must be one of {', '.join(sorted(known))}, got {name[:60]!r}"))
    elif name is not None and not 1 <= len(name.strip()) <= 100:
        reading.faults.append(((*at, "name"), f"name must have 1 to 100 signs, got {len(name.strip())}"))
    if seed is not None and seed != int(seed):
        reading.faults.append(((*at, "seed"), f"seed must be a whole number, got {seed:g}"))
    return Task(name, got.get("part", "alone"), int(seed)) if name is not None and seed is not None else None


def _doubled(tasks: Sequence[Task | None]) -> list[Fault]:
    """Faults of parts of lessons that are asked for twice."""
    faults: list[Fault] = []
    first: dict[tuple[str, str], int] = {}
    for n, task in enumerate(tasks):
        if task and first.setdefault((task.lesson, task.part), n) != n:
            before = first[task.lesson, task.part]
            faults.append((("lesson", n), f"a part of a lesson must be asked for once, got {task.lesson} {task.part} "
                                          f"as lesson[{before + 1}] already"))  # fmt: skip
    return faults


def _one(check: Check, path: Path) -> tuple[str, Collected | str]:
    """Digest of a file and what it says, or one line of why not: nothing that a file does may stop the others."""
    digest = ""
    try:
        if path.stat().st_size > MOST_BYTES:
            return "", f"must have at most {MOST_BYTES // 1_000_000} MB, got {path.stat().st_size / 1e6:.0f} MB"
        digest = hashlib.sha256(path.read_bytes()).hexdigest()
        found = check(path)
        learner, lesson, part, why = map(_printable, (found.learner, found.lesson, found.part, found.why))
        found = replace(found, learner=learner, lesson=lesson, part=part, why=why)
        return digest, found if learner else "no learner is named in it"
    except ShopError as error:
        return digest, _printable(str(error).removeprefix(f"{path}: "))
    except Exception as error:
        return digest, _printable(f"cannot be read: {type(error).__name__}: {error}")


def _printable(text: str) -> str:
    """A stranger's words on one line, without signs that move a terminal's cursor."""
    return "".join(sign if sign.isprintable() else "?" for sign in " ".join(text.split()))[:500]


def _apart(check: Check, paths: Sequence[Path], processes: int) -> Iterable[tuple[str, Collected | str]]:
    """Answers in the order of the paths; a file that ends its process is tried once more with a process for itself."""
    with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
        waiting = [pool.submit(_one, check, path) for path in paths]
        for path, one in zip(paths, waiting, strict=True):
            try:
                yield one.result()
            except BrokenProcessPool:
                yield _by_itself(check, path)


def _by_itself(check: Check, path: Path) -> tuple[str, Collected | str]:
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
        try:
            return pool.submit(_one, check, path).result()
        except BrokenProcessPool:
            return "", "the process that read it ended without an answer"


def _word(value: Any) -> str:
    if not isinstance(value, str) or len(value) > 10_000:
        raise BadParam(f"a text of at most 10,000 signs is wanted, got {str(value)[:60]!r}")
    return value


def _whole(value: Any) -> int | None:
    if value is not None and (not isinstance(value, int) or isinstance(value, bool)):
        raise BadParam(f"a whole number is wanted, got {str(value)[:60]!r}")
    return value
