"""The stone's kernels against sorting and against interpolation by rows."""

import numpy as np
import pytest

from sim.kernels.stoning import local_tops, rub_tops
from tests import twins

GRID = np.array([-2, -1, 12, 1], dtype=np.int64)  # first tile's corner, cells a tile, reach in tiles
TILES = (5, 6)


def surface(seed, shape=(50, 70)):
    rng = np.random.default_rng(seed)
    i, j = np.mgrid[: shape[0], : shape[1]]
    height = 2.0 * np.sin(i / 9.0) * np.cos(j / 13.0) + rng.gumbel(0.0, 0.6, shape)
    iron = rng.random(shape) > 0.1
    iron[20:30, 40:60] = False
    height[~iron] = -1e30
    return height, iron


@pytest.mark.parametrize("share,seed", [(0.985, 1), (0.9, 2), (0.5, 3)])
def test_local_tops_are_the_sorted_share_to_one_bin(share, seed):
    height, iron = surface(seed)
    tops, bin_um = np.empty(TILES), 0.05
    lowest = height[iron].max() - 400 * bin_um
    local_tops(height, iron, GRID, np.array([share, bin_um, lowest, 400]), tops)
    slow = [
        [twins.sorted_top(height, iron, GRID, share, lowest, (a, b)) for b in range(TILES[1])] for a in range(TILES[0])
    ]
    # the sorted value and the kernel's level lie in the same bin
    np.testing.assert_allclose(tops, slow, rtol=0.0, atol=bin_um * (1.0 + 1e-9))


def test_the_level_is_exact_within_a_bin_of_evenly_spread_iron():
    height = np.linspace(0.0, 1.0, 24 * 24).reshape(24, 24)
    tops = np.empty((1, 1))
    local_tops(height, np.ones(height.shape, bool), np.array([0, 0, 24, 0]), np.array([0.985, 0.25, 0.0, 5]), tops)
    assert tops[0, 0] == pytest.approx(0.985, abs=2.0 / 24**2)  # spacing of the heights


def test_tiles_without_iron_within_reach_are_left_alone():
    height, iron = surface(4)
    iron[:, :] = False
    iron[:12, :12] = True
    height[~iron], tops = -1e30, np.empty((4, 6))
    local_tops(height, iron, np.array([0, 0, 12, 1]), np.array([0.9, 0.05, -10.0, 800]), tops)
    assert (tops[2:] == 1e30).all()
    assert (tops[:2, :2] < 1e29).all()


def test_heights_below_the_lowest_do_not_count():
    height, tops = np.full((4, 4), 1.02), np.empty((1, 1))
    height[:2] = -0.03
    local_tops(height, np.ones((4, 4), bool), np.array([0, 0, 4, 0]), np.array([0.5, 0.05, 0.0, 40]), tops)
    assert tops[0, 0] > 1.0  # of the eight that count the median is 1.02


@pytest.mark.parametrize("depth", [0.3, 2.0])
def test_tops_are_rubbed_as_the_slow_twin_rubs_them(depth):
    height, iron = surface(5)
    tops = np.random.default_rng(6).uniform(0.5, 2.0, TILES)
    before, burr = height.copy(), np.ones(height.shape)
    wanted = twins.rubbed(before, iron, GRID, depth, tops)
    removed = rub_tops(height, iron, burr, GRID, depth, tops)
    np.testing.assert_allclose(height[iron], wanted[iron], rtol=0.0, atol=1e-13)  # one interpolation of some um
    np.testing.assert_array_equal(height[~iron], before[~iron])
    assert removed == pytest.approx((before - height)[iron].sum(), rel=1e-12)
    assert removed > 1.0
    assert not burr.any()
