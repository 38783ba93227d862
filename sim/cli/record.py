"""`flatwright record`: what was practised and how it came out; learners, moving and deleting."""

import argparse
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from sim.books.record import Record
    from sim.books.standing import Progress

NAME = "record"
HELP = "Your record: lessons with their best result, drills by level, practice beside check; move or delete it."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.epilog = ("Examples: flatwright record --out progress; flatwright record --export mine.json; on the other "
                     "machine: flatwright record --take-in mine.json")  # fmt: skip
    parser.add_argument("--learner", metavar="NAME", type=str, help="whose record (default: who practised last)")
    parser.add_argument("--json", action="store_true", help="print one JSON object and nothing else")
    parser.add_argument("--out", metavar="DIR", help="folder in which progress.html is written, with the curves")
    act = parser.add_mutually_exclusive_group()
    act.add_argument("--export", metavar="FILE", help="write everything that is kept of the learner to one JSON file")
    act.add_argument("--take-in", metavar="FILE", help="take in such a file; what is there already is not doubled")
    act.add_argument("--switch", metavar="NAME", type=str, help="let this learner practise; made when new")
    act.add_argument("--rename", metavar="NAME", type=str, help="give the learner this name")
    act.add_argument("--delete", metavar="NAME", type=str, help="delete this learner and everything kept of him")
    parser.add_argument("--yes", action="store_true", help="with --delete: do it")
    parser.add_argument("--force", action="store_true", help="overwrite a page or export that is there")
    parser.add_argument("--data-dir", metavar="DIR", help="where the record lies (default: the system's usual place)")


def run(args: argparse.Namespace) -> int:
    """Do what was asked, then print what is kept."""
    import json
    import sys
    from pathlib import Path

    from sim.books.record import Record
    from sim.errors import BadParam
    from sim.paths import data_dir

    if args.yes and args.delete is None:
        raise BadParam("--yes must go with --delete NAME, got no --delete")
    if args.delete is not None and not args.yes:
        raise BadParam(f"--delete removes all that is kept of {args.delete!r} for good: must go with --yes, got none")
    with Record.open(data_dir(args.data_dir)) as record:
        told = _act(args, record)
        if told is None:
            progress = _progress(record, args.learner)
            if args.out:
                from sim.report.progress import write_progress

                page = Path(args.out) / "progress.html"
                write_progress(page, progress, args.force)
            if args.json:
                print(json.dumps(answer(record, progress), allow_nan=False))
            else:
                _print(record, progress)
                print(f"page: {page}" if args.out else "curves: flatwright record --out DIR")
        elif args.json:
            print(json.dumps({**told[1], "learner": record.current(), "learners": record.learners(),
                              "notes": record.notes}, allow_nan=False))  # fmt: skip
        else:
            print(told[0])
        for note in record.notes:
            print(f"flatwright: {note}", file=sys.stderr)
    return 0


def answer(record: "Record", progress: "Progress") -> dict[str, Any]:
    """Everything that is told, as it goes into the JSON object."""
    from dataclasses import asdict

    from sim.books.standing import by_level, lesson_rows, standings, sureness

    return {
        "learner": progress.learner,
        "learners": record.learners(),
        "lessons": [{**asdict(row), "figures": finite(row.figures)} for row in lesson_rows(progress.attempts)],
        "drills": [asdict(one) for one in standings(progress.answers)],
        "levels": [asdict(one) for one in by_level(progress.answers)],
        "sure": sureness(progress.answers),
        "answers": len(progress.answers),
        "cards": [{"card": one.card, "when": one.when, "values": finite(one.values)} for one in progress.cards],
        "notes": record.notes,
    }


def finite(figures: Any) -> dict[str, float | None]:
    """Figures with None for what is not finite."""
    import math

    return {name: value if math.isfinite(value) else None for name, value in figures.items()}


def _act(args: argparse.Namespace, record: "Record") -> tuple[str, dict[str, Any]] | None:
    """Do the one act that was asked for: a line and an object that tell of it; None when none was."""
    from dataclasses import asdict

    from sim.units import counted

    if args.export is not None:
        name = args.learner or record.current()
        record.export(args.export, name, args.force)
        return f"{name}: written to {args.export}; take it in with: flatwright record --take-in FILE", {
            "exported": args.export}  # fmt: skip
    if args.take_in is not None:
        taken = record.take_in(args.take_in)
        new = (f"{counted(taken.attempts, 'attempt')}, {counted(taken.answers, 'answer')} and "
               f"{counted(taken.cards, 'shop card')}")  # fmt: skip
        return (f"{taken.learner}: {new} taken in, {taken.known} were "
                f"there already; practise as {taken.learner} with --switch"), {"taken_in": asdict(taken)}  # fmt: skip
    if args.switch is not None:
        name = record.switch(args.switch)
        return f"{name} practises now", {"switched": name}
    if args.rename is not None:
        old = args.learner or record.current()
        name = record.rename(old, args.rename)
        return f"{old} is now {name}", {"renamed": name}
    if args.delete is not None:
        files = record.delete(args.delete)
        kept = f"; job files are not touched: {', '.join(files)}" if files else ""
        return f"{args.delete}: deleted from the record{kept}", {"deleted": args.delete, "files": list(files)}
    return None


def _progress(record: "Record", name: str | None) -> "Progress":
    from sim.books.standing import Progress

    whom = next((one for one in record.learners() if name and one.casefold() == name.casefold()), name)
    whom = record.current() if whom is None else whom
    return Progress(whom, record.attempts(learner=whom), record.answers(learner=whom),
                    record.cards(learner=whom))  # fmt: skip


def _print(record: "Record", progress: "Progress") -> None:
    from rich import box
    from rich.console import Console
    from rich.table import Table

    from sim.books.standing import EMPTY, lesson_rows, skill_text, standings, sureness
    from sim.school.cards import entered_words

    console = Console(highlight=False, markup=False, soft_wrap=True)
    others = ", ".join(name for name in record.learners() if name != progress.learner)
    console.print(f"{progress.learner} (also here: {others})" if others else progress.learner)
    if progress.empty:
        console.print(EMPTY)
    if progress.attempts:
        table = Table(box=box.SIMPLE)
        table.add_column("lesson", no_wrap=True)
        table.add_column("best")
        for words in ("attempts", "open", "shop, min"):
            table.add_column(words, justify="right")
        table.add_column("last begun", no_wrap=True)
        for row in lesson_rows(progress.attempts):
            numbers = (f"{row.attempts}", f"{row.unfinished}", f"{row.clock_s / 60:.0f}")
            table.add_row(row.lesson, row.best, *numbers, row.last[:10])
        console.print(table)
    if progress.answers:
        table = Table(box=box.SIMPLE)
        table.add_column("drill", no_wrap=True)
        for words in ("practice", "level", "skill", "checks", "level", "skill"):
            table.add_column(words, justify="right")
        for one in standings(progress.answers):
            cells = [(f"{side.answers}", f"{side.level}", skill_text(side.here)) if side else ("0", "", "")
                     for side in (one.practice, one.check)]  # fmt: skip
            table.add_row(one.kind, *cells[0], *cells[1])
        console.print(table)
        if sure := sureness(progress.answers):
            console.print(sure)
    if progress.cards:
        table = Table("shop card", "entered", box=box.SIMPLE)
        table.add_column("what was written down at a real plate")
        for entry in progress.cards:
            table.add_row(entry.card, entry.when[:10], entered_words(entry.card, entry.values)[1])
        console.print(table)
        console.print("beside the model: flatwright cards NAME")
