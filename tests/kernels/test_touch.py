"""Laying on, pressing and the highest cell of each tile against slow obvious twins."""

import numpy as np
import pytest

from sim.kernels.tiles import tile_maxima
from sim.kernels.touch import lay_on, press, solve3

VOID_UM = -1e30


def face_and_plate(seed):
    """A small face with a hole and a plate's own error."""
    rng = np.random.default_rng(seed)
    top = rng.normal(0.0, 2.0, (23, 37))
    top[8:11, 20:25] = VOID_UM
    return top, rng.normal(0.0, 0.5, (30, 41))


PLACES = [(3, 2), (-5, -9), (15, 20), (0, 0), (-40, 3), (3, 60), (29, 40), (-22, -36)]


@pytest.mark.parametrize("size", [1, 4, 7, 8, 40])
def test_tile_maxima_are_the_highest_cells_of_tiles_whole_and_cut(size):
    surface = face_and_plate(1)[0]
    ny, nx = surface.shape
    out = np.empty((-(-ny // size), -(-nx // size)))
    tile_maxima(surface, size, out)
    for i in range(out.shape[0]):
        for j in range(out.shape[1]):
            assert out[i, j] == surface[i * size : (i + 1) * size, j * size : (j + 1) * size].max()


@pytest.mark.parametrize("place", PLACES)
def test_a_face_laid_on_meets_the_plates_error_and_nothing_beyond_its_edge(place):
    top, error = face_and_plate(2)
    surface = np.full(top.shape, np.nan)
    lay_on(top, error, *place, surface)
    for i in range(top.shape[0]):
        for j in range(top.shape[1]):
            a, b = i + place[0], j + place[1]
            there = 0 <= a < error.shape[0] and 0 <= b < error.shape[1] and top[i, j] > VOID_UM
            assert surface[i, j] == (top[i, j] + error[a, b] if there else VOID_UM)


@pytest.mark.parametrize("wear", [0.0, 1e-3])
@pytest.mark.parametrize("place", PLACES)
def test_pressing_keeps_the_least_gap_above_the_lifted_plane_and_wears_the_plate_under_the_pressed_cells(place, wear):
    top, error = face_and_plate(3)
    surface = np.empty_like(top)
    lay_on(top, error, *place, surface)
    before, gap = np.random.default_rng(4).uniform(0.0, 3.0, top.shape), np.empty_like(top)
    gap[:], worn = before, error.copy()
    plane, law = np.array([1.0, 0.2, -0.1, -0.3]), np.array([4.0, 3.0, 0.25, wear])
    press(surface, plane, law, *place, gap, worn)
    pressed = 0
    for i in range(top.shape[0]):
        for j in range(top.shape[1]):
            if surface[i, j] == VOID_UM:
                assert gap[i, j] == before[i, j]
                continue
            here = plane[0] + plane[2] * ((i + 0.5) * 0.25 - 3.0) + plane[1] * ((j + 0.5) * 0.25 - 4.0) - surface[i, j]
            assert gap[i, j] == min(before[i, j], max(here - 0.3, 0.0))
            if here < 0.0:
                pressed += 1
                error[i + place[0], j + place[1]] -= wear * here * here
    assert np.array_equal(worn, error)
    assert pressed > 0 or not (surface > VOID_UM).any() or place in ((29, 40), (-22, -36))


def test_pressing_a_face_larger_than_the_plates_array_stays_within_it():
    memory = np.full(1000, 7.0)
    plate = memory[400:404].reshape(2, 2)  # what lies before and behind it in memory must not change
    gap = np.full((23, 37), 1e30)
    press(np.ones((23, 37)), np.zeros(4), np.array([0.0, 0.0, 0.25, 0.5]), 0, 0, gap, plate)
    assert np.array_equal(plate, np.full((2, 2), 6.5))
    assert np.count_nonzero(memory != 7.0) == 4
    assert not gap.any()


def test_a_newton_step_solves_the_three_equations():
    rng = np.random.default_rng(5)
    step = np.empty(3)
    for _ in range(20):
        half = rng.normal(size=(3, 3))
        hess, grad = half @ half.T, rng.normal(size=3)
        assert solve3(0.0, 1.0, step, hess, grad) == 1
        assert hess @ step == pytest.approx(-grad, rel=1e-7, abs=1e-9)
    assert solve3(0.0, 1.0, step, -np.eye(3), grad) == 0
