"""One face against another: the shared check, closed forms, slow twins, and parts that are turned as a whole."""

import csv
import math
from dataclasses import astuple, replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.errors import BadParam
from sim.measure.flatness import bearing_flatness_um, flatness, minimum_zone_um, surface_flatness_um
from sim.measure.orient import (
    angle_of,
    body_points,
    datum_of,
    least_width_um,
    parallelism,
    part_orientation,
    perpendicularity,
    reversal,
    side_on,
)
from sim.model.face import face_from_heights
from sim.model.heights import Heights
from sim.model.part import FaceShape, Frame, Part, PartShape, Tolerance
from sim.seat.rigid import rigid_seat

DATA = Path(__file__).parent.parent / "data"
PARALLEL, SQUARE = Tolerance("parallelism", "top", "foot", 5.0), Tolerance("perpendicularity", "side", "foot", 4.0)


def grid(along, across, shape=(9, 7)):
    """Places on a box, raveled: first from 0 to along, second from 0 to across."""
    return tuple(g.ravel() for g in np.meshgrid(np.linspace(0, along, shape[0]), np.linspace(0, across, shape[1])))


def level(form_um=lambda x, y: 0.0 * x, height_mm=0.0):
    """A face of 160 x 110 mm at a height, with a form added."""
    x, y = grid(160.0, 110.0)
    return Heights(x, y, height_mm * 1000.0 + form_um(x, y))


def upright(form_um=lambda y, z: 0.0 * y):
    """A side that faces +x: 110 mm wide, from 5 to 105 mm high, at x = 160 mm, with a form along x."""
    y, z = grid(110.0, 100.0)
    z = z + 5.0
    return Heights(160.0 + form_um(y, z) / 1000.0, y, z * 1000.0)


def rotation(degrees, axis):
    """Right-handed turn about an axis of any length."""
    a, b, c = np.asarray(axis) / np.linalg.norm(axis)
    cross = np.array([[0.0, -c, b], [c, 0.0, -a], [-b, a, 0.0]])
    angle = math.radians(degrees)
    return np.eye(3) + math.sin(angle) * cross + (1.0 - math.cos(angle)) * cross @ cross


def turned(heights, turn, shift=(0.0, 0.0, 0.0)):
    x, y, z = turn @ np.array([heights.x_mm, heights.y_mm, heights.z_um / 1000.0]) + np.array(shift)[:, None]
    return Heights(x, y, z * 1000.0)


def check_face(name):
    with open(DATA / "parallelism_faces.csv", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["face"] == name]
    return Heights(*(np.array([float(row[key]) for row in rows]) for key in ("x_mm", "y_mm", "z_um")))


# ---------------------------------------------------------------- parallelism


def test_the_shared_check_comes_out_to_both_datums():
    found = parallelism(check_face("A"), check_face("B"))
    # shared check list, computed; 1e-8: the list takes heights, not distances along a normal
    assert found.contact_um == pytest.approx(8.75, rel=1e-8)
    assert found.least_squares_um == pytest.approx(9.0, rel=1e-8)
    assert (found.rocks, found.other_contact_um) == (False, None)
    # by hand: means of the columns of B 1, 3.33, 7, of its rows 2.33, 3.67, 5.33: it rises 3 and 1.5 um in 100 mm,
    # the contact datum -.25 and +.375 (the list)
    wedge = found.wedge_x_um_per_100mm, found.wedge_y_um_per_100mm
    assert wedge == pytest.approx((3.0 + 0.25, 1.5 - 0.375), abs=1e-7)


def test_the_foot_of_the_shared_check_is_as_flat_and_stands_as_listed():
    foot = check_face("A")
    found = flatness(foot)
    # shared check list: 4.625 minimum zone, 5.25 least squares; on points 1, 6, 8 with shares .5, .25, .25
    assert (found.minimum_zone_um, found.least_squares_um) == pytest.approx((4.625, 5.25), rel=1e-8)
    assert flatness(check_face("B")).minimum_zone_um == pytest.approx(1.5, rel=1e-8)
    seat = rigid_seat(foot.x_mm, foot.y_mm, -foot.z_um, (float(foot.x_mm.mean()), float(foot.y_mm.mean())))
    assert seat.stands_on_rows == (1, 6, 8)
    assert seat.shares == pytest.approx((0.5, 0.25, 0.25), abs=1e-12)
    # slopes of the plate -.0025 and +.00375 um/mm: the normal of the contact datum leans against them
    assert datum_of(foot).contact == pytest.approx([0.0025e-3, -0.00375e-3, 1.0], abs=1e-10)


def test_a_wedge_is_positive_where_the_face_rises_away_and_its_range_is_the_rise():
    top = level(lambda x, y: 0.05 * x - 0.02 * y, 80.0)
    found = parallelism(level(), top)
    assert (found.wedge_x_um_per_100mm, found.wedge_y_um_per_100mm) == pytest.approx((5.0, -2.0), abs=1e-8)
    assert found.contact_um == pytest.approx(0.05 * 160 + 0.02 * 110, abs=1e-8)
    assert found.least_squares_um == pytest.approx(found.contact_um, abs=1e-8)
    assert found.twist_um == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("amount", [20.0, -7.5])
def test_twist_is_how_far_two_corners_stand_above_the_other_two_whatever_the_wedge(amount):
    def form(x, y):
        return amount / 2 * (x / 80 - 1) * (y / 55 - 1) + 0.3 * x - 0.1 * y + 2.0

    assert parallelism(level(), level(form, 80.0)).twist_um == pytest.approx(amount, abs=1e-8)


def test_twist_is_fitted_over_all_points_not_read_from_the_corners():
    rng = np.random.default_rng(4)
    x, y = rng.uniform(0, [160, 110], (300, 2)).T
    z = 5.0 * rng.normal(size=300)
    z[:3] += 40.0
    rows = np.column_stack([np.ones(300), x, y, x * y])
    d = np.linalg.solve(rows.T @ rows, rows.T @ z)[3]
    found = parallelism(level(), Heights(x, y, z + 80_000.0))
    # T/2 X Y with X, Y from -1 to 1 over the box has d = 2 T / (Lx Ly)
    assert found.twist_um == pytest.approx(d * np.ptp(x) * np.ptp(y) / 2, rel=1e-6)


def test_points_that_cannot_tell_a_twist_give_none():
    cross = Heights(np.array([0.0, 50, 100, 50, 50]), np.array([50.0, 50, 50, 0, 100]), np.array([0.0, 1, 2, 1, 1]))
    assert parallelism(level(), cross).twist_um is None
    three = Heights(np.array([0.0, 100.0, 0.0]), np.array([0.0, 0.0, 100.0]), np.array([50.0, 51.0, 52.0]))
    assert parallelism(level(), three).twist_um is None


def test_a_rocking_datum_gives_both_seats():
    foot = level(lambda x, y: 3.0 * (x / 80 - 1) * (y / 55 - 1))
    found = parallelism(foot, level(height_mm=80.0))
    assert found.rocks
    # closed form: it rests on the low diagonal, corners at -3, and tips till a high corner, at +3, touches: the
    # contact plane then runs from +3 there to -9 under the other; 1e-7: along its normal, which leans 1e-4
    assert (found.contact_um, found.other_contact_um) == pytest.approx((12.0, 12.0), abs=1e-7)
    assert found.least_squares_um == pytest.approx(0.0, abs=1e-8)
    side = perpendicularity(foot, upright())
    assert side.rocks
    # x component of the tip, 6 um in 160 mm, over 100 mm of height, either way
    assert (side.contact_um, side.other_contact_um) == pytest.approx((3.75, 3.75), abs=1e-8)


def test_the_place_of_the_load_chooses_the_seat():
    hollow = level(lambda x, y: np.abs(x - 80.0) * -0.05)  # its ends are the lowest
    ridge = level(lambda x, y: np.abs(x - 80.0) * 0.05)
    top = level(height_mm=80.0)
    left, right = parallelism(ridge, top, (40.0, 55.0)), parallelism(ridge, top, (120.0, 55.0))
    # closed form: it tips down on the loaded flank, which falls 5 um in 100 mm toward the middle
    assert (left.wedge_x_um_per_100mm, right.wedge_x_um_per_100mm) == pytest.approx((5.0, -5.0), abs=1e-8)
    assert left.contact_um == pytest.approx(8.0, abs=1e-8)
    assert not left.rocks
    assert parallelism(ridge, top).rocks
    assert parallelism(ridge, top) == parallelism(ridge, top, (80.0, 55.0))
    assert not parallelism(hollow, top).rocks
    # levelling that flank lifts the far end, and the side's head comes back
    assert perpendicularity(ridge, upright(), (40.0, 55.0)).lean_um_per_100mm == pytest.approx(-5.0, abs=1e-8)


# ---------------------------------------------------------------- perpendicularity


def test_a_leaning_side_shows_its_lean_over_its_height():
    found = perpendicularity(level(), upright(lambda y, z: 0.05 * z))
    assert found.contact_um == pytest.approx(5.0, abs=1e-7)
    assert found.least_squares_um == pytest.approx(5.0, abs=1e-7)
    assert found.angle_deg == pytest.approx(0.0028648, abs=5e-8)  # physics page, section 7: 0.0029 degrees
    assert (found.lean_um_per_100mm, found.lean_along) == (pytest.approx(5.0, abs=1e-7), "x")
    back = perpendicularity(level(), upright(lambda y, z: -0.05 * z))
    assert back.lean_um_per_100mm == pytest.approx(-5.0, abs=1e-7)
    assert back.angle_deg == pytest.approx(found.angle_deg, abs=1e-12)


def test_a_side_along_x_leans_along_y():
    side = turned(upright(lambda y, z: 0.05 * z), rotation(90.0, (0, 0, 1)))
    found = perpendicularity(turned(level(), rotation(90.0, (0, 0, 1))), side)
    assert (found.lean_um_per_100mm, found.lean_along) == (pytest.approx(5.0, abs=1e-7), "y")
    across = perpendicularity(level(), turned(side, rotation(180.0, (0, 0, 1))))
    assert across.lean_um_per_100mm == pytest.approx(-5.0, abs=1e-7)


@pytest.mark.parametrize("degrees", [0.01, 3.0, 30.0, 135.0])
def test_a_side_turned_about_the_vertical_is_as_square_as_before(degrees):
    found = perpendicularity(level(), turned(upright(), rotation(degrees, (0, 0, 1))))
    # 1e-14 mm of rounding in coordinates of 100 mm
    assert (found.contact_um, found.least_squares_um) == pytest.approx((0.0, 0.0), abs=1e-9)
    assert found.angle_deg == pytest.approx(0.0, abs=1e-12)


def test_a_side_bowed_along_its_length_fills_its_bow_and_one_bowed_in_height_too():
    along = perpendicularity(level(), upright(lambda y, z: 8.0 * (1.0 - (y / 55 - 1.0) ** 2)))
    up = perpendicularity(level(), upright(lambda y, z: 8.0 * (1.0 - ((z - 5) / 50 - 1.0) ** 2)))
    # closed form: ends at 0 and the middle at 8 um; a turn cannot narrow it
    assert (along.contact_um, up.contact_um) == pytest.approx((8.0, 8.0), abs=1e-7)
    assert (along.lean_um_per_100mm, up.lean_um_per_100mm) == pytest.approx((0.0, 0.0), abs=1e-7)


def test_a_twisted_side_is_not_square_though_its_plane_is():
    found = perpendicularity(level(), upright(lambda y, z: 3.0 * (y / 55 - 1.0) * ((z - 5) / 50 - 1.0)))
    assert found.contact_um == pytest.approx(6.0, abs=1e-7)
    assert found.angle_deg == pytest.approx(0.0, abs=1e-11)


def test_a_datum_tilted_alone_tilts_the_side_against_it():
    found = perpendicularity(level(lambda x, y: 0.05 * x), upright())
    # the foot rises toward +x: seen from it the side leans out, 5 um in 100 mm
    assert found.lean_um_per_100mm == pytest.approx(5.0, abs=1e-7)
    assert found.contact_um == pytest.approx(5.0, abs=1e-6)
    across = perpendicularity(level(lambda x, y: 0.05 * y), upright())
    # a rise along the side only rolls it in its own plane
    assert across.contact_um == pytest.approx(0.0, abs=1e-8)
    assert across.lean_um_per_100mm == pytest.approx(0.0, abs=1e-8)


def test_the_two_datums_differ_where_one_high_spot_carries_the_foot():
    def knob(x, y):
        return np.where((x == 0.0) & (y == 55.0), -4.0, 0.0)

    found = perpendicularity(level(knob), upright())
    # closed form: on the knob at x = 0 and the far edge at 160 mm: 4 um in 160 mm
    assert found.lean_um_per_100mm == pytest.approx(2.5, abs=1e-8)
    assert found.contact_um == pytest.approx(2.5, abs=1e-7)
    rows = np.column_stack([np.ones(63), level().x_mm, level().y_mm])
    slope = np.linalg.lstsq(rows, level(knob).z_um, rcond=None)[0][1]
    assert found.least_squares_um == pytest.approx(abs(slope) * 100.0, abs=1e-6)


def scanned_width_um(x, y, steps=200_001):
    """Slow twin: the extent across every azimuth of a fine scan, first over half a turn, then about the best."""
    best, span = 0.0, np.pi / 2
    for _ in range(4):
        azimuth = best + np.linspace(-span, span, steps // 100)
        widths = np.array([np.ptp(-np.sin(a) * x + np.cos(a) * y) for a in azimuth])
        best, span = azimuth[widths.argmin()], span / 500
    return widths.min() * 1000.0


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("thick_mm", [0.005, 1.0, 60.0])
def test_the_narrowest_zone_is_that_of_a_scan_of_azimuths(seed, thick_mm):
    rng = np.random.default_rng(seed)
    along, across = rng.uniform(0, 100, 40), thick_mm * rng.uniform(0, 1, 40)
    turn = rng.uniform(0, np.pi)
    x, y = np.cos(turn) * along - np.sin(turn) * across + 500.0, np.sin(turn) * along + np.cos(turn) * across - 90.0
    scanned = scanned_width_um(x - x.mean(), y - y.mean())
    # the last scan is in steps of 1.2e-11: 1e-6 um on 100 mm; a scan is never narrower than the narrowest
    assert least_width_um(x, y) == pytest.approx(scanned, abs=3e-6)
    assert least_width_um(x, y) <= scanned + 1e-9


@pytest.mark.parametrize(("points", "wide_mm"), [
    ([(0, 0), (4, 0), (4, 3), (0, 3)], 3.0),
    ([(0, 0), (4, 0), (0, 3)], 2.4),
    ([(0, 0), (2, 0), (1, math.sqrt(3))], math.sqrt(3)),
    ([(0, 0), (100, 100), (50, 50), (25, 25)], 0.0),
    ([(0, 0), (0, 0), (7, 0), (7, 0)], 0.0),
])  # fmt: skip
def test_the_narrowest_zone_of_plain_figures(points, wide_mm):
    x, y = np.array(points, float).T
    assert least_width_um(x, y) == pytest.approx(wide_mm * 1000.0, abs=1e-9)


def test_a_side_seen_from_outside_is_as_flat_as_its_points_and_peaks_point_out():
    side = upright(lambda y, z: np.where((y == 55.0) & (np.abs(z - 55.0) < 1.0), 6.0, 0.0))
    for degrees in (0.0, 77.0, 180.0, 270.0):
        turn = rotation(degrees, (0, 0, 1))
        seen = side_on(turned(side, turn), turned(level(), turn))
        assert minimum_zone_um(seen.x_mm, seen.y_mm, seen.z_um) == pytest.approx(6.0, abs=1e-7)
        assert flatness(seen).peak_um > 5.0
        assert (np.ptp(seen.x_mm), np.ptp(seen.y_mm)) == pytest.approx((110.0, 100.0), abs=1e-6)
    seen = side_on(side, level())
    # a side that faces +x, seen from outside: y to the right, up is up
    np.testing.assert_allclose(seen.x_mm, side.y_mm, atol=1e-4)
    np.testing.assert_allclose(seen.y_mm, side.z_um / 1000.0, atol=1e-4)


# ---------------------------------------------------------------- what is refused


def test_faces_that_are_taken_for_another_kind_are_refused():
    with pytest.raises(BadParam, match=r"within 45 degrees of parallel to its datum, got 90: it is a side"):
        parallelism(level(), upright())
    with pytest.raises(BadParam, match="a side must be within 45 degrees of square to its datum, got 90"):
        perpendicularity(level(), level(height_mm=80.0))
    with pytest.raises(BadParam, match="a datum must lie within 45 degrees of level"):
        datum_of(turned(level(lambda x, y: 0.01 * x * y), rotation(80.0, (0, 1, 0))))
    with pytest.raises(BadParam, match="a side must stand upright"):
        side_on(level(), level())


def test_points_on_one_line_and_a_load_beside_the_foot_are_refused():
    line = Heights(np.arange(5.0), np.arange(5.0), 1000.0 * np.arange(5.0))
    for call in (lambda: parallelism(level(), line), lambda: perpendicularity(level(), line),
                 lambda: datum_of(line), lambda: side_on(line, level())):  # fmt: skip
        with pytest.raises(BadParam, match="one line"):
            call()
    with pytest.raises(BadParam, match="the part would tip"):
        parallelism(level(), level(height_mm=80.0), (200.0, 55.0))


# ---------------------------------------------------------------- turned as a whole


def rough(seed):
    """A foot, a top and a side of a few micrometres of scatter with lean and wedge."""
    rng = np.random.default_rng(seed)
    noise = iter(rng.normal(0.0, 3.0, (3, 63)))
    foot = level(lambda x, y: next(noise))
    return foot, level(lambda x, y: next(noise) + 0.07 * x, 80.0), upright(lambda y, z: next(noise) - 0.04 * z)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 1000), st.floats(-0.02, 0.02), st.floats(-0.02, 0.02))
def test_tilting_both_files_together_changes_nothing_to_first_order(seed, about_x, about_y):
    foot, top, side = rough(seed)
    tilt = rotation(about_x, (1, 0, 0)) @ rotation(about_y, (0, 1, 0))
    load = (71.3, 52.7)  # over no line between two points of the grid
    tilted_load = tuple((tilt @ [*load, 0.0])[:2])
    one, two = parallelism(foot, top, load), parallelism(turned(foot, tilt), turned(top, tilt), tilted_load)
    # 0.02 degrees are 3.5e-4: its square on wedges of 10 um and on what turns about the vertical
    assert astuple(two)[:4] == pytest.approx(astuple(one)[:4], abs=2e-5)
    # the box is squared to the frame, not to the face: a turn of the square of 3.5e-4 about the vertical, on 20 um
    assert two.twist_um == pytest.approx(one.twist_um, abs=1e-5)
    one, two = perpendicularity(foot, side, load), perpendicularity(turned(foot, tilt), turned(side, tilt), tilted_load)
    assert astuple(two)[:2] == pytest.approx(astuple(one)[:2], abs=1e-7)
    assert (two.angle_deg, two.lean_um_per_100mm) == pytest.approx((one.angle_deg, one.lean_um_per_100mm), abs=1e-8)


@pytest.mark.parametrize("degrees", [37.0, 90.0, 200.0])
def test_turning_the_part_about_the_vertical_turns_the_wedge_and_keeps_the_rest(degrees):
    foot, top, side = rough(5)
    turn, shift = rotation(degrees, (0, 0, 1)), (30.0, -500.0, 12.0)
    one, two = parallelism(foot, top), parallelism(turned(foot, turn, shift), turned(top, turn, shift))
    assert (two.contact_um, two.least_squares_um) == pytest.approx((one.contact_um, one.least_squares_um), abs=1e-8)
    wedge = turn[:2, :2] @ [one.wedge_x_um_per_100mm, one.wedge_y_um_per_100mm]
    assert (two.wedge_x_um_per_100mm, two.wedge_y_um_per_100mm) == pytest.approx(wedge, abs=1e-8)
    one, two = perpendicularity(foot, side), perpendicularity(turned(foot, turn, shift), turned(side, turn, shift))
    assert (two.contact_um, two.angle_deg) == pytest.approx((one.contact_um, one.angle_deg), abs=1e-8)


# ---------------------------------------------------------------- the truth of a part


def form(shape, seed, wedge_um=0.0):
    """Heights with a smooth form of a few micrometres, pockets of 5 um, and a rise along x."""
    rng = np.random.default_rng(seed)
    y, x = np.meshgrid(np.linspace(-1, 1, shape[0]), np.linspace(-1, 1, shape[1]), indexing="ij")
    a, b, c = rng.uniform(-2, 2, 3)
    return a * x * y + b * x * x + c * y * y - 5.0 * (rng.uniform(size=shape) < 0.5) + 0.5 * wedge_um * x


def stand(wedge_um=12.0, lean_um=0.0):
    """A foot that looks down, a top 80 mm above it, a side that looks toward +x; cells of 2 mm."""
    foot = Frame((0.0, 110.0, 0.0), (1.0, 0.0, 0.0), (0.0, -1.0, 0.0))
    top = Frame((20.0, 10.0, 80.0))
    side = Frame((160.0, 0.0, 10.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
    shapes = tuple(FaceShape(name, frame=frame) for name, frame in (("foot", foot), ("top", top), ("side", side)))
    heights = {"foot": form((55, 80), 1), "top": form((45, 60), 2, wedge_um), "side": form((30, 55), 3)}
    heights["side"] += lean_um * ((np.arange(30) + 0.5) / 30)[:, None]
    faces = {name: face_from_heights(height, pitch_mm=2.0) for name, height in heights.items()}
    return Part(PartShape("stand", 4.0, (82.0, 53.0, 40.0), shapes, (PARALLEL, SQUARE)), faces)


def turned_part(part, turn, shift):
    def moved(frame):
        return Frame(tuple(turn @ frame.origin_mm + shift), tuple(turn @ frame.along), tuple(turn @ frame.across))

    shapes = tuple(replace(one, frame=moved(one.frame)) for one in part.shape.faces)
    centre = tuple(turn @ part.shape.centre_mm + shift)
    return Part(replace(part.shape, centre_mm=centre, faces=shapes), part.faces)


@pytest.mark.parametrize(("degrees", "axis"), [(90.0, (1, 0, 0)), (180.0, (0, 1, 0)), (33.0, (0, 0, 1)),
                                               (117.0, (1, 2, -3))])  # fmt: skip
def test_a_part_turned_as_a_whole_keeps_its_figures(degrees, axis):
    part = stand(lean_um=-6.0)
    other = turned_part(part, rotation(degrees, axis), np.array([5.0, -70.0, 31.0]))
    for tolerance in (PARALLEL, SQUARE):
        one, two = part_orientation(part, tolerance), part_orientation(other, tolerance)
        assert type(one) is type(two)
        for name, value in vars(one).items():
            assert getattr(two, name) == (pytest.approx(value, abs=1e-7) if isinstance(value, float) else value)


def test_the_foot_of_a_part_gives_what_its_points_in_the_body_give():
    part = stand(lean_um=-6.0)
    foot = body_points(part, "foot")
    seen, given = part_orientation(part, PARALLEL), parallelism(foot, body_points(part, "top"), (82.0, 53.0))
    for zone in ("contact_um", "least_squares_um"):
        assert getattr(seen, zone) == pytest.approx(getattr(given, zone), abs=1e-7)
    # the y of this foot runs against the body's
    assert seen.wedge_x_um_per_100mm == pytest.approx(given.wedge_x_um_per_100mm, abs=1e-7)
    assert seen.wedge_y_um_per_100mm == pytest.approx(-given.wedge_y_um_per_100mm, abs=1e-7)
    seen = part_orientation(part, SQUARE)
    given = perpendicularity(foot, body_points(part, "side"), (82.0, 53.0))
    assert astuple(seen)[:5] == pytest.approx(astuple(given)[:5], abs=1e-7)


def test_pockets_do_not_spoil_the_orientation_of_a_part_but_a_wedge_and_a_lean_show():
    flat = stand(0.0)
    for face in flat.faces.values():
        face.height_um[:] = -5.0 * (np.arange(face.height_um.size).reshape(face.shape) % 2)  # half of it pockets
    assert part_orientation(flat, PARALLEL).contact_um == pytest.approx(0.0, abs=1e-9)
    assert part_orientation(flat, SQUARE).contact_um == pytest.approx(0.0, abs=1e-9)
    x = (np.arange(60) + 0.5) * 2.0
    flat.faces["top"].height_um[:] += 0.1 * x
    # closed form: 10 um in 100 mm; the envelope reaches from the highest cell of the first tile to the last cell
    found = part_orientation(flat, PARALLEL)
    assert found.wedge_x_um_per_100mm == pytest.approx(10.0, abs=1e-6)
    assert found.contact_um == pytest.approx(0.1 * 110.0, abs=0.21)
    z = (np.arange(30) + 0.5) * 2.0
    flat.faces["side"].height_um[:] += 0.05 * z[:, None]
    assert part_orientation(flat, SQUARE).lean_um_per_100mm == pytest.approx(5.0, abs=1e-6)


def test_points_of_a_face_are_its_bearing_envelope_or_its_surface_in_the_body():
    part = stand()
    face = part.faces["foot"]
    bearing, surface = body_points(part, "foot"), body_points(part, "foot", "surface")
    assert len(surface) == face.scored.sum() > 10 * len(bearing) > 0
    for points, flat_um in ((bearing, bearing_flatness_um(face)), (surface, surface_flatness_um(face))):
        assert minimum_zone_um(points.x_mm, points.y_mm, points.z_um) == pytest.approx(flat_um, abs=1e-8)
    # cell (0, 0) of a foot that looks down: its corner is at y = 110, and what is high on it lies low in the body
    assert (surface.x_mm[0], surface.y_mm[0], surface.z_um[0]) == pytest.approx((1.0, 109.0, -face.height_um[0, 0]))
    with pytest.raises(BadParam, match="which must be bearing or surface"):
        body_points(part, "foot", "all")


def test_a_part_whose_weight_is_not_over_its_foot_tips():
    part = stand()
    part.shape = replace(part.shape, centre_mm=(170.0, 53.0, 40.0))
    with pytest.raises(BadParam, match="the part would tip"):
        part_orientation(part, PARALLEL)


# ---------------------------------------------------------------- reversal, angles


def test_reversal_parts_the_part_from_the_stand():
    rng = np.random.default_rng(3)
    part, stand_um = rng.normal(0, 5, (2, 40))
    found = reversal(stand_um + part, stand_um - part)
    np.testing.assert_allclose(found, (part, stand_um), atol=1e-14)
    assert reversal(7.0, 1.0) == (3.0, 4.0)


def test_angles_are_closed_forms():
    # physics page: 5 um in 100 mm = 0.0029 degrees
    degrees, arcsec = angle_of(5.0, 100.0)
    assert degrees == pytest.approx(0.00286479, abs=5e-9)
    assert arcsec == pytest.approx(10.3132, abs=5e-5)
    assert angle_of(100_000.0, 100.0) == pytest.approx((45.0, 162_000.0))
    assert angle_of(-5.0, 100.0)[0] == -degrees
    assert angle_of(20.0, 1000.0)[1] == pytest.approx(4.1253, abs=5e-5)  # shared check list: 0.02 mm/m
    for wrong in (0.0, -1.0, math.nan):
        with pytest.raises(BadParam, match="over_mm must be above 0"):
            angle_of(5.0, wrong)
