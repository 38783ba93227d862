"""`flatwright lesson`: one lesson; in the window, or from a file of answers, judged and kept in the record."""

import argparse
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from sim.cli import has_display

if TYPE_CHECKING:
    from sim.books.record import Record
    from sim.school.aloud import Told
    from sim.school.attempt import Attempt
    from sim.school.checks import Judged
    from sim.school.facts import Facts
    from sim.school.lesson import Lesson

NAME = "lesson"
HELP = "One lesson: opens it in the window, or plays a file of answers without one, judges it and keeps it."
EPILOG = (
    "Without a window: flatwright lesson 1 --shots pictures shows what lies there; write acts (lessons/README.md), "
    "look again with --answers acts.json --look --shots pictures --force, and hand in with --answers acts.json. "
    "See how it is done: flatwright lesson 1 --watch."
)
ROOM = "sim.bench.lesson_room"  # where the window shows lessons
LAMP_DEG = 135.0  # as the bench begins


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.epilog = EPILOG
    parser.add_argument("name", metavar="NAME", help="name or number of a lesson (flatwright lessons), or a file .toml")
    parser.add_argument("--part", choices=("help", "alone", "check"), help="with help, alone, or the check on another "
                        "day (default: alone)")  # fmt: skip
    parser.add_argument("--seed", type=int, metavar="N", help="which face (default: the next one of your record)")
    parser.add_argument("--assignment", metavar="FILE", help="assignment.json of your class: its part and seed, coach "
                        "and heights as it wants them")  # fmt: skip
    what = parser.add_mutually_exclusive_group()
    what.add_argument("--show", action="store_true", help="print goal, cautions, steps and limits; open no window")
    what.add_argument("--watch", action="store_true", help="print how it is done well, act by act")
    what.add_argument("--answers", metavar="FILE", help="play these acts (JSON list), judge them and keep the attempt")
    what.add_argument("--solution", choices=("model", "wrong"), help="play the lesson's own solution; never kept")
    parser.add_argument("--look", action="store_true", help="with --answers: play, tell and picture what is to be seen "
                        "then, end nothing")  # fmt: skip
    parser.add_argument("--unfinished", action="store_true", help="with --answers: end it though pieces are "
                        "untouched")  # fmt: skip
    parser.add_argument("--hand", choices=("beginner", "trained", "skilled"), help="whose hand, with --solution and "
                        "--watch")  # fmt: skip
    parser.add_argument("--shots", metavar="DIR", help="folder for a picture of each piece as it lies")
    parser.add_argument("--result", metavar="FILE", help="with --answers: write a result file to hand in, NAME.result")
    parser.add_argument("--sheet", metavar="FILE", help="with --answers: write the result sheet, NAME.html or NAME.pdf")
    parser.add_argument("--force", action="store_true", help="overwrite pictures and files that are there")
    parser.add_argument("--json", action="store_true", help="print one JSON object and nothing else")
    parser.add_argument("--data-dir", metavar="DIR", help="where the record lies (default: the system's usual place)")


def run(args: argparse.Namespace) -> int:
    """Show, watch, try a solution, play answers; else open the window."""
    from sim.errors import BadParam
    from sim.school.lessonfile import find_lesson

    if args.seed is not None and not 0 <= args.seed < 2**31:
        raise BadParam(f"--seed must be 0 to 2^31 - 1, got {args.seed}")
    if args.look and not args.answers:
        raise BadParam("--look must go with --answers FILE, got it alone")
    for name in ("result", "sheet"):
        if getattr(args, name) and (args.look or not args.answers):
            got = "--look, which ends nothing" if args.look else f"--{name} {getattr(args, name)} alone"
            raise BadParam(f"--{name} must go with --answers FILE and without --look, got {got}")
    if args.unfinished and (args.look or not args.answers):
        raise BadParam("--unfinished must go with --answers FILE and without --look, got it alone")
    if args.hand and not (args.solution or args.watch):
        raise BadParam("--hand must go with --solution or --watch, got it alone")
    lesson = find_lesson(args.name)
    if args.assignment:
        lesson = _asked(args, lesson)
    if args.watch:
        return _watch(args, lesson)
    if args.solution:
        return _try(args, lesson)
    if args.answers:
        return _play(args, lesson)
    if not (args.show or args.json or args.shots) and has_display() and _opened(args, lesson):
        return 0
    return _show(args, lesson)


def _asked(args: argparse.Namespace, lesson: "Lesson") -> "Lesson":
    """The lesson with no more shown than an assignment wants; its part and seed are set in `args`."""
    from pathlib import Path

    from sim.errors import BadParam
    from sim.school.classroom import as_asked, read_handed_out, task_of

    assignment = read_handed_out(Path(args.assignment))
    task = task_of(assignment, lesson.name, args.part)
    if args.seed is not None and task.seed not in (None, args.seed):
        raise BadParam(f"--seed must be {task.seed}, as {args.assignment} asks, got {args.seed}")
    args.part = task.part
    args.seed = args.seed if task.seed is None else task.seed
    return as_asked(lesson, assignment)


def _opened(args: argparse.Namespace, lesson: "Lesson") -> bool:
    """Hand over to the window, which lets one choose the part; False where it does not know lessons."""
    from importlib.util import find_spec

    from sim.cli import bench
    from sim.errors import BadParam

    if find_spec(ROOM) is None:
        return False
    if (args.part or args.seed is not None) and not args.assignment:
        got = f"--part {args.part}" if args.part else f"--seed {args.seed}"
        raise BadParam("--part and --seed must go with --show, --watch, --solution, --shots or --answers, got "
                       f"{got} for the window: there you choose the part, and your record the next face")  # fmt: skip
    parser = argparse.ArgumentParser()
    bench.add_arguments(parser)
    words = [args.assignment or str(lesson.path), *(["--data-dir", args.data_dir] if args.data_dir else [])]
    bench.run(parser.parse_args(words))
    return True


def _turn(args: argparse.Namespace, lesson: "Lesson", record: "Record") -> tuple[str, int]:
    """Part and seed of what is asked for."""
    from sim.school.turns import seed_of

    part = args.part or "alone"
    return part, seed_of(record, lesson, part) if args.seed is None else args.seed


def _show(args: argparse.Namespace, lesson: "Lesson") -> int:
    """The page of a lesson, and pictures of its pieces as they are taken over."""
    from sim.books.record import Record
    from sim.paths import data_dir
    from sim.report.lesson_text import page_lines
    from sim.school.turns import refuse_now, why_not_now

    with Record.open(data_dir(args.data_dir)) as record:
        part, seed = _turn(args, lesson, record)
        why = why_not_now(record, lesson, part, seed)
        if args.shots:
            refuse_now(record, lesson, part, seed)
        _tell_notes(record)
    pictures = []
    if args.shots:
        pictures = _shots(args, _begun(lesson, part, seed))
    if args.json:
        _print_json({**about(lesson), "part": part, "seed": seed, "why_not_now": why, "pictures": pictures})
        return 0
    _print(page_lines(lesson, part, seed))
    if why:
        print(f"\n{why}")
    _print([f"picture: {one}" for one in pictures])
    print(f"\nWithout a window: flatwright lesson {args.name} --shots DIR, then --answers FILE (lessons/README.md)")
    return 0


def _begun(lesson: "Lesson", part: str, seed: int) -> "Attempt":
    from sim.kernels.warm import warm
    from sim.school.attempt import begin_attempt

    warm()
    return begin_attempt(lesson, part, seed)


def _play(args: argparse.Namespace, lesson: "Lesson") -> int:
    """Play the answers; judge and keep them, unless one only looks."""
    from pathlib import Path

    from sim.books.record import Record
    from sim.paths import data_dir
    from sim.school.aloud import Aloud
    from sim.school.checks import judge
    from sim.school.facts import gather
    from sim.school.play import play, read_acts
    from sim.school.turns import keep_attempt, refuse_now

    folder = data_dir(args.data_dir)
    acts = read_acts(args.answers, lesson)
    _refuse_files(args)
    with Record.open(folder) as record:
        if not args.look:
            _refuse_namesake(lesson)
        part, seed = _turn(args, lesson, record)
        refuse_now(record, lesson, part, seed)
        attempt = _begun(lesson, part, seed)
        aloud = Aloud(attempt)
        with _bar("playing") as tell:

            def on_act(number: int, act: Any, result: Any) -> None:
                aloud(number, act, result)
                tell(number, len(acts))

            play(attempt, acts, args.answers, on_act)
        told = aloud.finish()
        if not args.look:
            _refuse_unfinished(args, attempt)
        pictures = _shots(args, attempt)
        if args.look:
            return _looked(args, attempt, told, pictures)
        with _bar("judging") as tell:
            facts = gather(attempt, tell)
        judged = judge(lesson, facts)
        written = _files(args, attempt, facts, judged, record)
        number, files = keep_attempt(record, folder, attempt, judged)
        _tell_notes(record)
    logs = [str(Path(folder) / one) for one in files]
    if args.json:
        _print_json({**_answer(attempt, judged), "attempt": number, "files": logs, "pictures": pictures,
                     "written": written, "told": _plain(told)})  # fmt: skip
        return 0
    _print(_told_lines(told))
    _print_judged(attempt, judged, facts)
    _print([f"picture: {one}" for one in pictures] + [f"written: {one}" for one in written])
    print(f"kept as attempt {number} in {Path(logs[0]).parent}; your record: flatwright record")
    return 0


def _refuse_unfinished(args: argparse.Namespace, attempt: "Attempt") -> None:
    """Refuse to end an attempt of which something is left, unless it is wanted; one of nothing is no attempt."""
    from sim.errors import Refused
    from sim.school.attempt import untouched, untouched_words
    from sim.school.play import NOTHING_DONE

    bare = untouched(attempt)
    if len(bare) == len(attempt.sessions):
        raise Refused(f"{args.answers}: {NOTHING_DONE}")
    if bare and not args.unfinished:
        raise Refused(f"{args.answers}: {untouched_words(bare)}: add acts, see how it lies with --look, or end it all "
                      "the same with --unfinished")  # fmt: skip


def _refuse_files(args: argparse.Namespace) -> None:
    """Refuse names of files before an attempt is spent on them."""
    from pathlib import Path

    from sim.errors import BadParam
    from sim.report.figures import refuse_existing

    if args.sheet and Path(args.sheet).suffix.lower() not in (".html", ".pdf"):
        raise BadParam(f"--sheet must name a file .html or .pdf, got {args.sheet}")
    if args.result and Path(args.result).suffix != ".result":
        args.result += ".result"
    for name in (args.result, args.sheet):
        if name:
            refuse_existing(Path(name), args.force)


def _files(args: argparse.Namespace, attempt: "Attempt", facts: "Facts", judged: "Judged",
           record: "Record") -> list[str]:
    """Write the result file and the result sheet; their names."""
    from pathlib import Path

    from sim.books.record import stamp

    learner, now = record.current(), stamp(record.now())
    if args.sheet:
        from sim.report.sheet import Sheet, write_sheet

        write_sheet(Path(args.sheet), Sheet(learner, now, judged, facts), force=args.force)
    if args.result:
        from sim.school.result import write_result

        write_result(Path(args.result), attempt, learner, judged, args.force, ended=now)
    return [name for name in (args.sheet, args.result) if name]


def _refuse_namesake(lesson: "Lesson") -> None:
    """A lesson of one's own is kept in the record under its own name, not under that of a shipped one."""
    from sim.errors import BadParam
    from sim.school.lessonfile import lesson_files

    shipped = {path.stem: path.resolve() for path in lesson_files()}
    if shipped.get(lesson.name, lesson.path.resolve()) != lesson.path.resolve():
        raise BadParam(f"{lesson.path}: a lesson of one's own must have another name than a shipped one to be kept in "
                       f"the record, got {lesson.name}")  # fmt: skip


def _looked(args: argparse.Namespace, attempt: "Attempt", told: "Sequence[Told]", pictures: list[str]) -> int:
    """What is to be seen so far; nothing is ended or kept."""
    from dataclasses import asdict

    from sim.school.aloud import last_cuts, section_lines
    from sim.units import S_PER_H, counted

    lies = [{"piece": n, "round": one.job.round, "commands": len(one.commands) - before,
             "shop_hours": one.job.clock_s / S_PER_H, "sections": [asdict(cut) for cut in last_cuts(attempt, n - 1)]}
            for n, (one, before) in enumerate(zip(attempt.sessions, attempt.begun, strict=True), start=1)]  # fmt: skip
    if args.json:
        _print_json({"part": attempt.part, "seed": attempt.seed, "pieces": lies, "told": _plain(told),
                     "pictures": pictures})  # fmt: skip
        return 0
    _print(_told_lines(told))
    _print(f"piece {row['piece']}: {counted(int(str(row['commands'])), 'act')}, round {row['round']}" for row in lies)
    _print(section_lines(attempt))
    _print([f"picture: {one}" for one in pictures])
    print("Nothing was ended or kept. Hand it in: the same line without --look.")
    return 0


def _try(args: argparse.Namespace, lesson: "Lesson") -> int:
    """Play a solution of the lesson's own; for teachers and tests."""
    from sim.errors import BadParam
    from sim.school.checks import judge
    from sim.school.facts import gather
    from sim.school.ways import work

    part = args.part or "alone"
    if part == "check":
        raise BadParam("--solution must go with --part help or alone: a check's face is the learner's, got check")
    first = {"help": lesson.seeds.help, "alone": lesson.seeds.alone, "check": lesson.seeds.check}
    attempt = _begun(lesson, part, first[part] if args.seed is None else args.seed)
    solution = lesson.model if args.solution == "model" else lesson.wrong
    count = 0
    with _bar("working") as tell:

        def on_act(_act: Any) -> None:
            nonlocal count
            count += 1
            tell(count, None)

        work(attempt, solution, args.hand, on_act)
    pictures = _shots(args, attempt)
    with _bar("judging") as tell:
        facts = gather(attempt, tell)
    judged = judge(lesson, facts)
    if args.json:
        _print_json({**_answer(attempt, judged), "solution": args.solution, "acts": count, "pictures": pictures,
                     "meant_to_fail": solution.fails or None, "reason": solution.reason or None})  # fmt: skip
        return 0
    if solution.fails:
        print(f"the wrong way, which fails {solution.fails}: {solution.reason}")
    _print_judged(attempt, judged, facts)
    _print([f"picture: {one}" for one in pictures])
    return 0


def _watch(args: argparse.Namespace, lesson: "Lesson") -> int:
    """Steps, and the acts of the model solution; with --json as a file of answers has them."""
    from sim.errors import BadParam
    from sim.report.lesson_text import act_words, step_words
    from sim.school.aloud import result_lines
    from sim.school.lesson import pieces_of
    from sim.school.play import act_data
    from sim.school.steps import Reasons, Steps
    from sim.school.ways import acts

    steps_of = Steps(lesson)
    if args.part not in (None, "help"):
        raise BadParam(f"--watch must go with the part with help, which has its own face, got --part {args.part}")
    attempt = _begun(lesson, "help", lesson.seeds.help)
    steps = [step_words(n, step) for n, step in enumerate(lesson.steps, start=1)]
    if args.json:
        rows = [act_data(act) for act, _ in acts(attempt, lesson.model, args.hand)]
        _print_json({**about(lesson), "part": attempt.part, "seed": attempt.seed, "acts": rows})
    else:
        titles = (f"  {n}. {one.title}" for n, one in enumerate(pieces_of(lesson, attempt.seed), start=1) if one.title)
        _print([f"Lesson {lesson.number}: {lesson.title}; on another face, seed {attempt.seed}: its figures are not "
                "yours", lesson.goal, *titles, *steps, ""])  # fmt: skip
        reasons = Reasons(lesson)
        for n, (act, result) in enumerate(acts(attempt, lesson.model, args.hand), start=1):
            _print(reasons.before(act))
            _print([f"{n:4}  {act_words(act)}", *(f"      {line}" for line in result_lines(result))])
            _print(steps_of.newly_done(attempt, act))
        _print(steps_of.newly_done(attempt))
    if args.shots:
        _print([f"picture: {one}" for one in _shots(args, attempt)] if not args.json else [])
    return 0


def about(lesson: "Lesson") -> dict[str, Any]:
    """A lesson as it goes into the JSON object."""
    return {
        "lesson": lesson.name, "number": lesson.number, "title": lesson.title, "goal": lesson.goal,
        "minutes": lesson.minutes, "permission": lesson.permission, "cautions": list(lesson.cautions),
        "steps": [step.text for step in lesson.steps],
        "limits": [{"check": one.check, "passes": one.passes, "merit": one.merit} for one in lesson.limits],
        "questions": [{"id": one.id, "text": one.text, "options": list(one.options), "unit": one.unit,
                       "low": None if one.options else one.low, "high": None if one.options else one.high,
                       "each_piece": one.each_piece} for one in lesson.questions],
    }  # fmt: skip


def _answer(attempt: "Attempt", judged: "Judged") -> dict[str, Any]:
    """What came of an attempt; a figure that could not be judged is null."""
    import math

    def number(value: float) -> float | None:
        return value if math.isfinite(value) else None

    return {
        "lesson": attempt.lesson.name, "part": attempt.part, "seed": attempt.seed,
        "passed": judged.passed, "merit": judged.merit,
        "figures": {name: number(value) for name, value in judged.figures.items()},
        "checks": [{"check": row.check, "unit": row.unit, "better": row.better, "value": number(row.value),
                    "passes": row.passes, "merit": row.merit, "passed": row.passed,
                    "not_judged": row.why or None} for row in judged.rows],
        "faults": {str(fault): count for fault, count in judged.faults.items()},
    }  # fmt: skip


def _shots(args: argparse.Namespace, attempt: "Attempt") -> list[str]:
    """Write the picture of every piece; their names."""
    if not args.shots:
        return []
    from pathlib import Path

    from sim.report.figures import refuse_existing, save_figure
    from sim.report.piece import piece_figure
    from sim.school.aloud import last_cuts, lie_words
    from sim.school.lesson import pieces_of

    paths = [Path(args.shots) / f"piece-{n}.png" for n in range(1, len(attempt.sessions) + 1)]
    for path in paths:
        refuse_existing(path, args.force)
    pieces = pieces_of(attempt.lesson, attempt.seed)
    rows = zip(paths, pieces, attempt.sessions, attempt.begun, strict=True)
    for n, (path, piece, session, begun) in enumerate(rows, start=1):
        lamps = [one.data["lamp_deg"] for one in attempt.said if one.kind == "lamp" and one.piece == n - 1]
        words = f"piece {n}{f', {piece.title}' if piece.title else ''}: {lie_words(session, begun)}"
        figure = piece_figure(session.job, words, float(lamps[-1]) if lamps else LAMP_DEG, last_cuts(attempt, n - 1))
        save_figure(figure, path, args.force)
    return [str(path) for path in paths]


def _bar(words: str) -> Any:
    """A bar on stderr while something takes long; gives what is told how far it is."""
    from contextlib import contextmanager

    from rich.console import Console
    from rich.progress import Progress

    @contextmanager
    def shown() -> Any:
        console = Console(stderr=True)
        with Progress(console=console, transient=True, disable=not console.is_terminal) as bar:
            task = bar.add_task(words, total=None)
            yield lambda done, total: bar.update(task, completed=done, total=total)

    return shown()


def _plain(told: "Sequence[Told]") -> list[dict[str, Any]]:
    from dataclasses import asdict

    return [asdict(one) for one in told]


def _told_lines(told: "Sequence[Told]") -> list[str]:
    """What was told on the way, a line each."""
    places = {one: f"act {one.act}" if one.act else "at the end" for one in told}
    return [f"{places[one]}, piece {one.piece}, {one.kind}: {one.text}" for one in told]


def _print_judged(attempt: "Attempt", judged: "Judged", facts: "Facts") -> None:
    from sim.report.lesson_text import count_lines, judged_lines, odds_lines
    from sim.school.lesson import PART_WORDS

    lesson = attempt.lesson
    _print([f"lesson {lesson.number}, {lesson.title}, {PART_WORDS[attempt.part]}, seed {attempt.seed}",
            *(f"  {line}" for line in [*count_lines(facts), *odds_lines(facts)]),
            *judged_lines(judged, attempt.part)])  # fmt: skip


def _print(lines: Any) -> None:
    for line in lines:
        print(line)


def _print_json(told: dict[str, Any]) -> None:
    import json

    print(json.dumps(told, allow_nan=False))


def _tell_notes(record: "Record") -> None:
    for note in record.notes:
        print(f"flatwright: {note}", file=sys.stderr)
