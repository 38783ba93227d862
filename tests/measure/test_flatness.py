"""Flatness against closed forms, a linear programme solver and the published straightness example."""

import csv
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import linprog

from sim.errors import BadParam
from sim.intake.tables import read_heights
from sim.measure.flatness import (
    bearing_flatness_um,
    flatness,
    minimum_zone_um,
    residuals_um,
    straightness,
    surface_flatness_um,
)
from sim.model.face import face_from_heights
from sim.model.heights import Heights

DATA = Path(__file__).parent.parent / "data"
# Closed forms, mm: FLTt, FLTp, FLTv, FLTq (residuals normal to the plane, ISO 12781-1); the minimum zone is FLTt.
SHAPES = {
    "grid21_bowl": (0.02, 0.0126666667, 0.0073333333, 0.0046221688),
    "grid21_bow": (0.01, 0.0063333333, 0.0036666667, 0.0032683669),
    "grid21_twist": (0.02, 0.01, 0.01, 0.0036666667),
    "triangle31": (0.010, 0.0075, 0.0025, 0.00433013),
}


def figures(found):
    return np.array([found.least_squares_um, found.peak_um, found.valley_um, found.rms_um])


def tilted(heights, degrees, axis):
    """The same points after a rigid turn about x or y."""
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    turn = np.array([[1, 0, 0], [0, c, -s], [0, s, c]]) if axis == "x" else np.array([[c, 0, s], [0, 1, 0], [-s, 0, c]])
    x, y, z = turn @ np.array([heights.x_mm, heights.y_mm, heights.z_um / 1000.0])
    return Heights(x, y, z * 1000.0)


@pytest.mark.parametrize("name", SHAPES)
def test_closed_form_shapes_come_out(name):
    found = flatness(read_heights(DATA / f"{name}.csv"))
    # closed forms, shared check list: printed to 1e-10 mm (triangle31: FLTq to 1e-8 mm)
    np.testing.assert_allclose(figures(found) / 1000.0, SHAPES[name], rtol=0, atol=1e-10 if "grid" in name else 5e-9)
    assert found.minimum_zone_um == pytest.approx(SHAPES[name][0] * 1000.0, abs=1e-9)


def test_the_saddle_trap_is_seen_through():
    heights = read_heights(DATA / "saddle4.csv")
    # closed form, two points against two: 0.010 mm; a search over facets of the hull alone gives 0.020
    assert minimum_zone_um(heights.x_mm, heights.y_mm, heights.z_um) == pytest.approx(10.0, abs=1e-12)


@pytest.mark.parametrize("name", [*SHAPES, "saddle4"])
@pytest.mark.parametrize("degrees", [1.0, 2.0])
@pytest.mark.parametrize("axis", ["x", "y"])
def test_tilting_the_cloud_changes_nothing(name, degrees, axis):
    heights = read_heights(DATA / f"{name}.csv")
    level, leaning = flatness(heights), flatness(tilted(heights, degrees, axis))
    # the turned coordinates themselves carry 1e-14 mm of rounding on 100 mm
    np.testing.assert_allclose(figures(leaning), figures(level), rtol=0, atol=1e-9)
    assert leaning.minimum_zone_um == pytest.approx(level.minimum_zone_um, abs=1e-9)


@pytest.mark.parametrize(("face", "minimum_zone", "least_squares"), [("A", 4.625, 5.25), ("B", 1.5, 1.5)])
def test_the_two_faces_of_the_parallelism_check_come_out(face, minimum_zone, least_squares):
    with open(DATA / "parallelism_faces.csv", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["face"] == face]
    found = flatness(Heights(*(np.array([float(row[key]) for row in rows]) for key in ("x_mm", "y_mm", "z_um"))))
    # shared check list, computed; 1e-8: the list takes heights, not distances, and the faces lean 3e-5
    assert found.minimum_zone_um == pytest.approx(minimum_zone, rel=1e-8)
    assert found.least_squares_um == pytest.approx(least_squares, rel=1e-8)


def test_the_autocollimator_example_comes_out():
    with open(DATA / "straightness_autocollimator.csv", newline="") as file:
        rows = list(csv.DictReader(file))
    found = straightness(
        np.array([float(row["x_mm"]) for row in rows]), np.array([float(row["cumulative_um"]) for row in rows])
    )
    assert found.end_points_um == pytest.approx(3.0, abs=1e-12)  # published: university lecture, autocollimator example
    assert found.minimum_zone_um == pytest.approx(3.0, abs=1e-12)  # computed, shared check list
    assert found.least_squares_um == pytest.approx(3.0357, abs=5e-5)  # computed, shared check list


def test_straightness_of_two_stations_is_nothing():
    assert straightness(np.array([0.0, 100.0]), np.array([3.0, 8.0])).minimum_zone_um == pytest.approx(0.0, abs=1e-12)


def zone_by_solver(x_mm, y_mm, z_um):
    """The same linear programme given to a general solver, without turning: right for level clouds."""
    rows = np.column_stack([np.ones(len(x_mm)), x_mm / 100.0, y_mm / 100.0])
    both = np.block([[rows, np.ones((len(rows), 1))], [-rows, np.ones((len(rows), 1))]])
    tight = {"primal_feasibility_tolerance": 1e-10, "dual_feasibility_tolerance": 1e-10}
    done = linprog([0, 0, 0, 1], -both, -np.concatenate([z_um, -z_um]), bounds=[(None, None)] * 4, options=tight)
    return 2.0 * done.fun


def zone_by_directions(x_mm, y_mm, z_um):
    """The obvious way for few points: every plane through three, and every plane parallel to two edges."""
    points = np.column_stack([x_mm, y_mm, z_um / 1000.0])
    edges = [points[j] - points[i] for i, j in combinations(range(len(points)), 2)]
    normals = np.array([n for a, b in combinations(edges, 2) if abs((n := np.cross(a, b))[2]) > 1e-9])
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    return float(np.ptp(points @ normals.T, axis=0).min()) * 1000.0


@pytest.mark.parametrize("rounded", [False, True], ids=["scattered", "on a grid, in whole um"])
@pytest.mark.parametrize("seed", range(10))
def test_minimum_zone_agrees_with_a_general_solver(seed, rounded):
    rng = np.random.default_rng(seed)
    x, y = rng.uniform(-100, 100, (2, 200))
    z = 5 * rng.normal(size=200) + 2e-3 * x * y
    if rounded:
        x, y, z = np.round(x, -1), np.round(y, -1), np.round(z)
    # the solver's fit leans up to 1e-4 in slope, so distance and height differ by 1e-8 of the zone
    assert minimum_zone_um(x, y, z) == pytest.approx(zone_by_solver(x, y, z), rel=2e-8)


@pytest.mark.parametrize("seed", range(5))
def test_minimum_zone_agrees_with_the_search_over_all_directions(seed):
    rng = np.random.default_rng(seed)
    x, y, z = *rng.uniform(-100, 100, (2, 9)), 5 * rng.normal(size=9)
    assert minimum_zone_um(x, y, z) == pytest.approx(zone_by_directions(x, y, z), abs=1e-9)


def test_the_minimum_zone_is_never_wider_than_about_least_squares_and_three_points_are_flat():
    rng = np.random.default_rng(4)
    heights = Heights(*rng.uniform(0, 100, (3, 50)))
    found = flatness(heights)
    assert found.minimum_zone_um < found.least_squares_um == pytest.approx(found.peak_um + found.valley_um)
    three = flatness(Heights(heights.x_mm[:3], heights.y_mm[:3], heights.z_um[:3]))
    np.testing.assert_allclose([three.minimum_zone_um, *figures(three)], 0.0, atol=1e-9)


def test_the_plane_is_the_one_that_was_put_in_and_the_residuals_are_normal_to_it():
    heights = read_heights(DATA / "grid21_twist.csv")
    slope = 500.0  # um/mm, about 27 degrees, so that normal and vertical differ by 11 %
    leaning = Heights(heights.x_mm, heights.y_mm, heights.z_um + slope * heights.x_mm + 7.0)
    found = flatness(leaning)
    assert found.height_um == pytest.approx(7.0, abs=1e-9)
    assert found.slopes_um_per_mm == pytest.approx((slope, 0.0), abs=1e-3)
    assert np.ptp(residuals_um(leaning)) == pytest.approx(20.0 / np.sqrt(1.25), rel=1e-4)


def test_double_points_count_as_one():
    heights = read_heights(DATA / "saddle4.csv")
    double = Heights(*(np.tile(values, 3) for values in (heights.x_mm, heights.y_mm, heights.z_um)))
    assert flatness(double).minimum_zone_um == pytest.approx(10.0, abs=1e-12)
    np.testing.assert_allclose(figures(flatness(double)), figures(flatness(heights)), atol=1e-10)


@pytest.mark.parametrize(
    ("x", "y"), [([0, 1, 2, 3], [0, 2, 4, 6]), ([5, 5, 5], [1, 2, 3]), ([7, 7, 7], [7, 7, 7]), ([0, 1], [0, 1])]
)
def test_points_on_one_line_or_too_few_are_refused(x, y):
    with pytest.raises(BadParam, match="a plane needs"):
        flatness(Heights(np.array(x, float), np.array(y, float), np.arange(len(x), dtype=float)))


def wavy(ny=88, nx=130, seed=3):
    """A face of 32.5 x 22 mm, whose sides are no whole number of tiles."""
    y, x = np.mgrid[:ny, :nx] * 0.25
    return 10 * np.sin(x / 9) + 0.05 * x * y + np.random.default_rng(seed).normal(size=x.shape)


def test_bearing_flatness_is_that_of_the_highest_cell_of_each_tile():
    z = wavy(80, 120)
    x, y, tops = [], [], []
    for top in range(0, 80, 40):
        for left in range(0, 120, 40):
            row, column = np.unravel_index(z[top : top + 40, left : left + 40].argmax(), (40, 40))
            x.append((left + column + 0.5) * 0.25)
            y.append((top + row + 0.5) * 0.25)
            tops.append(z[top + row, left + column])
    expected = minimum_zone_um(np.array(x), np.array(y), np.array(tops))
    assert bearing_flatness_um(face_from_heights(z)) == pytest.approx(expected, rel=1e-12)


def test_pockets_count_for_the_surface_and_not_for_the_bearing():
    z = np.zeros((80, 120))
    z[::3, ::3] = -6.0
    face = face_from_heights(z)
    assert bearing_flatness_um(face) == pytest.approx(0.0, abs=1e-12)
    assert surface_flatness_um(face) == pytest.approx(6.0, abs=1e-9)


@pytest.mark.parametrize("measure", [bearing_flatness_um, surface_flatness_um])
def test_a_mirrored_or_turned_face_measures_the_same(measure):
    z = wavy()
    iron = np.ones(z.shape, bool)
    iron[10:30, 70:100] = False
    first = measure(face_from_heights(z, iron))
    for turn in (np.flipud, np.fliplr, np.transpose):
        assert measure(face_from_heights(turn(z), turn(iron))) == pytest.approx(first, abs=1e-12)


def test_burrs_edge_break_and_holes_are_no_part_of_the_flatness():
    z = wavy()
    face = face_from_heights(z)
    clean = bearing_flatness_um(face), surface_flatness_um(face)
    face.burr_um[40, 60] = 500.0
    assert (bearing_flatness_um(face), surface_flatness_um(face)) == clean
    inner = np.zeros(z.shape, bool)
    inner[4:-4, 4:-4] = True
    z[:4] = 900.0
    broken = face_from_heights(z, scored=inner)
    assert surface_flatness_um(broken) == pytest.approx(surface_flatness_um(face_from_heights(z[4:-4, 4:-4])), abs=1e-9)


def test_a_face_without_a_scored_cell_is_refused():
    face = face_from_heights(np.zeros((8, 8)), scored=np.zeros((8, 8), bool))
    for measure in (bearing_flatness_um, surface_flatness_um):
        with pytest.raises(BadParam, match="at least 3 points, got 0"):
            measure(face)
