"""What many trials say: medians, chances and differences with their intervals. All two-sided, 95 % unless told."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from sim.errors import BadParam

LEVEL = 0.95
RESAMPLES = 2000


@dataclass(frozen=True)
class Interval:
    """A figure and what it may be; NaN where there are too few trials to say."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class Spread:
    """Median and the 10 and 90 % points of trials."""

    median: float
    p10: float
    p90: float


def spread(values: NDArray[np.float64]) -> Spread:
    """Of values (n,), linear between two of them; NaN for none."""
    if not len(values):
        return Spread(np.nan, np.nan, np.nan)
    low, middle, high = np.quantile(values, [0.1, 0.5, 0.9]).tolist()
    return Spread(middle, low, high)


def chance(met: int, of: int, level: float = LEVEL) -> Interval:
    """Share of trials that met the target, with Wilson's score interval.

    References
    ----------
    E. B. Wilson, J. Am. Stat. Assoc. 22 (1927) 209; as computed by `scipy.stats.binomtest`.
    """
    if not of:
        return Interval(np.nan, np.nan, np.nan)
    found = stats.binomtest(met, of).proportion_ci(level, method="wilson")
    return Interval(met / of, float(found.low), float(found.high))


def median(values: NDArray[np.float64], level: float = LEVEL) -> Interval:
    """Median of values (n,) with the interval between two of them in order, free of any distribution.

    Notes
    -----
    The k-th smallest and the k-th largest enclose the median of a continuous distribution with chance
    1 - 2 P(B < k), B binomial (n, 1/2); k is the largest for which that is `level` or more. Fewer than six values give
    none at 95 %.

    References
    ----------
    H. A. David, H. N. Nagaraja, Order Statistics, 3rd ed., section 7.1.
    """
    count = len(values)
    if not count:
        return Interval(np.nan, np.nan, np.nan)
    ordered = np.sort(values)
    below = stats.binom.cdf(np.arange(count), count, 0.5)  # P(B <= k - 1) = P(B < k) at index k - 1
    k = int((below <= 0.5 * (1.0 - level)).sum())
    middle = float(np.median(ordered))
    return Interval(middle, *((float(ordered[k - 1]), float(ordered[-k])) if k else (np.nan, np.nan)))


def variance_ratio(a: NDArray[np.float64], b: NDArray[np.float64]) -> float:
    """Variance of paired differences / that of unpaired ones: under 1 where the same faces and luck help; NaN for two
    trials or fewer, or where nothing varies."""
    unpaired = float(np.var(a, ddof=1) + np.var(b, ddof=1)) if len(a) > 2 else 0.0
    return float(np.var(a - b, ddof=1)) / unpaired if unpaired > 0.0 else np.nan


def crossover(at: NDArray[np.float64], difference: NDArray[np.float64], seed: int = 1,
              level: float = LEVEL) -> Interval:
    """Where the median of a difference changes its sign as something is varied, between steps by a straight line.

    Parameters
    ----------
    at : float64 (k,)
        Rising values of what was varied.
    difference : float64 (k, n)
        Of each pair at each of them; the same n faces throughout.
    seed : int
        Of the resampling.

    Returns
    -------
    Interval
        The first crossing; NaN where there is none. The interval is the middle of `RESAMPLES` resamplings of the faces;
        a resampling without a crossing counts as beyond that end of the range at which its difference comes nearer
        to zero, so that an end of the interval may be infinite.

    Raises
    ------
    BadParam
        Fewer than two values, or as many differences as do not fit them.
    """
    if len(at) < 2 or difference.shape[:1] != at.shape or not difference.shape[1]:
        raise BadParam(f"a crossover needs two values or more and a row of pairs for each, got {at.shape} and "
                       f"{difference.shape}")
    value = float(_crossings(at, np.median(difference, axis=1)[:, None])[0])
    value = value if np.isfinite(value) else np.nan
    count = difference.shape[1]
    if count < 6:
        return Interval(value, np.nan, np.nan)
    rng = np.random.Generator(np.random.Philox(seed))
    middle = np.empty((len(at), RESAMPLES))
    step = max(1, 1_000_000 // (len(at) * count))  # resamplings at a time: at most 8 MB
    for n in range(0, RESAMPLES, step):
        picks = rng.integers(0, count, (min(step, RESAMPLES - n), count))
        middle[:, n : n + step] = np.median(difference[:, picks], axis=2)
    found = np.sort(_crossings(at, middle))
    cut = int(0.5 * (1.0 - level) * RESAMPLES)
    return Interval(value, float(found[cut]), float(found[-1 - cut]))


def _crossings(at: NDArray[np.float64], middle: NDArray[np.float64]) -> NDArray[np.float64]:
    """The first change of sign down each column of middle (k, m), float64 (m,); minus or plus infinity where there is
    none and the nearer end is the first or last."""
    turns = np.signbit(middle[:-1]) != np.signbit(middle[1:])
    k, columns = turns.argmax(axis=0), np.arange(middle.shape[1])
    before, after = middle[k, columns], middle[k + 1, columns]
    away = np.where(turns.any(axis=0), before - after, 1.0)
    found = at[k] + before / away * (at[k + 1] - at[k])
    none = np.where(np.abs(middle[0]) < np.abs(middle[-1]), -np.inf, np.inf)
    return np.where(turns.any(axis=0), found, none)
