"""Bands: how often each place of a face is scraped, from readings on it."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.hands.autopilot import STAGES
from sim.hands.bands import (
    BandPlan,
    WedgeWork,
    band_plan,
    between,
    corner_pads,
    estimated_hours,
    level_pads,
    lowest_corner,
    planned_rounds,
    taper_plan,
    wander_mm,
)
from sim.model.heights import Heights

SHAPE, PITCH = (45, 60), 2.0  # 120 x 90 mm
REMOVAL = 2.1
X, Y = (np.arange(SHAPE[1]) + 0.5) * PITCH, (np.arange(SHAPE[0]) + 0.5) * PITCH
IRON = np.ones(SHAPE, dtype=bool)


def sweep(height, step_mm=20.0):
    """Readings of height(x, y) at stations 6 mm from the rim and about step_mm apart."""
    x, y = np.meshgrid(*(np.linspace(6.0, side - 6.0, round((side - 12.0) / step_mm) + 1) for side in (120.0, 90.0)))
    return Heights(x.ravel(), y.ravel(), height(x, y).ravel() + np.zeros(x.size))


def plan_of(height, **more):
    return band_plan(sweep(height), SHAPE, PITCH, REMOVAL, **more)


@settings(max_examples=20)
@given(st.floats(-0.3, 0.3), st.floats(-0.3, 0.3), st.floats(-1e4, 1e4))
def test_between_the_stations_of_a_plane_lies_the_plane(slope_x, slope_y, height):
    def plane(x, y):
        return height + slope_x * x + slope_y * y

    # rounding of heights up to 1e4 um: 1e-12 of them, and some more for the sums
    assert between(sweep(plane), X, Y, 20.0) == pytest.approx(plane(X[None, :], Y[:, None]), abs=1e-7)


def test_between_goes_closely_through_the_stations():
    rng = np.random.default_rng(4)
    readings = sweep(lambda x, y: 0.15 * x + rng.normal(0.0, 2.0, x.shape))
    found = np.array([between(readings, readings.x_mm[i : i + 1], readings.y_mm[i : i + 1], 20.0)[0, 0]
                      for i in range(len(readings))])  # fmt: skip
    # four neighbours at 1/25, four at 1/81, and so on: a fifth to a quarter of what stands off the plane, at most
    assert np.abs(found - readings.z_um).max() < 0.3 * 2.0 * 3.0
    assert np.std(found - readings.z_um) < 0.3 * 2.0


def test_between_and_beyond_nothing_stands_out_further_than_a_station():
    readings = sweep(lambda x, y: np.where((x - 60.0) ** 2 + (y - 45.0) ** 2 < 200.0, 5.0, 0.0))
    found = between(readings, X, Y, 20.0)
    assert readings.z_um.min() - 1e-9 <= found.min()
    assert found.max() <= readings.z_um.max() + 1e-9


@pytest.mark.parametrize("slopes", [(20.0 / 120.0, 0.0), (-0.1, 0.05), (0.08, -0.2), (-0.15, -0.1)])
def test_a_plane_is_scraped_as_often_as_its_height_over_the_lowest_corner_needs(slopes):
    plan = plan_of(lambda x, y: 7.0 + slopes[0] * x + slopes[1] * y)
    plane = slopes[0] * X[None, :] + slopes[1] * Y[:, None]
    depth = plane - plane.min()
    assert plan.depth_um == pytest.approx(depth, abs=1e-9)
    far = np.abs(depth / REMOVAL % 1.0 - 0.5) > 1e-6  # from where one band meets the next
    assert np.array_equal(plan.passes()[far], np.rint(depth / REMOVAL)[far])
    assert plan.rounds == plan.passes().max() == round(depth.max() / REMOVAL)
    assert plan.span_um == pytest.approx(depth.max(), abs=1e-9)


@given(st.integers(0, 10_000), st.floats(0.3, 8.0))
def test_every_place_is_scraped_in_as_many_rounds_as_it_has_passes(seed, removal):
    rng = np.random.default_rng(seed)
    depth = np.append(rng.uniform(-10.0, 30.0, 98), [0.0, 2.5 * removal]).reshape(10, 10)
    plan = BandPlan(depth, removal, int(depth.max() / removal + 0.5), 30.0)
    rounds = [plan.region(left) for left in range(plan.rounds, 0, -1)]
    assert np.array_equal(np.sum(rounds, axis=0, dtype=np.int64), plan.passes())
    assert all((more | less == more).all() for less, more in pairwise(rounds)), "each holds the last"
    assert (plan.passes() >= 0).all()


def test_a_border_wanders_by_its_share_of_a_band():
    plan = plan_of(lambda x, y: 20.0 / 120.0 * x)
    band_mm = REMOVAL / (20.0 / 120.0)
    widths = [plan.region(3, wander)[0].sum() * PITCH for wander in (-0.25, 0.0, 0.25)]
    assert np.diff(widths) == pytest.approx(-0.25 * band_mm, abs=PITCH)
    assert wander_mm(plan, PITCH) == pytest.approx(0.25 * band_mm, rel=1e-9)


@pytest.mark.parametrize("height", [lambda x, y: 0.0 * x, lambda x, y: 2.9 / 120.0 * x],
                         ids=["flat", "within the limit"])  # fmt: skip
def test_a_face_whose_plane_spans_little_has_no_plan(height):
    plan = plan_of(height)
    assert plan.rounds == 0
    assert planned_rounds(plan, IRON, PITCH) == []


def test_a_cylinder_is_no_wedge_and_its_middle_is_no_band():
    def cylinder(x, y):
        return 12.0 * (1.0 - ((x - 60.0) / 60.0) ** 2)

    assert plan_of(cylinder).span_um == pytest.approx(0.0, abs=1e-9)
    assert plan_of(cylinder).rounds == 0
    tilted = plan_of(lambda x, y: cylinder(x, y) + 20.0 / 120.0 * x)
    assert tilted.span_um == pytest.approx(20.0 * 118.0 / 120.0, abs=1e-6)  # from middle to middle of the end cells
    middle = tilted.passes()[22]
    assert middle[30] > middle[0]
    assert abs(int(middle[30]) - round((10.0 + 12.0) / REMOVAL)) <= 1


def test_what_lies_under_the_lowest_corner_is_left_alone():
    hollow = plan_of(lambda x, y: 10.0 / 120.0 * x - 20.0 * np.exp(-((x - 60.0) ** 2 + (y - 45.0) ** 2) / 500.0))
    assert hollow.depth_um.min() < -5.0
    assert hollow.passes().min() == 0


@pytest.mark.parametrize("axis", [0, 1])
def test_mirrored_readings_give_a_mirrored_plan(axis):
    rng = np.random.default_rng(2)
    readings = sweep(lambda x, y: 0.15 * x - 0.06 * y + rng.normal(0.0, 1.0, x.shape))
    there = ({"x_mm": 120.0 - readings.x_mm} if axis else {"y_mm": 90.0 - readings.y_mm})
    mirrored = Heights(**{"x_mm": readings.x_mm, "y_mm": readings.y_mm, "z_um": readings.z_um} | there)
    one, other = (band_plan(h, SHAPE, PITCH, REMOVAL) for h in (readings, mirrored))
    assert np.flip(other.depth_um, axis=axis) == pytest.approx(one.depth_um, abs=1e-9)
    assert other.rounds == one.rounds


@pytest.mark.parametrize("corner", [(0, 0), (0, -1), (-1, 0), (-1, -1)])
def test_the_lowest_corner_is_found_and_another_can_be_named(corner):
    height = np.ones((4, 5))
    height[corner] = 0.0
    height[2, 2] = -5.0  # no corner
    assert lowest_corner(height) == corner
    plan = plan_of(lambda x, y: 20.0 / 120.0 * x, corner=corner)
    assert plan.depth_um[corner] == 0.0


def test_no_plan_has_more_passes_than_allowed():
    plan = plan_of(lambda x, y: 0.5 * x, work=WedgeWork(most_passes=10))
    assert plan.rounds == 10
    assert plan.passes().max() == 10


def test_a_leaning_side_takes_the_shared_six_um_off_a_base_of_60_mm():
    # 10 um in 100 mm on a base of 60 mm: 6 um, from middle to middle of the end cells here
    plan = taper_plan((30, 60), 1.0, (-10.0 / 100.0, 0.0), 2.0)
    assert plan.span_um == pytest.approx(5.9)
    assert plan.depth_um[:, -1].max() == 0.0
    assert plan.depth_um[0, 0] == plan.depth_um.max()
    assert plan.rounds == 3 == plan.passes().max()


def test_rounds_are_told_highest_band_first_and_strokes_go_with_the_iron():
    plan = plan_of(lambda x, y: 20.0 / 120.0 * x)
    rounds = planned_rounds(plan, IRON, PITCH)
    assert [one.bands for one in rounds[:2]] == [(9,), (9, 8)]
    assert rounds[-1].bands == tuple(range(9, 0, -1))
    assert [one.region.sum() for one in rounds] == [plan.region(left).sum() for left in range(9, 0, -1)]
    cells = np.array([one.region.sum() for one in rounds])
    assert [one.strokes for one in rounds] == np.ceil(cells * PITCH**2 / (2.8 * 9.0)).tolist()
    assert (WedgeWork().row_mm, WedgeWork().stroke_mm) == (STAGES[1].spacing_mm, STAGES[1].longest_mm)


def test_hours_are_strokes_prints_and_sweeps():
    rounds = planned_rounds(plan_of(lambda x, y: 20.0 / 120.0 * x), IRON, PITCH)[:3]
    strokes = sum(one.strokes for one in rounds)
    # 60 strokes a minute; film 45, print 60 + 30, stone 60, wipe 40 s a round; two sweeps, set down in
    # 60 s, set up in 120 s, 6 s a station
    seconds = strokes + 3 * 235.0 + 2 * (180.0 + 6.0 * 30)
    assert estimated_hours(rounds, 30) == pytest.approx(seconds / 3600.0, rel=1e-12)


def test_pads_are_scraped_before_all_other_iron_each_to_the_plane_of_the_lowest():
    pads = corner_pads(SHAPE, 8)
    plan = level_pads(plan_of(lambda x, y: 20.0 / 120.0 * x + 5.0 / 90.0 * y), IRON, pads)
    rounds = planned_rounds(plan, IRON, PITCH, pads=pads)
    on_pads = np.any(list(pads.values()), axis=0)
    first = [one.on_pads for one in rounds]
    assert first == sorted(first, reverse=True)
    assert all((one.region & ~on_pads).any() != one.on_pads for one in rounds)
    assert np.array_equal(np.sum([one.region for one in rounds], axis=0, dtype=np.int64), plan.passes())
    # middle of a pad to middle of a pad: 104 of 120 mm, 74 of 90 mm
    across, up = 20.0 * 104.0 / 120.0, 5.0 * 74.0 / 90.0
    passes = {corner: set(plan.passes()[pad].tolist()) for corner, pad in pads.items()}
    assert passes == {(0, 0): {0}, (0, -1): {round(across / REMOVAL)}, (-1, 0): {round(up / REMOVAL)},
                      (-1, -1): {round((across + up) / REMOVAL)}}  # fmt: skip
