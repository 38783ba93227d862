"""`flatwright lessons`: the lessons there are, with your best result; checks lesson files, and limits by trials."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from sim.books.record import Record
    from sim.school.lesson import Lesson
    from sim.school.trials import Trials

NAME = "lessons"
HELP = "The lessons, with your best result of each; checks lesson files of your own."
EPILOG = "Begin: flatwright lesson 1. Your own: lessons/README.md, then flatwright lessons --validate FILE --play."
MOST_PROCESSES = 64


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.epilog = EPILOG
    what = parser.add_mutually_exclusive_group()
    what.add_argument("--validate", metavar="PATH", help="check a lesson file, or every one of a folder: all faults "
                      "with their lines")  # fmt: skip
    what.add_argument("--trials", metavar="NAME", type=str, help="limits as trials on the model give them, beside "
                      "those of the file")  # fmt: skip
    what.add_argument("--schema", action="store_true", help="the checks and ways that a lesson file may name")
    parser.add_argument("--play", action="store_true", help="with --validate: also play the model, which must pass, "
                        "and the wrong solution, which must fail")  # fmt: skip
    parser.add_argument("--processes", type=int, default=1, metavar="N", help="with --trials: so many at once "
                        "(default: 1)")  # fmt: skip
    parser.add_argument("--json", action="store_true", help="print one JSON object and nothing else")
    parser.add_argument("--data-dir", metavar="DIR", help="where the record lies (default: the system's usual place)")


def run(args: argparse.Namespace) -> int:
    """Check, try, or list."""
    from sim.errors import BadParam

    if args.play and not args.validate:
        raise BadParam("--play must go with --validate PATH, got it alone")
    if not 1 <= args.processes <= MOST_PROCESSES:
        raise BadParam(f"--processes must be 1 to {MOST_PROCESSES}, got {args.processes}")
    if args.schema:
        return _schema(args)
    if args.validate:
        return _validate(args)
    if args.trials is not None:
        return _trials(args)
    return _list(args)


def _schema(args: argparse.Namespace) -> int:
    """Checks with their units, ways with their options: the tables of lessons/README.md."""
    import json

    from sim.report.lesson_text import schema_lines
    from sim.school.checks import CHECKS
    from sim.school.ways import WAYS

    if args.json:
        checks = {one.name: {"unit": one.unit, "better": one.better, "doc": one.doc} for one in CHECKS.values()}
        ways = {one.name: {"options": dict(one.options), "doc": one.doc} for one in WAYS.values()}
        print(json.dumps({"checks": checks, "ways": ways}, allow_nan=False))
    else:
        print("\n".join(schema_lines()))
    return 0


def _validate(args: argparse.Namespace) -> int:
    """Every fault of a file, or of all in a folder; "sound" when there is none."""
    import json

    from sim.errors import BadFiles, BadParam
    from sim.school.lessonfile import lesson_files
    from sim.units import counted

    path = Path(args.validate)
    files = lesson_files(path) if path.is_dir() else [path]
    if not files:
        raise BadParam(f"--validate must name a lesson file, or a folder that holds some (*.toml), got {path}")
    sound, faults = sound_and_faults(files)
    told: dict[str, list[str]] = {}
    if args.play and not faults:
        from sim.kernels.warm import warm
        from sim.school.trials import solution_faults

        warm()
        for one in sound:
            wrong, told[one.name] = solution_faults(one)
            faults += [f"{one.path}: {fault}" for fault in wrong]
    if faults:
        raise BadFiles(faults)
    if args.json:
        print(json.dumps({"sound": [one.name for one in sound], **({"played": told} if args.play else {})}))
    else:
        for name, lines in told.items():
            print("\n".join(f"{name}: {line}" for line in lines))
        print(f"sound: {counted(len(sound), 'lesson')}")
    return 0


def sound_and_faults(files: list[Path]) -> tuple[list["Lesson"], list[str]]:
    """The lessons that can be read, and every fault of the others; a number that two of them have is one as well."""
    from sim.errors import BadFile, BadFiles
    from sim.intake.keyed import key_lines
    from sim.school.lessonfile import read_lesson

    sound: list[Lesson] = []
    faults: list[str] = []
    for path in files:
        try:
            lesson = read_lesson(path)
        except BadFiles as error:
            faults += error.faults
        except BadFile as error:
            faults.append(str(error))
        else:
            twin = next((one for one in sound if one.number == lesson.number), None)
            if twin is not None:
                line = key_lines(path.read_text(encoding="utf-8-sig"))["number",]
                must = f"must be another than that of {twin.path.name}"
                faults.append(f"{path}:{line}: number: {must}, got {lesson.number}")
            sound.append(lesson)
    return sound, faults


def _trials(args: argparse.Namespace) -> int:
    """Limits by trials beside those of the file."""
    import json

    from rich.console import Console
    from rich.progress import Progress

    from sim.kernels.warm import warm
    from sim.school.lessonfile import find_lesson
    from sim.school.trials import limits_from

    lesson = find_lesson(args.trials)
    warm()
    console = Console(stderr=True)
    with Progress(console=console, transient=True, disable=not console.is_terminal) as bar:
        task = bar.add_task(f"trials of {lesson.title}", total=None)
        found = limits_from(lesson, lambda done, total: bar.update(task, completed=done, total=total),
                            processes=args.processes)  # fmt: skip
    if args.json:
        print(json.dumps(_plain(found), allow_nan=False))
    else:
        _print_trials(lesson, found)
    return 0


def _plain(found: "Trials") -> dict[str, Any]:
    """Trials as they go into the JSON object; a figure that there is none of is null."""
    import math
    from dataclasses import asdict

    rows = [{key: None if isinstance(value, float) and math.isnan(value) else value
             for key, value in asdict(row).items()} for row in found.rows]  # fmt: skip
    return {"lesson": found.lesson, "seeds": list(found.seeds), "rows": rows, "passed": found.passed}


def _print_trials(lesson: "Lesson", found: "Trials") -> None:
    from rich import box
    from rich.console import Console
    from rich.table import Table

    from sim.report.lesson_text import limit_words

    console = Console(highlight=False, markup=False, soft_wrap=True)
    first, last = found.seeds
    console.print(f"lesson {lesson.number}, {lesson.title}: the model solution on seeds {first} to {last}")
    table = Table("check", "at", box=box.SIMPLE)
    for name in ("passes\ntrials", "\nfile", "trained\nreach it", "merit\ntrials", "\nfile", "skilled\nreach it"):
        table.add_column(name, justify="right", no_wrap=True)
    table.columns[0].no_wrap = table.columns[1].no_wrap = True
    for row in found.rows:
        table.add_row(row.check, "least" if row.better == "high" else "most", limit_words(row.passes),
                      limit_words(row.file_passes), f"{100.0 * row.trained:.0f} %", limit_words(row.merit),
                      limit_words(row.file_merit), f"{100.0 * row.skilled:.0f} %")
    console.print(table)
    shares = ", ".join(f"{hand} {100.0 * share:.0f} %" for hand, share in found.passed.items())
    console.print(f"passed by all limits of the file: {shares}")


def _list(args: argparse.Namespace) -> int:
    """Every shipped lesson with the learner's best result."""
    import json
    import sys

    from sim.books.record import Record
    from sim.paths import data_dir
    from sim.school.lessonfile import lesson_files, read_lesson

    lessons = sorted((read_lesson(path) for path in lesson_files()), key=lambda one: one.number)
    with Record.open(data_dir(args.data_dir)) as record:
        learner = record.current()
        rows = listed(lessons, record)
        for note in record.notes:
            print(f"flatwright: {note}", file=sys.stderr)
    if args.json:
        print(json.dumps({"learner": learner, "lessons": rows}, allow_nan=False))
    else:
        _print_list(learner, rows)
    return 0


def listed(lessons: list["Lesson"], record: "Record") -> list[dict[str, Any]]:
    """Each lesson with the best result of the current learner, and when its check may be made."""
    from sim.books.record import stamp
    from sim.school.turns import check_opens

    best = record.best()
    rows = []
    for one in lessons:
        opens = check_opens(record, one)
        rows.append({"number": one.number, "name": one.name, "title": one.title, "minutes": one.minutes,
                     "goal": one.goal, "best": best.get(one.name), "check_opens": opens and stamp(opens)})  # fmt: skip
    return rows


def _print_list(learner: str, rows: list[dict[str, Any]]) -> None:
    """Two lines a lesson: what it is and how it went, and its goal."""
    print(f"lessons, with the best result of {learner}")
    for row in rows:
        best = row["best"] or "not tried"
        print(f"{row['number']:3}  {row['title']} ({row['name']}), {row['minutes']:g} min: {best}")
        print(f"     {row['goal']}")
    print("Begin one: flatwright lesson NUMBER")
