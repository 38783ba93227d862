"""A face against a plate that stands and on which it cannot lean."""

import numpy as np
import pytest
from scipy.optimize import minimize

from sim.errors import Refused
from sim.seat.compliant import Compliance, Load, compliant_seat

C = Compliance().c_um
PITCH = 0.25


def middles(shape):
    return ((np.arange(n) + 0.5) * PITCH for n in shape[::-1])


def bumpy(ny, nx, seed):
    return np.random.default_rng(seed).normal(0.0, 0.5, (ny, nx))


def test_a_symmetric_face_sits_as_if_it_were_not_held():
    half = bumpy(40, 30, 1)
    surface = np.hstack([half, half[:, ::-1]])
    load = Load(30.0, 7.5, 5.0)
    free, held = compliant_seat(surface, PITCH, load), compliant_seat(surface, PITCH, load, held="x")
    assert held.height_um == pytest.approx(free.at(7.5, 5.0) + 0.0, abs=1e-6)
    assert (held.slope_x, held.slope_y) == pytest.approx((0.0, free.slope_y), abs=1e-6)


@pytest.mark.parametrize("lean", [0.05, 0.1, -0.2])
def test_a_leaning_face_is_pressed_in_a_strip_at_the_edge_that_stands_out(lean):
    ny, nx = 80, 400
    x, _ = middles((ny, nx))
    surface = np.repeat(lean * x[None, :], ny, axis=0)
    pose = compliant_seat(surface, PITCH, Load(30.0, 50.0, 10.0), held="x")
    strip = np.nonzero((surface > pose.height_um).any(axis=0))[0]
    # springs p = (s t / c)^2 over t = 0 to w from the strip's inner end: F = L s^2 w^3 / (3 c^2)
    width = (3.0 * 30.0 * C**2 / (ny * PITCH * lean**2)) ** (1.0 / 3.0)
    over = surface.max() + 0.5 * PITCH * abs(lean) - pose.height_um  # at the edge itself
    assert over / abs(lean) == pytest.approx(width, rel=0.02)
    assert strip[0] == 0 if lean < 0 else strip[-1] == nx - 1
    assert abs(pose.slope_x) < 1e-6


def test_the_seat_is_the_least_energy_with_one_tilt():
    surface = bumpy(20, 30, 3)
    x, y = middles(surface.shape)
    surface += 0.1 * x[None, :]
    load = Load(30.0, 3.75, 2.0)

    def energy(plane):
        over = np.maximum(surface - (plane[0] + plane[1] * (y[:, None] - load.y_mm)), 0.0)
        return (over**3).sum() * PITCH**2 / (3.0 * C**2) + load.force_n * plane[0]

    best = minimize(energy, (0.0, 0.0), method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-12, "maxiter": 4000})
    pose = compliant_seat(surface, PITCH, load, held="x")
    assert abs(pose.slope_x) < 1e-6
    at = float(pose.at(load.x_mm, load.y_mm))
    assert (at, pose.slope_y) == pytest.approx(tuple(best.x), abs=1e-5)


def test_a_mirrored_face_sits_mirrored():
    surface = bumpy(24, 40, 5)
    x, _ = middles(surface.shape)
    surface += 0.2 * x[None, :]
    one = compliant_seat(surface, PITCH, Load(30.0, 5.0, 2.5), held="x")
    other = compliant_seat(np.ascontiguousarray(surface[:, ::-1]), PITCH, Load(30.0, 5.0, 2.5), held="x")
    assert (one.height_um, one.slope_y) == pytest.approx((other.height_um, other.slope_y), abs=1e-6)
    assert one.x_mm == pytest.approx(10.0 - other.x_mm, abs=1e-6)


def test_held_in_y_is_held_in_x_of_the_transposed_face():
    surface = bumpy(24, 40, 6)
    one = compliant_seat(surface, PITCH, Load(30.0, 5.0, 2.5), held="x")
    other = compliant_seat(np.ascontiguousarray(surface.T), PITCH, Load(30.0, 2.5, 5.0), held="y")
    assert (one.height_um, one.slope_y) == pytest.approx((other.height_um, other.slope_x), abs=1e-6)


def test_a_load_whose_line_crosses_no_iron_is_carried_by_what_lies_on_both_sides_of_it():
    surface = bumpy(40, 60, 4)
    surface[15:25] = -1e30
    pose = compliant_seat(surface, PITCH, Load(30.0, 7.5, 5.0), held="x")
    x, y = middles(surface.shape)
    force = (np.maximum(surface - pose.at(x[None, :], y[:, None]), 0.0) / C) ** 2 * PITCH**2
    assert force.sum() == pytest.approx(30.0, rel=1e-6)
    assert (force * (y[:, None] - 5.0)).sum() == pytest.approx(0.0, abs=1e-4)
    assert pose.slope_x == 0.0
    with pytest.raises(Refused, match="tip off"):
        compliant_seat(surface, PITCH, Load(30.0, 7.5, 11.0), held="x")


@pytest.mark.parametrize("mirrored", [False, True])
def test_a_three_cornered_face_off_its_middle_is_seated_too(mirrored):
    """Along the load's line only part of the outline is iron: the search must not leave it on the wrong side."""
    ny, nx = 60, 80
    i, j = np.mgrid[0:ny, 0:nx]
    iron = j * ny < (ny - i) * nx * 0.6  # at the load's line, iron reaches to a fifth of the outline
    surface = np.where(iron, bumpy(ny, nx, 2), -1e30)
    load = Load(30.0, 1.0, 12.0)
    if mirrored:
        surface = np.ascontiguousarray(surface[:, ::-1])
    pose = compliant_seat(surface, PITCH, load, held="x")
    assert abs(pose.slope_x) < 1e-6
    over = np.maximum(surface - pose.at(*(v[None, :] if k == 0 else v[:, None] for k, v in
                                          enumerate(middles((ny, nx))))), 0.0)
    assert ((over / C) ** 2 * PITCH**2).sum() == pytest.approx(30.0, rel=1e-6)
