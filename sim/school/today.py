"""Today's five minutes: which families come, at what level, and when one that is known comes back with a new face."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, Protocol

import numpy as np

from sim.books.record import Answer, stamp
from sim.errors import BadParam
from sim.school.bank import Bank
from sim.school.item import LEVELS, Item, Told, family_of
from sim.school.kinds import KIND_NAMES, is_at_hand, make_item
from sim.school.sitting import MOST_ITEMS, SLOW, is_alike, is_held_out, open_kinds
from sim.school.view import CONDITIONS

SITTING_S = 300.0
BLOCKED = 5  # items of a new kind that come one after the other
UP_AFTER = 3  # right in time, one after the other, before the level rises; one wrong and it falls
KNOWN, OF_LAST, ON_DAYS = 4, 5, 2  # right in time of the last ones, on as many days: the family rests
GAPS_DAYS = (1, 3, 7, 16, 35)
SLOW_FROM, SLOW_APART = 3, 8  # place of a sitting from which the slow kind comes, and how far apart its items are
ACTIVE = 4  # families of a kind and level that are practised at a time: then one is met often enough to be known


class Book(Protocol):
    """What is needed of `sim.books.record.Record`."""

    def now(self) -> datetime:
        """The time, with its zone."""

    def answers(self, kind: str | None = None) -> list[Answer]:
        """Answers of who practises now, oldest first."""

    def add_answer(self, answer: Answer) -> None:
        """Keep one more."""

    def best(self) -> Mapping[str, str]:
        """Lesson to "merit", "passed" or "tried", of who practises now."""


@dataclass(frozen=True)
class FamilyState:
    """Where a family stands: `rests_until` is None while it is practised; `step` counts the rests it has had."""

    family: str
    step: int = 0
    rests_until: date | None = None

    def is_due(self, today: date) -> bool:
        """Whether it rested long enough and comes back."""
        return self.rests_until is not None and today >= self.rests_until


def level_after(answers: Sequence[Answer]) -> int:
    """Level of a kind after these answers of it, oldest first: the staircase, from level 1.

    Up after three right in time, down after one wrong; right but late does neither. Checks, and families of another
    level that came back, do not move it.
    """
    level, row = 1, 0
    for one in answers:
        if one.held_out or one.level != level:
            continue
        if not one.right:
            level, row = max(level - 1, LEVELS[0]), 0
        elif one.within:
            row += 1
            if row == UP_AFTER:
                level, row = min(level + 1, LEVELS[-1]), 0
    return level


def day_of(answer: Answer, now: datetime) -> date:
    """The day of an answer in the zone of `now`."""
    return datetime.fromisoformat(answer.when.replace("Z", "+00:00")).astimezone(now.tzinfo).date()


def family_state(family: str, answers: Sequence[Answer], now: datetime) -> FamilyState:
    """Where a family stands after its answers, oldest first.

    It rests once 4 of its last 5 were right in time on two days; when it is back, one right in time sends it to a
    longer rest, one wrong begins it anew.
    """
    step, until = 0, None
    last: list[tuple[bool, date]] = []
    for one in answers:
        day, good = day_of(one, now), one.right and one.within
        if until is not None:
            if good:
                until, step = day + timedelta(days=GAPS_DAYS[min(step, len(GAPS_DAYS) - 1)]), step + 1
            elif not one.right:
                step, until, last = 0, None, []
            continue
        last = [*last, (good, day)][-OF_LAST:]
        days = {when for ok, when in last if ok}
        if sum(ok for ok, _ in last) >= KNOWN and len(days) >= ON_DAYS:
            until, step = day + timedelta(days=GAPS_DAYS[0]), 1
    return FamilyState(family, step, until)


@dataclass(frozen=True)
class Wanted:
    """What item is wanted, as `make_item` takes it."""

    kind: str
    level: int
    seed: int
    condition: str


class Today:
    """A sitting on a record: five minutes or 24 items, of which at most 24 come in one day.

    Parameters
    ----------
    book : Record
        Read at the start, written by `answer`.
    kinds : sequence of str, optional
        What is mixed; when it is not given, what the learner's lessons and answers have opened.
    check : bool
        Only families that are kept for checks; the level stays.
    bank : Bank, optional
    at_hand : function of Wanted to bool, optional
        Whether an item is made at once.

    Raises
    ------
    BadParam
        No kind, or an unknown one.

    Notes
    -----
    What comes depends on the record and the day alone: the same sitting is planned again until it is answered. What
    was not done yesterday is not added to today. Among other kinds the slow one comes when its next item is at hand
    (`ahead` says which to make), and without that once in 24 items; `plan` goes by the latter alone, so that what is
    made meanwhile does not change it.
    """

    def __init__(self, book: Book, kinds: Sequence[str] | None = None, *, check: bool = False,
                 bank: Bank | None = None, at_hand: Callable[[Wanted], bool] | None = None) -> None:
        if kinds is None:
            passed = [lesson for lesson, result in book.best().items() if result != "tried"]
            kinds = open_kinds(passed, {one.kind for one in book.answers()})
        for kind in kinds:
            if kind not in KIND_NAMES:
                raise BadParam(f"kind must be one of {', '.join(KIND_NAMES)}, got {kind!r}")
        if not kinds:
            raise BadParam("kinds must name at least one kind of drill, got none")
        quick = tuple(kind for kind in kinds if kind != SLOW)
        self._book, self._kinds, self._check, self._bank = book, quick or tuple(kinds), check, bank
        self._is_slow_mixed = bool(quick) and SLOW in kinds
        self._at_hand = at_hand or (lambda one: is_at_hand(one.kind, one.level, one.seed, bank))
        self._answers = list(book.answers())
        self._begun = book.now()
        self._waited_s = 0.0
        self._shown: list[tuple[str, str]] = []  # kind and condition of each item of this sitting
        self.name = f"{stamp(self._begun)} {'check' if check else 'practice'}"

    @property
    def left(self) -> int:
        """Items that may still come today; 0 when the five minutes are over."""
        return 0 if self.remaining_s <= 0.0 else max(MOST_ITEMS - self.given, 0)

    @property
    def remaining_s(self) -> float:
        """What is left of the five minutes, s."""
        spent = (self._book.now() - self._begun).total_seconds() - self._waited_s
        return min(max(SITTING_S - spent, 0.0), SITTING_S)

    def waited(self, seconds: float) -> None:
        """Take off what went by while nothing could be answered, because an item was being made."""
        self._waited_s += max(seconds, 0.0)

    @property
    def day(self) -> date:
        """Today."""
        return self._book.now().date()

    @property
    def given(self) -> int:
        """Answers given today."""
        now = self._book.now()
        return sum(day_of(one, now) == now.date() for one in self._answers)

    def level(self, kind: str) -> int:
        """Level at which a kind stands."""
        return level_after([one for one in self._answers if one.kind == kind])

    def next(self) -> Item | None:
        """The next item, by what was answered so far; None when the sitting, or the day, is full."""
        wanted = self.wanted()
        return None if wanted is None else self._made(wanted)

    def wanted(self) -> Wanted | None:
        """What `next` would make, for who makes it elsewhere; it counts as shown."""
        return self._wanted(self._slow_now()) if self.left > 0 else None

    def ahead(self) -> Wanted | None:
        """An item of the slow kind that may be made while others are answered; None when none is to come."""
        if not self._is_slow_mixed or self.left == 0:
            return None
        one = self._slow_one()
        return None if self._at_hand(one) else one

    def plan(self, items: int, on_item: Callable[[], None] = lambda: None) -> list[Item]:
        """So many items at once, at most as many as are left: for pictures and a file of answers.

        `on_item` is called when one is made.
        """
        count = min(items, self.left)
        wanted = []
        for n in range(count):
            is_slow = self._is_slow_mixed and n == count - 1 and self._since_slow() >= MOST_ITEMS - 1
            wanted.append(self._wanted(self._slow_one() if is_slow else None))
        made = []
        for one in wanted:
            made.append(self._made(one))
            on_item()
        return made

    def answer(self, item: Item, answer: Any, seconds: float | None = None, sure: bool | None = None) -> Told:
        """Tell the truth of an item and keep the answer; without `seconds` it counts as given in time.

        Raises
        ------
        BadParam
            An answer that is not of the item's form; nothing is kept.
        """
        told = item.told(answer)
        took = item.target_s if seconds is None else float(seconds)
        held = is_held_out(item.kind, item.level, item.condition)
        kept = Answer(item.kind, item.level, item.family, held, told.right, took, took <= item.target_s,
                      item.loss(answer), item.chance_of(answer), item.best, sure, item.seed,
                      stamp(self._book.now()), self.name)  # fmt: skip
        self._book.add_answer(kept)
        self._answers.append(kept)
        return told

    # ------------------------------------------------------------ what comes

    def _made(self, wanted: Wanted) -> Item:
        return make_item(wanted.kind, wanted.level, wanted.seed, wanted.condition, bank=self._bank)

    def _wanted(self, slow: Wanted | None) -> Wanted:
        """The next item, which counts as shown: this one of the slow kind, or one of the others."""
        one = slow
        if one is None:
            rng = np.random.default_rng([self._begun.toordinal(), len(self._answers), len(self._shown), 91])
            kind = self._kind(rng)
            level, condition = self._family(kind, rng)
            one = Wanted(kind, level, int(rng.integers(2**31)), condition)
        self._shown.append((one.kind, one.condition))
        return one

    def _slow_now(self) -> Wanted | None:
        """The next item of the slow kind when it may come now: at hand, or at the latest as the last of the day."""
        number, since = len(self._shown), self._since_slow()
        if not self._is_slow_mixed or number < SLOW_FROM or since < SLOW_APART - 1:
            return None
        one = self._slow_one()
        return one if self._at_hand(one) or number == MOST_ITEMS - 1 <= since else None

    def _slow_one(self) -> Wanted:
        """The next item of the slow kind: it hangs on how many came before, not on the day, so it can be made ahead."""
        number = self._kinds_so_far().count(SLOW)
        rng = np.random.default_rng([number, 92])
        level, condition = self._family(SLOW, rng)
        return Wanted(SLOW, level, int(rng.integers(2**31)), condition)

    def _since_slow(self) -> int:
        """Items since the last one of the slow kind, over all days."""
        so_far = self._kinds_so_far()
        return so_far[::-1].index(SLOW) if SLOW in so_far else len(so_far)

    def _kinds_so_far(self) -> list[str]:
        """Kinds of all answers, and of what was shown here and not answered yet."""
        here = sum(one.sitting == self.name for one in self._answers)
        return [one.kind for one in self._answers] + [kind for kind, _ in self._shown[here:]]

    def _kind(self, rng: np.random.Generator) -> str:
        """A new kind until its first five are done, else the one that was shown least lately."""
        for kind in self._kinds:
            before = sum(one.kind == kind for one in self._answers)
            waiting = sum(kind == shown for shown, _ in self._shown) - self._answered_here(kind)
            if 0 < before + waiting < BLOCKED:
                return kind
        shown = [kind for kind, _ in self._shown]
        counts = [shown.count(kind) for kind in self._kinds]
        least = [kind for kind, n in zip(self._kinds, counts, strict=True) if n == min(counts)]
        return least[int(rng.integers(len(least)))]

    def _answered_here(self, kind: str) -> int:
        return sum(one.kind == kind and one.sitting == self.name for one in self._answers)

    def _family(self, kind: str, rng: np.random.Generator) -> tuple[int, str]:
        """Level and condition: what is due first, else one of those in practice, else a new one."""
        now, level = self._book.now(), self.level(kind)
        free = [one for one in CONDITIONS if is_held_out(kind, level, one) == self._check]
        apart = [one for one in free if not self._shown or not is_alike(self._shown[-1][1], one)] or free
        if self._check:
            return level, apart[int(rng.integers(len(apart)))]
        states = self._states(kind, now)
        shown = {family_of(kind, level, condition) for _, condition in self._shown}
        due = sorted((s.rests_until, s.family) for s in states.values()
                     if s.rests_until is not None and s.is_due(now.date()))
        for _, family in due:
            _, own, condition = family.split(" / ")
            if not self._shown or not is_alike(self._shown[-1][1], condition):
                return int(own), condition
        resting = {s.family for s in states.values() if s.rests_until is not None}
        begun = [one for one in free if (name := family_of(kind, level, one)) in states and name not in resting]
        begun = [one for one in begun if one in apart]
        fresh = [one for one in apart if family_of(kind, level, one) not in states]
        again = [one for one in begun if family_of(kind, level, one) not in shown] or begun
        pool = again if again and (len(begun) >= ACTIVE or not fresh or rng.random() < 0.5) else fresh or apart
        return level, pool[int(rng.integers(len(pool)))]

    def _states(self, kind: str, now: datetime) -> dict[str, FamilyState]:
        """Every practised family of a kind."""
        by_family: dict[str, list[Answer]] = {}
        for one in self._answers:
            if one.kind == kind and not one.held_out:
                by_family.setdefault(one.family, []).append(one)
        return {family: family_state(family, rows, now) for family, rows in by_family.items()}
