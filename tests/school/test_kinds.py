"""The eight kinds of drills: what the truth, a blind answer and a wrong one cost, on real simulated iron."""

import numpy as np
import pytest

from sim.errors import BadParam
from sim.school.item import skill
from sim.school.kinds import KIND_NAMES, make_item
from sim.school.view import CONDITIONS

QUICK = tuple(kind for kind in KIND_NAMES if kind != "next")  # `next` runs each act eight times
BLIND = 4000  # blind answers an item: their mean scatters by 2 % of the spread


@pytest.fixture(scope="module", params=QUICK)
def item(request):
    return make_item(request.param, 3, 7)


def test_the_truth_costs_nothing_and_is_right(item):
    assert item.loss(item.truth) == pytest.approx(item.best, abs=1e-9)
    assert item.right(item.truth)
    assert item.chance > item.best


def test_blind_answers_cost_on_average_what_chance_says(item):
    rng = np.random.default_rng(5)
    said = [item.blind(rng) for _ in range(BLIND)]
    left = np.array([item.chance_of(one) - item.loss(one) for one in said])
    assert abs(left.mean()) < 4.0 * left.std() / np.sqrt(BLIND) + 1e-9


def test_the_same_item_is_made_again_and_another_seed_makes_another_face(item):
    again, other = make_item(item.kind, 3, 7), make_item(item.kind, 3, 8)
    assert again.facts == item.facts
    assert np.array_equal(again.pictures[0].rgb, item.pictures[0].rgb)
    assert other.facts != item.facts


def test_what_does_not_matter_changes_the_picture_and_never_the_truth(item):
    here = CONDITIONS.index(item.condition)
    elsewhere = make_item(item.kind, 3, 7, CONDITIONS[(here + 5) % len(CONDITIONS)])
    assert elsewhere.truth == item.truth
    assert not np.array_equal(elsewhere.pictures[0].rgb, item.pictures[0].rgb)


def test_after_an_answer_one_sentence_says_why_with_figures(item):
    told = item.told(item.blind(np.random.default_rng(1)))
    assert told.sentence.endswith(".")
    assert any(sign.isdigit() for sign in told.sentence)
    assert "!" not in told.sentence


def test_an_answer_of_another_form_is_one_clear_line(item):
    with pytest.raises(BadParam, match=r"got"):
        item.loss({"none": "of these"})


def test_taking_all_and_taking_none_score_nothing_on_false_marks():
    items = [make_item("mark", level, 30 + level) for level in (2, 5, 8)]
    every = [list(range(len(one.form.points_mm))) for one in items]
    for answers in (every, [[] for _ in items]):
        scored = [(one.loss(said), one.chance_of(said), one.best) for one, said in zip(items, answers, strict=True)]
        lost, chance, _ = np.array(scored).sum(axis=0)
        assert lost == pytest.approx(chance)


def test_the_skill_of_the_truth_is_100_and_of_chance_0():
    assert skill([(0.0, 2.0, 0.0), (0.0, 1.0, 0.0)]) == 100.0
    assert skill([(2.0, 2.0, 0.0), (1.0, 1.0, 0.0)]) == 0.0


UNKNOWN = [("smell", 1, None), ("highest", 0, None), ("order", 1, "fog")]


@pytest.mark.parametrize(("kind", "level", "condition"), UNKNOWN)
def test_an_unknown_kind_level_or_condition_is_refused(kind, level, condition):
    with pytest.raises(BadParam, match="must be"):
        make_item(kind, level, 1, condition)


@pytest.mark.slow
def test_what_next_is_judged_by_the_same_shop_time_and_the_best_act_costs_nothing():
    one = make_item("next", 3, 7)
    assert one.loss(one.truth) == pytest.approx(0.0, abs=1e-9)
    options = one.form.options
    assert sum(one.loss(name) for name in options) / len(options) == pytest.approx(one.chance)
