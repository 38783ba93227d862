"""Strokes on the line of earlier ones, against a slow obvious twin."""

import math

import numpy as np
import pytest

from sim.kernels.overlap import gone_over


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
