"""A hand strays as much as it is said to, and its luck belongs to the round."""

import numpy as np
import pytest

from sim.hands.skill import HANDS, Hand, lay

COUNT = 20_000  # a standard deviation is known to 0.5 %
MOST_APART = 0.03


def meant(count=COUNT):
    """Strokes of 5 mm in any direction, 60 N."""
    rng = np.random.default_rng(5)
    at, turn = rng.uniform(0.0, 100.0, (count, 2)), rng.uniform(0.0, 2.0 * np.pi, count)
    half = 2.5 * np.column_stack([np.cos(turn), np.sin(turn)])
    return np.column_stack([at - half, at + half, np.full(count, 60.0)])


def test_a_hand_of_no_scatter_makes_what_was_meant():
    strokes = meant(500)
    made = lay(strokes, Hand(depth_scatter=0.0, drift_mm=0.0, direction_deg=0.0, style=0.0), 1, 1)
    np.testing.assert_allclose(made, strokes, rtol=0.0, atol=1e-12)


@pytest.mark.parametrize("name", HANDS)
def test_scatter_drift_and_direction_come_out_as_stated(name):
    hand, strokes = HANDS[name], meant()
    made = lay(strokes, hand, 3, 7)
    miss = 0.5 * (made[:, :2] + made[:, 2:4]) - 0.5 * (strokes[:, :2] + strokes[:, 2:4])
    before, after = (rows[:, 2:4] - rows[:, :2] for rows in (strokes, made))
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    turn_deg = np.degrees(np.arctan2(cross, (before * after).sum(axis=1)))
    # depth goes as push^1.25 around a finishing stroke, so its spread is 1.25 times that of the push
    depth_spread = 1.25 * made[:, 4].std() / made[:, 4].mean()
    drift_mm = miss.std(axis=0)
    print(f"\n{name}: drift {drift_mm.round(3)} mm, direction {turn_deg.std():.2f} deg, depth {depth_spread:.3f}")
    np.testing.assert_allclose(drift_mm, hand.drift_mm, rtol=MOST_APART)
    assert turn_deg.std() == pytest.approx(hand.direction_deg, rel=MOST_APART)
    assert depth_spread == pytest.approx(hand.depth_scatter, rel=MOST_APART)
    np.testing.assert_allclose(miss.mean(axis=0), 0.0, atol=5.0 * hand.drift_mm / COUNT**0.5)
    np.testing.assert_allclose(np.hypot(*after.T), 5.0, rtol=1e-12)  # as long as meant


def test_a_persons_push_is_one_draw_a_job():
    one = [lay(meant(), HANDS["skilled"], 3, round_)[:, 4].mean() for round_ in (1, 9)]
    others = [lay(meant(), HANDS["skilled"], seed, 1)[:, 4].mean() for seed in range(20)]
    assert one[0] == pytest.approx(one[1], rel=0.005)
    assert np.std(others) / np.mean(others) > 0.05


@pytest.mark.parametrize("in_round_3", [0, 1, 700])
def test_luck_in_round_4_does_not_know_what_was_made_in_round_3(in_round_3):
    strokes, hand = meant(50), HANDS["beginner"]
    wanted = lay(strokes, hand, 2, 4)
    lay(meant(in_round_3), hand, 2, 3)
    np.testing.assert_array_equal(lay(strokes, hand, 2, 4), wanted)
    np.testing.assert_array_equal(lay(strokes[:20], hand, 2, 4), wanted[:20])  # nor what comes later in it
    assert np.abs(lay(strokes, hand, 2, 3) - wanted).max() > 0.1
