"""The seat that prints against closed forms, a slow twin and itself mirrored; bend and bow of the part."""

import numpy as np
import pytest
from scipy.optimize import brentq, minimize

from sim.errors import BadParam, Refused
from sim.model.face import VOID_UM, face_from_heights
from sim.seat.compliant import (
    Body,
    Compliance,
    Load,
    beam_um,
    compliant_seat,
    pressed_cells,
    standing_um,
    weight_and_hands,
)

C_UM = 0.05
MODULUS_MPA = 53_000.0  # E* of iron on granite
SLAB = Body(mass_kg=4.0, thickness_mm=25.0)


def grid(shape, pitch_mm):
    """x and y of the cell centres, mm."""
    return (np.arange(shape[1]) + 0.5)[None, :] * pitch_mm, (np.arange(shape[0]) + 0.5)[:, None] * pitch_mm


def uneven(seed, shape=(48, 64), pitch_mm=0.25):
    """A seeded surface of some broad waves and some roughness, um."""
    rng = np.random.default_rng(seed)
    x, y = grid(shape, pitch_mm)
    surface = rng.normal(0.0, 0.4, shape)
    for across, along, phase in rng.uniform(0.0, (0.6, 0.6, 6.0), (5, 3)):
        surface += rng.normal(0.0, 2.0) * np.cos(across * x + along * y + phase)
    return surface


def crown(radius_mm, tip_mm, shape=(44, 52), pitch_mm=0.25):
    """A paraboloid of this radius with its tip at a place, um."""
    x, y = grid(shape, pitch_mm)
    return np.ascontiguousarray(-((x - tip_mm[0]) ** 2 + (y - tip_mm[1]) ** 2) / (2.0 * radius_mm) * 1e3)


@pytest.mark.parametrize("tip_mm", [(6.125, 5.125), (6.25, 5.125), (6.25, 5.25)], ids=["centre", "edge", "corner"])
def test_a_crowned_spot_yields_as_the_law_says_wherever_its_tip_lies(tip_mm):
    # by integration over the crown: F = 2 pi R d^3 / (3000 c^2), here 12 N on R 375 mm -> 0.337 um within 1 %
    pose = compliant_seat(crown(375.0, tip_mm), 0.25, Load(12.0, *tip_mm), C_UM)
    closed = (12.0 * 3000.0 * C_UM**2 / (2.0 * np.pi * 375.0)) ** (1.0 / 3.0)
    assert closed == pytest.approx(0.337, abs=5e-4)
    assert -pose.height_um == pytest.approx(closed, rel=0.01)
    assert (pose.slope_x, pose.slope_y) == pytest.approx((0.0, 0.0), abs=1e-9)


def test_a_crowned_spot_grows_with_the_cube_root_of_the_load():
    # broad enough (R 5 m) that a hundred cells share the load: the law to a tenth of a percent
    surface = crown(5000.0, (6.5, 5.5))
    approach = [-compliant_seat(surface, 0.25, Load(force, 6.5, 5.5), C_UM).height_um for force in (12.0, 96.0)]
    assert approach[1] / approach[0] == pytest.approx(2.0, rel=1e-3)


@pytest.mark.parametrize("seed", range(6))
def test_forces_and_both_moments_balance(seed):
    surface, load = uneven(seed), Load(40.0, 7.0, 6.5)
    x, y, force = pressed_cells(surface, compliant_seat(surface, 0.25, load, C_UM), 0.25, C_UM)
    assert force.sum() == pytest.approx(40.0, rel=1e-9)
    # moments over a lever of the face's half length
    assert ((x - load.x_mm) * force).sum() == pytest.approx(0.0, abs=1e-9 * 40.0 * 8.0)
    assert ((y - load.y_mm) * force).sum() == pytest.approx(0.0, abs=1e-9 * 40.0 * 8.0)


def plane_of(pose):
    """Height at the load and slopes, and the height at the load of the plane that prints."""
    return pose.height_um, pose.slope_x, pose.slope_y, pose.height_um + pose.lift_um


def slow_twin(surface, pitch_mm, load, c_um=C_UM):
    """Height at the load and slopes by a general minimiser on the energy of every cell, all cells at once."""
    x, y = grid(surface.shape, pitch_mm)
    span = 10.0
    ways = np.stack([np.ones(surface.shape), (x - load.x_mm) / span + 0.0 * y, (y - load.y_mm) / span + 0.0 * x])
    k = pitch_mm**2 / c_um**2

    def over(p):
        return np.maximum(surface - np.tensordot(p, ways, 1), 0.0)

    def energy(p):
        return k * (over(p) ** 3).sum() / 3.0 + load.force_n * p[0]

    def slope(p):
        return np.array([load.force_n, 0.0, 0.0]) - k * (ways * over(p) ** 2).sum(axis=(1, 2))

    def curvature(p):
        return 2.0 * k * np.einsum("aij,bij,ij->ab", ways, ways, over(p))

    start = np.array([surface.max() - 1.0, 0.0, 0.0])
    options = {"gtol": 1e-10, "maxiter": 2000}
    found = minimize(energy, start, jac=slope, hess=curvature, method="trust-exact", options=options).x
    for _ in range(3):  # the minimiser stops at the last bits of the energy; the slope has more of them
        found = found - np.linalg.solve(curvature(found), slope(found))
    return found[0], found[1] / span, found[2] / span


CASES = [(0, 40.0, (48, 64), 0.05), (1, 1.0, (48, 64), 0.05), (2, 900.0, (31, 27), 0.05), (3, 40.0, (9, 70), 0.3),
         (4, 40.0, (20, 20), 0.01)]  # fmt: skip


@pytest.mark.parametrize("seed, force, shape, c_um", CASES)
def test_a_slow_twin_finds_the_same_plane(seed, force, shape, c_um):
    surface = uneven(seed, shape)
    load = Load(force, 0.13 * shape[1], 0.12 * shape[0])
    found = plane_of(compliant_seat(surface, 0.25, load, c_um))[:3]
    assert found == pytest.approx(slow_twin(surface, 0.25, load, c_um), rel=0, abs=1e-8)


def lone_um_per_n(pitch_mm):
    """What the middle of an evenly pressed square of a half-space sinks under 1 N."""
    # A. E. H. Love, Phil. Trans. R. Soc. A 228 (1929) 377: w = (4 / pi) ln(1 + sqrt 2) p a / E*
    return 4e3 / np.pi * np.log(1.0 + np.sqrt(2.0)) / (MODULUS_MPA * pitch_mm)


def slow_lift(surface, pose, pitch_mm, c_um):
    """Lift of a pose as its definition reads: every cell on every cell, the height by bisection."""
    x, y, force = pressed_cells(surface, pose, pitch_mm, c_um)
    over = c_um / pitch_mm * np.sqrt(force)
    away = np.hypot(x[:, None] - x, y[:, None] - y)
    near = (away > 0.0) & (away < 2.0 + 1e-9)
    # Boussinesq: 1 / (pi E* r)
    sinking = np.where(near, 1e3 / (np.pi * MODULUS_MPA * np.where(near, away, 1.0)), 0.0)
    sinking += lone_um_per_n(pitch_mm) * np.eye(x.size)
    give, left = sinking.sum(axis=1), over - sinking @ force
    return brentq(lambda h: np.maximum(force + (left - h) / give, 0.0).sum() - force.sum(), -1e3, over.max() + 1e3,
                  xtol=1e-12)


@pytest.mark.parametrize("seed, force, shape, c_um", CASES)
@pytest.mark.parametrize("pitch_mm", [0.25, 0.15])
def test_a_slow_twin_finds_the_same_lift(seed, force, shape, c_um, pitch_mm):
    surface = uneven(seed, shape, pitch_mm)
    pose = compliant_seat(surface, pitch_mm, Load(force, 0.52 * pitch_mm * shape[1], 0.48 * pitch_mm * shape[0]), c_um)
    assert abs(pose.lift_um) > 1e-3
    assert pose.lift_um == pytest.approx(slow_lift(surface, pose, pitch_mm, c_um), rel=0, abs=1e-9)


@pytest.mark.parametrize("apart", [(0, 1), (1, 1), (0, 3), (5, 4), (8, 0), (6, 6), (9, 0)])
def test_three_feet_of_two_cells_print_where_a_half_space_stands_under_them(apart):
    shape, pitch_mm = (64, 80), 0.25
    surface = np.full(shape, -40.0)
    for row, col in ((0, 0), (0, 70), (54, 0)):
        surface[row, col] = surface[row + apart[0], col + apart[1]] = 0.0
    middle = [0.25 * (extent / 3.0 + 0.5 * aside + 0.5) for extent, aside in ((70, apart[1]), (54, apart[0]))]
    pose = compliant_seat(surface, pitch_mm, Load(60.0, *middle))
    away = 0.25 * np.hypot(*apart)
    # 10 N a cell: Love's square under itself, Boussinesq under the other one where it is near
    closed = 10.0 * lone_um_per_n(pitch_mm) + (1e4 / (np.pi * MODULUS_MPA * away) if away <= 2.0 else 0.0)
    assert -(pose.height_um + pose.lift_um) == pytest.approx(closed, rel=1e-9)
    assert -pose.height_um == pytest.approx(C_UM * np.sqrt(10.0) / pitch_mm, rel=1e-9)


@pytest.mark.parametrize("force_n", [3.0, 12.0, 48.0])
@pytest.mark.parametrize("radius_mm", [375.0, 2000.0])
def test_a_crowned_spot_prints_nearly_where_hertz_says(force_n, radius_mm):
    pose = compliant_seat(crown(radius_mm, (6.25, 5.25)), 0.25, Load(force_n, 6.25, 5.25))
    # K. L. Johnson, Contact Mechanics, 1985: approach (9 F^2 / (16 R E*^2))^(1/3): 12 N on R 375 mm -> 0.425 um
    hertz = 1e3 * (9.0 * force_n**2 / (16.0 * radius_mm * MODULUS_MPA**2)) ** (1.0 / 3.0)
    assert -(pose.height_um + pose.lift_um) == pytest.approx(hertz, rel=0.1)


def test_it_gives_the_same_bits_twice_and_does_not_touch_the_surface():
    surface, load = uneven(7), Load(40.0, 7.0, 6.5)
    before = surface.copy()
    compliant_seat(surface, 0.25, load)
    compliant_seat(uneven(8), 0.25, load)
    assert compliant_seat(surface, 0.25, load) == compliant_seat(before, 0.25, load)
    assert np.array_equal(surface, before)


@pytest.mark.parametrize("seed", range(4))
def test_a_mirrored_transposed_or_raised_face_has_the_same_plane(seed):
    surface, load = uneven(seed, (44, 60)), Load(40.0, 7.0, 6.5)
    pose = compliant_seat(surface, 0.25, load)
    length, width = 15.0, 11.0
    height, slope_x, slope_y, prints = plane_of(pose)
    mirrored = compliant_seat(np.ascontiguousarray(surface[:, ::-1]), 0.25, Load(40.0, length - 7.0, 6.5))
    assert plane_of(mirrored) == pytest.approx((height, -slope_x, slope_y, prints), rel=0, abs=1e-12)
    turned = compliant_seat(np.ascontiguousarray(surface[::-1, ::-1]), 0.25, Load(40.0, length - 7.0, width - 6.5))
    assert plane_of(turned) == pytest.approx((height, -slope_x, -slope_y, prints), rel=0, abs=1e-12)
    transposed = compliant_seat(np.ascontiguousarray(surface.T), 0.25, Load(40.0, 6.5, 7.0))
    assert plane_of(transposed) == pytest.approx((height, slope_y, slope_x, prints), rel=0, abs=1e-12)
    raised = compliant_seat(surface + 16.0, 0.25, load)
    assert plane_of(raised) == pytest.approx((height + 16.0, slope_x, slope_y, prints + 16.0), rel=0, abs=1e-12)


@pytest.mark.parametrize("aside", [(3, 5), (8, 16)])
def test_a_face_shifted_over_its_grid_has_the_same_plane(aside):
    surface, load = uneven(5, (44, 60)), Load(40.0, 7.0, 6.5)
    wide = np.full((64, 90), VOID_UM)
    wide[aside[0] : aside[0] + 44, aside[1] : aside[1] + 60] = surface
    moved = Load(40.0, 7.0 + 0.25 * aside[1], 6.5 + 0.25 * aside[0])
    here, there = plane_of(compliant_seat(surface, 0.25, load)), plane_of(compliant_seat(wide, 0.25, moved))
    assert there == pytest.approx(here, rel=0, abs=1e-12)


def peaked(pitch_mm, rounding_mm):
    """A hollow face of 16 x 12 mm with three dull points, one in the very corner; the middle of their triangle."""
    shape = (round(12.0 / pitch_mm), round(16.0 / pitch_mm))
    x, y = grid(shape, pitch_mm)
    surface = np.full(shape, -20.0)
    tips = ((0.0, 0.0), (16.0, 4.0), (6.0, 12.0))
    for tx, ty in tips:
        surface = np.maximum(surface, -((x - tx) ** 2 + (y - ty) ** 2) / (2.0 * rounding_mm) * 1e3)
    return surface, Load(40.0, 22.0 / 3.0, 16.0 / 3.0), tips


@pytest.mark.parametrize("pitch_mm", [0.5, 0.25, 0.125])
def test_a_peak_in_the_corner_carries_its_share_at_any_pitch(pitch_mm):
    surface, load, tips = peaked(pitch_mm, 400.0)
    pose = compliant_seat(surface, pitch_mm, load)
    x, y, force = pressed_cells(surface, pose, pitch_mm, C_UM)
    for tx, ty in tips:
        share = force[np.hypot(x - tx, y - ty) < 3.0].sum() / 40.0
        assert share == pytest.approx(1.0 / 3.0, abs=0.03)  # the middle of a quarter or half disc is not its tip


def test_a_peak_of_many_cells_sits_alike_at_three_pitches():
    height = {}
    for pitch_mm in (0.5, 0.25, 0.125):
        surface, load, _ = peaked(pitch_mm, 400.0)
        height[pitch_mm] = compliant_seat(surface, pitch_mm, load).height_um
    assert height[0.25] == pytest.approx(height[0.125], abs=0.02)
    assert height[0.5] == pytest.approx(height[0.125], abs=0.05)


@pytest.mark.parametrize("pitch_mm", [0.5, 0.25, 0.125])
def test_a_peak_of_one_cell_yields_by_the_area_of_the_cell(pitch_mm):
    # a limit of the model, stated and not hidden: d = c sqrt(F / p^2), so half the pitch yields twice as far
    cells = round(8.0 / pitch_mm)
    lone = np.full((cells, cells), VOID_UM)
    lone[0, 0] = lone[0, -1] = lone[-1, 0] = 0.0
    third = (8.0 - pitch_mm) / 3.0 + 0.5 * pitch_mm
    pose = compliant_seat(lone, pitch_mm, Load(30.0, third, third))
    assert -pose.height_um == pytest.approx(C_UM * np.sqrt(10.0) / pitch_mm, rel=1e-9)


def test_a_load_over_an_edge_of_the_hull_has_a_seat_on_either_side():
    surface = np.full((48, 64), -30.0)
    for foot, height in (((0, 0), 0.0), ((47, 63), 0.0), ((0, 63), -2.0), ((47, 0), -2.0)):
        surface[foot] = height
    sides = []
    for aside in (-0.5, 0.5):
        x, y, force = pressed_cells(surface, compliant_seat(surface, 0.25, Load(40.0, 8.0 + aside, 6.0)), 0.25, C_UM)
        sides.append(set(zip(x.tolist(), y.tolist(), strict=True)))
        assert force.min() > 0.0
    diagonal = {(0.125, 0.125), (15.875, 11.875)}
    assert sides[0] == diagonal | {(0.125, 11.875)}
    assert sides[1] == diagonal | {(15.875, 0.125)}


def test_a_twisted_face_sits_on_two_opposite_corners():
    x, y = grid((110, 160), 1.0)
    surface = np.ascontiguousarray(10.0 * (x / 80.0 - 1.0) * (y / 55.0 - 1.0))
    px, py, force = pressed_cells(surface, compliant_seat(surface, 1.0, Load(40.0, 80.0, 55.0)), 1.0, C_UM)
    near = np.minimum(np.hypot(px, py), np.hypot(px - 160.0, py - 110.0))
    assert near.max() < 8.0
    assert force[px < 80.0].sum() == pytest.approx(20.0, rel=1e-9)


def test_a_crowned_face_sits_on_its_middle_and_a_hollow_one_on_its_ends():
    x, y = grid((110, 160), 1.0)
    for bow_um, least, most in ((-20.0, 0.0, 20.0), (20.0, 75.0, 80.0)):
        surface = np.ascontiguousarray(bow_um * (x / 80.0 - 1.0) ** 2 + 0.0 * y)
        px, _, _ = pressed_cells(surface, compliant_seat(surface, 1.0, Load(40.0, 80.0, 55.0)), 1.0, C_UM)
        assert np.abs(px - 80.0).min() >= least
        assert np.abs(px - 80.0).max() <= most


def test_a_face_with_nothing_on_the_plate_is_refused():
    with pytest.raises(Refused, match="partly on the plate"):
        compliant_seat(np.full((20, 30), VOID_UM), 0.25, Load(40.0, 3.0, 2.0))


def test_a_face_whose_load_hangs_over_the_plates_edge_is_refused_and_just_within_it_is_held():
    surface = np.zeros((48, 64))
    surface[:, 31:] = VOID_UM  # carried up to x = 7.75 mm
    with pytest.raises(Refused, match="tip off"):
        compliant_seat(surface, 0.25, Load(40.0, 8.0, 6.0))
    _, _, force = pressed_cells(surface, compliant_seat(surface, 0.25, Load(40.0, 7.5, 6.0)), 0.25, C_UM)
    assert force.sum() == pytest.approx(40.0, rel=1e-9)


def test_a_face_that_hangs_on_two_corners_with_its_weight_between_them_is_held():
    """Round the line through them its energy is flat: no step of the solver ends there, and yet it balances."""
    surface = np.full((160, 240), -80.0)
    for row, col, height_um in (
        (2, 2, -12.313549248228467), (2, 3, -13.191511531213074), (4, 40, -13.73872047456811),
        (8, 37, -13.527056093679114), (18, 6, -14.170840766162453), (28, 57, -13.87327108220782),
        (52, 166, -13.163742936503326), (157, 236, -13.142428922461605), (157, 237, -11.369672556926277),
    ):  # of a coupon out by 45 um, as it came up in a trial
        surface[row, col] = height_um
    pose = compliant_seat(surface, 0.25, Load(39.24, 30.0, 20.0))
    x_mm, y_mm, force = pressed_cells(surface, pose, 0.25, C_UM)
    assert force.sum() == pytest.approx(39.24, rel=1e-5)
    assert (force * x_mm).sum() / 39.24 == pytest.approx(30.0, abs=1e-3)
    assert (force * y_mm).sum() / 39.24 == pytest.approx(20.0, abs=1e-3)


def test_weight_and_hands_meet_at_their_centre():
    face = face_from_heights(np.zeros((40, 80)))
    load = weight_and_hands(face, Body(mass_kg=2.0), ((20.0, 5.0, 19.62),))
    assert load.force_n == pytest.approx(39.24)
    assert (load.x_mm, load.y_mm) == pytest.approx((15.0, 5.0))
    with pytest.raises(BadParam, match="a hand must press on the face"):
        weight_and_hands(face, Body(), ((21.0, 5.0, 10.0),))


@pytest.mark.parametrize("longer", ["x", "y"])
def test_a_hand_on_mid_span_bends_the_slab_as_a_beam(longer):
    shape = (100, 200) if longer == "x" else (200, 100)
    face = face_from_heights(np.zeros(shape), pitch_mm=1.0)
    middle = (0.5 * shape[1], 0.5 * shape[0])
    bent = standing_um(face, SLAB, Compliance(), ((*middle, 50.0),))
    # handbooks of structures: F L^3 / (48 E I), I = W t^3 / 12: 0.6 um
    closed = 50.0 * 200.0**3 / (48.0 * 110_000.0 * 100.0 * 25.0**3 / 12.0) * 1e3
    assert 0.58 <= round(closed, 2) <= 0.6
    assert bent.max() == pytest.approx(closed, rel=1e-4)  # the nearest cell is half a millimetre from the middle
    assert bent[0, 0] < 0.01 * closed


def test_a_beam_bends_between_its_ends_as_far_at_a_under_b_as_at_b_under_a():
    at = np.array([60.0, 150.0])
    one, other = (beam_um(at, 200.0, hand, 50.0, 1e9) for hand in at)
    assert one[1] == pytest.approx(other[0], rel=1e-12)  # Maxwell's theorem of reciprocal deflections
    assert beam_um(np.array([0.0, 200.0]), 200.0, 60.0, 50.0, 1e9) == pytest.approx([0.0, 0.0], abs=1e-12)


def test_a_warm_face_stands_out_in_the_middle_until_its_rim():
    face = face_from_heights(np.zeros((1001, 2001)), pitch_mm=0.1)
    face.warm_k = 1.0
    top = standing_um(face, SLAB, Compliance())
    # alpha dT L^2 / (8 t) = 2.2 um for 1 K through 25 mm over 200 mm
    assert top[500, 1000] - top[500, 0] == pytest.approx(10.75e-6 * 200.0**2 / (8.0 * 25.0) * 1e3, rel=2e-3)
    assert round(float(top[500, 1000] - top[500, 0]), 1) in (2.1, 2.2)


def test_a_chip_lifts_the_part_and_no_chip_lies_off_the_iron():
    face = face_from_heights(np.zeros((40, 60)))
    face.height_um[:, :4] = VOID_UM
    face.iron[:, :4] = False
    face.chips = np.array([[7.0, 5.0, 12.0], [0.3, 5.0, 12.0], [99.0, 5.0, 12.0]])
    top = standing_um(face, Body(), Compliance())
    assert top.max() == top[20, 28] == 12.0
    assert np.count_nonzero(top > 0.0) == 1
    assert standing_um(face, Body(), Compliance(), chips=False).max() == 0.0
    seat = compliant_seat(top, 0.25, Load(40.0, 8.0, 5.0))
    assert seat.at(7.125, 5.125) > 8.0


def test_a_face_is_seated_whatever_height_its_heights_are_counted_from():
    """Near height 0 of the plane the energy is nearly 0 too, and what counts as lower must not shrink with it."""
    y, x = np.mgrid[0:60, 0:80] * 1.0
    face = -0.002 * ((x - 43.0) ** 2 + 2.0 * (y - 31.0) ** 2)
    face[:12, :12] = face[-12:, -12:] = -90.0
    load = Load(39.24, 10.0, 7.5)
    there = compliant_seat(face, 0.25, load)
    for lift_um in np.linspace(-1.0, 1.0, 81) - there.height_um:
        found = compliant_seat(face + lift_um, 0.25, load)
        assert found.height_um == pytest.approx(there.height_um + lift_um, abs=1e-9)
        assert (found.slope_x, found.slope_y) == pytest.approx((there.slope_x, there.slope_y), abs=1e-9)


def test_the_weight_acts_where_the_centre_of_gravity_lies_over_the_face():
    shape = (40, 80)  # 20 x 10 mm
    face = face_from_heights(np.zeros(shape))
    off = Body(mass_kg=2.0, load_at_mm=(4.0, 7.0))
    alone, held = weight_and_hands(face, off), weight_and_hands(face, off, ((16.0, 1.0, 19.62),))
    assert (alone.x_mm, alone.y_mm) == pytest.approx((4.0, 7.0))
    assert (held.force_n, held.x_mm, held.y_mm) == pytest.approx((39.24, 10.0, 4.0))
