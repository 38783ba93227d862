"""Gradient noise against a slow twin, its closed properties, and an independent package."""

import numpy as np
import pytest

from sim.kernels.grain import add_noise, gradient_noise
from sim.process.bluing import SLOPES, noise_order
from tests import twins

ORDER = noise_order(np.random.default_rng(1))


def test_the_order_is_a_permutation_twice_over():
    assert sorted(ORDER[:256]) == list(range(256))
    np.testing.assert_array_equal(ORDER[:256], ORDER[256:])


def test_noise_at_a_point_is_that_of_the_slow_twin():
    points = np.random.default_rng(2).uniform(-3.0, 300.0, (400, 2))
    fast = [gradient_noise(x, y, ORDER, SLOPES) for x, y in points]
    slow = [twins.noise_at(x, y, ORDER, SLOPES) for x, y in points]
    np.testing.assert_allclose(
        fast, slow, rtol=0.0, atol=1e-11
    )  # coordinates of 300 lose 1e-13 in their fraction, fades add


def test_noise_is_zero_on_the_lattice_and_follows_the_slope_beside_it():
    for i, j in [(0, 0), (3, 7), (255, 255), (41, 300)]:
        assert gradient_noise(float(i), float(j), ORDER, SLOPES) == 0.0
        slope = SLOPES[ORDER[ORDER[i & 255] + (j & 255)] & 15]
        step = 1e-3  # the fade starts with t^3: what the neighbours add is of that order, 1e-8
        assert gradient_noise(i + step, j + step, ORDER, SLOPES) == pytest.approx(step * slope.sum(), abs=1e-7)


def test_a_field_of_noise_has_its_wavelengths_its_amount_and_its_shift():
    field = np.full((6, 9), 2.0)
    add_noise(field, 0.25, 3.0, 1.7, 0.8, 11.3, ORDER, SLOPES)
    x, y = (np.arange(9) + 0.5) * 0.25 / 3.0 + 11.3, (np.arange(6) + 0.5) * 0.25 / 1.7 + 11.3
    slow = [[2.0 + 0.8 * twins.noise_at(a, b, ORDER, SLOPES) for a in x] for b in y]
    np.testing.assert_allclose(field, slow, rtol=0.0, atol=1e-12)


def test_noise_of_many_points_has_no_bias_and_keeps_its_deviation():
    variance, mean = [], []
    for seed in range(20):
        rng, field = np.random.default_rng(seed), np.zeros((150, 150))
        add_noise(field, 0.25, 1.9, 2.3, 1.0, rng.random() * 200.0, noise_order(rng), SLOPES)
        variance.append(field.var())
        mean.append(field.mean())
        assert np.abs(field).max() < 1.0
    # by hand: E n^2 = E g^2 / 2 x (4 / 1) int fade^2(1 - x) x^2 dx int fade^2(1 - y) dy, E g^2 = 1.25; quadrature below
    t = (np.arange(4000) + 0.5) / 4000.0
    fade2 = (1.0 - (6.0 * t**5 - 15.0 * t**4 + 10.0 * t**3)) ** 2
    closed = 1.25 / 2.0 * 4.0 * 2.0 * (fade2 * t * t).mean() * fade2.mean()
    # 20 fields of some 320 waves: 6,400 independent values, 2 % of the variance; fields of parts of waves add as much
    assert np.mean(variance) == pytest.approx(closed, rel=0.06)
    assert abs(np.mean(mean)) < 0.01


@pytest.mark.oracle("noise")
def test_noise_is_that_of_an_independent_package():
    """`noise` looks its lattice up once more than we do; over the first four cells one table can serve both."""
    import noise
    from noise.perlin import BaseNoise

    theirs = np.array(BaseNoise.permutation)[:256]
    order = np.array([*theirs, *theirs])
    outer = {theirs[i] + j for i in range(6) for j in range(6)}
    assert outer.isdisjoint(range(6))
    order[list(outer)] = [theirs[theirs[k & 255]] for k in outer]
    for x, y in np.random.default_rng(3).uniform(0.0, 4.0, (300, 2)):
        # their arithmetic is in 32 bits: some 1e-7 of coordinates up to 4, times slopes and fades
        assert gradient_noise(x, y, order, SLOPES) == pytest.approx(noise.pnoise2(x, y), abs=5e-6)
