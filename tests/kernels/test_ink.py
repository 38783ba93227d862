"""The kernels of the blue against slow twins; ink is conserved in each of them."""

import math

import numpy as np
import pytest

from sim.kernels import ink
from sim.process.bluing import push_widths
from tests import twins

WIDE = push_widths(0.75, 0.25)
SHARE = 0.95


def patch(seed, shape=(18, 22)):
    """A film and a gap as under a spot: pressed cells, cells with room, cells far off, cells with no film."""
    rng = np.random.default_rng(seed)
    i, j = np.mgrid[: shape[0], : shape[1]]
    film = np.abs(rng.normal(3.0, 0.6, shape))
    film[:, :2] = 0.0
    gap = np.maximum(0.04 * ((i - 8.0) ** 2 + (j - 11.0) ** 2) + rng.normal(0.0, 1.0, shape) - 1.0, 0.0)
    gap[rng.random(shape) < 0.05] = 1e30
    return film, gap


def squeeze(film, gap, moved=SHARE):
    work, sent, got = np.empty_like(film), np.empty_like(film), np.empty_like(film)
    ink.squeeze(film, gap, moved, WIDE, work, sent, got)
    return sent, got


def test_the_disc_holds_every_cell_within_reach_and_no_other():
    offsets = {(a, b) for a in range(-9, 10) for b in range(-9, 10) if math.hypot(a, b) * 0.25 <= 0.75}
    held = {(a, b) for a in range(-3, 4) for b in range(-WIDE[abs(a)], WIDE[abs(a)] + 1)}
    assert held == offsets
    assert len(offsets) == 29


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_blue_is_squeezed_to_where_the_slow_twin_squeezes_it(seed):
    film, gap = patch(seed)
    sent, got = squeeze(film, gap)
    slow_sent, slow_got = twins.squeezed(film, gap, SHARE, 3.0)
    # sums of up to 29 flows of some um, in another order
    np.testing.assert_allclose(sent, slow_sent, rtol=0.0, atol=1e-12)
    np.testing.assert_allclose(got, slow_got, rtol=0.0, atol=1e-12)


@pytest.mark.parametrize("seed", [4, 5])
def test_squeezing_conserves_blue_and_overfills_no_room(seed):
    film, gap = patch(seed)
    sent, got = squeeze(film, gap)
    assert got.sum() > 5.0
    assert sent.sum() == pytest.approx(got.sum(), rel=1e-12)
    assert (sent <= SHARE * np.maximum(film - gap, 0.0) * (1.0 + 1e-12)).all()
    assert (got <= np.maximum(gap - film, 0.0) * (1.0 + 1e-12)).all()
    assert (got[gap >= 2.0 * film] == 0.0).all()


def test_a_lone_giver_serves_the_rim_beside_it_by_the_room_rule():
    film, gap = np.full((9, 9), 2.0), np.full((9, 9), 1e30)
    gap[4, 4], gap[4, 5], gap[4, 6], gap[4, 8] = 1.0, 2.5, 3.5, 2.1  # the last is 1 mm away: out of reach
    sent, got = squeeze(film, gap, 0.5)
    shares = np.array([1.0 - 0.5 / 2.0, 1.0 - 1.5 / 2.0])  # 2 - gap/film, by hand
    flows = 0.5 * shares / shares.sum()
    np.testing.assert_allclose([got[4, 5], got[4, 6], got[4, 8], sent[4, 4]], [*flows, 0.0, 0.5], atol=1e-15)


def corners_of(kind):
    return np.array(
        {
            "along": [(6, 4 + k) for k in range(8)],
            "on the spot": [(5, 5)] * 8,
            "over the edge": [(-3, -14 + 3 * k) for k in range(8)],
            "off the far edge": [(20, 18 + 2 * k) for k in range(8)],
        }[kind]
    )


@pytest.mark.parametrize("kind", ["along", "on the spot", "over the edge", "off the far edge"])
def test_the_film_met_and_taken_over_the_poses_is_that_of_the_slow_twin(kind):
    rng = np.random.default_rng(6)
    plate, shape, corners = np.abs(rng.normal(2.0, 1.0, (30, 36))), (14, 20), corners_of(kind)
    plate[8:12, 8:12] = 0.0
    plate[7, 20] = 25.0  # a lump that many cells want
    met, sums, spare = np.empty(shape), np.empty(shape), np.empty(plate.shape)
    ink.film_met(plate, corners, 0.7, met, sums, spare)
    slow_met, slow_there, slow_spare = twins.met_film(plate, corners, 0.7, shape)
    # a few sums of eight numbers of some um
    np.testing.assert_allclose(met, slow_met, rtol=0.0, atol=1e-12)
    np.testing.assert_allclose(sums, slow_there, rtol=0.0, atol=1e-12)
    np.testing.assert_allclose(plate * spare, plate * slow_spare, rtol=0.0, atol=1e-12)
    assert kind == "on the spot" or (spare < 1.0).any()  # the lump is asked for more than it is
    loss = 0.7 * met * rng.random(shape)
    after, scratch = plate.copy(), loss.copy()
    ink.take_film(after, corners, scratch, sums, spare)
    np.testing.assert_allclose(after, twins.taken(plate, corners, loss, slow_there, slow_spare), rtol=0.0, atol=1e-12)
    assert after.min() >= 0.0
    assert plate.sum() - after.sum() == pytest.approx(loss.sum(), rel=1e-12)


def test_even_film_is_met_whole_and_taken_evenly():
    plate, corners = np.full((20, 30), 3.0), np.array([(4, 5 + k) for k in range(8)])
    met, sums, spare = np.empty((8, 10)), np.empty((8, 10)), np.empty(plate.shape)
    ink.film_met(plate, corners, 0.5, met, sums, spare)
    np.testing.assert_allclose(met, 3.0, rtol=1e-15)
    loss = np.full((8, 10), 1.5)
    ink.take_film(plate, corners, loss, sums, spare)
    assert plate[8, 12] == pytest.approx(1.5, rel=1e-14)  # passed by all eight poses
    assert plate[8, 5] == pytest.approx(3.0 - 1.5 / 8.0, rel=1e-14)  # by one


def test_what_stays_on_lifting_is_half_of_what_is_left_in_the_gap():
    film, gap = patch(7)
    sent, got = squeeze(film, gap)
    printed, loss = np.empty_like(film), np.empty_like(film)
    ink.lift(film, gap, sent, got, SHARE, 0.5, printed, loss)
    pressed = film > gap
    # b = 1/2 [t - phi (t - g)] plus what was pushed there
    wanted = np.where(pressed, 0.5 * (film - SHARE * (film - np.minimum(gap, film))), 0.5 * got)
    np.testing.assert_allclose(printed, wanted, rtol=0.0, atol=1e-15)
    np.testing.assert_allclose(loss, np.where(pressed, wanted + 0.5 * sent, 0.0), rtol=0.0, atol=1e-15)
    assert loss.sum() == pytest.approx(printed.sum(), rel=1e-12)


def test_the_total_is_the_exact_sum_to_its_last_digits():
    values = np.random.default_rng(8).normal(0.0, 1.0, (120, 170)) ** 3
    # rounding of 20,000 additions: far under 1e-12 of the sum of sizes
    assert ink.total(values) == pytest.approx(math.fsum(values.ravel()), abs=1e-12 * np.abs(values).sum())
