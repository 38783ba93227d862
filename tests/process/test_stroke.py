"""Strokes: published pairs, iron conserved, nothing outside the swath, moved faces, edges, one hash everywhere."""

import json
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from sim.errors import BadParam
from sim.kernels.cut import WIDEST, settle_blade
from sim.model.blade import RACK, Blade, Edge
from sim.model.face import face_from_heights
from sim.process.stroke import (
    WEAR_UM_PER_M,
    Chatter,
    Iron,
    crown_mm,
    cut_width_mm,
    flat_cut,
    kienzle_n_mm,
    scrape,
    sine,
    swing,
)
from tests import twins

FINE = RACK["fine"]
STIFF = Chatter(damping=0.95, flank_um=0.0)  # as good as no mass: settles without ringing
TOP = Path(__file__).resolve().parents[2]


def flat_face(shape=(120, 200), height_um=0.0, pitch_mm=0.25):
    return face_from_heights(np.full(shape, height_um), pitch_mm=pitch_mm)


def cut(face, strokes, blade=FINE, edge_um=4.0, **options):
    return scrape(face, twins.bare_plate(), blade, Edge(edge_um), np.atleast_2d(strokes), **options)


def dropped(before, after):
    return twins.iron_height(before) - twins.iron_height(after)


# ---------------------------------------------------------------- published and closed


def test_the_width_of_a_cut_follows_from_end_radius_and_shank():
    # 2 sqrt(2 R d / sin): R 60 mm, 5 um, 30 deg -> 2.2 mm
    assert cut_width_mm(Blade(end_radius_mm=60.0, shank_deg=30.0), 5.0) == pytest.approx(2.2, abs=0.05)
    assert cut_width_mm(Blade(end_radius_mm=60.0, shank_deg=30.0), 5.0) == pytest.approx(
        2.0 * np.sqrt(2.0 * 120.0 * 0.005), rel=1e-12
    )
    assert cut_width_mm(Blade(width_mm=10.0), 1e4) == 10.0


def test_series_for_sine_swing_and_kienzle_are_the_functions_they_replace():
    for deg in (10.0, 30.0, 45.0, 60.0, 90.0):
        assert sine(deg) == pytest.approx(np.sin(np.radians(deg)), rel=1e-14)
    assert crown_mm(FINE) == pytest.approx(120.0, rel=1e-14)
    assert kienzle_n_mm(Iron()) == pytest.approx(1150.0 * 1.56 * 0.001**0.8, rel=1e-14)


@pytest.mark.parametrize("wave,damping,step", [(1.5, 0.2, 0.25), (1.5, 0.0, 0.25), (0.8, 0.95, 0.25), (4.0, 0.05, 0.1)])
def test_the_swing_is_the_damped_oscillator(wave, damping, step):
    w = 2.0 * np.pi / wave
    wd, fall = w * np.sqrt(1.0 - damping**2), np.exp(-damping * w * step)
    c, s = np.cos(wd * step), np.sin(wd * step)
    closed = [
        fall * (c + damping * w / wd * s),
        fall * s / wd,
        -fall * w * w / wd * s,
        fall * (c - damping * w / wd * s),
    ]
    # a series whose largest terms are some 10: a few last bits
    np.testing.assert_allclose(swing(wave, damping, step), closed, rtol=0.0, atol=1e-14)


@pytest.mark.parametrize(
    "name,push,depth,width",
    [
        # computed from Kienzle's law with these very numbers
        ("rough", 200.0, 8.0, 3.9),
        ("fine", 95.0, 4.9, 2.2),
        ("fine", 50.0, 2.2, 1.5),
        ("split", 51.0, 3.0, 1.4),
    ],
)
def test_a_push_on_flat_iron_cuts_depth_and_width_as_computed(name, push, depth, width):
    deep, wide = flat_cut(RACK[name], push, Iron())
    # two digits are given; 4.9 stands against 5.007 here, 2.2 %, which rounding does not explain
    assert deep == pytest.approx(depth, rel=0.025)
    assert wide == pytest.approx(width, abs=0.05)


def test_the_edge_force_is_calibrated_by_two_measured_pushes():
    """A calibration, no evidence: the edge force of 25 N/mm was fitted to these two forces.

    454 N roughing and 178 N fine finishing: a force study of hand scraping in the MTDR conference proceedings, one
    worker of 26 years' experience; depths and widths by Kienzle's law.
    """
    assert flat_cut(RACK["rough"], 454.0, Iron()) == pytest.approx((18.4, 5.9), rel=0.02)
    for name, depth, width in (("semi", 8.0, 3.4), ("fine", 10.0, 3.1)):
        assert flat_cut(RACK[name], 178.0, Iron()) == pytest.approx((depth, width), rel=0.04)


@pytest.mark.parametrize(
    "name,push", [("rough", 200.0), ("semi", 150.0), ("fine", 95.0), ("fine", 60.0), ("split", 51.0)]
)
def test_a_stroke_on_flat_iron_reaches_the_static_depth_less_the_least_chip(name, push):
    face, (depth, width) = flat_face(), flat_cut(RACK[name], push, Iron())
    path = [5.125, 15.125, 45.125, 15.125, push]  # along a row of cells
    told = cut(face, path, RACK[name], chatter=STIFF)
    floor = -face.height_um[60, 60:140]
    # samples of 0.25 mm across: the force misses in second order (see test_cut), the depth less the chip somewhat more
    np.testing.assert_allclose(floor, depth - 0.3 * 4.0, rtol=1.6 * (0.25 / width) ** 2)
    assert np.ptp(floor) < 1e-6
    heavy = flat_face()
    with_mass = cut(heavy, path, RACK[name])
    # the push's rise sets a blade with mass swinging; the flank holds it within 0.5 um below its balance
    assert -1e-9 <= with_mass.deepest_um[0] - told.deepest_um[0] <= 0.5 + 1e-9
    np.testing.assert_allclose(-heavy.height_um[60, 120:140], floor[60:], atol=0.02)  # 20 waves later it is still


def test_the_floor_of_a_cut_is_the_blades_own_arc():
    face = flat_face()
    cut(face, [5.125, 15.125, 45.125, 15.125, 95.0], chatter=STIFF)
    section = face.height_um[:, 100]
    v = (np.arange(120) + 0.5) * 0.25 - 15.125
    arc = section[60] + v * v * 1e3 / 240.0
    np.testing.assert_allclose(section, np.minimum(arc, 0.0), atol=1e-9)


def test_a_scraped_face_is_cut_deeper_than_a_flat_one_by_the_same_push():
    ratios = []
    for seed in range(3):
        face, rng = twins.scraped_coupon(seed), np.random.default_rng(seed)
        told = cut(
            face, twins.random_strokes(rng, 60, (50.0, 30.0), (90.0, 90.0), (4.0, 6.0)) + [5.0, 5.0, 5.0, 5.0, 0.0]
        )
        ratios.append(np.median(told.deepest_um) / (flat_cut(FINE, 90.0, Iron())[0] - 1.2))
    # measured in trials of this model: 1.4 to 1.6 x deeper, for it rides fewer points
    assert 1.2 < np.mean(ratios) < 1.8


# ---------------------------------------------------------------- conservation, do nothing, reach


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_iron_burrs_and_blue_are_what_is_reported(seed):
    face, plate, rng = twins.scraped_coupon(seed), twins.bare_plate(), np.random.default_rng(seed)
    face.blue_um[:] = rng.uniform(0.0, 0.6, face.shape)
    before = face.copy()
    strokes = twins.random_strokes(rng, 120, face.size_mm, (50.0, 120.0))
    told = scrape(face, plate, FINE, Edge(6.0), strokes, care=0.7)
    assert told.removed_mm3.sum() == pytest.approx(dropped(before, face).sum() * 0.0625e-3, rel=1e-9)
    assert told.burr_mm3.sum() == pytest.approx((face.burr_um - before.burr_um).sum() * 0.0625e-3, rel=1e-9)
    assert told.blue_um_mm2.sum() == pytest.approx((before.blue_um - face.blue_um).sum() * 0.0625, rel=1e-9)
    assert plate.cloth_um_mm2 == pytest.approx(told.blue_um_mm2.sum(), rel=1e-12)
    assert dropped(before, face).min() >= 0.0
    assert face.burr_um.min() >= 0.0
    assert told.deepest_um.max() <= dropped(before, face).max() * (1.0 + 1e-12)


def test_a_zero_push_and_a_stroke_off_the_iron_do_nothing():
    face = twins.embed_face(twins.scraped_coupon(4), 40, 40, 40, 40)
    face.blue_um[:] = 1.0
    before, plate = face.copy(), twins.bare_plate()
    strokes = [
        [20.0, 20.0, 30.0, 25.0, 0.0],
        [1.0, 1.0, 60.0, 2.0, 95.0],
        [-9.0, 5.0, -3.0, 9.0, 95.0],
        [200.0, 90.0, 210.0, 95.0, 95.0],
    ]
    told = scrape(face, plate, FINE, Edge(4.0), np.array(strokes))
    assert twins.largest_difference(face, before) == 0.0
    assert plate.cloth_um_mm2 == 0.0
    for figure in (told.removed_mm3, told.deepest_um, told.cells, told.burr_mm3, told.blue_um_mm2):
        assert not figure.any()


def inner_strokes(rng, count, push_n):
    """Strokes that stay 4 mm away from the chamfer of a coupon of 60 x 40 mm."""
    return twins.random_strokes(rng, count, (50.0, 30.0), push_n, (2.0, 6.0)) * [0.8, 0.8, 0.8, 0.8, 1.0] + [
        10.0,
        8.0,
        10.0,
        8.0,
        0.0,
    ]


def edge_strokes(rng, count, push_n):
    """Those of so many strokes on a coupon of 60 x 40 mm that come within 2 mm of its outline or go beyond."""
    strokes = twins.random_strokes(rng, count, (60.0, 40.0), push_n)
    x, y = strokes[:, [0, 2]], strokes[:, [1, 3]]
    return strokes[(np.minimum(x, y).min(axis=1) < 2.0) | (x.max(axis=1) > 58.0) | (y.max(axis=1) > 38.0)]


def contact(face, stroke, blade):
    """How far from its middle the blade touches, mm."""
    tool, law, table = twins.cut_arguments(blade)
    stations, bed = np.zeros((60, 4)), np.zeros(2 * WIDEST + 1)
    force = np.array([*twins.edge_law(tool, law), law[14]])
    count = settle_blade(face.height_um, stroke, tool, law, force, table, stations, bed)
    return max(-stations[:count, 1].min(), stations[:count, 2].max())


@pytest.mark.parametrize("where", ["inside", "over the edge"])
def test_height_changes_in_the_swath_only_and_burrs_at_most_half_a_mm_beyond(where):
    rng, base = np.random.default_rng(5), twins.scraped_coupon(5)
    x, y = (np.arange(240) + 0.5) * 0.25, (np.arange(160)[:, None] + 0.5) * 0.25
    for name in ("fine", "split", "rough"):
        strokes = inner_strokes(rng, 30, (50.0, 220.0)) if where == "inside" else edge_strokes(rng, 120, (50.0, 220.0))
        for stroke in strokes:
            face = base.copy()
            told = cut(face, stroke, RACK[name])
            length = np.hypot(*(stroke[2:4] - stroke[:2]))
            ux, uy = (stroke[2:4] - stroke[:2]) / length
            s, v = (x - stroke[0]) * ux + (y - stroke[1]) * uy, (y - stroke[1]) * ux - (x - stroke[0]) * uy
            lower, burred = face.height_um != base.height_um, face.burr_um > base.burr_um
            widest = contact(base, stroke, RACK[name]) + 0.25  # known to the step across
            for changed, beyond in ((lower, 0.0), (burred, 0.5)):
                outside = (s < -1e-9) | (s > length + beyond + 1e-9) | (np.abs(v) > widest + beyond + 1e-9)
                assert not changed[outside].any()
            assert lower.sum() == told.cells[0]


def test_burrs_stand_beside_a_cut_and_at_most_half_a_mm_beyond_it():
    face = flat_face()
    cut(face, [5.125, 15.125, 45.125, 15.125, 95.0], chatter=STIFF)
    rows = np.nonzero(face.burr_um[:, 100])[0]
    floor = np.nonzero(face.height_um[:, 100])[0]
    assert len(rows)
    assert not set(rows) & set(floor)
    away = np.minimum(np.abs(rows - floor.min()), np.abs(rows - floor.max())) * 0.25
    assert away.max() <= 0.5
    depth = flat_cut(FINE, 95.0, Iron())[0] - 1.2
    assert 0.1 * depth < face.burr_um.max() <= 0.2 * depth * 1.05  # 0.2 d sharp, from memory


def test_a_burr_stands_at_the_exit_of_an_abrupt_stroke():
    face = flat_face()
    cut(face, [5.125, 15.125, 45.125, 15.125, 95.0], ramp_mm=0.05)
    assert face.burr_um[60, 180:].max() > 0.1


@pytest.mark.parametrize(
    "strokes,words",
    [
        (np.zeros((2, 4)), "got shape"),
        (np.array([[1.0, 1.0, 5.0, np.nan, 50.0]]), "finite"),
        (np.array([[1.0, 1.0, 1.05, 1.0, 50.0]]), "0.1 to 200 mm"),
        (np.array([[1.0, 1.0, 500.0, 1.0, 50.0]]), "0.1 to 200 mm"),
        (np.array([[1.0, 1.0, 5.0, 1.0, -1.0]]), "push_n"),
        (np.array([[1.0, 1.0, 5.0, 1.0, 901.0]]), "push_n"),
    ],
)
def test_impossible_strokes_are_refused_and_nothing_changes(strokes, words):
    face, edge = twins.scraped_coupon(6), Edge(4.0)
    before = face.copy()
    with pytest.raises(BadParam, match=words):
        scrape(face, twins.bare_plate(), FINE, edge, strokes)
    assert twins.largest_difference(face, before) == 0.0
    assert (edge.radius_um, edge.metres) == (4.0, 0.0)


def test_no_strokes_are_no_strokes():
    face = twins.scraped_coupon(6)
    before = face.copy()
    assert len(cut(face, np.zeros((0, 5))).removed_mm3) == 0
    assert twins.largest_difference(face, before) == 0.0


# ---------------------------------------------------------------- invariance


@pytest.mark.parametrize("move", twins.MOVES)
@pytest.mark.parametrize("name", ["fine", "rough"])
def test_a_stroke_on_a_moved_face_is_the_moved_stroke(name, move):
    rng, base = np.random.default_rng(7), twins.scraped_coupon(7)
    base.blue_um[:] = rng.uniform(0.0, 0.5, base.shape)
    differences = []
    for stroke in inner_strokes(rng, 60, (50.0, 150.0)):
        face, other = base.copy(), twins.move_face(base, move)
        cut(face, stroke, RACK[name], care=0.7)
        cut(other, twins.move_strokes(stroke[None], move, base.size_mm), RACK[name], care=0.7)
        differences.append(twins.largest_difference(twins.move_face(face, move), other))
    # 1e-12 um: a place is known to 7e-15 mm (the last bit of 60), scraped iron has slopes of some 40 um/mm
    assert max(differences) < 1e-12


@pytest.mark.parametrize("move", twins.MOVES)
def test_a_stroke_over_the_edge_of_a_moved_face_is_the_moved_stroke(move):
    rng, base, differences = np.random.default_rng(17), twins.scraped_coupon(7), []
    for stroke in edge_strokes(rng, 300, (50.0, 150.0)):
        face, other = base.copy(), twins.move_face(base, move)
        cut(face, stroke, care=0.7)
        cut(other, twins.move_strokes(stroke[None], move, base.size_mm), care=0.7)
        differences.append(twins.largest_difference(twins.move_face(face, move), other))
    assert len(differences) > 60
    assert max(differences) < 1e-11  # as above, with the chamfer's slope of 1,000 um/mm


def test_the_grid_around_the_iron_does_not_matter_to_a_stroke():
    rng, base = np.random.default_rng(8), twins.scraped_coupon(8)
    shift = np.array([1.75, 0.75, 1.75, 0.75, 0.0])
    for stroke in inner_strokes(rng, 60, (50.0, 150.0)):
        face, other = base.copy(), twins.embed_face(base, 3, 10, 0, 7)
        cut(face, stroke)
        cut(other, stroke + shift)
        assert twins.largest_difference(twins.embed_face(face, 3, 10, 0, 7), other) < 1e-12


# ---------------------------------------------------------------- edges of the part


def over_edges(break_mm):
    """Strokes straight, obliquely and along over the edge of a true coupon, inward and outward, one fresh face each."""
    from sim.model.start import COUPON
    from sim.process.machining import machine_face

    start = replace(COUPON, kind="true", edge_break_mm=break_mm)
    paths = {
        "in": (-1.03, 20.03, 5.03, 20.03),
        "out": (5.03, 20.03, -1.03, 20.03),
        "oblique in": (-1.03, 18.03, 4.03, 23.03),
        "oblique out": (4.03, 23.03, -1.03, 18.03),
        "shallow in": (-1.03, 18.03, 2.03, 28.03),
        "along": (0.43, 10.03, 0.43, 25.03),
        "half off": (-0.4, 10.03, -0.4, 25.03),
        "corner": (-0.93, -0.93, 3.03, 3.03),
    }
    for name, path in paths.items():
        for care in (1.0, 0.5):
            face = machine_face(start, np.random.default_rng(0))
            before = face.copy()
            cut(face, [*path, 95.0], care=care)
            yield name, care, dropped(before, face)[face.scored].max()


def test_care_decides_how_a_run_off_rolls_the_edge():
    depth = {(name, care): deep for name, care, deep in over_edges(0.0)}
    flat = flat_cut(FINE, 95.0, Iron())[0] - 1.2
    # uncapped it gouges 60 to 180 um; a careless run-off rolls the edge a few um
    assert max(depth.values()) < 2.0 * flat < 8.0
    for name in ("oblique out", "half off"):
        assert depth[name, 0.5] > 1.3 * depth[name, 1.0]
    assert max(deep for (_, care), deep in depth.items() if care == 1.0) < 1.3 * flat


def test_a_broken_edge_rolls_as_a_sharp_one():
    sharp, broken = ({(name, care): deep for name, care, deep in over_edges(mm)} for mm in (0.0, 0.6))
    for key, deep in broken.items():
        if key[0] not in ("along", "half off"):  # these two lie at another distance from the broken edge
            assert deep == pytest.approx(sharp[key], rel=0.1)


def about_a_corner(rng, count, push_n):
    """Strokes into, out of and across the corner at 0, 0 at any angle."""
    turn, half = rng.uniform(0.0, 2.0 * np.pi, count), rng.uniform(1.0, 3.0, count)
    way = np.column_stack([half * np.cos(turn), half * np.sin(turn)])
    middle = rng.uniform(-0.5, 1.5, (count, 2)) + rng.uniform(-1.0, 1.0, count)[:, None] * way
    return np.column_stack([middle - way, middle + way, np.full(count, push_n)])


def deepest_about_a_corner(blade, push_n, care, break_mm):
    from sim.model.start import Start
    from sim.process.machining import machine_face

    start = Start(length_mm=16.0, width_mm=12.0, kind="true", edge_break_mm=break_mm)
    fresh, deep = machine_face(start, np.random.default_rng(0)), []
    for stroke in about_a_corner(np.random.default_rng(21), 200, push_n):
        face = fresh.copy()
        cut(face, stroke, RACK[blade], care=care)
        deep.append(dropped(fresh, face)[face.scored].max())
    return max(deep)


@pytest.mark.parametrize("break_mm", [0.0, 0.6])
@pytest.mark.parametrize("blade,push_n", [("fine", 95.0), ("rough", 200.0)])
def test_a_careful_hand_cuts_no_deeper_about_a_corner_than_inside(blade, push_n, break_mm):
    flat = flat_cut(RACK[blade], push_n, Iron())[0] - 1.2
    # inside too the flank lets it dip up to 0.5 um; the supported share is known to a sample (measured 1.1 and 1.2)
    assert deepest_about_a_corner(blade, push_n, 1.0, break_mm) < 1.3 * flat


@pytest.mark.parametrize("break_mm", [0.0, 0.6])
@pytest.mark.parametrize("blade,push_n", [("fine", 95.0), ("rough", 200.0)])
def test_a_careless_hand_rolls_a_corner_no_more_than_half_as_much_load_again_would(blade, push_n, break_mm):
    iron = Iron()
    depth, width = flat_cut(RACK[blade], push_n, iron)
    # the last sliver bears 2 - care times the load that a mm bears inside: k d^(1-m) + edge = 1.5 push / width
    worst = ((1.5 * push_n / width - iron.edge_sharp_n_mm) / kienzle_n_mm(iron)) ** (1.0 / (1.0 - iron.chip_power))
    rolled = deepest_about_a_corner(blade, push_n, 0.5, break_mm)
    # least chip off, flank on; the share is counted in steps of 0.25 mm of a width of 2 to 4 (measured 7 and 13 um)
    assert 1.3 * (depth - 1.2) < rolled < 1.2 * (worst - 1.2 + 0.5)


# ---------------------------------------------------------------- refinement


def smooth_coupon(pitch_mm):
    x, y = (
        (np.arange(round(60.0 / pitch_mm)) + 0.5) * pitch_mm,
        (np.arange(round(40.0 / pitch_mm))[:, None] + 0.5) * pitch_mm,
    )
    waves = (
        2.0 * np.sin(x / 1.1 + 0.3 * y) * np.cos(y / 0.9)
        + 1.2 * np.sin(y / 0.6 - 0.4 * x)
        + 4.0 * np.sin(x / 9.0) * np.sin(y / 7.0)
    )
    return face_from_heights(waves, pitch_mm=pitch_mm)


@pytest.mark.parametrize("name,push", [("fine", (70.0, 95.0)), ("semi", (120.0, 160.0)), ("rough", (180.0, 220.0))])
def test_half_the_pitch_cuts_the_same_depth_and_volume(name, push):
    inner = twins.random_strokes(np.random.default_rng(9), 80, (50.0, 30.0), push, (4.0, 8.0)) + [
        5.0,
        5.0,
        5.0,
        5.0,
        0.0,
    ]
    coarse, fine = (cut(smooth_coupon(pitch), inner, RACK[name]) for pitch in (0.25, 0.125))
    depth = np.mean(fine.deepest_um) / np.mean(coarse.deepest_um) - 1.0
    volume = fine.removed_mm3.sum() / coarse.removed_mm3.sum() - 1.0
    print(f"{name}: 0.25 -> 0.125 mm moves depth by {100.0 * depth:+.1f} %, volume by {100.0 * volume:+.1f} %")
    # bars: 5 % and 6 %; trials of this model gave 3 % and 4 %
    assert abs(depth) <= 0.05
    assert abs(volume) <= 0.06


# ---------------------------------------------------------------- the edge of the blade


def test_a_dull_edge_needs_more_push_and_leaves_taller_burrs():
    sharp, dull = flat_face(), flat_face()
    path = [5.125, 15.125, 45.125, 15.125, 95.0]
    first, second = cut(sharp, path, edge_um=4.0), cut(dull, path, edge_um=12.0)
    assert second.deepest_um[0] < 0.25 * first.deepest_um[0]
    depths = [flat_cut(FINE, push, Iron(), edge)[0] for push, edge in ((95.0, 4.0), (95.0, 12.0), (250.0, 12.0))]
    assert depths[1] < 0.5 * depths[0] < 1.2 * depths[2]
    strong = flat_face()
    third = cut(strong, [*path[:4], 330.0], edge_um=12.0)
    assert third.deepest_um[0] == pytest.approx(first.deepest_um[0], rel=0.25)
    # burrs of cuts of like depth: 0.2 d sharp, 0.6 d dull (from memory)
    ratio = (
        strong.burr_um[:, 80:120].max() / third.deepest_um[0] / (sharp.burr_um[:, 80:120].max() / first.deepest_um[0])
    )
    assert ratio == pytest.approx(3.0, rel=0.15)


@pytest.mark.parametrize("edge_um", [4.0, 8.0])
def test_below_the_least_chip_the_edge_burnishes(edge_um):
    deep_enough = [push for push in range(5, 200) if flat_cut(FINE, push, Iron(), edge_um)[0] > 0.3 * edge_um]
    for push, cuts in ((0.8 * deep_enough[0], False), (1.3 * deep_enough[0], True)):
        face = flat_face()
        told = cut(face, [5.125, 15.125, 45.125, 15.125, push], edge_um=edge_um, chatter=STIFF)
        assert (told.removed_mm3[0] > 0.0) == cuts
        assert face.height_um.any() == cuts


@pytest.mark.parametrize("material,growth", [("carbon steel", 2.0), ("high-speed steel", 1.0), ("carbide", 0.1)])
def test_edges_wear_by_the_metre_and_by_what_they_are_made_of(material, growth):
    edge, face = Edge(4.0), flat_face((160, 160))
    strokes = np.array([[5.0, 5.0 + 0.3 * k, 30.0, 5.0 + 0.3 * k, 60.0] for k in range(80)])
    told = scrape(face, twins.bare_plate(), Blade(material=material), edge, strokes)
    assert edge.metres == pytest.approx(2.0, rel=1e-12)
    # from memory: carbon : high-speed steel : carbide = 2 : 1 : 0.1 um per m
    assert edge.radius_um == pytest.approx(4.0 + 2.0 * growth, rel=1e-12)
    assert WEAR_UM_PER_M[material] == growth
    np.testing.assert_allclose(told.edge_um, 4.0 + 0.025 * growth * np.arange(1, 81), rtol=1e-12)


def test_strokes_over_the_same_lane_chatter_with_the_wave_of_the_blade():
    face, rng = twins.scraped_coupon(10), np.random.default_rng(10)
    for _ in range(10):
        y = rng.uniform(0.0, 1.9) + 1.9 * np.arange(20) + 1.0
        cut(face, np.column_stack([np.full(20, 2.0), y, np.full(20, 58.0), y, np.full(20, 90.0)]))
    inner = face.height_um[20:-20, 20:-20]

    def band(line):
        spectrum = np.abs(np.fft.rfft(line - line.mean(axis=1, keepdims=True), axis=1)) ** 2
        wave = line.shape[1] * 0.25 / np.maximum(np.arange(spectrum.shape[1]), 1e-9)
        return spectrum, wave

    spectrum, wave = band(inner)
    power = spectrum.mean(axis=0)
    near = (wave > 1.2) & (wave < 2.2)
    others = (wave > 2.6) & (wave < 4.5)
    assert power[near].max() > 2.0 * power[others].max()


# ---------------------------------------------------------------- one hash

ROUNDS = """
import hashlib, json, sys
import numpy as np
from sim.kernels.warm import warm
warm()
from sim.model.plate import PlateMake
from sim.model.start import Start
from sim.seat.compliant import Body
from sim.shop.commands import RollFilm, Scrape, SpotFace, StoneFace, WipeFace, perform, strokes_as_data
from sim.shop.job import JobStart, begin_job
from tests.twins import random_strokes

length, width = float(sys.argv[1]), float(sys.argv[2])
plate = PlateMake(length_mm=length + 12.0, width_mm=width + 12.0)
job = begin_job(JobStart(Start(length_mm=length, width_mm=width), plate, Body(mass_kg=0.5), seed=5))
rng = np.random.default_rng(5)
for n, (blade, push) in enumerate((("rough", 180.0), ("semi", 140.0), ("fine", 90.0))):
    perform(RollFilm((6.0, 3.0, None)[n], ("rag", "brayer", "brayer")[n]), job)
    perform(SpotFace(6.0 - 5.0 * n, 6.0, 6.0, (0.6, 0.8), ((length / 1.5, 0.75 * width, 10.0),)), job)
    strokes = random_strokes(rng, 25, (length, width), (0.7 * push, push), (3.0, 6.0))
    perform(Scrape(blade, strokes_as_data(strokes), (1.0, 0.7, 0.5)[n]), job)
    perform(StoneFace(), job)
    if n != 1:
        perform(WipeFace(), job)
digest = hashlib.sha256()
for name, array in job.arrays().items():
    digest.update(name.encode() + np.ascontiguousarray(array).tobytes())
print(json.dumps({"hash": digest.hexdigest(), "removed_mm3": job.removed_mm3, "clock_s": job.clock_s}))
"""


@pytest.mark.slow  # 15 s: the kernels are compiled once more for another processor
@pytest.mark.parametrize("size_mm", [(24.0, 16.0), (60.0, 40.0)])
def test_three_rounds_end_in_the_same_bits_with_and_without_the_compiler(size_mm):
    started, told = {}, {}
    for name, setting in {
        "off": {"NUMBA_DISABLE_JIT": "1"},
        "host": {},
        "generic": {"NUMBA_CPU_NAME": "generic"},
    }.items():
        env = {k: v for k, v in os.environ.items() if not k.startswith("NUMBA_")} | {"PYTHONPATH": str(TOP), **setting}
        started[name] = subprocess.Popen(
            [sys.executable, "-c", ROUNDS, *map(str, size_mm)],
            env=env, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=TOP,
        )
    for name, process in started.items():
        out, err = process.communicate(timeout=300)
        assert process.returncode == 0, err
        told[name] = json.loads(out)
    assert told["host"]["removed_mm3"] > 0.1
    assert told["generic"] == told["host"]
    assert told["off"] == told["host"]
