"""Calls against the iron: perfect order 100, dealt at random 0, turned over negative, bias kept apart."""

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest

from sim.bench import pieces
from sim.errors import BadParam
from sim.model.face import face_from_heights
from sim.model.marks import Marks
from sim.school.calls import Call, call_score, calls_at_odds, mark_heights, seat_plane, sureness
from sim.seat.compliant import Pose

PITCH = 0.25
SIDE = 8  # cells of a mark; they stand 5 mm apart


def print_of(heights):
    """A row of square marks of 2 mm, each of one height; and where to click them."""
    height = np.full((24, 20 * len(heights)), -9.0)
    marked = np.zeros(height.shape, bool)
    for k, value in enumerate(heights):
        here = slice(8, 8 + SIDE), slice(20 * k + 6, 20 * k + 6 + SIDE)
        height[here], marked[here] = value, True
    places = [(5.0 * k + 2.5, 3.0) for k in range(len(heights))]
    return Marks(marked, np.ones(height.shape, bool), PITCH), height, places


def scored(heights, levels, **more):
    marks, height, places = print_of(heights)
    calls = [Call(*at, level) for at, level in zip(places, levels, strict=True)]
    return call_score(calls, marks, height, **more)


def test_the_bench_uses_the_same_call():
    assert pieces.Call is Call


def test_a_perfect_order_is_a_hundred_and_says_so_in_iron():
    got = scored([3.0, 2.6, 2.0, 0.4], [1, 1, 2, 3])
    assert got.skill == pytest.approx(100.0)
    assert got.inversions == 0
    assert got.mean_high_minus_low_um == pytest.approx(2.4)
    assert got.perfect_um == pytest.approx(2.4)
    assert got.sentence() == "Your highs stood 2.4 µm above your lows; perfect calling would have given 2.4."


@pytest.mark.parametrize("levels", [(1, 3, 3, 3), (1, 1, 2, 3, 3), (1, 2, 2, 3)])
def test_levels_dealt_at_random_score_nothing_on_average(levels):
    heights = [0.1, 1.7, 0.6, 2.9, 2.2][: len(levels)]
    ways = [scored(heights, dealt).skill for dealt in itertools.permutations(levels)]
    assert np.mean(ways) == pytest.approx(0.0, abs=1e-9)
    assert max(ways) == pytest.approx(100.0)


def test_an_order_turned_over_is_negative_and_is_told_as_below():
    got = scored([3.0, 2.0, 1.0], [3, 2, 1])
    assert got.skill < -50.0
    assert got.inversions == got.pairs == 3
    assert got.sentence() == "Your highs stood 2.0 µm below your lows; perfect calling would have given 2.0."


def test_the_figures_of_three_marks_are_those_of_a_hand_reckoning():
    """Heights 0, 1, 3: pairs 1, 3, 2, chance (1 + 3 + 2) / 6 = 1; high on the middle one loses 2 on one pair of two."""
    got = scored([0.0, 1.0, 3.0], [3, 1, 3])
    assert got.loss_um == pytest.approx(1.0)
    assert got.chance_um == pytest.approx(1.0)
    assert got.skill == pytest.approx(0.0)
    assert (got.pairs, got.inversions) == (2, 1)
    assert got.perfect_um == pytest.approx(2.5)
    assert got.mean_high_minus_low_um == pytest.approx(-0.5)


def test_calling_too_many_high_does_not_enter_the_skill_and_is_told_apart():
    heights = [3.0, 2.9, 1.5, 1.0, 0.2]
    shy, bold = scored(heights, [1, 3, 3, 3, 3]), scored(heights, [1, 1, 1, 1, 3])
    assert shy.skill == bold.skill == pytest.approx(100.0)
    assert (shy.share_high, bold.share_high) == pytest.approx((0.2, 0.8))
    assert shy.share_top == bold.share_top == pytest.approx(0.4)


def test_left_standing_is_the_highest_mark_that_was_not_called_high_and_where_it_is():
    got = scored([1.0, 2.0, 2.5, 4.0], [1, 1, 3, 3])
    assert got.left_standing_um == pytest.approx(4.0 - 1.5)
    assert got.left_at_mm == pytest.approx((17.5, 3.0))
    assert got.left_sentence() == "At 18, 3 mm a mark was left that stands 2.5 µm above your highs."


def test_a_mark_that_was_not_called_at_all_is_left_standing_unless_it_lies_outside_the_square():
    marks, height, places = print_of([1.0, 2.0, 0.0, 4.0])
    calls = [Call(*places[0], 1), Call(*places[1], 3)]
    assert call_score(calls, marks, height).left_standing_um == pytest.approx(3.0)
    inside = call_score(calls, marks, height, square_mm=(0.0, 0.0, 10.0))
    assert inside.left_standing_um == pytest.approx(1.0)
    assert inside.left_at_mm == pytest.approx((7.5, 3.0))


def test_nothing_called_high_leaves_nothing_to_compare_with():
    got = scored([1.0, 2.0], [3, 2])
    assert math.isnan(got.left_standing_um)
    assert got.left_sentence() == ""
    assert got.sentence().startswith("Your mediums stood 1.0 µm above your lows")


def test_one_level_alone_has_no_skill():
    got = scored([1.0, 2.0], [1, 1])
    assert math.isnan(got.skill)
    assert "no order" in got.sentence()


def test_a_call_belongs_to_the_mark_under_it_or_to_the_nearest_within_a_millimetre_and_a_half():
    marks, height, _ = print_of([1.0, 2.0])
    known = mark_heights(marks, height)
    assert known.at(2.5, 3.0, PITCH) == 0
    assert known.at(2.5, 3.0 + 1.0 + 1.3, PITCH) == 0
    assert known.at(2.5, 3.0 + 1.0 + 1.8, PITCH) is None
    assert known.at(4.7, 3.0, PITCH) == 0
    assert known.at(5.3, 3.0, PITCH) == 1


def test_calls_on_no_mark_are_counted_apart_and_the_later_of_two_on_one_mark_counts():
    marks, height, places = print_of([1.0, 2.0])
    calls = [Call(*places[0], 1), Call(*places[0], 3), Call(*places[1], 1), Call(2.5, 0.2, 1)]
    got = call_score(calls, marks, height)
    assert (got.called, got.off_marks) == (2, 1)
    assert got.skill == pytest.approx(100.0)
    assert call_score([Call(2.5, 0.2, 1)], marks, height) is None


def test_a_bare_middle_belongs_to_its_ring_with_the_height_of_the_middle():
    marks, height, places = print_of([1.0, 2.0])
    middle = slice(10, 14), slice(8, 12)
    marks.marked[middle] = False
    height[middle] = 5.0
    known = mark_heights(marks, height)
    assert known.height_um == pytest.approx([5.0, 2.0])
    assert known.at(*places[0], PITCH) == 0


def test_the_height_of_a_mark_is_the_95th_percentile_of_its_cells():
    marks, height, _ = print_of([0.0])
    height[marks.marked] = np.arange(64.0)
    assert mark_heights(marks, height).height_um == pytest.approx([np.percentile(np.arange(64.0), 95.0)])


def test_heights_are_taken_over_the_plane_that_the_face_stands_on():
    """A face that hangs by 0.2 um a mm: the marks at the low end stand as high on the plate as those at the other."""
    marks, height, places = print_of([0.0, 0.0, 0.0, 0.0])
    x = (np.arange(height.shape[1]) + 0.5) * PITCH
    calls = [Call(*at, level) for at, level in zip(places, (1, 3, 1, 3), strict=True)]
    told = call_score(calls, marks, height + 0.2 * x, Pose(7.0, 0.2, 0.0, 0.0, 0.0))
    assert told.mean_high_minus_low_um == pytest.approx(0.0, abs=1e-9)
    face = face_from_heights(height + 0.2 * x, pitch_mm=PITCH)
    plane = seat_plane(face)
    assert plane.slope_x == pytest.approx(0.2, abs=0.01)
    face.burr_um[9, 9] = 40.0
    assert seat_plane(face) == plane


def test_how_right_sure_is_is_told_after_thirty_calls_and_by_a_quadratic_rule():
    one = replace(scored([3.0, 2.0, 1.0], [1, 2, 3]), sure_right=7, sure_count=10, unsure_right=2, unsure_count=4)
    assert sureness([one, one]) is None
    told = sureness([one, one, one])
    assert told.sentence() == (
        "When you say sure you are right 70 of 100; when you say not sure you are right 50 of 100.")
    assert told.quadratic == pytest.approx((21 * 0.01 + 9 * 0.81 + 6 * 0.16 + 6 * 0.36) / 42)


def test_sure_is_counted_apart_and_stays_out_of_the_skill():
    marks, height, places = print_of([3.0, 2.0, 1.0, 0.0])
    plain = [Call(*at, level) for at, level in zip(places, (1, 3, 1, 3), strict=True)]
    bold = [call._replace(sure=call.level == 1) for call in plain]
    one, other = call_score(plain, marks, height), call_score(bold, marks, height)
    assert one.skill == other.skill
    assert (other.sure_right, other.sure_count) == (1, 2)
    assert (other.unsure_right, other.unsure_count) == (1, 2)
    assert (one.sure_count, one.unsure_count) == (0, 4)


def test_calls_of_no_level_and_heights_of_another_face_are_refused():
    marks, height, places = print_of([1.0, 2.0])
    with pytest.raises(BadParam, match="level must be 1, 2 or 3"):
        call_score([Call(*places[0], 4)], marks, height)
    with pytest.raises(BadParam, match="shape of the marks"):
        mark_heights(marks, height[1:])


def test_the_calls_at_odds_are_those_that_perfect_calling_would_level_otherwise_the_farthest_off_first():
    marked = np.zeros((40, 160), bool)
    height = np.zeros((40, 160))
    calls = []
    for k, (um, level) in enumerate([(9.0, 3), (6.0, 2), (3.0, 1), (0.0, 1)]):
        marked[10:20, 10 + 30 * k : 20 + 30 * k] = True
        height[10:20, 10 + 30 * k : 20 + 30 * k] = um
        calls.append(Call(0.25 * (15 + 30 * k), 0.25 * 15, level))
    marks = Marks(marked, np.ones_like(marked), 0.25)
    odd = calls_at_odds(calls, marks, height)
    assert [(one.called, one.stood) for one in odd[:2]] in ([(3, 1), (1, 3)], [(1, 3), (3, 1)])
    assert {round(one.under_um) for one in odd[:2]} == {0, 9}
    assert len(calls_at_odds(calls, marks, height, most=1)) == 1
    right = [Call(one.x_mm, one.y_mm, level) for one, level in zip(calls, (1, 1, 2, 3), strict=True)]
    assert calls_at_odds(right, marks, height) == ()
    assert calls_at_odds([Call(39.0, 9.0, 1)], marks, height) == ()
