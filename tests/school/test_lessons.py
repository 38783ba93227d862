"""Every lesson is kept to its word: done well it passes, done badly it fails for its reason, a beginner does worse."""

import math
from functools import lru_cache

import numpy as np
import pytest

from sim.school.attempt import begin_attempt
from sim.school.checks import CHECKS, judge, steps_done
from sim.school.facts import gather
from sim.school.lessonfile import lesson_files, read_lesson
from sim.school.trials import tried
from sim.school.ways import WAYS, acts, work

NAMES = [path.stem for path in lesson_files()]
QUICK = ("04-first-strokes", "07-hit-what-you-meant")  # the others wait for worked coupons
SLOWEST = ("17-the-whole-stand",)
EACH = [pytest.param(name, marks=() if name in QUICK else pytest.mark.slow) for name in NAMES]
SEEDS = 4


@lru_cache(maxsize=256)
def judged(name, seed, hand="skilled", wrong=False):
    """A lesson done by its model solution, or by its wrong one, and judged from its logs run again."""
    lesson = read_lesson(next(path for path in lesson_files() if path.stem == name))
    return tried(lesson, hand, seed, lesson.wrong if wrong else lesson.model)


def seeds_of(name, count):
    first, last = read_lesson(next(path for path in lesson_files() if path.stem == name)).seeds.trials
    return range(first, min(first + count, last + 1))


def test_there_are_lessons_and_each_uses_what_is_registered():
    assert len(NAMES) >= 13
    for path in lesson_files():
        lesson = read_lesson(path)
        assert lesson.model.way in WAYS
        assert lesson.wrong.way in WAYS
        assert {limit.check for limit in lesson.limits} <= set(CHECKS)
        assert f"{lesson.number:02d}-" == lesson.name[:3]
        assert lesson.wrong.fails in {limit.check for limit in lesson.limits}
        assert len(lesson.wrong.reason) > 10


@pytest.mark.parametrize("name", EACH)
def test_the_model_solution_passes_and_the_wrong_one_fails_for_its_reason(name):
    lesson = read_lesson(next(path for path in lesson_files() if path.stem == name))
    seed = next(iter(seeds_of(name, 1)))
    model, wrong = judged(name, seed), judged(name, seed, wrong=True)
    print(name, {key: round(value, 2) for key, value in model.figures.items()})
    assert model.passed, [row.sentence() for row in model.rows if not row.passed]
    assert not model.merit, "merit is earned in a check alone"
    (row,) = (row for row in wrong.rows if row.check == lesson.wrong.fails)
    assert not row.passed
    assert not wrong.passed


@pytest.mark.slow
@pytest.mark.parametrize("name", [name for name in NAMES if name not in SLOWEST])
def test_a_beginner_does_worse_than_a_skilled_hand(name):
    seeds = seeds_of(name, SEEDS)
    hands = {hand: [judged(name, seed, hand) for seed in seeds] for hand in ("skilled", "beginner")}
    lesson_rows = hands["skilled"][0].rows
    worse = better = 0
    for n, row in enumerate(lesson_rows):
        skilled, beginner = (np.median([one.rows[n].value for one in hands[hand]]) for hand in hands)
        if math.isnan(skilled) or math.isclose(skilled, beginner, rel_tol=1e-9):
            continue
        lower = beginner < skilled
        worse += lower == (row.better == "high")
        better += lower != (row.better == "high")
    passed = {hand: sum(one.passed for one in hands[hand]) for hand in hands}
    print(name, f"worse in {worse} figures, better in {better}; passed {passed}")
    assert passed["beginner"] <= passed["skilled"]
    assert worse > better or passed["beginner"] < passed["skilled"]


STEPPED = ("01-lay-a-film", "04-first-strokes", "07-hit-what-you-meant", "12-count-and-stop")  # of few acts


@pytest.mark.parametrize("name", [pytest.param(name, marks=() if name in QUICK else pytest.mark.slow)
                                  for name in STEPPED])  # fmt: skip
def test_steps_of_the_model_solution_are_done_in_their_order_and_none_before_anything_is(name):
    lesson = read_lesson(next(path for path in lesson_files() if path.stem == name))
    attempt = begin_attempt(lesson, "help", lesson.seeds.help)
    watched = [n for n, step in enumerate(lesson.steps) if step.done is not None]
    first = {}
    assert not any(steps_done(lesson, gather(attempt)))
    for count, _ in enumerate(acts(attempt, lesson.model)):
        done = steps_done(lesson, gather(attempt))
        for n in watched:
            if done[n]:
                first.setdefault(n, count)
    assert sorted(first) == watched, "every step is done"
    assert list(first) == watched, "in their order"


@pytest.mark.slow
@pytest.mark.parametrize("name", [name for name in NAMES if name not in (*STEPPED, *SLOWEST)])
def test_no_step_is_done_before_the_first_act_and_each_by_the_last(name):
    lesson = read_lesson(next(path for path in lesson_files() if path.stem == name))
    attempt = begin_attempt(lesson, "help", lesson.seeds.help)
    assert not any(steps_done(lesson, gather(attempt)))
    work(attempt, lesson.model)
    assert False not in steps_done(lesson, gather(attempt))


@pytest.mark.parametrize("name", QUICK)
def test_an_attempt_gathered_twice_says_the_same(name):
    lesson = read_lesson(next(path for path in lesson_files() if path.stem == name))
    attempt = begin_attempt(lesson, "alone", 33)
    work(attempt, lesson.model)
    assert judge(lesson, gather(attempt)).figures == judge(lesson, gather(attempt)).figures
