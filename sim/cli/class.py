"""`flatwright class`: hands an assignment out, and collects what came back."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from sim.school.classroom import Assignment, ClassBook, Collected

NAME = "class"
HELP = "Hand out an assignment to a class, or collect its result files: who did what, which faults, which are genuine."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.epilog = ("Examples: flatwright class week-3.toml; flatwright class handed-in/ --out week-3. An "
                     "assignment.json in the folder gives the order of the lessons.")  # fmt: skip
    parser.add_argument("what", metavar="ASSIGNMENT.toml or FOLDER", help="an assignment, or a folder of result files")
    parser.add_argument("--out", metavar="DIR", help="where the assignment's folder, or the tables, are written")
    parser.add_argument("--force", action="store_true", help="overwrite what is there")
    parser.add_argument("--json", action="store_true", help="print one JSON object and nothing else")


def run(args: argparse.Namespace) -> int:
    """Hand out or collect, by what was named; 1 when a file was edited or cannot be read."""
    what = Path(args.what)
    return _collect(args, what) if what.is_dir() else _hand_out(args, what)


def check(path: Path) -> "Collected":
    """What a result file says, run again; in whichever process it is called."""
    from sim.kernels.warm import warm
    from sim.school.result import check_result

    warm()
    return check_result(path)


def _hand_out(args: argparse.Namespace, source: Path) -> int:
    import json

    from sim.paths import lessons
    from sim.report.class_page import write_assignment
    from sim.school.classroom import read_assignment

    known = {path.stem for path in lessons().glob("*.toml")}
    assignment = read_assignment(source, known or None)
    written = write_assignment(Path(args.out or "."), assignment, args.force)
    if args.json:
        print(json.dumps(_answer_of(assignment, written), allow_nan=False))
    else:
        print(f"{assignment.title}: {len(assignment.tasks)} parts of lessons")
        for path in written:
            print(path)
        print("collect with: flatwright class FOLDER, the result files in it and assignment.json beside them")
    return 0


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
    console = Console(stderr=True)
    with Progress(console=console, transient=True, disable=not console.is_terminal) as bar:
        task = bar.add_task("running them again", total=None)
        book = collect(folder, check, seen=lambda done, total: bar.update(task, completed=done, total=total))
    written = write_class(Path(args.out), book, FAULTS, args.force) if args.out else []
    if args.json:
        print(json.dumps(answer(book, written), allow_nan=False))
    else:
        _print(book, written)
    bad = any(one.unreadable or (one.collected and one.collected.state == "edited") for one in book.files)
    return int(bad)


def answer(book: "ClassBook", written: list[Path]) -> dict[str, Any]:
    """Everything that was collected, as it goes into the JSON object."""
    import math
    from dataclasses import asdict

    from sim.school.classroom import task_text

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

    from sim.school.classroom import task_text
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
            console.print(f"{one.file}: not readable: {one.unreadable}")
        elif one.copy_of:
            console.print(f"{one.file}: the same bytes as {one.copy_of}, counted once")
        elif one.collected and one.collected.state != "genuine":
            console.print(f"{one.file}: {one.collected.state}: {one.collected.why}")
    for path in written:
        console.print(f"{path}", markup=False)
    if not written:
        console.print("tables: flatwright class FOLDER --out DIR")
