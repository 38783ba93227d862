"""The rigid seat against balance by hand, the convex hull and its own symmetries."""

import csv
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial import ConvexHull

from sim.errors import BadParam
from sim.seat.rigid import rigid_seat

DATA = Path(__file__).parent.parent / "data"
SADDLE = np.array([[100.0, 100.0, 5.0], [-100.0, -100.0, 5.0], [100.0, -100.0, -5.0], [-100.0, 100.0, -5.0]])


def seat(points, load):
    return rigid_seat(*np.ascontiguousarray(np.asarray(points, float).T), load)


def plane(found, load, x_mm, y_mm):
    """Height of the plate anywhere, um."""
    return found.height_um + found.slopes_um_per_mm[0] * (x_mm - load[0]) + found.slopes_um_per_mm[1] * (y_mm - load[1])


def test_the_foot_of_the_parallelism_check_stands_as_published():
    with open(DATA / "parallelism_faces.csv", newline="") as file:
        points = [
            [float(row[key]) for key in ("x_mm", "y_mm", "z_um")] for row in csv.DictReader(file) if row["face"] == "A"
        ]
    found = seat(
        np.array(points) * [1, 1, -1], (100.0, 100.0)
    )  # the iron is above its points: z towards the plate is down
    # shared check list, computed: points 1, 6, 8; shares .5, .25, .25; slopes -.0025, +.00375 with z up
    assert found.stands_on_rows == (1, 6, 8)
    assert found.shares == pytest.approx((0.5, 0.25, 0.25), abs=1e-12)
    assert found.slopes_um_per_mm == pytest.approx((0.0025, -0.00375), abs=1e-12)
    assert not found.rocks
    assert found.other_seat is None
    assert found.corner_drop_um == (0.0, 0.0, 0.0, 0.0)


def test_three_feet_share_the_load_by_areas():
    feet = np.array([[0.0, 0.0, 1.0], [120.0, 10.0, 4.0], [30.0, 90.0, 2.0]])
    load = np.array([50.0, 30.0])

    def area(a, b, c):
        return abs((b[0] - a[0]) * (c[1] - a[1]) - (c[0] - a[0]) * (b[1] - a[1])) / 2

    whole = area(*feet)
    expected = [
        area(load, feet[1], feet[2]) / whole,
        area(feet[0], load, feet[2]) / whole,
        area(feet[0], feet[1], load) / whole,
    ]
    found = seat(feet, tuple(load))
    assert found.shares == pytest.approx(expected, abs=1e-13)
    assert found.height_um == pytest.approx(np.dot(expected, feet[:, 2]), abs=1e-12)


def cloud(seed, kind):
    rng = np.random.default_rng(seed)
    n = int(rng.integers(5, 400))
    x, y = rng.uniform(-100, 100, (2, n))
    z = 5 * rng.normal(size=n) + 0.1 * x - 0.005 * y * y
    if kind == "on a grid":
        x, y, z = np.round(x, -1), np.round(y, -1), np.round(z)
    x[:4], y[:4] = [-100, 100, 100, -100], [-100, -100, 100, 100]  # so that every load below is inside
    return np.column_stack([x, y, z]), tuple(rng.uniform(-60, 60, 2))


@pytest.mark.parametrize("kind", ["scattered", "on a grid"])
@pytest.mark.parametrize("seed", range(20))
def test_the_seat_is_the_facet_of_the_upper_hull_under_the_load(seed, kind):
    points, load = cloud(seed, kind)
    equations = ConvexHull(points).equations
    upper = equations[equations[:, 2] > 1e-9]
    found = seat(points, load)
    assert found.height_um == pytest.approx((-(upper[:, :2] @ load + upper[:, 3]) / upper[:, 2]).min(), abs=1e-9)


@pytest.mark.parametrize("kind", ["scattered", "on a grid"])
@pytest.mark.parametrize("seed", range(20))
def test_nothing_goes_through_the_plate_and_the_shares_balance_the_load(seed, kind):
    points, load = cloud(seed, kind)
    found = seat(points, load)
    gaps = plane(found, load, points[:, 0], points[:, 1]) - points[:, 2]
    assert gaps.min() > -1e-10
    stands_on = list(found.stands_on_rows)
    np.testing.assert_allclose(gaps[stands_on], 0.0, atol=1e-10)
    assert min(found.shares) >= 0.0
    assert sum(found.shares) == pytest.approx(1.0, abs=1e-12)
    np.testing.assert_allclose(np.array(found.shares) @ points[stands_on, :2], load, atol=1e-10)


def test_a_twist_rocks_about_its_high_diagonal():
    found = seat(SADDLE, (0.0, 0.0))
    assert found.rocks
    assert {found.stands_on_rows, found.other_seat.stands_on_rows} == {(0, 1, 2), (0, 1, 3)}
    for one in (found, found.other_seat):
        assert one.rocks
        assert one.shares == pytest.approx((0.5, 0.5, 0.0), abs=1e-12)
        assert one.height_um == pytest.approx(5.0, abs=1e-12)
        assert np.abs(one.slopes_um_per_mm) == pytest.approx([0.05, 0.05], abs=1e-12)
    # closed form: the plate through the high diagonal and one low corner passes the other by 15 - (-5) um
    assert found.corner_drop_um == pytest.approx((0.0, 20.0, 20.0, 0.0), abs=1e-11)


def test_a_twist_with_the_load_off_its_diagonal_sits_firmly():
    found = seat(SADDLE, (10.0, -10.0))
    assert not found.rocks
    assert found.stands_on_rows == (0, 1, 2)
    assert found.shares == pytest.approx((0.45, 0.45, 0.1), abs=1e-12)


def test_the_unbalanced_diagonal_rocks_where_the_load_meets_it():
    found = seat(SADDLE, (50.0, 50.0))
    assert found.rocks
    assert found.shares == pytest.approx((0.75, 0.25, 0.0), abs=1e-12)


def test_a_load_over_one_high_point_rocks_all_round():
    x, y = (grid.ravel() for grid in np.meshgrid(np.arange(-50.0, 51, 10), np.arange(-40.0, 41, 10)))
    found = seat(np.column_stack([x, y, -0.001 * (x * x + y * y)]), (0.0, 0.0))
    assert found.rocks
    assert sorted(found.shares) == [0.0, 0.0, 1.0]
    # a crown on a grid: next to the middle the plate slopes 0.01 um/mm along x and y, either way, so 1.8 um at (50, 40)
    assert found.corner_drop_um == pytest.approx([1.8] * 4, abs=1e-11)
    assert found.slopes_um_per_mm == pytest.approx([-s for s in found.other_seat.slopes_um_per_mm], abs=1e-12)


@pytest.mark.parametrize("load", [(0.0, 0.0), (30.0, -20.0), (100.0 - 1e-3, 0.0)])
def test_a_true_flat_does_not_rock_wherever_the_load_is(load):
    x, y = (grid.ravel() for grid in np.meshgrid(np.linspace(-100, 100, 9), np.linspace(-100, 100, 9)))
    found = seat(np.column_stack([x, y, 0.1 * x - 0.3 * y + 7.0]), load)
    assert not found.rocks
    assert found.slopes_um_per_mm == pytest.approx((0.1, -0.3), abs=1e-10)
    np.testing.assert_allclose(
        np.array(found.shares) @ np.column_stack([x, y])[list(found.stands_on_rows)], load, atol=1e-9
    )


@pytest.mark.parametrize(
    ("load", "words"), [((150.0, 0.0), "50 mm outside"), ((100.0, 0.0), "on its rim"), ((100.0, 100.0), "on its rim")]
)
def test_a_load_that_is_not_inside_the_outline_tips_the_part(load, words):
    with pytest.raises(BadParam, match=f"{words}: the part would tip"):
        seat(SADDLE, load)


def test_points_on_one_line_are_refused():
    with pytest.raises(BadParam, match="do not lie on one line"):
        seat([[0, 0, 1], [1, 1, 2], [2, 2, 5]], (1.0, 1.0))


@pytest.mark.parametrize("turn", [[-1, 1], [1, -1]], ids=["left for right", "front for back"])
@pytest.mark.parametrize("load", [(0.0, 0.0), (12.0, -7.0)])
def test_a_mirrored_part_sits_mirrored(turn, load):
    for points in (SADDLE, cloud(3, "scattered")[0]):
        one, other = seat(points, load), seat(points * [*turn, 1], (load[0] * turn[0], load[1] * turn[1]))
        assert other.stands_on_rows == one.stands_on_rows
        assert other.height_um == pytest.approx(one.height_um, abs=1e-12)
        assert other.rocks == one.rocks
        assert sorted(other.corner_drop_um) == pytest.approx(sorted(one.corner_drop_um), abs=1e-11)


def test_double_points_and_a_far_origin_change_nothing():
    points, load = cloud(5, "scattered")
    found = seat(points, load)
    moved = seat(np.vstack([points, points]) + [50_000.0, -20_000.0, 1e6], (load[0] + 50_000.0, load[1] - 20_000.0))
    assert sorted(row % len(points) for row in moved.stands_on_rows) == list(found.stands_on_rows)
    assert moved.height_um - 1e6 == pytest.approx(found.height_um, abs=1e-6)
