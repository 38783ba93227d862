"""Whether a result file is what it says: its logs are run again and judged, by the lesson that is here."""

import json
import math
from collections.abc import Callable, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

import sim
from sim.errors import BadFile, BadParam, ShopError
from sim.school.attempt import begun_piece, piece_start, why_not
from sim.school.checks import judge
from sim.school.classbook import DAMAGED, Collected, State
from sim.school.facts import Facts, gather_from
from sim.school.lesson import Lesson, pieces_of
from sim.school.lessonfile import lesson_files, read_lesson
from sim.school.resultfile import Result, Verdict, asked_for, lesson_sha256, read_result, saved_result
from sim.school.resultfile import write_result as write_result
from sim.shop.commands import Command, Scrape
from sim.shop.logbook import Logbook, fingerprint, made_by
from sim.shop.session import Session

MOST_COMMANDS = 50_000  # that are run again of one file, and strokes in them: an hour's work is a tenth of that
MOST_STROKES = 500_000
CLOSE, CLOSE_TO_NOUGHT = 1e-6, 1e-9  # of figures: their last bits depend on the processor, the face's do not
Find = Callable[[str], Lesson]
Judge = Callable[[Lesson, Facts], Verdict]


@lru_cache
def shipped_lesson(name: str) -> Lesson:
    """A finished lesson by its whole name: a file of a stranger names no other file on this disk.

    Raises
    ------
    BadParam
        With the names there are.
    BadFile, BadFiles
        As `read_lesson`.
    """
    shipped = {path.stem: path for path in lesson_files()}
    if name not in shipped:
        raise BadParam(f"lesson must be one of {', '.join(shipped)}, got {name[:80]!r}")
    return read_lesson(shipped[name])


def lesson_among(own: Sequence[Path], name: str) -> Lesson:
    """A finished lesson, or a teacher's own from one of these files; as `shipped_lesson`."""
    mine = {path.stem: path for path in own}
    return read_lesson(mine[name]) if name in mine else shipped_lesson(name)


def check_result(path: Path, find: Find = shipped_lesson, judge: Judge = judge) -> Collected:
    """What a result file says and whether it is so: its logs are run again and judged.

    Parameters
    ----------
    find : function of a lesson's name
        Gives the lesson; raises BadParam where there is none.
    judge : function of a lesson and facts

    Returns
    -------
    Collected
        Genuine: the seal holds, every piece starts as the lesson's does with this seed and part, holds only what the
        lesson allows, ends in the face that was logged and comes to the figures that are told. Other physics: made
        with another model. Other lesson: the lesson is not here, or is another here and does not come to the same.
        Damaged: what is told can be read, the logs cannot. Edited: the rest, with the reason. It cannot say whose hand
        it was.

    Raises
    ------
    BadFile, BadFiles
        As `read_result`, where not even whose it is can be read; or the lesson here cannot be read.
    """
    try:
        told = read_result(path)
    except BadFile as error:
        if saved := saved_result(path):
            return saved.collected("damaged", str(error).partition(f"{DAMAGED}: ")[2])
        raise
    if not told.sealed:
        return told.collected("edited", "its seal is broken: a byte was changed after it was written")
    logs = told.logs if told.physics == sim.PHYSICS else ()
    try:
        books = [Logbook.read(log, Path(f"log {n}"), attached=False) for n, log in enumerate(logs, start=1)]
    except BadFile as error:
        return told.collected("edited", f"{error}")
    if other := _other_physics(told, books):
        return told.collected(*other)
    try:
        lesson = find(told.lesson)
    except BadParam as error:
        return told.collected("other lesson", f"{error}")
    changed = lesson_sha256(lesson) != told.lesson_sha256
    why = _why_not_genuine(told, lesson, books, judge)
    if why and changed:
        return told.collected("other lesson", f"the lesson is another here than where this was made: {why}")
    if why:
        return told.collected("edited", why + _made_elsewhere(told))
    return told.collected("genuine", "the lesson was changed since; by today's it comes to the same" if changed else "")


def _why_not_genuine(told: Result, lesson: Lesson, books: Sequence[Logbook], judge: Judge) -> str:
    """The first thing that does not hold, in a line; empty when all does."""
    begun: list[Session] = []
    if why := _not_of_the_lesson(told, lesson, books, begun):
        return why
    commands = [book.commands for book in books]
    if any(one.piece >= len(books) for one in told.said):
        return "something was said of a piece that the lesson does not have"
    asked = asked_for(told.said)
    if asked != (told.hints, told.uncovered):
        return (f"{told.hints} hints and {told.uncovered} times uncovered are told, among what was said are {asked[0]} "
                f"and {asked[1]}")  # fmt: skip
    try:
        facts = gather_from(lesson, told.part, told.seed, commands, told.said, begun=begun)
        judged = judge(lesson, facts)
    except ShopError as error:
        return f"it cannot be run again: {error}"
    except (ValueError, TypeError, LookupError, ArithmeticError, AttributeError) as error:
        return f"what was said cannot be judged: {type(error).__name__}: {error}"
    for n, (book, job) in enumerate(zip(books, facts.ended, strict=True), start=1):
        last = book.prints[-1] if book.prints else None
        if last is None or last.after != len(book.commands) or last.sha256 != fingerprint(job):
            return f"piece {n} does not end in the face that was logged"
    return _differs(told, judged)


def _not_of_the_lesson(told: Result, lesson: Lesson, books: Sequence[Logbook], begun: list[Session]) -> str:
    """What is wrong with starts and acts, before anything is run again; empty when nothing is.

    begun: gets the pieces as they were taken over.
    """
    if len(books) != len(lesson.pieces):
        return f"it has {len(books)} logs, the lesson has {len(lesson.pieces)} pieces"
    count = sum(len(book.commands) for book in books)
    strokes = sum(len(one.strokes) for book in books for one in book.commands if isinstance(one, Scrape))
    if count > MOST_COMMANDS or strokes > MOST_STROKES:
        most = f"{MOST_COMMANDS:,} acts and {MOST_STROKES:,} strokes"
        return f"at most {most} are run again, got {count:,} and {strokes:,}"
    for n, (piece, book) in enumerate(zip(pieces_of(lesson, told.seed), books, strict=True), start=1):
        if not book.whole:
            return f"the log of piece {n}: {book.warnings[0].partition(': ')[2]}"
        of = f"the lesson's for seed {told.seed}, {told.part}"
        if book.start != piece_start(piece, told.part, told.seed):
            return f"piece {n} does not start from {of}"
        begun.append(begun_piece(piece, told.part, told.seed, copies_mb=0.0))
        before = begun[-1].commands
        if tuple(book.commands[: len(before)]) != before:
            return f"piece {n} was not taken over as {of}: the work before it is another"
        mine: list[Command] = []
        for command in book.commands[len(before) :]:
            if why := why_not(lesson, mine, command):
                return f"piece {n}, act {len(mine) + 1}: {why}"
            mine.append(command)
    return ""


def _differs(told: Result, judged: Verdict) -> str:
    """Where the file tells other things than it comes to; empty where nowhere."""
    names = sorted({*told.figures, *judged.figures})
    for name in names:
        said, found = (figures.get(name, math.nan) for figures in (told.figures, judged.figures))
        same = math.isclose(said, found, rel_tol=CLOSE, abs_tol=CLOSE_TO_NOUGHT)
        none = not math.isfinite(said) and not math.isfinite(found)
        if not (same or none):
            return f"{name} is told as {said:.7g}, run again it comes to {found:.7g}"
    for what in ("passed", "merit"):
        if getattr(told, what) != bool(getattr(judged, what)):
            return f"{what} is told as {'yes' if getattr(told, what) else 'no'}, judged again it is not so"
    if told.faults != dict(judged.faults):
        return "other faults are told than it comes to"
    return ""


def _other_physics(told: Result, books: Sequence[Logbook]) -> tuple[State, str] | None:
    """What to say of a file that was made with another model; None for one of this."""
    if told.physics == sim.PHYSICS:
        if all(book.physics == sim.PHYSICS and not book.base for book in books):
            return None
        mixed = any(book.base for book in books)
        return ("other physics", "made partly with another model") if mixed else \
            ("edited", "its logs were made with another model than it tells")  # fmt: skip
    if any(_physics_of(log) == sim.PHYSICS for log in told.logs):
        return "edited", "its logs were made with another model than it tells"
    return "other physics", f"made with physics {told.physics}, here {sim.PHYSICS}"


def _physics_of(log: bytes) -> Any:
    """The number in the first line of a log; None where there is none."""
    try:
        return json.loads(log.partition(b"\n")[0])["physics"]
    except (ValueError, TypeError, LookupError, RecursionError):
        return None


def _made_elsewhere(told: Result) -> str:
    """What to add where other versions made the file: then nobody need have edited it."""
    here = made_by()["versions"]
    other = [f"{name} {told.versions[name]}, here {here[name]}" for name in here
             if name in told.versions and told.versions[name] != here[name]]  # fmt: skip
    return f" (it was made with {'; '.join(other)})" if other else ""
