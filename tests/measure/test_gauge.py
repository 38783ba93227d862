"""The indicator: what tip, lever, play and steps make of a height, and the plane through readings."""

import numpy as np
import pytest

from sim.measure.gauge import Indicator, felt_um, hysteresis_um, reading_plane, stations, sweep_um
from sim.measure.orient import reversal
from sim.model.face import VOID_UM, Face

PITCH = 0.25
IDEAL = Indicator(resolution_um=1e-2, hysteresis_um=0.0, repeat_um=0.0, lever_deg=0.0)
BLOCK_SINKS_UM = 0.05  # 1 N on 81 mm2 presses a flat block in by less than c


def flat(length_mm=30.0, width_mm=24.0) -> Face:
    shape = round(width_mm / PITCH), round(length_mm / PITCH)
    return Face(pitch_mm=PITCH, height_um=np.zeros(shape), burr_um=np.zeros(shape), blue_um=np.zeros(shape),
                iron=np.ones(shape, bool), scored=np.ones(shape, bool))


def swept(path_um, **indicator):
    """What is said of a path of heights over a flat face."""
    path = np.asarray(path_um, float)
    x, y = np.full(len(path), 15.0), np.full(len(path), 12.0)
    made = Indicator(**{"resolution_um": 1e-2, "hysteresis_um": 0.0, "repeat_um": 0.0, "lever_deg": 0.0, **indicator})
    return sweep_um(flat(), x, y, path, indicator=made, slopes=(0.0, 0.0), rng=np.random.default_rng(1))


@pytest.mark.parametrize(("lever_deg", "factor"), [(10, 0.98), (20, 0.94), (30, 0.87), (40, 0.77), (50, 0.64),
                                                   (60, 0.50)])
def test_a_reading_times_the_makers_factor_is_the_height(lever_deg, factor):
    told = swept([0.0, 100.0], lever_deg=float(lever_deg))
    assert told[1] * factor == pytest.approx(100.0, rel=0.008)  # the table has two figures


def test_a_lever_at_45_degrees_reads_1_41_times():
    assert swept([0.0, 100.0], lever_deg=45.0)[1] == pytest.approx(141.42, abs=0.01)


def test_going_up_and_coming_down_a_triangle_differ_by_the_play():
    up = np.linspace(0.0, 20.0, 41)
    told = hysteresis_um(np.concatenate([up, up[::-1]]), 2.0)
    going, coming = told[:41], told[41:][::-1]
    np.testing.assert_allclose(going, np.maximum(up - 1.0, 0.0), atol=1e-12)
    np.testing.assert_allclose(coming, np.minimum(up + 1.0, 19.0), atol=1e-12)
    assert (coming - going)[up[:] >= 1.0][:-4] == pytest.approx(2.0)


def test_no_play_follows_at_once():
    path = np.random.default_rng(2).normal(0.0, 5.0, 50)
    assert (hysteresis_um(path, 0.0) == path).all()


def test_readings_go_in_steps_and_begin_at_zero():
    told = swept(np.linspace(3.3, 9.7, 30), resolution_um=2.0)
    assert told[0] == 0.0
    assert (told % 2.0 == 0.0).all()
    assert abs(told - (np.linspace(3.3, 9.7, 30) - 3.3)).max() <= 1.0 + 1e-9


def test_a_ball_falls_into_a_pocket_and_a_block_does_not():
    face = flat()
    face.height_um[44:53, 56:65] = -8.0  # 2.25 mm square under 15.1, 12.1 mm
    depth = {tip: felt_um(face, 15.125, 12.125, Indicator(tip=tip)) for tip in ("ball", "block")}
    assert depth["ball"] == pytest.approx(-8.0, abs=1e-9)
    assert abs(depth["block"]) < BLOCK_SINKS_UM


def test_a_ball_is_carried_by_the_rim_of_a_pocket_that_is_narrower_than_it_is_deep():
    face = flat()
    face.height_um[48, 60] = -300.0  # one cell under 15.125, 12.125: neighbours 0.25 mm away
    fallen = felt_um(face, 15.125, 12.125, Indicator(tip="ball"))
    assert fallen == pytest.approx(-1e3 * (1.0 - np.sqrt(1.0 - 0.25**2)), abs=1e-9)


@pytest.mark.parametrize("tip", ["block", "ball"])
def test_a_tilted_true_plane_is_read_as_it_lies(tip):
    face = flat()
    x, y = ((np.arange(n) + 0.5) * PITCH for n in face.shape[::-1])
    face.height_um[:] = 0.3 * x[None, :] - 0.2 * y[:, None]
    px, py = stations(face, 4, 3, 6.125)
    felt = np.array([felt_um(face, a, b, Indicator(tip=tip)) for a, b in zip(px, py, strict=True)])
    plane = reading_plane(px, py, felt)
    assert (plane.slope_x, plane.slope_y) == pytest.approx((0.3, -0.2), abs=5e-3 if tip == "ball" else 1e-6)


def test_a_chip_or_a_burr_under_the_block_lifts_it():
    for raised in ("chip", "burr"):
        face = flat()
        if raised == "chip":
            face.chips = np.array([[15.1, 12.1, 15.0]])
        else:
            face.burr_um[48, 60] = 15.0
        assert felt_um(face, 15.125, 12.125, Indicator()) > 5.0, raised
        assert felt_um(face, 5.0, 5.0, Indicator()) < BLOCK_SINKS_UM, raised


def test_a_chip_beside_the_block_does_not_lift_it():
    face = flat()
    side = round(Indicator().block_mm / PITCH)
    first = round(15.0 / PITCH - 0.5 * side) * PITCH  # left edge of the block, and what lies under it
    for x in (first - 0.05, first - 0.2):
        face.chips = np.array([[x, 12.0, 15.0]])
        assert felt_um(face, 15.0, 12.0, Indicator()) < BLOCK_SINKS_UM, x


def test_there_is_no_reading_over_a_hole_nor_off_the_rim():
    face = flat()
    face.height_um[20:76, 40:96] = VOID_UM
    for tip in ("block", "ball"):
        assert np.isnan(felt_um(face, 17.0, 12.0, Indicator(tip=tip)))
        assert np.isnan(felt_um(face, -6.0, 12.0, Indicator(tip=tip)))
        assert np.isfinite(felt_um(face, 5.0, 5.0, Indicator(tip=tip)))


def test_zero_is_the_first_station_with_iron():
    face = flat()
    face.height_um[:, :40] = VOID_UM
    x, y = np.array([4.0, 18.0, 24.0]), np.full(3, 12.0)
    told = sweep_um(face, x, y, np.array([0.0, 7.0, 9.0]), indicator=IDEAL, slopes=(0.0, 0.0),
                    rng=np.random.default_rng(1))
    assert np.isnan(told[0])
    assert told[1:] == pytest.approx([0.0, 2.0], abs=0.01)


def test_stations_go_there_and_back():
    x, y = stations(flat(), 3, 2, 6.0)
    assert list(zip(x, y, strict=True)) == [(6, 6), (15, 6), (24, 6), (24, 18), (15, 18), (6, 18)]
    assert [v.tolist() for v in stations(flat(), 1, 1, 6.0)] == [[15.0], [12.0]]


def test_the_plane_through_readings_is_least_squares():
    rng = np.random.default_rng(4)
    x, y, z = rng.uniform(0, 100, 40), rng.uniform(0, 60, 40), rng.normal(0, 5, 40)
    plane = reading_plane(x, y, z)
    fit = np.linalg.lstsq(np.column_stack([np.ones(40), x, y]), z, rcond=None)[0]
    assert (plane.slope_x, plane.slope_y) == pytest.approx(tuple(fit[1:]), rel=1e-9)
    np.testing.assert_allclose(plane.at(x, y), fit[0] + fit[1] * x + fit[2] * y, atol=1e-9)


@pytest.mark.parametrize("along", [(1.0, 0.0), (0.0, 1.0), (0.6, 0.8), (-0.6, 0.8)])
def test_readings_on_a_line_have_their_slope_along_it_and_none_across(along):
    s = np.linspace(0.0, 50.0, 9)
    plane = reading_plane(60.0 + s * along[0], 7.0 + s * along[1], 0.1 * s)
    assert (plane.slope_x, plane.slope_y) == pytest.approx((0.1 * along[0], 0.1 * along[1]), abs=1e-9)


def test_one_reading_has_no_slope():
    plane = reading_plane(np.array([3.0]), np.array([4.0]), np.array([5.0]))
    assert (plane.height_um, plane.slope_x, plane.slope_y) == (5.0, 0.0, 0.0)


def test_turning_the_stand_tells_part_and_stand_apart():
    face = flat(60.0, 40.0)
    x, y = stations(face, 5, 4, 6.0)
    part = 0.05 * x
    one, other = (sweep_um(face, x, y, part, indicator=IDEAL, slopes=(sign * 0.02, sign * -0.03),
                           rng=np.random.default_rng(1)) for sign in (1.0, -1.0))
    stand, own = reversal(one, other)  # in the part's own frame it is the stand that changes its sign
    np.testing.assert_allclose(own, part - part[0], atol=0.011)
    np.testing.assert_allclose(stand, 0.02 * (x - x[0]) - 0.03 * (y - y[0]), atol=0.011)
