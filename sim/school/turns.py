"""Whose turn it is: the seed of the next attempt at a lesson, when its check may be made, and how one is kept."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

from sim.books.record import Record
from sim.errors import BadParam, CannotWrite, Refused
from sim.school.attempt import Attempt
from sim.school.checks import Judged
from sim.school.lesson import PARTS, Lesson
from sim.school.play import acts_of, acts_text
from sim.shop.store import write_new
from sim.units import S_PER_H

APART = timedelta(hours=20)  # another day, not the hour after: common practice, no source
FOLDER = "attempts"
NOTED = ("hint", "coach", "uncover")
"""What was said in an attempt and goes into the record as well."""


def seed_of(record: Record, lesson: Lesson, part: str) -> int:
    """Seed of the current learner's next attempt at a part: another face each time, alone and in checks.

    Raises
    ------
    BadParam
        An unknown part.
    """
    if part not in PARTS:
        raise BadParam(f"part must be one of {', '.join(PARTS)}, got {part!r}")
    if part == "help":
        return lesson.seeds.help
    first = lesson.seeds.alone if part == "alone" else lesson.seeds.check
    return first + sum(one.part == part for one in record.attempts(lesson.name))


def check_opens(record: Record, lesson: Lesson) -> datetime | None:
    """When the check of a lesson may be made: 20 h after it was first passed alone; None before that."""
    ends = [one.ended for one in record.attempts(lesson.name) if one.part == "alone" and one.passed and one.ended]
    return min(_time(end) for end in ends) + APART if ends else None


def why_not_now(record: Record, lesson: Lesson, part: str, seed: int | None = None) -> str | None:
    """Why a part of a lesson cannot be begun now, in a sentence; None when it can.

    Parameters
    ----------
    seed : int, optional
        Of the face that is asked for; a check has no face that was practised on.
    """
    if part != "check":
        return None
    opens = check_opens(record, lesson)
    if opens is None:
        return f"The check of {lesson.title!r} comes on another day, once it was passed alone."
    left = opens - record.now()
    if left > timedelta(0):
        minutes = -int(-left.total_seconds() // 60)
        return f"The check of {lesson.title!r} comes on another day: {minutes // 60} h {minutes % 60} min are left."
    practised = {one.seed for one in record.attempts(lesson.name) if one.part != "check"}
    if seed in practised:
        return f"The check of {lesson.title!r} has a face that was not practised on, seed {seed} was."
    return None


def refuse_now(record: Record, lesson: Lesson, part: str, seed: int | None = None) -> None:
    """Raise Refused where `why_not_now` has a reason."""
    if why := why_not_now(record, lesson, part, seed):
        raise Refused(why)


def keep_attempt(record: Record, folder: Path, attempt: Attempt, judged: Judged) -> tuple[int, tuple[str, ...]]:
    """Keep an attempt that was ended: in the record, its job logs and its acts in the data folder.

    Parameters
    ----------
    folder : Path
        The data folder, in which the record lies.

    Returns
    -------
    (int, tuple of str)
        Number in the record; names of the job logs, from the data folder on.

    Raises
    ------
    CannotWrite
        A file or the record cannot be written; the attempt then stays in the record as one that was broken off.
    """
    number = record.begin_attempt(attempt.lesson.name, attempt.part, attempt.seed)
    name = f"{number:05d}-{attempt.lesson.name}-{attempt.part}"
    place = folder / FOLDER / name
    files = []
    try:
        place.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise CannotWrite(f"{place}: must be a folder that can be made, got: {error.strerror}") from None
    for n, session in enumerate(attempt.sessions, start=1):
        log = place / f"{attempt.lesson.name}-{n}.job"
        write_new(log, session.log(), force=True)  # without its checkpoint: 12 MB that the log gives again
        files.append(f"{FOLDER}/{name}/{log.name}")
    write_new(place / "acts.json", acts_text(acts_of(attempt)).encode(), force=True)
    note_help(record, number, attempt)
    clock_s = judged.figures["shop_hours"] * S_PER_H
    record.end_attempt(number, judged.figures, judged.passed, judged.merit, clock_s, files=files)
    return number, tuple(files)


def note_help(record: Record, number: int, attempt: Attempt) -> None:
    """Note in the record, under an attempt's number, its hints, what was asked of the coach, what was uncovered."""
    for one in attempt.said:
        if one.kind in NOTED:
            record.note(number, one.kind, {"piece": one.piece, "after": one.after, **one.data})


def _time(text: str) -> datetime:
    return datetime.strptime(text, "%Y-%m-%dT%H:%M:%SZ").replace(tzinfo=UTC)
