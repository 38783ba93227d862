"""Intervals against closed forms and published values, and against a thousand repeats of what is known."""

import math

import numpy as np
import pytest
from scipy.stats import binom

from sim.errors import BadParam
from sim.trials import stats
from sim.trials.stats import Interval, chance, crossover, median, spread, variance_ratio

REPEATS = 1000
LEAST_COVERED = 0.93
"""Of intervals that cover at 0.95, a thousand repeats show fewer than 0.93 once in about 350: 2.9 standard deviations
of 0.0069."""


def covers(interval: Interval, truth: float) -> bool:
    return interval.low <= truth <= interval.high


# ---------------------------------------------------------------- one figure


def wilson(met, of, z):
    """Closed form: Wilson 1927, equation 1, as solved for the proportion."""
    share = met / of
    middle = (share + z * z / (2.0 * of)) / (1.0 + z * z / of)
    half = z * math.sqrt(share * (1.0 - share) / of + z * z / (4.0 * of * of)) / (1.0 + z * z / of)
    return middle - half, middle + half


@pytest.mark.parametrize(("met", "of"), [(0, 1), (0, 20), (1, 20), (15, 148), (81, 263), (100, 200), (199, 200)])
def test_the_chance_has_wilsons_interval(met, of):
    found = chance(met, of)
    assert found.value == met / of
    assert (found.low, found.high) == pytest.approx(wilson(met, of, 1.959963984540054), abs=1e-9)


def test_the_chance_agrees_with_published_intervals():
    """R. G. Newcombe, Stat. Med. 17 (1998) 857, table I, method 3 (score), four decimals."""
    for met, of, low, high in ((81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611),
                               (1, 29, 0.0061, 0.1718)):
        found = chance(met, of)
        assert (found.low, found.high) == pytest.approx((low, high), abs=5e-5)


# Closed form, ranks k of the 95 % interval of a median: the largest k with P(B < k) <= 0.025. The same ranks stand in
# the common tables of order-statistic intervals for the median (as Conover's): 1 for 6 to 8, 2 for 9 to 11, 3 for 12
# to 14, 4 for 15 and 16, 5 for 17 to 19, 6 for 20 to 22, 8 for 25, 10 for 30, 18 for 50, 40 for 100.
RANKS = {6: 1, 8: 1, 9: 2, 11: 2, 12: 3, 15: 4, 17: 5, 20: 6, 25: 8, 30: 10, 50: 18, 100: 40}


@pytest.mark.parametrize("count", RANKS)
def test_the_median_lies_between_two_in_order(count):
    values = np.random.default_rng(count).permutation(np.arange(1.0, count + 1.0))
    found, k = median(values), RANKS[count]
    assert found == Interval(0.5 * (count + 1.0), k, count + 1.0 - k)
    inside = sum(math.comb(count, n) for n in range(k, count - k + 1)) / 2**count
    assert inside >= 0.95
    assert inside - 2.0 * math.comb(count, k) / 2**count < 0.95, "a rank further in would still do"


def test_five_values_give_a_median_and_no_interval():
    found = median(np.array([5.0, 1.0, 4.0, 2.0, 3.0]))
    assert found.value == 3.0
    assert math.isnan(found.low)
    assert math.isnan(found.high)
    for nothing in (median(np.array([])), chance(0, 0)):
        assert math.isnan(nothing.value)
    assert math.isnan(spread(np.array([])).median)


def test_a_median_may_be_of_many_that_are_the_same():
    assert median(np.full(30, 7.5)) == Interval(7.5, 7.5, 7.5)


def test_the_spread_is_linear_between_two_values():
    assert spread(np.arange(11.0)[::-1]) == stats.Spread(5.0, 1.0, 9.0)
    assert spread(np.array([0.0, 1.0])) == stats.Spread(0.5, 0.1, 0.9)


def test_the_level_is_what_is_asked():
    values = np.arange(1.0, 31.0)
    assert median(values, 0.8).low > median(values).low > median(values, 0.999).low
    assert chance(5, 30, 0.8).low > chance(5, 30).low


# ---------------------------------------------------------------- a synthetic strategy, known to the last figure


def worked_hours(rng, count, drive=6.0):
    """Hours of a strategy whose median is `drive`: skewed, as hours are."""
    return drive * np.exp(0.4 * rng.standard_normal(count))


@pytest.mark.parametrize(("of", "truth"), [(30, 0.5), (30, 0.9), (200, 0.95)])
def test_the_interval_of_a_chance_covers_it(of, truth):
    """Wilson's covers 0.95 in the mean over chances, not at each: the exact rate of this one is summed up first."""
    intervals = [chance(met, of) for met in range(of + 1)]
    exact = sum(binom.pmf(met, of, truth) for met, one in enumerate(intervals) if covers(one, truth))
    met = np.random.default_rng(11).binomial(of, truth, REPEATS)
    share = np.mean([covers(intervals[n], truth) for n in met])
    print(f"chance {truth} of {of}: covered {share:.3f}, exactly {exact:.4f}")
    assert exact >= LEAST_COVERED
    assert abs(share - exact) < 3.5 * math.sqrt(exact * (1.0 - exact) / REPEATS)


@pytest.mark.parametrize("count", [10, 30, 200])
def test_the_interval_of_a_median_covers_it(count):
    rng = np.random.default_rng(12)
    share = np.mean([covers(median(worked_hours(rng, count)), 6.0) for _ in range(REPEATS)])
    k = int(sum(binom.cdf(n, count, 0.5) <= 0.025 for n in range(count)))
    exact = 1.0 - 2.0 * binom.cdf(k - 1, count, 0.5)
    print(f"median of {count}: covered {share:.3f}, closed form {exact:.4f}")
    assert abs(share - exact) < 3.5 * math.sqrt(exact * (1.0 - exact) / REPEATS)
    assert share >= LEAST_COVERED


def test_the_interval_of_a_paired_difference_covers_it():
    """Two strategies on the same faces: what they share is ten times what they differ by."""
    rng, covered, ratios = np.random.default_rng(13), [], []
    for _ in range(REPEATS):
        face = worked_hours(rng, 30, 5.0)
        one, other = face + rng.normal(1.0, 0.3, 30), face + rng.laplace(0.4, 0.2, 30)
        covered.append(covers(median(one - other), 0.6))
        ratios.append(variance_ratio(one, other))
    print(f"paired difference: covered {np.mean(covered):.3f}, variance ratio {np.median(ratios):.3f}")
    assert np.mean(covered) >= LEAST_COVERED
    assert 0.0 < np.median(ratios) < 0.1


AT = np.array([10.0, 20.0, 30.0, 40.0, 50.0])


def differences(rng, pairs, cross):
    """Scraping less fly-cutting first: 0.04 h more a um, on a face that is good or bad for both, with luck at each."""
    face = 0.3 * rng.standard_normal(pairs)
    return 0.04 * (AT - cross)[:, None] + face + 0.2 * rng.standard_normal((len(AT), pairs))


SLOW = pytest.mark.slow


@pytest.mark.parametrize(("pairs", "repeats"), [(30, 60), pytest.param(30, REPEATS, marks=SLOW),
                                                pytest.param(200, REPEATS, marks=SLOW)])
def test_the_interval_of_a_crossover_covers_it(pairs, repeats):
    rng, cross = np.random.default_rng(14), 27.0
    found = [crossover(AT, differences(rng, pairs, cross), seed=n) for n in range(repeats)]
    share = np.mean([covers(one, cross) for one in found])
    off = float(np.mean([one.value for one in found]) - cross)
    width = np.median([one.high - one.low for one in found])
    print(f"crossover from {pairs} pairs: covered {share:.3f}, {off:+.2f} um off in the mean, {width:.1f} um wide")
    assert share >= 0.95 - 2.9 * math.sqrt(0.95 * 0.05 / len(found))
    assert abs(off) < 0.5


def test_an_interval_of_half_the_width_would_be_found_out():
    """The bar can be failed: half the interval covers three times of four at best."""
    rng = np.random.default_rng(15)
    half = []
    for _ in range(REPEATS):
        found = median(worked_hours(rng, 30))
        half.append(abs(found.value - 6.0) <= 0.25 * (found.high - found.low))
    assert np.mean(half) < LEAST_COVERED - 0.1


# ---------------------------------------------------------------- crossovers, by hand


def test_a_crossover_lies_on_the_straight_line_between_two_steps():
    found = crossover(AT, np.repeat([[-3.0], [-1.0], [1.0], [2.0], [3.0]], 8, axis=1))
    assert found == Interval(25.0, 25.0, 25.0)
    assert crossover(AT, -np.repeat([[-3.0], [-1.0], [3.0], [2.0], [3.0]], 8, axis=1)).value == 22.5
    assert crossover(AT, np.repeat([[-1.0], [0.0], [1.0], [2.0], [3.0]], 8, axis=1)).value == 20.0
    assert crossover(AT, np.repeat([[-1.0], [1.0], [-1.0], [1.0], [1.0]], 8, axis=1)).value == 15.0, "the first"


def test_where_nothing_crosses_there_is_no_crossover_and_the_interval_says_on_which_side():
    rising = np.repeat(np.arange(1.0, 6.0)[:, None], 8, axis=1)
    low, high = crossover(AT, rising), crossover(AT, rising[::-1])
    assert math.isnan(low.value)
    assert (low.low, low.high) == (-math.inf, -math.inf)
    assert (high.low, high.high) == (math.inf, math.inf)


def test_a_crossover_near_the_end_has_an_interval_that_is_open_there():
    found = crossover(AT, differences(np.random.default_rng(16), 12, 50.0))
    assert found.high == math.inf
    assert 40.0 < found.low < 50.0


def test_a_crossover_is_the_same_for_the_same_seed_and_needs_six_pairs():
    rows = differences(np.random.default_rng(17), 30, 27.0)
    assert crossover(AT, rows, seed=3) == crossover(AT, rows, seed=3)
    few = crossover(AT, rows[:, :5])
    assert math.isfinite(few.value)
    assert math.isnan(few.low)
    large = crossover(AT, np.tile(rows, 40))  # resampled in pieces
    assert large.low < large.value < large.high
    for at, wrong in ((AT[:1], rows[:1]), (AT, rows[:3]), (AT, rows[:, :0])):
        with pytest.raises(BadParam, match="a crossover needs two values or more"):
            crossover(at, wrong)


# ---------------------------------------------------------------- does pairing pay


def test_the_variance_ratio_is_that_of_its_definition():
    rng = np.random.default_rng(18)
    one, other = rng.normal(5.0, 2.0, 40), rng.normal(4.0, 1.0, 40)
    cross = np.cov(one, other)  # var(a - b) = var a + var b - 2 cov, closed form
    assert variance_ratio(one, other) == pytest.approx(1.0 - 2.0 * cross[0, 1] / (cross[0, 0] + cross[1, 1]), abs=1e-12)
    assert variance_ratio(one, one + 3.0) == pytest.approx(0.0, abs=1e-12)
    assert variance_ratio(one, -one) == pytest.approx(2.0, abs=1e-12), "pairing may also cost"
    many = rng.standard_normal((2, 100_000))
    assert variance_ratio(*many) == pytest.approx(1.0, abs=0.02)


def test_there_is_no_variance_ratio_of_two_trials_or_of_what_never_varies():
    assert math.isnan(variance_ratio(np.array([1.0, 2.0]), np.array([2.0, 1.0])))
    assert math.isnan(variance_ratio(np.ones(9), np.full(9, 3.0)))
