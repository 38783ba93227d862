"""`flatwright class`: hands an assignment out, and collects what came back."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from sim.school.classbook import Assignment, ClassBook, Collected
    from sim.school.classroom import Check

NAME = "class"
HELP = "Hand out an assignment to a class, or collect its result files: who did what, which faults, which are genuine."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.epilog = ("Examples: flatwright class week-3.toml; flatwright class handed-in/ --out week-3. An "
                     "assignment.json in the folder gives the order of the lessons; lessons of your own that it asks "
                     "for are found beside it.")  # fmt: skip
    parser.add_argument("what", metavar="ASSIGNMENT.toml or FOLDER", help="an assignment, or a folder of result files "
                        "(or one of them)")
    parser.add_argument("--lesson", metavar="FILE", action="append", default=[], help="a lesson of your own that was "
                        "worked at; may be given again")  # fmt: skip
    parser.add_argument("--out", metavar="DIR", help="where the assignment's folder, or the tables, are written")
    parser.add_argument("--force", action="store_true", help="overwrite what is there")
    parser.add_argument("--json", action="store_true", help="print one JSON object and nothing else")


def run(args: argparse.Namespace) -> int:
    """Hand out or collect, by what was named; 1 when a file was edited or damaged or cannot be read."""
    what = Path(args.what)
    return _collect(args, what) if what.is_dir() or what.suffix == ".result" else _hand_out(args, what)


def check(path: Path, own: tuple[Path, ...] = ()) -> "Collected":
    """What a result file says, run again; in whichever process it is called. own: files of a teacher's own lessons."""
    from functools import partial

    from sim.kernels.warm import warm
    from sim.school.result import check_result, lesson_among

    warm()
    return check_result(path, partial(lesson_among, own))


def _hand_out(args: argparse.Namespace, source: Path) -> int:
    import json

    from sim.paths import lessons
    from sim.report.class_page import write_assignment
    from sim.school.classroom import read_assignment

    known = {path.stem for path in lessons().glob("*.toml")}
    given = [path for path in source.parent.glob("*.toml") if path.stem not in {*known, source.stem}]
    assignment = read_assignment(source, {*known, *(path.stem for path in [*given, *map(Path, args.lesson)])} or None)
    own = _own(args, source.parent, assignment)
    written = write_assignment(Path(args.out or "."), assignment, args.force, own)
    if args.json:
        print(json.dumps(_answer_of(assignment, written), allow_nan=False))
    else:
        print(f"{assignment.title}: {len(assignment.tasks)} parts of lessons")
        for path in written:
            print(path)
        print("collect with: flatwright class FOLDER, the result files in it and assignment.json beside them")
    return 0


def _own(args: argparse.Namespace, folder: Path, assignment: "Assignment | None") -> tuple[Path, ...]:
    """Files of the teacher's own lessons: those named, and those beside the assignment that it asks for; all sound."""
    from sim.errors import BadParam
    from sim.paths import lessons
    from sim.school.classroom import own_lessons
    from sim.school.lessonfile import read_lesson

    shipped = {path.stem for path in lessons().glob("*.toml")}
    named = [Path(name).resolve() for name in args.lesson]
    if taken := [path for path in named if path.stem in shipped]:
        raise BadParam(f"--lesson must have another name than a shipped one, got {taken[0].name}")
    beside = own_lessons(folder, assignment) if assignment else []
    found = {path.stem: path.resolve() for path in beside if path.stem not in shipped}
    found.update({path.stem: path for path in named})
    for path in found.values():
        read_lesson(path)
    return tuple(found.values())


def _check(args: argparse.Namespace, folder: Path) -> "Check":
    """The check of files in a folder, with the lessons that are the teacher's own."""
    from functools import partial

    from sim.school.classroom import HANDED_OUT, read_handed_out

    asked = folder / HANDED_OUT
    own = _own(args, folder, read_handed_out(asked) if asked.is_file() else None)
    return partial(check, own=own) if own else check


def _answer_of(assignment: "Assignment", written: list[Path]) -> dict[str, Any]:
    from dataclasses import asdict

    return {**asdict(assignment), "files": [str(path) for path in written]}


def _collect(args: argparse.Namespace, folder: Path) -> int:
    import json

    from rich.console import Console
    from rich.progress import Progress

    from sim.errors import BadParam
    from sim.report.class_page import CLASS_FILES, write_class
    from sim.report.figures import refuse_existing
    from sim.school.classroom import collect
    from sim.school.faults import FAULTS

    if args.force and not args.out:
        raise BadParam("--force must go with --out DIR, got no --out")
    for name in CLASS_FILES if args.out else ():
        refuse_existing(Path(args.out) / name, args.force)  # before minutes of work
    by = _check(args, folder if folder.is_dir() else folder.parent)
    console = Console(stderr=True)
    with Progress(console=console, transient=True, disable=not console.is_terminal) as bar:
        task = bar.add_task("running them again", total=None)
        book = collect(folder, by, seen=lambda done, total: bar.update(task, completed=done, total=total))
    written = write_class(Path(args.out), book, FAULTS, args.force) if args.out else []
    if args.json:
        print(json.dumps(answer(book, written), allow_nan=False))
    else:
        _print(book, written)
    bad = any(one.unreadable or one.state in ("edited", "damaged") for one in book.files)
    return int(bad)


def answer(book: "ClassBook", written: list[Path]) -> dict[str, Any]:
    """Everything that was collected, as it goes into the JSON object."""
    import math
    from dataclasses import asdict

    from sim.school.classbook import task_text

    files = []
    for one in book.files:
        told = asdict(one)
        if one.collected is not None:
            figures = {k: v if math.isfinite(v) else None for k, v in one.collected.figures.items()}
            told["collected"] = {**told["collected"], "figures": figures}
        files.append(told)
    return {
        "title": book.assignment.title if book.assignment else None,
        "learners": {name: {task_text(task): book.cell(name, task) for task in book.tasks} for name in book.learners},
        "faults": {str(number): row for number, row in book.faults().items()},
        "files": files,
        "written": [str(path) for path in written],
    }


def _print(book: "ClassBook", written: list[Path]) -> None:
    from rich import box
    from rich.console import Console
    from rich.table import Table

    from sim.school.classbook import task_text
    from sim.school.faults import FAULTS

    console = Console(highlight=False, markup=False, soft_wrap=True)
    if book.learners:
        table = Table("learner", *(task_text(task) for task in book.tasks), box=box.SIMPLE)
        for name in book.learners:
            table.add_row(name, *(book.cell(name, task) for task in book.tasks))
        console.print(table)
    if book.faults():
        table = Table("fault", box=box.SIMPLE)
        for word in ("learners", "times"):
            table.add_column(word, justify="right")
        for number, row in book.faults().items():
            table.add_row(f"{number} {FAULTS.get(number, '')}", f"{len(row)}", f"{sum(row.values())}")
        console.print(table)
    for one in book.files:
        if one.unreadable:
            console.print(f"{one.file}: {one.unreadable}" if one.state in one.unreadable else
                          f"{one.file}: {one.state}: {one.unreadable}")  # fmt: skip
        elif one.copy_of:
            console.print(f"{one.file}: the same bytes as {one.copy_of}, counted once")
        elif one.collected and one.collected.state != "genuine":
            console.print(f"{one.file}: {one.collected.state}: {one.collected.why}")
    for path in written:
        console.print(f"{path}", markup=False)
    if not written:
        console.print("tables: flatwright class FOLDER --out DIR")
