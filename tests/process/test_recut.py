"""Back to the machine: closed forms of a head out of tram, iron that is only ever taken off, and what is refused."""

import math
from dataclasses import replace

import numpy as np
import pytest

from sim.errors import BadParam
from sim.measure.flatness import flatness, surface_flatness_um
from sim.model.face import face_from_heights
from sim.model.heights import Heights
from sim.model.start import KINDS, Start
from sim.process.machining import cut_lay, machine_face
from sim.process.recut import (
    CupWheel,
    FlyCutter,
    dish_um,
    hand_proportion,
    pass_axes_mm,
    proportion,
    recut_face,
    recut_hours,
    step_um,
    swept_um,
)


def per_100mm(tram_mm, over_mm):
    return tram_mm / over_mm * 1e5


def cutter(tram=0.0, across=0.0, **options):
    """A cutter that leaves nothing but what its tram does."""
    made = {"leaves": "true", "tram_along_um_per_100mm": tram, "tram_across_um_per_100mm": across, **options}
    return FlyCutter(**made)


def block(width_mm=100.0, length_mm=20.0, pitch_mm=0.5):
    return face_from_heights(np.zeros((round(width_mm / pitch_mm), round(length_mm / pitch_mm))), pitch_mm=pitch_mm)


def milled(seed=1, **options):
    start = Start(**{"length_mm": 60.0, "width_mm": 40.0, "pitch_mm": 0.5, **options})
    return machine_face(start, np.random.default_rng(seed))


def luck():
    return np.random.default_rng(7)


TRAMS = [
    # computed: (R - sqrt(R^2 - W^2/4)) t / D
    (0.02, 200.0, 60.0, 100.0, 2.7),
    (0.05, 150.0, 50.0, 90.0, 9.4),
    (0.10, 150.0, 60.0, 100.0, 17.9),
    (0.02, 200.0, 60.0, 110.0, 3.6),
    (0.05, 150.0, 60.0, 110.0, 12.0),
    (0.10, 150.0, 60.0, 110.0, 24.0),
]


@pytest.mark.parametrize("tram,over,sweep,width,dish", TRAMS)
def test_the_hollow_measured_on_a_face_cut_out_of_tram_is_that_of_the_closed_form(tram, over, sweep, width, dish):
    pitch = width / 201.0  # an odd number of rows: one of them lies under the axis
    face = block(width, pitch_mm=pitch)
    cut = cutter(per_100mm(tram, over), sweep_mm=sweep)
    recut_face(face, cut, 100.0, luck())
    digit = 0.5 if dish in (12.0, 24.0) else 0.05
    assert dish_um(cut, width) == pytest.approx(dish, abs=digit)
    # the outermost rows lie half a cell inside the edge: the closed form over that much less is exact
    measured = surface_flatness_um(face)
    assert measured == pytest.approx(dish_um(cut, width - pitch), rel=1e-9)
    assert measured == pytest.approx(dish, abs=digit + 0.015 * dish)
    middle, edge = face.height_um[100, 20], face.height_um[0, 20]
    assert edge - middle == pytest.approx(measured, rel=1e-3)  # hollow, not crowned


def test_a_tilt_across_the_feed_leaves_a_step_of_stepover_times_tilt_between_passes():
    cut = cutter(0.0, per_100mm(0.02, 200.0), sweep_mm=60.0, stepover_mm=60.0)
    assert step_um(cut) == pytest.approx(6.0, rel=1e-12)  # computed: 60 mm x 0.02/200
    face = block(160.0)
    recut_face(face, cut, 100.0, luck(), (0.0, 0.0))
    across = face.height_um[:, 10]
    jump = np.diff(across)
    # one edge in the surface, where the rim of the second pass ends: its axis is 30 mm above the middle
    assert np.argmin(jump) == round((80.0 + 30.0 - 60.0) / 0.5) - 1
    rise = 0.5 * 0.1  # a cell further in the same pass: 0.5 mm x 0.1 um/mm
    assert jump.min() == pytest.approx(rise - 6.0, abs=1e-9)
    np.testing.assert_allclose(np.delete(jump, np.argmin(jump)), rise, atol=1e-9)


def test_one_pass_out_of_tram_across_is_flat_and_not_parallel():
    face = block(100.0)
    recut_face(face, cutter(0.0, 10.0), 100.0, luck(), (0.0, 0.0))
    assert surface_flatness_um(face) == pytest.approx(0.0, abs=1e-6)
    assert np.ptp(face.height_um) == pytest.approx(0.1 * 99.5, rel=1e-12)


def test_the_lowest_pass_counts_and_narrower_strips_are_less_hollow():
    y = (np.arange(320) + 0.5) * 0.5 - 80.0
    cut = cutter(50.0, 20.0)
    height, away = swept_um(cut, y, 160.0)
    turn = np.linspace(-np.pi, np.pi, 200001)
    lowest = np.full(320, np.inf)
    for axis in (-30.0, 30.0):  # independently: a tilted circle as points, the lower half of it over each place
        v, u = 60.0 * np.sin(turn), 60.0 * np.cos(turn)
        z = 0.2 * v - 0.5 * u
        order = np.argsort(v[u >= 0.0])
        at = np.interp(y - axis, v[u >= 0.0][order], z[u >= 0.0][order], left=np.inf, right=np.inf)
        lowest = np.minimum(lowest, at)
    np.testing.assert_allclose(height, lowest, atol=1e-3)  # chords of the circle
    np.testing.assert_allclose(np.minimum(np.abs(y - away - 30.0), np.abs(y - away + 30.0)), 0.0, atol=1e-9)
    strips = cutter(50.0, stepover_mm=60.0)
    face = block(160.0)
    recut_face(face, strips, 100.0, luck())
    # at both edges the outer strips are 50 mm wide on one side of their axis: the closed form over 100 mm
    assert np.ptp(face.height_um) == pytest.approx(dish_um(strips, 160.0), rel=0.02)
    assert dish_um(strips, 160.0) == pytest.approx(dish_um(cutter(50.0), 100.0), rel=1e-12)


def test_passes_are_as_few_as_span_the_face_and_leave_no_rib():
    assert pass_axes_mm(cutter(), 120.0).tolist() == [0.0]
    assert pass_axes_mm(cutter(), 121.0).tolist() == [-30.0, 30.0]
    assert pass_axes_mm(cutter(), 180.0).tolist() == [-30.0, 30.0]
    assert pass_axes_mm(cutter(), 181.0).tolist() == [-60.0, 0.0, 60.0]
    y = (np.arange(241) + 0.5) * 1.0 - 120.5
    height, away = swept_um(cutter(10.0, stepover_mm=120.0), y, 241.0)  # a row right between two rims
    assert np.isfinite(height).all()
    assert np.abs(away).max() <= 60.0


@pytest.mark.parametrize("cut", [FlyCutter(), CupWheel(), FlyCutter(tram_along_um_per_100mm=-70.0)])
def test_iron_is_only_taken_off_and_its_volume_is_the_drop_of_the_heights(cut):
    face, before = milled(), milled()
    removed = recut_face(face, cut, 60.0, luck())
    drop = before.height_um - face.height_um
    assert (drop >= 0.0).all()
    assert drop.max() == pytest.approx(60.0, abs=1e-9)  # the deepest cut, at its first touch
    assert removed == pytest.approx(drop[face.iron].sum() * 0.25 * 1e-3, rel=1e-12)
    assert removed > 0.02 * 60.0 * 40.0  # all of the face, by 20 um and more
    np.testing.assert_array_equal(face.scored, before.scored)
    np.testing.assert_array_equal(face.height_um[0], before.height_um[0])  # the edge break lies deeper than the cut
    assert face.warm_k == cut.warm_k


def test_iron_below_the_cut_stays_as_it_is_with_its_blue_and_burr():
    face = block(40.0)
    face.height_um[:, :10] = -80.0
    face.blue_um[:] = 1.0
    face.burr_um[:] = 2.0
    face.chips = np.array([[1.0, 1.0, 15.0]])
    removed = recut_face(face, cutter(), 60.0, luck(), (0.0, 0.0))
    assert removed == pytest.approx(15.0 * 40.0 * 60.0 * 1e-3, rel=1e-12)
    np.testing.assert_array_equal(face.height_um[:, :10], -80.0)
    np.testing.assert_allclose(face.height_um[:, 10:], -60.0, atol=1e-12)
    assert (face.blue_um[:, :10] == 1.0).all()
    assert not face.blue_um[:, 10:].any()
    assert (face.burr_um[:, :10] == 2.0).all()
    assert not face.burr_um[:, 10:].any()
    assert len(face.chips) == 0


def test_a_cut_through_the_edge_break_leaves_the_burr_of_the_machine_on_the_sharp_edge():
    sharp, broken = milled(edge_break_mm=0.0), milled(edge_break_mm=0.6)
    for face in (sharp, broken):
        recut_face(face, FlyCutter(), 60.0, luck())
    edge = np.ones(sharp.shape, bool)
    edge[1:-1, 1:-1] = False
    assert KINDS["fly-cut"].burr_um / 4 < sharp.burr_um[edge].max() <= KINDS["fly-cut"].burr_um
    assert not sharp.burr_um[~edge].any()
    assert not broken.burr_um.any()


@pytest.mark.parametrize("plane", [(0.05, -0.03), (0.0, 0.2)])
def test_the_cut_lies_as_the_part_is_clamped(plane):
    face = milled(wedge_y_um=12.0)
    recut_face(face, cutter(), 300.0, luck(), plane)
    row, column = np.nonzero(face.scored)
    found = flatness(Heights(column * 0.5, row * 0.5, face.height_um[row, column]))
    assert found.slopes_um_per_mm == pytest.approx(plane, abs=1e-9)
    assert found.minimum_zone_um == pytest.approx(0.0, abs=1e-6)


def test_without_a_datum_the_cut_follows_the_least_squares_plane_of_the_scored_cells():
    face = milled(wedge_x_um=20.0, wedge_y_um=-12.0, cutouts=((20.0, 10.0, 12.0, 6.0),))
    row, column = np.nonzero(face.scored)
    before = flatness(Heights(column * 0.5, row * 0.5, face.height_um[row, column])).slopes_um_per_mm
    recut_face(face, cutter(), 100.0, luck())
    after = flatness(Heights(column * 0.5, row * 0.5, face.height_um[row, column])).slopes_um_per_mm
    assert after == pytest.approx(before, abs=1e-6)  # residuals normal to the plane there, in height here


def test_a_mirrored_tram_cuts_a_mirrored_face():
    one, other, back = block(160.0), block(160.0), block(160.0)
    recut_face(one, cutter(30.0, 12.0), 80.0, luck(), (0.0, 0.0))
    recut_face(other, cutter(30.0, -12.0), 80.0, luck(), (0.0, 0.0))
    recut_face(back, cutter(-30.0, 12.0), 80.0, luck(), (0.0, 0.0))
    np.testing.assert_allclose(other.height_um, one.height_um[::-1], atol=1e-12)
    np.testing.assert_allclose(back.height_um, one.height_um[:, ::-1], atol=1e-12)


def test_the_arcs_bend_the_other_way_when_the_trailing_edge_cuts(monkeypatch):
    plain = replace(KINDS["fly-cut"], form_um=0.0, skin_um=0.0, burr_um=0.0)
    monkeypatch.setitem(KINDS, "fly-cut", plain)
    faces = [block(40.0), block(40.0)]
    for face, tram in zip(faces, (1.0, -1.0), strict=True):
        recut_face(face, FlyCutter(tram_along_um_per_100mm=tram), 80.0, luck(), (0.0, 0.0))
    np.testing.assert_allclose(faces[1].height_um, faces[0].height_um[:, ::-1], atol=1e-12)
    assert np.abs(faces[1].height_um - faces[0].height_um).max() > 0.5


def test_a_trammed_cutter_leaves_the_form_and_the_cusps_of_its_kind_and_no_more():
    ranges = []
    for seed in range(4):
        face = block(40.0, 60.0)
        recut_face(face, FlyCutter(tram_along_um_per_100mm=0.0), 80.0, np.random.default_rng(seed))
        ranges.append(np.ptp(face.height_um))
    lay = KINDS["fly-cut"]
    most = lay.form_um + 1.6 * lay.cusp_um + 2.0 * 0.7 * 3.0 * lay.skin_um  # as in test_machining.py
    assert 0.8 * lay.form_um <= np.mean(ranges) <= most


def test_equal_luck_cuts_equal_faces():
    first, second = milled(), milled()
    for face in (first, second):
        recut_face(face, CupWheel(), 20.0, luck())
    np.testing.assert_array_equal(first.height_um, second.height_um)
    np.testing.assert_array_equal(first.burr_um, second.burr_um)


@pytest.mark.parametrize(
    "cut,depth,plane,words",
    [
        (FlyCutter(), 49.0, None, "depth_um must be in [50, 1000] µm, got 49.0"),
        (CupWheel(), 4.0, None, "depth_um must be in [5, 1000] µm, got 4.0"),
        (FlyCutter(), 1001.0, None, "got 1001.0"),
        (FlyCutter(), math.nan, None, "got nan"),
        (cutter(least_depth_um=0.0), 0.0, None, "got 0.0"),
        (cutter(stepover_mm=121.0), 60.0, None, "at most the 120 mm that a sweep of 60 mm spans, got 121"),
        (FlyCutter(), 60.0, (math.nan, 0.0), "two numbers up to 20 µm/mm"),
        (FlyCutter(), 60.0, (21.0, 0.0), "two numbers up to 20 µm/mm"),
        (FlyCutter(), 60.0, (0.0,), "two numbers up to 20 µm/mm"),
    ],
)
def test_a_cut_that_cannot_be_is_refused_and_changes_nothing(cut, depth, plane, words):
    face, before = milled(), milled()
    with pytest.raises(BadParam) as caught:
        recut_face(face, cut, depth, luck(), plane)
    assert words in str(caught.value)
    np.testing.assert_array_equal(face.height_um, before.height_um)


def test_a_face_with_no_plane_through_it_is_refused():
    face = milled()
    face.scored[:] = False
    face.scored[10, 5:20] = True
    with pytest.raises(BadParam, match="must not lie on one line"):
        recut_face(face, FlyCutter(), 60.0, luck())


def test_hours_are_set_up_and_ways():
    # 1.25 h and one way of 160 + 2 x 60 mm at 150 mm/min
    assert recut_hours((160.0, 100.0), FlyCutter(), 60.0) == pytest.approx(1.25 + 280.0 / 150.0 / 60.0)
    # two passes; the wheel takes 60 um in six goes
    wheel = CupWheel()
    ways = recut_hours((160.0, 150.0), wheel, 60.0) - wheel.set_up_h
    assert ways == pytest.approx(2 * 6 * 260.0 / 400.0 / 60.0)


@pytest.mark.parametrize(
    "error,cut,width,words",
    [
        (15.0, cutter(per_100mm(0.10, 150.0)), 100.0, ["a hollow of 17.9 µm where you have 15 µm"]),
        (15.0, cutter(10.0), 100.0, ["15 µm goes about as quickly by hand"]),
        (40.0, cutter(10.0), 100.0, []),
        (40.0, cutter(10.0, 10.0), 160.0, ["a step of up to 6.0 µm between passes"]),
        (40.0, cutter(10.0, 4.0), 160.0, []),
        (35.0, cutter(10.0, -40.0), 100.0, ["rises by 40.0 µm over its width where you have 35 µm"]),
        (10.0, cutter(per_100mm(0.10, 150.0), 10.0), 160.0, ["a hollow of 17.9", "a step of up to 6.0"]),
    ],
)
def test_a_cut_out_of_proportion_is_told_in_plain_words(error, cut, width, words):
    told = proportion(error, cut, width)
    assert len(told) == len(words)
    assert all(word in sentence for word, sentence in zip(words, told, strict=True))


def test_a_tenth_of_a_mm_is_no_work_for_a_hand():
    assert hand_proportion(20.0) == hand_proportion(60.0) == []
    assert "100 µm is out of proportion for a hand" in hand_proportion(100.0)[0]


def test_the_lay_of_a_face_is_laid_on_whatever_height_it_gets():
    flat, raised = np.zeros((40, 60)), np.full((40, 60), 5.0)
    across = (np.arange(40) - 19.5) * 0.5
    for height in (flat, raised):
        cut_lay(height, 0.5, across, KINDS["fly-cut"], luck())
    np.testing.assert_allclose(raised - flat, 5.0, atol=1e-12)
    assert flat.max() > 0.5
