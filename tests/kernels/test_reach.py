"""How far a mask lies, and strokes on the line of earlier ones, against slow obvious twins."""

import math

import numpy as np
import pytest

from sim.kernels.reach import gone_over, squares_away


def away_by_hand(mask):
    """Look at every cell of the mask from every cell."""
    i, j = np.nonzero(mask)
    rows, cols = np.mgrid[: mask.shape[0], : mask.shape[1]]
    return ((rows[..., None] - i) ** 2 + (cols[..., None] - j) ** 2).min(axis=-1)


def away_of(mask):
    away = np.full(mask.shape, -1, np.int64)
    squares_away(mask, away)
    return away


@pytest.mark.parametrize("shape", [(1, 1), (1, 30), (30, 1), (13, 29), (40, 40)])
@pytest.mark.parametrize("share", [0.0, 0.003, 0.1, 0.6, 1.0])
def test_the_distance_is_that_to_the_nearest_cell_of_all(shape, share):
    rng = np.random.default_rng(7)
    for _ in range(5):
        mask = rng.random(shape) < share
        mask[rng.integers(shape[0]), rng.integers(shape[1])] = True
        assert np.array_equal(away_of(mask), away_by_hand(mask))


def test_a_mirror_and_a_quarter_turn_change_no_distance():
    mask = np.random.default_rng(8).random((31, 44)) < 0.01
    away = away_of(mask)
    for turned in (np.fliplr, np.flipud, np.transpose, np.rot90):
        assert np.array_equal(away_of(np.ascontiguousarray(turned(mask))), turned(away))


def shares_by_hand(middle, unit, length, least_cosine, apart):
    """Each stroke against each before it, one by one."""
    shares = []
    for k in range(len(length)):
        found = [0.0]
        for n in range(k):
            off = middle[n] - middle[k]
            along, across = float(off @ unit[k]), abs(off[0] * unit[k][1] - off[1] * unit[k][0])
            near = np.hypot(*off) < 0.5 * (length[n] + length[k])
            if near and across < apart and abs(float(unit[n] @ unit[k])) > least_cosine:
                low = max(-0.5 * length[k], along - 0.5 * length[n])
                found.append((min(0.5 * length[k], along + 0.5 * length[n]) - low) / length[k])
        shares.append(min(1.0, max(found)))
    return np.array(shares)


def test_strokes_go_over_earlier_ones_as_far_as_they_lie_on_their_lines():
    rng = np.random.default_rng(9)
    for count in (0, 1, 2, 300):
        middle, length = rng.uniform(0.0, 25.0, (count, 2)), rng.uniform(1.0, 12.0, count)
        turn = rng.choice([0.2, 0.3, 0.9, 2.0], count) + rng.uniform(0.0, 0.1, count)
        unit = np.column_stack([np.cos(turn), np.sin(turn)])
        share = np.full(count, -1.0)
        gone_over(middle, unit, length, math.cos(math.radians(30.0)), 0.45, share)
        expected = shares_by_hand(middle, unit, length, math.cos(math.radians(30.0)), 0.45)
        assert share == pytest.approx(expected, abs=1e-12)
        assert count < 300 or (0.1 < (share > 0.0).mean() < 1.0)
