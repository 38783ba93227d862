"""Pages of a class: the assignment as a sheet to print, and what was collected as two tables."""

from collections.abc import Mapping, Sequence
from functools import partial
from html import escape
from pathlib import Path

from sim.report.figures import refuse_existing, write_whole
from sim.report.page import whole_page, write_page
from sim.school.classroom import (
    HANDED_OUT,
    Assignment,
    ClassBook,
    Task,
    class_csv,
    faults_csv,
    files_csv,
    folder_name,
    handed_out,
    task_text,
)
from sim.school.lesson import PART_WORDS

NOTE = (
    "Genuine: the file, run again, comes to the figures that it tells; it cannot say whose hand it was. Edited: it "
    "does not. Other physics: it was made with another model and cannot be run again here. Other lesson: the lesson "
    "is not here, or is another here. Only genuine files count in the tables; a file that was handed in twice counts "
    "once."
)
CLASS_FILES = ("class.html", "class.csv", "faults.csv", "files.csv")


def write_assignment(folder: Path, assignment: Assignment, force: bool = False) -> list[Path]:
    """Write the folder of an assignment: the sheet to print, and `assignment.json` for the learners' programs.

    Parameters
    ----------
    folder : Path
        In which a folder named after the title is made.

    Raises
    ------
    CannotWrite
        If a file is there already (unless `force`) or cannot be written.
    """
    own = folder / folder_name(assignment.title)
    page, data = own / "assignment.html", own / HANDED_OUT
    for path in (page, data):
        refuse_existing(path, force)
    write_page(page, partial(assignment_page, assignment), force)
    _write_text(data, handed_out(assignment), force)
    return [page, data]


def write_class(folder: Path, book: ClassBook, names: Mapping[int, str], force: bool = False) -> list[Path]:
    """Write what was collected: class.html, class.csv, faults.csv and files.csv.

    Raises
    ------
    CannotWrite
        As `write_assignment`; nothing is written when one of the four is there.
    """
    page, *tables = (folder / name for name in CLASS_FILES)
    for path in (page, *tables):
        refuse_existing(path, force)
    write_page(page, partial(class_page, book, names), force)
    for path, text in zip(tables, (class_csv(book), faults_csv(book, names), files_csv(book)), strict=True):
        _write_text(path, f"\ufeff{text}", force)  # by this sign a spreadsheet knows UTF-8
    return [page, *tables]


def assignment_page(assignment: Assignment) -> str:
    """The sheet of an assignment, to print and to fill in, as one HTML text."""
    due = f"<p class='lead'>Due: {escape(assignment.due)}</p>" if assignment.due else ""
    lines = [
        f"<tr><th scope='row'>{n}. {escape(task.lesson)}</th><td>{escape(PART_WORDS.get(task.part, task.part))}</td>"
        f"<td class='n'>{task.seed}</td><td>☐</td><td></td></tr>" for n, task in enumerate(assignment.tasks, start=1)
    ]  # fmt: skip
    head = _head(("lesson", "part", "seed", "done", "what I would do otherwise"))
    coach = "The coach speaks when it is asked." if assignment.coach else "The coach is silent."
    uncover = "Heights may be uncovered; it is counted." if assignment.uncover else "Heights stay covered."
    note = "".join(f"<p>{escape(line)}</p>" for line in assignment.note.splitlines() if line.strip())
    return whole_page(assignment.title, [
        f"<header><p class='kicker'>flatwright · assignment</p><h1>{escape(assignment.title)}</h1>{due}"
        "<p>Name: ______________________________ Date: ________________</p></header>",
        f"<section><h2>What to do</h2>{note}<table><thead>{head}</thead><tbody>{''.join(lines)}</tbody></table>"
        f"<p class='note'>{coach} {uncover} In a check neither coach nor heights are to be had.</p></section>",
        "<section><h2>What to hand in</h2><p>One result file, NAME.result, for each line of the table. The seed is "
        "part of the task: the same seed gives everyone the same iron.</p></section>",
    ], None)  # fmt: skip


def class_page(book: ClassBook, names: Mapping[int, str]) -> str:
    """What was collected as one HTML text; names: what each fault is called."""
    title = book.assignment.title if book.assignment else "What the class handed in"
    unread = [one for one in book.files if one.unreadable]
    said = f"{len(book.files)} files of {_count(len(book.learners), 'learner')}"
    body = [f"<header><p class='kicker'>flatwright · class</p><h1>{escape(title)}</h1><p class='lead'>{said}"
            f"{f', {len(unread)} of them not readable' if unread else ''}.</p></header>",
            f"<section><h2>Learners and lessons</h2>{_lessons(book)}<p class='note'>{NOTE}</p></section>"]  # fmt: skip
    if book.faults():
        body.append(f"<section><h2>Faults, how often</h2>{_faults(book, names)}</section>")
    if unread:
        items = "".join(f"<li><b>{escape(one.file)}</b>: {escape(one.unreadable)}</li>" for one in unread)
        body.append(f"<section><h2>Not readable</h2><ul>{items}</ul></section>")
    body.append(f"<section><h2>Every file</h2>{_files(book)}</section>")
    return whole_page(title, body, None)


def _lessons(book: ClassBook) -> str:
    lines = []
    for name in book.learners:
        cells = []
        for task in book.tasks:
            told = book.cell(name, task)
            kind = "yes" if told in ("passed", "merit") else "no" if told and told != "tried" else ""
            cells.append(f"<td class='{kind}'>{escape(told)}</td>")
        lines.append(f"<tr><th scope='row'>{escape(name)}</th>{''.join(cells)}</tr>")
    head = _head(["learner", *(task_text(task) for task in book.tasks)])
    return f"<div class='wide'><table><thead>{head}</thead><tbody>{''.join(lines)}</tbody></table></div>"


def _faults(book: ClassBook, names: Mapping[int, str]) -> str:
    lines = []
    for number, row in book.faults().items():
        cells = "".join(f"<td class='n'>{row.get(name, '')}</td>" for name in book.learners)
        lines.append(f"<tr><th scope='row'>{number} {escape(names.get(number, ''))}</th>{cells}"
                     f"<td class='n'>{sum(row.values())}</td></tr>")  # fmt: skip
    head = _head(["fault", *book.learners, "all"], first_number=1)
    return f"<div class='wide'><table><thead>{head}</thead><tbody>{''.join(lines)}</tbody></table></div>"


def _files(book: ClassBook) -> str:
    lines = []
    for one in book.files:
        found = one.collected
        if found is None:
            lines.append(f"<tr><th scope='row'>{escape(one.file)}</th><td colspan='4'></td>"
                         "<td class='no'>not readable</td><td></td></tr>")  # fmt: skip
            continue
        why = f"the same bytes as {one.copy_of}, counted once" if one.copy_of else found.why
        result = "merit" if found.merit else "passed" if found.passed else "tried"
        asked = book.against(found)
        why = ", ".join(words for words in (why, asked) if words)
        words = (found.learner, task_text(Task(found.lesson, found.part)))
        cells = "".join(f"<td>{escape(text)}</td>" for text in words)
        state = f"<td class='{'yes' if found.state == 'genuine' else 'no'}'>{escape(found.state)}</td>"
        lines.append(f"<tr><th scope='row'>{escape(one.file)}</th>{cells}<td class='n'>{found.seed}</td>"
                     f"<td>{result}</td>{state}<td>{escape(why)}</td></tr>")  # fmt: skip
    head = _head(("file", "learner", "lesson", "seed", "result", "state", "why"))
    return f"<div class='wide'><table><thead>{head}</thead><tbody>{''.join(lines)}</tbody></table></div>"


def _head(words: Sequence[str], first_number: int = 1_000) -> str:
    right = (" class=n" if n >= first_number else "" for n in range(len(words)))
    cells = (f"<th scope='col'{at}>{escape(one)}</th>" for at, one in zip(right, words, strict=True))
    return f"<tr>{''.join(cells)}</tr>"


def _count(number: int, word: str) -> str:
    return f"{number} {word}{'s' * (number != 1)}"


def _write_text(path: Path, text: str, force: bool) -> None:
    data = text.encode("utf-8", "replace")
    write_whole(path, lambda draft: Path(draft).write_bytes(data), force)
