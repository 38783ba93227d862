"""What a record adds up to: skill within each level, practice beside check, and the best of each lesson."""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from statistics import median

from sim.books.rows import RESULTS, Answer, Attempt
from sim.books.shopcards import CardResult
from sim.units import counted

GROUP = 8  # answers at one level that make a point of a curve; fewer scatter more than a level is worth
FEW = 6  # below this no skill is reckoned; it is told in words from GROUP on, as the curve is
EMPTY = "Your first finished lesson appears here."
WORSE = "0, worse than guessing"
SIDES = ("practice", "check")
SURE_FROM = 30  # answers that were called sure, before it is told how often they were right


@dataclass(frozen=True)
class Group:
    """Answers of one kind and level, all practised or all kept for checks.

    Attributes
    ----------
    answers : int
    skill : float or None
        100: the best there is, 0: dealt blindly, below: worse. None with fewer than FEW answers, or nothing at stake.
    right_pct : float
        Share that was right.
    seconds : float
        The middle one.
    at : int
        How many answers of this kind, of both sorts, had been given by the last of these.
    when : str
        Of the last.
    """

    kind: str
    level: int
    held_out: bool
    answers: int
    skill: float | None
    right_pct: float
    seconds: float
    at: int
    when: str


@dataclass(frozen=True)
class Side:
    """Practice or check of a kind as it stands: the level of the last answer, and all answers at that level."""

    level: int
    here: Group
    answers: int


@dataclass(frozen=True)
class Standing:
    """A kind of drill as it stands; None for a side without answers."""

    kind: str
    practice: Side | None
    check: Side | None


@dataclass(frozen=True)
class LessonRow:
    """A lesson as it stands.

    best: "merit", "passed" or "tried"; unfinished: attempts that were broken off or go on; last: when begun last;
    clock_s: of the shop, all attempts; figures: of the best attempt that was ended, the last of equal ones.
    """

    lesson: str
    best: str
    attempts: int
    unfinished: int
    last: str
    clock_s: float
    figures: Mapping[str, float]


@dataclass(frozen=True)
class Progress:
    """What is told of: a learner, everything that he attempted, answered and wrote down at a plate, oldest first."""

    learner: str
    attempts: Sequence[Attempt]
    answers: Sequence[Answer]
    cards: Sequence[CardResult] = ()

    @property
    def empty(self) -> bool:
        """True before anything is finished."""
        return not self.answers and not self.cards and all(one.unfinished for one in self.attempts)


def skill(scored: Iterable[tuple[float, float, float]]) -> float | None:
    """Skill of answers (loss, chance, best): 100 (sum chance - sum loss) / (sum chance - sum best).

    0 is blind, 100 the truth; None where nothing was at stake. A ratio of sums, so that an answer weighs what is at
    stake on it. Of one kind and level only: losses of two kinds have two units, and skill at two levels is not one
    thing.
    """
    given = list(scored)
    stake = math.fsum(chance - best for _, chance, best in given)
    if stake <= 1e-12:
        return None
    return 100.0 * math.fsum(chance - loss for loss, chance, _ in given) / stake


def groups(answers: Sequence[Answer], size: int = GROUP) -> list[Group]:
    """Points of the curves: answers of a kind, level and side in their order, `size` to a point; a rest is left."""
    number: dict[str, int] = {}
    waiting: dict[tuple[str, int, bool], list[Answer]] = {}
    made = []
    for one in answers:
        number[one.kind] = number.get(one.kind, 0) + 1
        row = waiting.setdefault((one.kind, one.level, one.held_out), [])
        row.append(one)
        if len(row) == size:
            made.append(_group(row, number[one.kind]))
            row.clear()
    return made


def by_level(answers: Sequence[Answer]) -> list[Group]:
    """All answers of each kind, level and side as one group; by kind, level, practice first."""
    found: dict[tuple[str, int, bool], list[Answer]] = {}
    for one in answers:
        found.setdefault((one.kind, one.level, one.held_out), []).append(one)
    counts = {kind: sum(one.kind == kind for one in answers) for kind in {one.kind for one in answers}}
    return [_group(found[key], counts[key[0]]) for key in sorted(found)]


def standings(answers: Sequence[Answer]) -> list[Standing]:
    """Each kind as it stands, in the order of the first answer of each."""
    here = {(one.kind, one.level, one.held_out): one for one in by_level(answers)}
    found = []
    for kind in dict.fromkeys(one.kind for one in answers):
        sides: list[Side | None] = []
        for held_out in (False, True):
            given = [one for one in answers if one.kind == kind and one.held_out == held_out]
            level = given[-1].level if given else 0
            sides.append(Side(level, here[kind, level, held_out], len(given)) if given else None)
        found.append(Standing(kind, *sides))
    return found


def sureness(answers: Sequence[Answer]) -> str | None:
    """How often a sure answer was right, in a sentence; None before there are 30 of them."""
    sure = [one.right for one in answers if one.sure]
    if len(sure) < SURE_FROM:
        return None
    return f"When you say sure you are right {100.0 * sum(sure) / len(sure):.0f} times of 100 ({len(sure)} answers)."


def lesson_rows(attempts: Sequence[Attempt]) -> list[LessonRow]:
    """Each lesson as it stands, in the order in which they were first begun."""
    rows = []
    for lesson in dict.fromkeys(one.lesson for one in attempts):
        tries = [one for one in attempts if one.lesson == lesson]
        ended = [one for one in tries if not one.unfinished]
        best = max(reversed(ended), key=lambda one: RESULTS.index(one.result), default=None)
        rows.append(LessonRow(
            lesson, best.result if best else "tried", len(tries), len(tries) - len(ended), tries[-1].begun,
            sum(one.clock_s for one in tries), best.figures if best else {}))  # fmt: skip
    return rows


def skill_text(group: Group) -> str:
    """Skill as it is told; how many answers are missing where it cannot be told yet."""
    if group.answers < GROUP:
        return counted(GROUP - group.answers, "more answer")
    return skill_words(group.skill)


def skill_words(value: float | None) -> str:
    """A skill as it is told, whole; below 0 in words."""
    if value is None:
        return "no stake"
    return f"{round(value)}" if round(value) >= 0 else WORSE


def _group(answers: Sequence[Answer], at: int) -> Group:
    first, count = answers[0], len(answers)
    scored = [(one.loss, one.chance, one.best) for one in answers]
    return Group(
        first.kind, first.level, first.held_out, count, skill(scored) if count >= FEW else None,
        100.0 * sum(one.right for one in answers) / count, median(one.seconds for one in answers), at, answers[-1].when,
    )  # fmt: skip
