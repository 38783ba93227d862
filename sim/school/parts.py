"""Which parts of a lesson are open to a learner now, with which seed: a check waits for another day."""

from collections.abc import Mapping
from dataclasses import dataclass

from sim.books.record import Record
from sim.books.rows import Attempt as Row
from sim.school.lesson import PART_WORDS, PARTS, Lesson
from sim.school.turns import seed_of, why_not_now


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


def parts_of(lesson: Lesson, record: Record, asked: Mapping[str, int | None] | None = None) -> list[Part]:
    """The parts with help, alone, and check, as they are for the current learner.

    asked: part to the seed that an assignment asks for; None where any will do.
    """
    rows = record.attempts(lesson.name)
    found = []
    for name in PARTS:
        wanted = (asked or {}).get(name)
        seed = seed_of(record, lesson, name) if wanted is None else wanted
        closed = why_not_now(record, lesson, name, seed) or ""
        found.append(Part(name, seed, closed, _told([one for one in rows if one.part == name])))
    return found


def _told(rows: list[Row]) -> str:
    """How a part went so far."""
    ended = [one for one in rows if not one.unfinished]
    if not ended:
        return "not done yet" if not rows else "begun, not ended"
    passed = any(one.passed for one in ended)
    best = "merit" if any(one.merit for one in ended) else "passed" if passed else "not passed"
    return f"{best}, {len(ended)} {'attempt' if len(ended) == 1 else 'attempts'}"
