"""Today's five minutes: levels by staircase, new kinds in a block, families that rest and come back, 24 items a day."""

from collections import Counter
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import numpy as np
import pytest

from sim import paths
from sim.books.record import Answer, Record, stamp
from sim.errors import BadParam
from sim.school import today
from sim.school.item import Told, family_of
from sim.school.kinds import KIND_NAMES
from sim.school.sitting import LESSON_OF, QUICK_KINDS, is_alike, is_held_out, open_kinds
from sim.school.today import GAPS_DAYS, SLOW_APART, SLOW_FROM, Today, family_state, level_after
from sim.school.view import CONDITIONS

MORNING = datetime(2026, 3, 2, 7, 0, tzinfo=UTC)
KINDS = ("highest", "order", "film")
OPEN = next(c for c in CONDITIONS if not is_held_out("highest", 1, c))


def said(right=True, *, within=True, level=1, held_out=False, day=0, kind="highest"):
    when = stamp(MORNING + timedelta(days=day))
    return Answer(kind, level, family_of(kind, level, OPEN), held_out, right, 5.0, within, 0.0, 1.0, 0.0, None, 1,
                  when, "a")  # fmt: skip


def rests_for(answers):
    """Days from the last answer until the family comes back; None while it is practised."""
    now = MORNING + timedelta(days=400)
    until = family_state("f", answers, now).rests_until
    return None if until is None else (until - today.day_of(answers[-1], now)).days


@dataclass
class Stub:
    """An item without iron: right when the answer says so."""

    kind: str
    level: int
    seed: int
    condition: str
    target_s: float = 10.0
    best: float = 0.0

    @property
    def family(self):
        return family_of(self.kind, self.level, self.condition)

    def loss(self, answer):
        return 0.0 if answer else 1.0

    def chance_of(self, answer):
        return 0.5

    def told(self, answer):
        return Told(bool(answer), "So it is.", (), True)


class Clock:
    """A clock that is moved by hand."""

    def __init__(self):
        self.at = MORNING

    def __call__(self):
        return self.at


@pytest.fixture
def clock(monkeypatch):
    monkeypatch.setattr(today, "make_item", lambda kind, level, seed, named, **_: Stub(kind, level, seed, named))
    return Clock()


@pytest.fixture
def book(tmp_path, clock):
    with Record.open(tmp_path, now=clock) as record:
        yield record


def work(book, clock, *, right=lambda item: True, seconds=5.0, **options):
    """A sitting until nothing comes any more; its items."""
    sat, done = Today(book, KINDS, **options), []
    while (item := sat.next()) is not None:
        sat.answer(item, right(item), seconds)
        clock.at += timedelta(seconds=seconds)
        done.append(item)
    return done


def test_three_right_in_time_raise_the_level_and_one_wrong_lowers_it():
    assert level_after([said()] * 2) == 1
    assert level_after([said()] * 3) == 2
    assert level_after([said(within=False)] * 9) == 1
    assert level_after([said()] * 3 + [said(level=2)] * 3) == 3
    assert level_after([said()] * 3 + [said(False, level=2)]) == 1
    assert level_after([said(False)] * 3) == 1, "there is none below the first"
    assert level_after([said()] * 3 + [said(False, level=2, held_out=True)]) == 2, "a check does not move it"
    assert level_after([said()] * 3 + [said(False, level=1)]) == 2, "nor does a family of another level"


def test_the_staircase_settles_where_about_four_of_five_are_right():
    rng, answers, level = np.random.default_rng(4), [], 1
    for _ in range(400):
        answers.append(said(bool(rng.random() < 1.04 - 0.06 * level), level=level))
        level = level_after(answers)
    share = sum(one.right for one in answers[100:]) / 300
    assert 0.7 < share < 0.87, "300 answers: two standard errors are 0.05"


def test_a_family_rests_after_four_of_five_right_in_time_on_two_days():
    assert rests_for([said(day=0)] * 5) is None, "all on one day"
    assert rests_for([said(day=0)] * 2 + [said(day=1)] * 2) == GAPS_DAYS[0]
    assert rests_for([said(day=0)] * 3 + [said(False, day=1), said(day=1)]) == GAPS_DAYS[0]
    assert rests_for([said(day=0)] * 2 + [said(False, day=1)] * 2 + [said(day=1)]) is None
    assert rests_for([said(day=0)] * 2 + [said(within=False, day=1)] * 2) is None, "too slow"


def test_it_comes_back_after_one_three_seven_sixteen_and_thirtyfive_days():
    answers, day, gaps = [said(day=0)] * 3 + [said(day=1)], 1, []
    for _ in range(6):
        gaps.append(rests_for(answers))
        day += gaps[-1]
        answers.append(said(day=day))
    assert gaps == [1, 3, 7, 16, 35, 35]


def test_one_wrong_when_it_is_back_begins_it_anew():
    answers = [said(day=0)] * 3 + [said(day=1), said(day=2), said(False, day=5)]
    assert rests_for(answers) is None
    assert family_state("f", answers, MORNING).step == 0


def test_a_sitting_ends_after_five_minutes_or_twentyfour_items_and_a_day_after_twentyfour(book, clock):
    assert len(work(book, clock)) == 24
    assert work(book, clock) == [], "the day is full"
    clock.at = MORNING + timedelta(days=1)
    assert len(work(book, clock, seconds=60.0)) == 5, "five minutes"


def test_nothing_piles_up_over_days_without_practice(book, clock):
    for day in (0, 1):
        clock.at = MORNING + timedelta(days=day)
        work(book, clock)
    clock.at = MORNING + timedelta(days=90)
    assert len(work(book, clock)) == 24


def test_the_first_five_of_a_new_kind_come_in_a_block_and_then_kinds_are_mixed(book, clock):
    kinds = [item.kind for item in work(book, clock)]
    blocks = [kinds[k : k + 5] for k in (0, 5, 10)]
    assert [len(set(block)) for block in blocks] == [1, 1, 1]
    assert {block[0] for block in blocks} == set(KINDS)
    clock.at += timedelta(days=1)
    mixed = [item.kind for item in work(book, clock)]
    assert set(Counter(mixed).values()) == {8}
    assert len(set(mixed[:3])) == 3


def test_practice_never_meets_what_is_kept_for_checks_and_checks_meet_nothing_else(book, clock):
    seen = []
    for day in range(8):
        clock.at = MORNING + timedelta(days=day)
        seen += work(book, clock)
    assert len(seen) == 8 * 24
    assert not [one for one in seen if is_held_out(one.kind, one.level, one.condition)]
    clock.at = MORNING + timedelta(days=9)
    levels = {kind: Today(book, KINDS).level(kind) for kind in KINDS}
    checked = work(book, clock, right=lambda item: False, check=True)
    assert checked
    assert all(is_held_out(one.kind, one.level, one.condition) for one in checked)
    assert {kind: Today(book, KINDS).level(kind) for kind in KINDS} == levels


def test_neighbours_share_neither_pigment_nor_lamp(book, clock):
    items = work(book, clock)
    assert not [pair for pair in pairwise(items) if is_alike(pair[0].condition, pair[1].condition)]


def test_a_family_that_is_known_comes_back_with_a_new_face_when_it_is_due(book, clock):
    met = {}
    for day in range(12):
        clock.at = MORNING + timedelta(days=day)
        for item in work(book, clock, right=lambda item: item.level < 2):
            met.setdefault(item.family, []).append((day, item.seed))
    again = [rows for rows in met.values() if len({day for day, _ in rows}) > 2]
    assert again
    assert all(len({seed for _, seed in rows}) == len(rows) for rows in met.values()), "never the same face"


def test_the_same_sitting_is_planned_until_it_is_answered(book, clock):
    one, two = ([(i.kind, i.seed, i.condition) for i in Today(book, KINDS).plan(6)] for _ in range(2))
    assert one == two
    sat = Today(book, KINDS)
    for item in sat.plan(6):
        sat.answer(item, True)
    assert [(i.kind, i.seed, i.condition) for i in Today(book, KINDS).plan(6)] != one


def test_an_answer_is_kept_with_its_chance_its_time_and_its_sitting(book, clock):
    sat = Today(book, ("film",))
    sat.answer(sat.next(), False, seconds=12.5, sure=True)
    kept = book.answers()[-1]
    assert (kept.kind, kept.right, kept.within, kept.seconds) == ("film", False, False, 12.5)
    assert (kept.loss, kept.chance, kept.best) == (1.0, 0.5, 0.0)
    assert kept.sitting == sat.name
    assert kept.sure is True


@pytest.mark.parametrize("kinds", [(), ("smell",)])
def test_no_kind_or_an_unknown_one_is_refused(book, kinds):
    with pytest.raises(BadParam, match="kind"):
        Today(book, kinds)


def test_what_is_wanted_is_what_the_next_item_would_be_and_waiting_for_it_is_not_of_the_five_minutes(book, clock):
    wanted, item = Today(book, KINDS).wanted(), Today(book, KINDS).next()
    assert (wanted.kind, wanted.level, wanted.seed, wanted.condition) == (
        item.kind, item.level, item.seed, item.condition)  # fmt: skip
    sat = Today(book, KINDS)
    clock.at += timedelta(seconds=400)
    assert (sat.remaining_s, sat.left, sat.wanted()) == (0.0, 0, None)
    sat.waited(150.0)
    assert (sat.remaining_s, sat.left) == (50.0, 24)
    sat.waited(-500.0)
    assert sat.remaining_s == 50.0, "nobody waits backwards"


# ---------------------------------------------------------------- what lessons open, and the kind that is slow to make


def passes(book, lesson, result=True):
    book.end_attempt(book.begin_attempt(lesson, "alone", 1), {}, result, False, 60.0)


def met(book, **options):
    """Kinds of one sitting of 24 in which every item is answered."""
    sat, kinds = Today(book, **options), []
    while (item := sat.next()) is not None:
        sat.answer(item, True, 1.0)
        kinds.append(item.kind)
    return kinds


def test_every_kind_waits_for_a_lesson_that_there_is():
    assert set(LESSON_OF) == set(KIND_NAMES)
    assert all((paths.lessons() / f"{lesson}.toml").is_file() for lesson in LESSON_OF.values())


def test_without_a_passed_lesson_the_marks_come_and_every_passed_one_opens_its_kinds(book, clock):
    assert set(met(book)) == {"highest", "order"}
    for number, kind in enumerate(("form", "direction", "mark", "film", "count"), start=1):
        clock.at = MORNING + timedelta(days=number)
        passes(book, LESSON_OF[kind], result=False)
        assert kind not in met(book), "tried is not passed"
        clock.at += timedelta(days=100)
        passes(book, LESSON_OF[kind])
        assert kind in met(book)


def test_a_kind_that_was_begun_stays_and_a_kind_that_is_asked_for_comes_without_a_lesson(book, clock):
    for kind in KIND_NAMES:
        assert Today(book, (kind,)).next().kind == kind
    sat = Today(book, ("count",))
    sat.answer(sat.next(), False, 5.0)
    assert "count" in met(book)
    assert open_kinds((), ("count",)) == ("highest", "order", "count")


def test_the_slow_kind_opens_with_its_lesson_or_after_all_others_were_begun():
    assert "next" in open_kinds((LESSON_OF["next"],), ())
    assert "next" in open_kinds((), QUICK_KINDS)
    assert "next" not in open_kinds((), QUICK_KINDS[1:])
    assert "next" not in open_kinds((LESSON_OF["form"],), ())


def test_the_slow_kind_comes_when_it_is_at_hand_apart_from_itself_and_without_that_once_in_a_sitting(book, clock):
    passes(book, LESSON_OF["next"])
    ready = met(book, at_hand=lambda one: True)
    places = [n for n, kind in enumerate(ready) if kind == "next"]
    assert places[0] >= SLOW_FROM
    assert all(b - a >= SLOW_APART for a, b in pairwise(places))
    assert len(places) >= 2
    clock.at += timedelta(days=1)
    assert met(book, at_hand=lambda one: False).count("next") == 1
    clock.at += timedelta(days=1)
    planned = [item.kind for item in Today(book, at_hand=lambda one: True).plan(24)]
    assert planned == [item.kind for item in Today(book, at_hand=lambda one: False).plan(24)], "what is at hand is luck"
    assert planned.count("next") == 1


def test_short_sittings_meet_the_slow_kind_too(book, clock):
    passes(book, LESSON_OF["next"])
    kinds = []
    for day in range(8):
        clock.at = MORNING + timedelta(days=day)
        sat = Today(book)
        for item in sat.plan(7):
            sat.answer(item, True, 1.0)
            kinds.append(item.kind)
    assert kinds.count("next") == 2, "once in 24 items, and 56 were answered"


def test_what_is_made_ahead_is_what_comes_and_nothing_is_where_nothing_will_come(book, clock):
    assert Today(book).ahead() is None, "before its lesson"
    assert Today(book, ("next",)).ahead() is None, "asked for by name it comes as any other"
    passes(book, LESSON_OF["next"])
    made = set()
    sat = Today(book, at_hand=lambda one: (one.level, one.seed) in made)
    ahead = sat.ahead()
    assert ahead.kind == "next"
    clock.at += timedelta(days=3)
    later = Today(book, at_hand=lambda one: (one.level, one.seed) in made)
    assert (later.ahead().level, later.ahead().seed) == (ahead.level, ahead.seed), "on another day as well"
    made.add((ahead.level, ahead.seed))
    assert later.ahead() is None
    came = []
    while (item := later.next()) is not None:
        later.answer(item, True, 1.0)
        came += [(item.level, item.seed)] * (item.kind == "next")
    assert came[0] == (ahead.level, ahead.seed)
    assert len(set(came)) == len(came)
