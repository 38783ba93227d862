"""The exercises on the model: the numbers that the cards tell, and that they bear out the words beside them."""

import re

import numpy as np
import pytest

from sim.errors import BadParam
from sim.school.cards import NAMES, cards
from sim.school.exercises import LAY_DEG, RUNS, simulate

NOT_IN_THE_MODEL = {("pivot", "length"), ("raking", "lamp_height")}


def test_each_card_has_its_exercise():
    assert tuple(RUNS) == NAMES


def test_every_number_in_the_words_of_a_card_is_computed_and_every_field_has_one_but_what_the_model_lacks():
    for card in cards():
        numbers = simulate(card.name).numbers
        asked = {key for words in card.says for key in re.findall(r"\{(\w+)\}", words)}
        assert asked <= set(numbers)
        assert {(card.name, one.key) for one in card.fields if one.key not in numbers} <= NOT_IN_THE_MODEL
        assert all(one.low <= numbers[one.key] <= one.high for one in card.fields if one.key in numbers)
        assert not re.search(r"[{}]|nan", " ".join(card.told(numbers)))


def test_more_film_shows_more_blue_and_the_heavy_one_hides_the_marks():
    got = simulate("films").numbers
    assert got["bearing_heavy"] > got["bearing_normal"] > got["bearing_thin"]
    assert got["marks_heavy"] < got["marks_thin"] < got["marks_normal"]


def test_rubbing_bares_more_of_the_middles_and_the_blue_share_settles():
    got = simulate("rub").numbers
    assert got["bare_1"] < got["bare_3"] < got["bare_10"]
    assert got["bearing_10"] - got["bearing_3"] < 0.5 * (got["bearing_3"] - got["bearing_1"])
    assert abs(got["pale_10"] - got["pale_1"]) <= 3


def test_marks_stay_with_the_part_on_a_good_plate_and_not_all_of_them_on_a_worn_one():
    got = simulate("turn").numbers
    assert got["same"] == got["same_worn"] == got["turned"] == 10
    assert got["turned_worn"] < 9


def test_the_stone_lets_the_part_down():
    got = simulate("stone").numbers
    assert got["bearing_after"] > 1.3 * got["bearing_before"]
    assert got["marks_after"] > got["marks_before"]
    assert got["gone"] <= 2


def test_a_crowned_bar_turns_near_its_middle_a_hollow_one_near_its_far_end_an_even_one_between():
    got = simulate("pivot").numbers
    assert got["crowned"] == pytest.approx(50.0, abs=5.0)
    assert got["hollow"] < 5.0
    assert got["even"] == pytest.approx(100.0 * (1.0 - 1.0 / np.sqrt(2.0)), abs=4.0)  # of a thin uniform bar


def test_a_rule_counts_alike_each_time_and_another_rule_counts_otherwise():
    got = simulate("count").numbers
    assert got["count_1"] == got["count_2"] == got["count_3"]
    assert got["from_half"] > got["count_1"] > got["from_two"]
    assert got["least_moved"] <= got["count_moved"] <= got["most_moved"]


def test_the_reader_of_bare_middles_stands_higher_than_the_reader_of_dark_marks():
    got = simulate("readers").numbers
    assert got["height_best"] <= got["height_a"] < got["height_b"] - 0.5
    assert got["bearing_b"] > got["bearing_a"]
    assert got["agree"] <= 2


def test_a_lamp_across_the_strokes_shows_them_and_crossed_work_shows_them_less():
    got = simulate("raking").numbers
    assert got["plainest"] == pytest.approx(LAY_DEG + 90.0, abs=5.0)
    assert got["faintest"] == pytest.approx(LAY_DEG, abs=5.0)
    assert got["ratio"] > 1.5 > got["ratio_crossed"] >= 1.0


def test_what_is_marked_on_a_picture_lies_in_it():
    for name in NAMES:
        for shot in simulate(name).shots:
            across, up = shot.size_mm
            assert shot.seen.dtype == np.uint8
            assert all(0.0 <= x <= across and 0.0 <= y <= up for x, y in (*shot.places_mm, *shot.dots_mm))
            assert shot.square_mm is None or 0.0 <= shot.square_mm[0] <= across - shot.square_mm[2]


def test_an_exercise_of_no_card_is_refused():
    with pytest.raises(BadParam, match="a card must be one of films"):
        simulate("bingo")
