"""Pages of a class: the assignment as a sheet to print, and what was collected as two tables."""

from collections.abc import Mapping, Sequence
from functools import partial
from html import escape
from pathlib import Path

from sim.report.figures import refuse_existing, write_whole
from sim.report.page import whole_page, write_page
from sim.school.classbook import (
    Assignment,
    ClassBook,
    Collected,
    Handed,
    Task,
    class_csv,
    faults_csv,
    files_csv,
    task_text,
)
from sim.school.classroom import HANDED_OUT, folder_name, handed_out
from sim.school.lesson import PART_WORDS
from sim.units import counted

MEANINGS = {
    "merit": "genuine, and better than the limit on another day", "passed": "genuine, every limit met",
    "tried": "genuine, a limit was missed",
    "edited": "run again, the file does not come to what it tells, or bytes of it were changed",
    "damaged": "it cannot be run again, for bytes were lost on the way: ask for it again",
    "not readable": "it is no result file, or too large",
    "other physics": "made with another version of the model, and cannot be run again here",
    "other lesson": "made with a lesson that is not here, or is another here",
    "other seed": "another face than the assignment asks for",
}
NOTE = (
    "Genuine: the file, run again, comes to the figures that it tells; it cannot say whose hand it was. Only genuine "
    "files count; of several the best. A file that was handed in twice counts once."
)
STYLE = """
.grid{border-collapse:separate;border-spacing:3px;width:auto}.grid th,.grid td{border:0}
.grid thead th{vertical-align:bottom;text-align:center;color:var(--ink);font-weight:600;max-width:11rem}
.grid thead th:first-child,.grid tbody th{text-align:left}
.grid thead small{display:block;font-weight:400}
.grid tbody th{position:sticky;left:0;vertical-align:middle;background:var(--paper);
padding-right:1rem;overflow-wrap:anywhere;max-width:14rem}
.grid td{text-align:center;min-width:6.5rem;border-radius:.3rem;background:var(--tint,transparent);
color:var(--tone,var(--muted));font-weight:600;vertical-align:middle}
.grid td small{display:block;font-weight:400;color:inherit;overflow-wrap:anywhere;max-width:11rem;margin:0 auto}
.grid td.n{min-width:3.2rem;color:var(--ink)}.grid td.all{background:none;font-weight:700}
.chip{display:inline-block;padding:.05rem .55rem;border-radius:.3rem;background:var(--tint);color:var(--tone);
font-weight:600;font-size:.88rem;white-space:nowrap}
.merit{--tone:#fff;--tint:#2b6a3c}.passed{--tone:#1d5a2f;--tint:#cfe6d4}.tried{--tone:#5b4300;--tint:#f1e2b6}
.bad{--tone:#8f1d16;--tint:#f5d3cd}.nothing{--tone:var(--muted);--tint:transparent}
.key{grid-template-columns:max-content minmax(0,1fr);gap:.25rem .8rem;margin:.9rem 0 0;font-size:.88rem}
.key dt{text-align:right}.key dd{color:var(--muted)}
.sums{display:flex;flex-wrap:wrap;gap:.4rem;margin:.9rem 0 0;padding:0;list-style:none}.sums li{margin:0}
.files{font-size:.86rem}.files td.n+td{white-space:nowrap}.files .why{min-width:12rem;color:var(--muted)}
@media print{.grid tbody th{position:static}.grid td{min-width:4rem}}
"""
CLASS_FILES = ("class.html", "class.csv", "faults.csv", "files.csv")


def write_assignment(folder: Path, assignment: Assignment, force: bool = False,
                     lessons: Sequence[Path] = ()) -> list[Path]:
    """Write the folder of an assignment: the sheet to print, and `assignment.json` for the learners' programs.

    Parameters
    ----------
    folder : Path
        In which a folder named after the title is made.
    lessons : sequence of Path
        Files of lessons that are not shipped; copied into it.

    Raises
    ------
    CannotWrite
        If a file is there already (unless `force`) or cannot be written.
    """
    own = folder / folder_name(assignment.title)
    page, data = own / "assignment.html", own / HANDED_OUT
    copies = [own / path.name for path in lessons]
    for path in (page, data, *copies):
        refuse_existing(path, force)
    write_page(page, partial(assignment_page, assignment), force)
    _write_text(data, handed_out(assignment), force)
    for path, copy in zip(lessons, copies, strict=True):
        _write_text(copy, path.read_text("utf-8"), force)
    return [page, data, *copies]


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
    said = f"{counted(len(book.files), 'file')} of {counted(len(book.named), 'learner')}"
    body = [f"<header><p class='kicker'>flatwright · class</p><h1>{escape(title)}</h1><p class='lead'>{said}.</p>"
            f"{_sums(book)}</header>",
            f"<section><h2>Learners and lessons</h2>{_lessons(book)}{_legend(book)}<p class='note'>{NOTE}</p>"
            "</section>"]
    if book.faults():
        body.append(f"<section><h2>Faults, how often</h2>{_faults(book, names)}<p class='note'>What the coach saw in "
                    "genuine files, whether or not it was told; the darker, the more often.</p></section>")  # fmt: skip
    body.append(f"<section><h2>Every file</h2>{_files(book)}</section>")
    return whole_page(title, body, None).replace("</head>", f"<style>{STYLE}</style>\n</head>", 1)


def _kind(told: str) -> str:
    """The class of a cell by its first word."""
    first = told.partition(" (")[0]
    return first if first in ("merit", "passed", "tried") else "bad" if told else "nothing"


def _sums(book: ClassBook) -> str:
    """How many files there are of each state."""
    states = ["a copy" if one.copy_of else one.state for one in book.files]
    told = ["genuine", *(state for state in MEANINGS if state in states), "a copy"]
    kinds = {"genuine": "passed", "a copy": "nothing"}
    items = (f"<li class='chip {kinds.get(state, 'bad')}'>{states.count(state)} {state}</li>" for state in told
             if state in states)  # fmt: skip
    return f"<ul class='sums'>{''.join(items)}</ul>"


def _legend(book: ClassBook) -> str:
    """What the words of the table mean: those that are in it."""
    cells = " ".join(book.cell(name, task) for name in book.learners for task in book.tasks)
    items = (f"<dt><span class='chip {_kind(word)}'>{word}</span></dt><dd>{told}</dd>" for word, told in
             MEANINGS.items() if word in cells)  # fmt: skip
    return f"<dl class='key'>{''.join(items)}</dl>"


def _lessons(book: ClassBook) -> str:
    lines = []
    for name in book.learners:
        cells = []
        for task in book.tasks:
            told = book.cell(name, task)
            word, mark, more = told.partition(": ") if ": " in told and "(" not in told else told.partition(" (")
            small = f"<small>{escape(more.removesuffix(')') if mark == ' (' else more)}</small>" if more else ""
            cells.append(f"<td class='{_kind(told)}'>{escape(word) or '·'}{small}</td>")
        lines.append(f"<tr><th scope='row'>{escape(name)}</th>{''.join(cells)}</tr>")
    heads = "".join(_task_head(task) for task in book.tasks)
    return (f"<div class='wide'><table class='grid'><thead><tr><th scope='col'>learner</th>{heads}</tr></thead>"
            f"<tbody>{''.join(lines)}</tbody></table></div>")  # fmt: skip


def _task_head(task: Task) -> str:
    """A column's head: the lesson, and below it which part and seed."""
    words, _, more = task_text(task).partition(" (")
    small = f" <small>{escape(more.removesuffix(')'))}</small>" if more else ""
    return f"<th scope='col'>{escape(words)}{small}</th>"


def _faults(book: ClassBook, names: Mapping[int, str]) -> str:
    lines = []
    most = max(max(row.values()) for row in book.faults().values())
    for number, row in book.faults().items():
        cells = "".join(_fault_cell(row.get(name, 0), most) for name in book.named)
        lines.append(f"<tr><th scope='row'>{number} {escape(names.get(number, ''))}</th>{cells}"
                     f"<td class='n all'>{sum(row.values())}</td></tr>")  # fmt: skip
    head = "".join(f"<th scope='col'>{escape(word)}</th>" for word in ("fault", *book.named, "all"))
    return (f"<div class='wide'><table class='grid'><thead><tr>{head}</tr></thead><tbody>{''.join(lines)}</tbody>"
            "</table></div>")  # fmt: skip


def _fault_cell(count: int, most: int) -> str:
    if not count:
        return "<td class='n'></td>"
    return f"<td class='n' style='--tint:rgba(165,65,27,{0.08 + 0.42 * count / most:.2f})'>{count}</td>"


def _files(book: ClassBook) -> str:
    lines = []
    for one in book.files:
        found = one.collected
        kind = "passed" if one.state == "genuine" else "bad"
        state = f"<td><span class='chip {kind}'>{escape(one.state)}</span></td>"
        if found is None:
            why = one.unreadable.removeprefix(f"{one.state}: ")
            lines.append(f"<tr><th scope='row'>{escape(one.file)}</th><td colspan='4'></td>{state}"
                         f"<td class='why'>{escape(why)}</td></tr>")  # fmt: skip
            continue
        lines.append(_file_row(book, one, found, state))
    head = _head(("file", "learner", "lesson", "seed", "result", "state", "why"))
    return f"<div class='wide'><table class='files'><thead>{head}</thead><tbody>{''.join(lines)}</tbody></table></div>"


def _file_row(book: ClassBook, one: Handed, found: Collected, state: str) -> str:
    why = f"the same bytes as {one.copy_of}, counted once" if one.copy_of else found.why
    result = "merit" if found.merit else "passed" if found.passed else "tried"
    result = result if found.state == "genuine" else f"says {result}"
    why = ", ".join(words for words in (why, book.against(found)) if words)
    words = (found.learner, task_text(Task(found.lesson, found.part)))
    cells = "".join(f"<td>{escape(text)}</td>" for text in words)
    return (f"<tr><th scope='row'>{escape(one.file)}</th>{cells}<td class='n'>{found.seed}</td>"
            f"<td>{result}</td>{state}<td class='why'>{escape(why)}</td></tr>")  # fmt: skip


def _head(words: Sequence[str]) -> str:
    cells = (f"<th scope='col'{' class=n' if one == 'seed' else ''}>{escape(one)}</th>" for one in words)
    return f"<tr>{''.join(cells)}</tr>"


def _write_text(path: Path, text: str, force: bool) -> None:
    data = text.encode("utf-8", "replace")
    write_whole(path, lambda draft: Path(draft).write_bytes(data), force)
