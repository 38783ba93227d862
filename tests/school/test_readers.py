"""Readers judge the drills: blind ones score nothing, simple ones do worse level by level, better ones score more."""

from itertools import pairwise

import numpy as np
import pytest

from sim.books.standing import skill
from sim.school.kinds import KIND_NAMES, bank_item, make_item
from sim.school.readers import SIMPLE, TUNED, reader_of_error, threshold_reader, tuned_tone

RUNS, ANSWERS = 60, 200
QUICK = tuple(kind for kind in KIND_NAMES if kind != "next")
ERRORS_UM = (0.2, 0.5, 1.0, 2.0)
LEVELS = range(1, 11)
SOME_LEVELS = (1, 4, 7, 10)


def scored(items, reader):
    """(loss, chance, best) of a reader's answer to each item."""
    said = [(item, reader(item)) for item in items]
    return [(item.loss(answer), item.chance_of(answer), item.best) for item, answer in said]


def blind_skills(items, runs=RUNS):
    """Skill of blind answers to 200 items of a bank, run by run."""
    rng = np.random.default_rng(6)
    drawn = [[items[k] for k in rng.integers(len(items), size=ANSWERS)] for _ in range(runs)]
    return np.array([skill(scored(one, lambda item: item.blind(rng))) for one in drawn])


def simple_skills(kind, levels, items):
    """Skill of the fixed simple reader of a kind on each level."""
    return [skill(scored([make_item(kind, level, seed) for seed in range(items)], SIMPLE[kind])) for level in levels]


def ranked_rightly(items, runs, count, errors_um=ERRORS_UM):
    """In how many of 100 runs of `count` items each of these readers scores more than the next."""
    rng = np.random.default_rng(7)
    right = 0
    for run in range(runs):
        part = [items[(run + k * len(items) // count) % len(items)] for k in range(count)]
        found = [skill(scored(part, lambda item, e=e: reader_of_error(item, e, rng))) for e in errors_um]
        right += all(a > b for a, b in pairwise(found))
    return right


@pytest.fixture(scope="module")
def few():
    """Two items of every kind but the slow one, on the levels of other tests: they are in the cache by then."""
    return {kind: [make_item(kind, 3, seed) for seed in (7, 8)] for kind in QUICK}


@pytest.mark.parametrize("kind", QUICK)
def test_blind_answers_to_few_items_average_nothing(few, kind):
    assert abs(blind_skills(few[kind], 20).mean()) <= 3.5, "20 runs: three standard errors of 5 points a run"


def test_a_better_reader_of_heights_is_told_from_a_worse_one_by_few_items():
    items = [make_item(kind, level, 40) for kind in ("highest", "order") for level in SOME_LEVELS]
    assert ranked_rightly(items, 100, len(items), (0.2, 2.0)) >= 95


def test_the_reader_that_takes_the_darkest_falls_below_chance_on_pale_tops():
    easy, hard = simple_skills("highest", (1, 10), 3)
    assert easy > hard + 30.0


@pytest.mark.slow
@pytest.mark.parametrize("kind", KIND_NAMES)
def test_blind_answers_average_within_two_points_over_sixty_runs_of_two_hundred(kind):
    items = [bank_item(kind, n) for n in range(ANSWERS)]
    found = blind_skills(items)
    assert abs(found.mean()) <= 2.0
    assert found.std() <= 8.5, "runs of 200 scatter by 2 to 6, those of kind 8 by 7.2"
    assert np.abs(found).max() <= 4.0 * found.std()
    assert skill(scored(items, lambda item: item.truth)) == pytest.approx(100.0)


@pytest.mark.slow
def test_taking_all_and_taking_none_score_nothing_over_the_whole_bank():
    items = [bank_item("mark", n) for n in range(ANSWERS)]
    assert skill(scored(items, lambda item: list(range(12)))) == pytest.approx(0.0, abs=1e-9)
    assert skill(scored(items, lambda item: [])) == pytest.approx(0.0, abs=1e-9)


@pytest.mark.slow
@pytest.mark.parametrize("kind", KIND_NAMES)
def test_the_fixed_simple_reader_loses_five_points_a_level(kind):
    found = simple_skills(kind, LEVELS, 16)
    slope = np.polyfit(LEVELS, found, 1)[0]
    print(f"{kind}: {np.round(found)} slope {slope:.1f}")
    assert slope <= -5.0


@pytest.mark.slow
def test_a_threshold_reader_tuned_to_one_condition_loses_twenty_points_over_all():
    items = [make_item("count", level, 700 + seed) for level in (1, 2, 3, 4) for seed in range(8)]
    tone, there = tuned_tone(items, TUNED)
    everywhere = skill(scored(items, lambda item: threshold_reader(item, item.pictures[0], tone)))
    assert there > 40.0, "or it was not worth tuning"
    assert everywhere <= there - 20.0


@pytest.mark.slow
def test_readers_of_known_error_are_ranked_rightly_by_four_sittings():
    items = [make_item(kind, level, 500 + seed) for kind in ("highest", "order") for level in LEVELS
             for seed in range(5)][2:98]  # fmt: skip
    print(f"24 items: {ranked_rightly(items, 100, 24)} of 100 runs ranked rightly")
    assert ranked_rightly(items, 100, 96) >= 95
