"""What a class handed in: a table of learners and tasks, faults by learner, and every file with its figures."""

import csv
import io
import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

State = Literal["genuine", "edited", "damaged", "other physics", "other lesson"]
DAMAGED = "damaged"


@dataclass(frozen=True)
class Task:
    """A part of a lesson that is asked for, with its seed; None where any will do."""

    lesson: str
    part: str = "alone"
    seed: int | None = None


NOT_KNOWN = Task("lesson not known", "")


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
        "genuine": run again it comes to its figures (it cannot say whose hand it was); "edited"; "damaged": its logs
        cannot be read, so nothing was run again; "other physics"; or "other lesson": the lesson that it was made with
        is not the one here.
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


@dataclass(frozen=True)
class Handed:
    """A file of the folder: what it says, or why it cannot be read; copy_of: one with the same bytes, counted once."""

    file: str
    collected: Collected | None = None
    unreadable: str = ""
    copy_of: str = ""

    @property
    def state(self) -> str:
        """The state of what it says; "damaged" or "not readable" where it says nothing."""
        if self.collected is not None:
            return self.collected.state
        return DAMAGED if self.unreadable.startswith(DAMAGED) else "not readable"


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
        """Every learner who handed something in, by the alphabet; of a file that does not say whose, its own name."""
        whose = set(self.named) | {self._whose(one) for one in self.files if one.unreadable}
        return _by_alphabet(whose)

    @property
    def named(self) -> list[str]:
        """Every learner of whom a file could be read, by the alphabet."""
        return _by_alphabet({one.learner for one in self.counted})

    @property
    def tasks(self) -> list[Task]:
        """Columns of the table: what was asked for, then everything else that came."""
        known = self._known_tasks
        lost = any(one.unreadable and self._of_which(one) == NOT_KNOWN for one in self.files)
        return [*known, NOT_KNOWN] if lost else known

    @property
    def _known_tasks(self) -> list[Task]:
        asked = list(self.assignment.tasks) if self.assignment else []
        known = {(task.lesson, task.part) for task in asked}
        more = sorted({(one.lesson, one.part) for one in self.counted} - known)
        return asked + [Task(*one) for one in more]

    def cell(self, learner: str, task: Task) -> str:
        """How a learner stands at a task: the best of his genuine files; else why none counts; "" when none came."""
        mine = [one for one in self.counted if (one.learner, one.lesson, one.part) == (learner, task.lesson, task.part)]
        lost = self._lost(learner, task)
        if not mine:
            return lost
        fitting = [one for one in mine if task.seed in (None, one.seed)]
        if not fitting:
            return f"other seed, asked {task.seed}"
        genuine = [one for one in fitting if one.state == "genuine"]
        if not genuine:
            return ", ".join([*sorted({one.state for one in fitting} - {DAMAGED}), *[lost] * bool(lost)])
        fair = [one for one in genuine if not self.against(one)] or genuine
        passed = "passed" if any(one.passed for one in fair) else "tried"
        best = "merit" if any(one.merit for one in fair) else passed
        edited = sum(one.state == "edited" for one in fitting)
        notes = [self.against(fair[0])] if self.against(fair[0]) else []
        notes += [f"{edited} edited"] if edited else []
        notes += [lost] if lost else []
        return f"{best} ({', '.join(notes)})" if notes else best

    def _lost(self, learner: str, task: Task) -> str:
        """Files of a learner that nothing can be taken from, as his cell tells them; "" for none."""
        names: dict[str, list[str]] = {}
        for one in self.files:
            found = one.collected
            if found is None:
                mine = (self._whose(one), self._of_which(one)) == (learner, task)
            else:
                mine = one.state == DAMAGED and (found.learner, found.lesson, found.part) == (
                    learner, task.lesson, task.part) and task.seed in (None, found.seed)  # fmt: skip
            if mine and not one.copy_of:
                names.setdefault(one.state, []).append(one.file)
        return ", ".join(f"{state}: {', '.join(files)}" for state, files in names.items())

    def _whose(self, one: Handed) -> str:
        """Whom a file that cannot be read is of: the learner whose name is in its own, else its name."""
        name = _words_in(one.file)
        known = sorted(self.named, key=lambda learner: -len(learner))
        return next((learner for learner in known if _words_in(learner) in name), one.file.removesuffix(".result"))

    def _of_which(self, one: Handed) -> Task:
        """Which task a file that cannot be read belongs to, by its name; NOT_KNOWN where that does not tell."""
        name = _words_in(one.file)
        fitting = [task for task in self._known_tasks if _words_in(task.lesson) in name]
        return next((task for task in fitting if _words_in(task.part) in name), (*fitting, NOT_KNOWN)[0])

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


def class_csv(book: ClassBook) -> str:
    """Learner x lesson as CSV."""
    head = ["learner", *(task_text(task) for task in book.tasks)]
    return _csv([head, *([name, *(book.cell(name, task) for task in book.tasks)] for name in book.learners)])


def faults_csv(book: ClassBook, names: Mapping[int, str]) -> str:
    """Faults x learners as CSV."""
    rows: list[list[Any]] = [["fault", "what", *book.named, "all"]]
    for number, row in book.faults().items():
        counts = [row.get(name, 0) for name in book.named]
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
            why = one.unreadable.removeprefix(f"{one.state}: ")
            rows.append([one.file, *[""] * 8, one.state, why, *[""] * len(figures)])
            continue
        marks = [("no", "yes")[flag] for flag in (found.passed, found.merit)]
        told = [found.learner, found.lesson, found.part, found.seed, *marks, found.hints, found.uncovered]
        why = f"the same bytes as {one.copy_of}" if one.copy_of else found.why
        rows.append([one.file, *told, found.state, why, *(found.figures.get(name, "") for name in figures)])
    return _csv(rows)


def task_text(task: Task) -> str:
    """A task in words, as it heads a column."""
    if task == NOT_KNOWN:
        return task.lesson
    return f"{task.lesson} ({task.part}{'' if task.seed is None else f', seed {task.seed}'})"


def _by_alphabet(names: Iterable[str]) -> list[str]:
    return sorted(names, key=lambda name: (name.casefold(), name))


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


def plain(text: str) -> str:
    """A text in plain small letters and figures; other signs are left out."""
    return unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode().lower()


def _words_in(text: str) -> str:
    """The words of a name between bars, to look for one name in another: "|ada|01|lay|a|film|"."""
    return f"|{re.sub(r'[^a-z0-9]+', '|', plain(text)).strip('|') or text}|"
