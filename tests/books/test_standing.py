"""What a record adds up to: skill by what was at stake, never across levels; the best of each lesson."""

from dataclasses import replace

import numpy as np
import pytest

from sim.books.record import Answer, Attempt
from sim.books.standing import WORSE, by_level, groups, lesson_rows, skill, skill_text, standings, sureness

GIVEN = Answer("highest", 3, "f", False, True, 4.0, True, 0.0, 2.0, 0.0, None, 1, "2026-03-04T10:20:30Z", "a")
TRIED = Attempt(1, "Ada", "crown", "alone", 1, 9, "2026-03-04T10:00:00Z", "2026-03-04T11:00:00Z", False, False, 60.0)


def test_the_truth_is_100_a_blind_answer_0_and_worse_is_below():
    assert skill([(0.0, 2.0, 0.0)]) == 100.0
    assert skill([(2.0, 2.0, 0.0)]) == 0.0
    assert skill([(3.0, 2.0, 0.0)]) == -50.0
    assert skill([(0.5, 2.0, 0.5)]) == 100.0
    assert skill([]) is None
    assert skill([(0.0, 0.0, 0.0)]) is None


def test_an_answer_weighs_what_is_at_stake_on_it():
    assert skill([(0.0, 2.0, 0.0), (0.02, 0.01, 0.0)]) == pytest.approx(100.0 * (2.01 - 0.02) / 2.01)


def test_blind_answers_come_to_nought_on_average():
    luck = np.random.default_rng(4)
    runs = []
    for _ in range(60):
        heights = luck.normal(size=(200, 4))
        best = heights.max(axis=1)
        picked = heights[np.arange(200), luck.integers(4, size=200)]
        chance = (best[:, None] - heights).mean(axis=1)
        runs.append(skill((float(b - p), float(c), 0.0) for b, p, c in zip(best, picked, chance, strict=True)))
    assert abs(np.mean(runs)) < 2.0  # 60 runs that scatter by 5 to 6 each: three times 0.7


def test_a_curve_has_a_point_for_every_so_many_answers_of_one_level_and_side():
    answers = [replace(GIVEN, level=3 + n % 2, held_out=n % 10 == 0, seconds=float(n)) for n in range(60)]
    found = groups(answers, 12)
    assert [(one.level, one.held_out, one.at) for one in found] == [(4, False, 24), (3, False, 29), (4, False, 48),
                                                                    (3, False, 59)]  # fmt: skip
    assert all(one.answers == 12 and one.skill == 100.0 for one in found)
    assert found[0].seconds == 12.0


def test_levels_and_sides_are_never_added_up():
    rows = ((3, False, 0.0), (4, False, 2.0), (4, True, 1.0))
    answers = [replace(GIVEN, level=level, held_out=held, loss=loss) for level, held, loss in rows for _ in range(6)]
    told = [(one.level, one.held_out, one.skill, one.answers) for one in by_level(answers)]
    assert told == [(3, False, 100.0, 6), (4, False, 0.0, 6), (4, True, 50.0, 6)]


def test_fewer_than_six_answers_tell_no_skill():
    assert by_level([GIVEN] * 5)[0].skill is None
    assert by_level([GIVEN] * 6)[0].skill == 100.0


def test_a_kind_stands_at_the_level_of_its_last_answer_on_each_side():
    answers = [replace(GIVEN, level=level) for level in (3, 3, 4, 3)] + [replace(GIVEN, kind="count", held_out=True)]
    first, second = standings(answers)
    assert (first.kind, first.practice.level, first.practice.answers, first.check) == ("highest", 3, 4, None)
    assert first.practice.here.answers == 3
    assert (second.kind, second.practice, second.check.level) == ("count", None, 3)


def test_sure_answers_are_told_from_thirty_on():
    answers = [replace(GIVEN, sure=True, right=n % 4 > 0) for n in range(30)] + [replace(GIVEN, sure=False)] * 9
    assert sureness(answers) == "When you say sure you are right 73 times of 100 (30 answers)."
    assert sureness(answers[1:]) is None


def test_a_lesson_shows_its_best_attempt_and_what_was_broken_off():
    rows = lesson_rows([
        replace(TRIED, passed=True, figures={"flat_um": 3.0}), replace(TRIED, merit=True, figures={"flat_um": 2.0}),
        replace(TRIED, figures={"flat_um": 9.0}), replace(TRIED, ended=None, begun="2026-03-05T10:00:00Z", clock_s=0.0),
        replace(TRIED, lesson="hollow", ended=None),
    ])  # fmt: skip
    crown, hollow = rows
    assert (crown.best, crown.attempts, crown.unfinished, crown.clock_s) == ("merit", 4, 1, 180.0)
    assert (crown.figures, crown.last) == ({"flat_um": 2.0}, "2026-03-05T10:00:00Z")
    assert (hollow.lesson, hollow.best, hollow.unfinished, hollow.figures) == ("hollow", "tried", 1, {})


@pytest.mark.parametrize(("count", "loss", "words"), [
    (5, 0.0, "3 more answers"), (7, 0.0, "1 more answer"), (8, 0.0, "100"), (8, 2.01, "0"), (8, 4.8, WORSE),
])  # fmt: skip
def test_skill_is_told_from_as_many_answers_as_the_curve_and_below_0_in_words(count, loss, words):
    group = by_level([replace(GIVEN, loss=loss)] * count)[0]
    assert skill_text(group) == words
    assert (words == WORSE) == (group.skill is not None and group.skill < -1.0), "the figure itself is not clipped"
