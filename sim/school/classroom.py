"""A class: an assignment handed out, result files collected, each checked by itself, all of them as two tables."""

import csv
import hashlib
import io
import json
import re
import unicodedata
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import asdict, dataclass, field, replace
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import Any, Literal

from sim.errors import BadFile, BadParam, ShopError
from sim.intake.keyed import FLAG, LIST, TEXT, Fault, Reading, read_toml, refuse
from sim.school.lesson import PARTS, Lesson

FORMAT = "flatwright assignment"
HANDED_OUT = "assignment.json"
RESULTS = "*.result"
PART = {"allowed": PARTS, "unit": ""}
SEED = {"allowed": (0, 2**31 - 1), "unit": ""}
KEYS = {"title": TEXT, "due": TEXT, "note": TEXT, "coach": FLAG, "uncover": FLAG, "lesson": LIST}
LESSON_KEYS = {"name": TEXT, "part": PART, "seed": SEED}
MOST_LESSONS = 40
LONGEST = {"title": 120, "due": 200, "note": 2000}
MOST_BYTES = 200_000_000  # of a result file
ALONE_UP_TO = 3  # so few files are not worth the start of other processes
State = Literal["genuine", "edited", "other physics", "other lesson"]


@dataclass(frozen=True)
class Task:
    """A part of a lesson that is asked for, with its seed; None where any will do."""

    lesson: str
    part: str = "alone"
    seed: int | None = None


@dataclass(frozen=True)
class Assignment:
    """What a class is asked to do.

    coach, uncover: whether the coach speaks and whether heights may be uncovered; a check shows neither in any case.
    due: in words, as it is printed.
    """

    title: str
    tasks: tuple[Task, ...]
    coach: bool = True
    uncover: bool = False
    due: str = ""
    note: str = ""


@dataclass(frozen=True)
class Collected:
    """What one result file says, and whether it is what it says.

    Attributes
    ----------
    learner, lesson, part : str
    seed : int
    figures : dict of str to float
        By name with unit.
    passed, merit : bool
    faults : dict of int to int
        Number of a fault to how often it was made.
    state : str
        "genuine": run again it comes to its figures (it cannot say whose hand it was); "edited"; "other physics"; or
        "other lesson": the lesson that it was made with is not the one here.
    why : str
        In one line.
    hints, coach, uncovered : int
        Hints that were asked for, how many of them of the coach, and how often heights were uncovered.
    """

    learner: str
    lesson: str
    part: str
    seed: int
    figures: dict[str, float]
    passed: bool
    merit: bool
    faults: dict[int, int]
    state: State
    why: str = ""
    hints: int = 0
    coach: int = 0
    uncovered: int = 0


Check = Callable[[Path], Collected]


@dataclass(frozen=True)
class Handed:
    """A file of the folder: what it says, or why it cannot be read; copy_of: one with the same bytes, counted once."""

    file: str
    collected: Collected | None = None
    unreadable: str = ""
    copy_of: str = ""


@dataclass(frozen=True)
class ClassBook:
    """Everything that was collected from a folder, and what had been asked for."""

    files: tuple[Handed, ...]
    assignment: Assignment | None = None
    counted: tuple[Collected, ...] = field(init=False)

    def __post_init__(self) -> None:
        whole = tuple(one.collected for one in self.files if one.collected is not None and not one.copy_of)
        object.__setattr__(self, "counted", whole)

    @property
    def learners(self) -> list[str]:
        """Every learner who handed something in, by the alphabet."""
        return sorted({one.learner for one in self.counted}, key=lambda name: (name.casefold(), name))

    @property
    def tasks(self) -> list[Task]:
        """Columns of the table: what was asked for, then everything else that came."""
        asked = list(self.assignment.tasks) if self.assignment else []
        known = {(task.lesson, task.part) for task in asked}
        more = sorted({(one.lesson, one.part) for one in self.counted} - known)
        return asked + [Task(*one) for one in more]

    def cell(self, learner: str, task: Task) -> str:
        """How a learner stands at a task: the best of his genuine files; else why none counts; "" when none came."""
        mine = [one for one in self.counted if (one.learner, one.lesson, one.part) == (learner, task.lesson, task.part)]
        if not mine:
            return ""
        fitting = [one for one in mine if task.seed in (None, one.seed)]
        if not fitting:
            return f"other seed, asked {task.seed}"
        genuine = [one for one in fitting if one.state == "genuine"]
        if not genuine:
            return ", ".join(sorted({one.state for one in fitting}))
        fair = [one for one in genuine if not self.against(one)] or genuine
        passed = "passed" if any(one.passed for one in fair) else "tried"
        best = "merit" if any(one.merit for one in fair) else passed
        edited = sum(one.state == "edited" for one in fitting)
        notes = [self.against(fair[0])] if self.against(fair[0]) else []
        notes += [f"{edited} edited"] if edited else []
        return f"{best} ({', '.join(notes)})" if notes else best

    def against(self, one: Collected) -> str:
        """What was asked for in a file that the assignment does not show; "" where nothing was."""
        if self.assignment is None:
            return ""
        words = ["coach asked"] if one.coach and not self.assignment.coach else []
        words += ["heights uncovered"] if one.uncovered and not self.assignment.uncover else []
        return ", ".join(words)

    def faults(self) -> dict[int, dict[str, int]]:
        """Fault to learner to how often, of genuine files; the most frequent fault first."""
        found: dict[int, dict[str, int]] = {}
        for one in self.counted:
            if one.state != "genuine":
                continue
            for number, count in one.faults.items():
                row = found.setdefault(number, {})
                row[one.learner] = row.get(one.learner, 0) + count
        return dict(sorted(found.items(), key=lambda item: (-sum(item[1].values()), item[0])))


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
            raise BadParam("another format or version")
        tasks = tuple(Task(_word(one["lesson"]), _word(one["part"]), _whole(one["seed"])) for one in told["tasks"])
        flags = {key: bool(told[key]) for key in ("coach", "uncover")}
        return Assignment(_word(told["title"]), tasks, **flags, due=_word(told["due"]), note=_word(told["note"]))
    except BadFile:
        raise
    except (ValueError, KeyError, TypeError, RecursionError, BadParam):
        raise BadFile(f"{path}: must be an assignment as `flatwright class ASSIGNMENT.toml` hands it out") from None


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


def folder_name(title: str) -> str:
    """A title as the name of a folder: plain letters and figures, at most 60."""
    plain = unicodedata.normalize("NFKD", title).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:60].rstrip("-") or "assignment"


def collect(
    folder: Path, check: Check, processes: int = 2, *, seen: Callable[[int, int], None] = lambda done, of: None
) -> ClassBook:
    """Check every result file in a folder and those in it; what cannot be read is listed, the rest goes on.

    Parameters
    ----------
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
    if not folder.is_dir():
        raise BadFile(f"{folder}: must be a folder of result files, got {'a file' if folder.exists() else 'nothing'}")
    paths = sorted(path for path in folder.rglob(RESULTS) if path.is_file())
    if not paths:
        raise BadFile(f"{folder}: must hold result files (NAME.result), got none")
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


def class_csv(book: ClassBook) -> str:
    """Learner x lesson as CSV."""
    head = ["learner", *(task_text(task) for task in book.tasks)]
    return _csv([head, *([name, *(book.cell(name, task) for task in book.tasks)] for name in book.learners)])


def faults_csv(book: ClassBook, names: Mapping[int, str]) -> str:
    """Faults x learners as CSV."""
    rows: list[list[Any]] = [["fault", "what", *book.learners, "all"]]
    for number, row in book.faults().items():
        counts = [row.get(name, 0) for name in book.learners]
        rows.append([number, names.get(number, ""), *counts, sum(counts)])
    return _csv(rows)


def files_csv(book: ClassBook) -> str:
    """Every file with its state and figures as CSV; a figure a column."""
    figures = sorted({name for one in book.counted for name in one.figures})
    head = "file learner lesson part seed passed merit hints uncovered state why"
    rows: list[list[Any]] = [[*head.split(), *figures]]
    for one in book.files:
        found = one.collected
        if found is None:
            rows.append([one.file, *[""] * 8, "unreadable", one.unreadable, *[""] * len(figures)])
            continue
        marks = [("no", "yes")[flag] for flag in (found.passed, found.merit)]
        told = [found.learner, found.lesson, found.part, found.seed, *marks, found.hints, found.uncovered]
        why = f"the same bytes as {one.copy_of}" if one.copy_of else found.why
        rows.append([one.file, *told, found.state, why, *(found.figures.get(name, "") for name in figures)])
    return _csv(rows)


def task_text(task: Task) -> str:
    """A task in words, as it heads a column."""
    return f"{task.lesson} ({task.part}{'' if task.seed is None else f', seed {task.seed}'})"


def _csv(rows: Iterable[Sequence[Any]]) -> str:
    """Rows as CSV; a text that a spreadsheet would take for a formula gets a leading apostrophe; numbers do not."""
    made = io.StringIO()
    csv.writer(made).writerows([_plain_cell(value) for value in row] for row in rows)
    return made.getvalue()


def _plain_cell(value: Any) -> Any:
    if not isinstance(value, str):
        return value
    flat = " ".join(value.split())
    return f"'{flat}" if flat.startswith(("=", "+", "-", "@")) else flat


def _task(reading: Reading, data: Any, n: int, known: Collection[str] | None) -> Task | None:
    at = ("lesson", n)
    got = reading.table(data, at, dict(LESSON_KEYS), ("name", "seed"))
    name, seed = got.get("name"), got.get("seed")
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
            return "", f"must have at most {MOST_BYTES // 1_000_000} MB"
        digest = hashlib.sha256(path.read_bytes()).hexdigest()
        found = check(path)
        learner, lesson, part, why = map(_printable, (found.learner, found.lesson, found.part, found.why))
        found = replace(found, learner=learner, lesson=lesson, part=part, why=why)
        return digest, found if learner else "no learner is named in it"
    except ShopError as error:
        return digest, _printable(str(error))
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
        raise BadParam("a text is wanted")
    return value


def _whole(value: Any) -> int | None:
    if value is not None and (not isinstance(value, int) or isinstance(value, bool)):
        raise BadParam("a whole number is wanted")
    return value
