"""Which parts of a lesson are open to a learner now, with which seed: a check waits for another day."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from sim.books.record import Record
from sim.books.rows import Attempt as Row
from sim.school.lesson import PART_WORDS, PARTS, Lesson

ANOTHER_DAY = timedelta(hours=20)


@dataclass(frozen=True)
class Part:
    """A part of a lesson: its seed now, why it is not open (empty: it is), and how it went so far."""

    name: str
    seed: int
    closed: str
    told: str

    @property
    def words(self) -> str:
        """What it is called."""
        return PART_WORDS[self.name]


def parts_of(lesson: Lesson, record: Record, now: datetime) -> list[Part]:
    """The parts with help, alone, and check, as they are for the current learner."""
    rows = record.attempts(lesson.name)
    found = []
    for name in PARTS:
        mine = [one for one in rows if one.part == name]
        closed = _closed(rows, now) if name == "check" else ""
        found.append(Part(name, seed_of(lesson, name, len(mine)), closed, _told(mine)))
    return found


def seed_of(lesson: Lesson, part: str, before: int) -> int:
    """Seed of an attempt after so many others: with help the same face each time, else another."""
    seeds = lesson.seeds
    return {"help": seeds.help, "alone": seeds.alone + before, "check": seeds.check + before}[part]


def _closed(rows: list[Row], now: datetime) -> str:
    """Why the check is not open yet; empty when it is."""
    passed = [_when(one.ended) for one in rows if one.part == "alone" and one.passed and one.ended]
    if not passed:
        return "The check comes after Alone is passed, on another day."
    left = min(passed) + ANOTHER_DAY - now
    if left <= timedelta(0):
        return ""
    minutes = -(-int(left.total_seconds()) // 60)
    return f"The check is for another day: in {minutes // 60} h {minutes % 60:02d} min."


def _told(rows: list[Row]) -> str:
    """How a part went so far."""
    ended = [one for one in rows if not one.unfinished]
    if not ended:
        return "not done yet" if not rows else "begun, not ended"
    passed = any(one.passed for one in ended)
    best = "merit" if any(one.merit for one in ended) else "passed" if passed else "not passed"
    return f"{best}, {len(ended)} {'attempt' if len(ended) == 1 else 'attempts'}"


def _when(text: str) -> datetime:
    return datetime.fromisoformat(text.replace("Z", "+00:00"))
