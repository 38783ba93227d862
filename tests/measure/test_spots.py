"""Counting on prints whose count is known, the sheet of tenths, and hollows of known depth."""

import math

import numpy as np
import pytest

from sim.errors import BadParam
from sim.measure.spots import Eye, bearing_by_tenths, bearing_sheets, islands, pocket_depth_um, spots, spots_in_square
from sim.model.face import face_from_heights
from sim.model.marks import Marks

INCH = 25.4


def discs(size_mm, pitch_mm, step_mm, radius_mm, left_out=()):
    """A lattice of round marks, one in the middle of each step x step field, except the fields left out."""
    ny, nx = round(size_mm[1] / pitch_mm), round(size_mm[0] / pitch_mm)
    y, x = (np.mgrid[:ny, :nx] + 0.5) * pitch_mm
    field_x, field_y = np.floor(x / step_mm), np.floor(y / step_mm)
    marked = np.hypot(x - (field_x + 0.5) * step_mm, y - (field_y + 0.5) * step_mm) < radius_mm
    for i, j in left_out:
        marked &= ~((field_y == i) & (field_x == j))
    return Marks(marked, np.ones((ny, nx), bool), pitch_mm)


def sheet_of(marked_squares, depth_cells, pitch_mm=0.25, squares=(10, 20)):
    """A print of 2.5 mm squares, those named marked over this many of their ten columns of cells."""
    n = round(2.5 / pitch_mm)
    marked = np.zeros((squares[0] * n, squares[1] * n), bool)
    for k in marked_squares:
        i, j = divmod(k, squares[1])
        marked[i * n : (i + 1) * n, j * n : j * n + depth_cells] = True
    return Marks(marked, np.ones_like(marked), pitch_mm)


def test_a_lattice_counts_the_same_in_every_square():
    found = spots(discs((127.0, 76.2), 0.254, INCH / 5, 1.2))
    assert found.count == 25 * 15
    assert found.mean == pytest.approx(25.0, abs=1e-12)
    assert found.lowest == 25.0
    assert found.cv == pytest.approx(0.0, abs=1e-12)
    assert found.areas_mm2 == pytest.approx(math.pi * 1.2**2, rel=0.05)


def test_a_lattice_that_does_not_fit_the_cells_has_its_mean_by_area():
    found = spots(discs((160.25, 110.25), 0.25, 5.0, 1.2))  # 540 x 340 placements: whole steps of 20 cells
    # 25.4 mm hold 5 or 6 columns, 5.08 on average, here by steps of a cell 5.05 or 5.10: 1.2 % on the square
    assert found.mean == pytest.approx((INCH / 5.0) ** 2, rel=0.0125)
    assert (found.lowest, found.count) == (25.0, 32 * 22)


def test_one_spot_missing_is_missed_by_the_squares_that_would_hold_it():
    marks = discs((127.0, 76.2), 0.254, INCH / 5, 1.2, left_out=[(7, 12)])
    found = spots(marks)
    ny, nx = marks.marked.shape
    share = 100 * 100 / ((nx - 99) * (ny - 99))  # squares of 100 cells that hold this place
    assert found.lowest == 24.0
    assert found.mean == pytest.approx(25.0 - share, rel=1e-12)
    assert found.cv == pytest.approx(math.sqrt(share * (1.0 - share)) / (25.0 - share), rel=1e-9)


def test_the_poorest_square_is_found_where_it_is():
    bare = [(i, j) for i in range(6, 11) for j in range(14, 19)]
    found = spots(discs((127.0, 76.2), 0.254, INCH / 5, 1.2, left_out=bare))
    assert found.lowest == 0.0
    assert found.lowest_at_mm == pytest.approx((16.5 * INCH / 5, 8.5 * INCH / 5), abs=INCH / 5)


def test_a_square_laid_anywhere_holds_the_spots_whose_middles_lie_in_it():
    marks = discs((127.0, 76.2), 0.254, INCH / 5, 1.2)
    assert spots_in_square(marks, (INCH, INCH)) == 25
    assert spots_in_square(marks, (4.6 * INCH, 0.0)) == 10  # most of it off the face: two columns are left
    assert spots_in_square(marks, (-500.0, 0.0)) == spots_in_square(marks, (math.nan, 0.0)) == 0


def test_a_bare_face_has_no_spots_and_is_not_called_even():
    found = spots(Marks(np.zeros((110, 120), bool), np.ones((110, 120), bool), 0.5))
    assert (found.count, found.large) == (0, 0)
    assert (found.mean, found.lowest, found.bearing_pct) == (0.0, 0.0, 0.0)
    assert math.isnan(found.cv)


def test_a_mirrored_or_turned_face_counts_the_same():
    rng = np.random.default_rng(8)
    marked = np.kron(rng.uniform(size=(55, 80)) < 0.15, np.ones((8, 8), bool))
    iron = np.ones(marked.shape, bool)
    iron[100:160, 200:260] = False
    one = spots(Marks(marked & iron, iron, 0.25))
    assert one.cv > 0.1
    for turn in (np.fliplr, np.flipud, np.transpose):
        other = spots(Marks(turn(marked & iron), turn(iron), 0.25))
        assert (other.count, other.large, other.bearing_pct) == (one.count, one.large, one.bearing_pct)
        # a centroid exactly on an edge of a square (fifths of a cell: a few of 200) counts on one side only
        assert (other.mean, other.cv) == pytest.approx((one.mean, one.cv), rel=2e-3)
        assert other.lowest == pytest.approx(one.lowest, abs=1.0)


def test_iron_around_nothing_is_no_part_of_the_face():
    marks = discs((76.2, 50.8), 0.254, INCH / 5, 1.2)
    framed = Marks(np.pad(marks.marked, 37), np.pad(marks.iron, 37), 0.254)
    one, other = spots(marks), spots(framed)
    assert (other.mean, other.lowest, other.bearing_pct) == (one.mean, one.lowest, one.bearing_pct)


def test_a_square_with_a_slot_is_scaled_to_whole_iron():
    marks = discs((INCH, INCH), 0.254, INCH / 5, 1.2, left_out=[(2, 1), (2, 3)])
    iron = marks.iron.copy()
    iron[48:52, 20:40] = iron[48:52, 60:80] = False  # 160 of 10,000 cells
    assert spots(Marks(marks.marked, iron, 0.254)).mean == pytest.approx(23 / 0.984, rel=1e-12)


def test_squares_over_a_hole_are_left_out():
    marks = discs((127.0, 76.2), 0.254, INCH / 5, 1.2)
    iron = marks.iron.copy()
    iron[100:200, 200:300] = False
    found = spots(Marks(marks.marked & iron, iron, 0.254))
    assert found.lowest > 20.0  # without leaving out, the square in the hole counts 0
    assert found.mean == pytest.approx(25.0, rel=0.02)


@pytest.mark.parametrize("size", [(127.0, INCH / 5 * 4), (INCH / 5 * 4, 127.0), (INCH / 5 * 3, INCH / 5 * 4)])
def test_a_face_narrower_than_the_square_is_scaled_to_the_square(size):
    found = spots(discs(size, 0.254, INCH / 5, 1.2))
    assert (found.mean, found.lowest) == pytest.approx((25.0, 25.0), rel=1e-12)


@pytest.mark.parametrize("pitch_mm, closes, stays", [(0.25, 1, 2), (0.125, 2, 3), (0.1, 2, 3), (0.3, 0, 1)])
def test_gaps_under_three_tenths_of_a_millimetre_close_at_any_pitch(pitch_mm, closes, stays):
    # by distance in mm; a gap of 0.3 mm is not under 0.3
    for gap, islands_seen in ((closes, 1), (stays, 2)):
        marked = np.zeros((60, 60), bool)
        marked[20:40, 10:30] = marked[20:40, 30 + gap : 50] = True
        for turned in (marked, marked.T):
            assert len(islands(Marks(turned, np.ones_like(marked), pitch_mm)).area_mm2) == islands_seen


def test_a_mark_is_where_and_as_large_as_it_is():
    marked = np.zeros((80, 100), bool)
    marked[8:16, 20:32] = True
    marked[40, 50] = marked[42, 50] = True  # a gap of one cell, closed and counted in
    found = islands(Marks(marked, np.ones_like(marked), 0.25))
    assert found.area_mm2.tolist() == [96 / 16, 3 / 16]
    assert found.x_mm.tolist() == [6.5, 12.625]
    assert found.y_mm.tolist() == [3.0, 10.375]
    assert np.unique(found.labels[8:16, 20:32]).tolist() == [1]


def test_marks_under_the_least_area_do_not_count_and_a_large_mark_counts_once():
    marked = np.zeros((120, 120), bool)
    marked[10:14, 10:14] = True  # 1 mm2: 16 cells
    marked[30:33, 30:35] = True  # 15 cells
    marked[60:76, 60:75] = True  # 15 mm2
    marked[90:106, 60:76] = True  # 16 mm2
    marks = Marks(marked, np.ones_like(marked), 0.25)
    found = spots(marks)
    assert found.areas_mm2.tolist() == [1.0, 15.0, 16.0]
    assert (found.count, found.large) == (3, 1)
    assert spots(marks, 0.5).count == 4
    assert spots(marks, eye=Eye(spot_area_mm2=15.5)).count == 1


def test_bearing_takes_every_mark_and_no_closed_gap():
    marked = np.zeros((120, 120), bool)
    marked[:, ::2] = True  # stripes one cell apart: an eye sees one mark, half of the iron bears
    found = spots(Marks(marked, np.ones_like(marked), 0.25))
    assert (found.bearing_pct, found.count) == (50.0, 1)


def test_half_the_pitch_counts_the_same_marks():
    coarse, fine = (spots(discs((80.0, 60.0), pitch, 4.0, 0.9)) for pitch in (0.25, 0.125))
    assert fine.count == coarse.count == 300
    assert fine.mean == pytest.approx(coarse.mean, rel=0.02)
    # the outline of a mark is stepped by cells: 7 % of its area at 0.25 mm
    assert fine.areas_mm2.mean() == pytest.approx(coarse.areas_mm2.mean(), rel=0.1)


# ISO 8512-1, text as issued in AS 1004.1-1998, clause 9: bearing at least 20 % grade 0, 15 % grade 1, 10 % grades 2
# and 3 (checks/bearing_area_and_spots.csv). Sheet of 200 squares, sum of the tenths halved: 40, 30 or 20 full squares.
@pytest.mark.parametrize("full, limit", [(40, 20.0), (30, 15.0), (20, 10.0)])
def test_the_sheet_gives_the_standards_limits(full, limit):
    marks = sheet_of(np.random.default_rng(full).permutation(200)[:full], 10)
    assert bearing_by_tenths(marks, (0.0, 0.0)) == pytest.approx(limit, rel=1e-12)
    assert spots(marks).bearing_pct == pytest.approx(limit, rel=1e-12)


def test_each_square_is_judged_to_the_nearest_tenth():
    for cells, judged in ((4, 0.0), (5, 10.0), (14, 10.0), (15, 20.0), (96, 100.0)):
        marked = np.zeros((100, 200), bool)
        for k in range(cells):
            marked[k // 10 :: 10, k % 10 :: 10] = True
        found = bearing_by_tenths(Marks(marked, np.ones_like(marked), 0.25), (0.0, 0.0))
        assert found == pytest.approx(judged, rel=1e-12)


def test_the_sheet_scores_where_it_lies():
    marked = np.zeros((320, 400), bool)
    marked[100:200, 60:260] = True
    marks = Marks(marked, np.ones_like(marked), 0.25)
    assert bearing_by_tenths(marks, (15.0, 25.0)) == 100.0
    assert bearing_by_tenths(marks, (40.0, 25.0)) == pytest.approx(50.0)
    assert bearing_by_tenths(marks, (15.0, 25.0), upright=True) == pytest.approx(50.0)


def test_a_face_smaller_than_the_sheet_is_scored_on_the_squares_that_it_fills():
    marks = sheet_of(range(16), 5, squares=(8, 8))  # 20 x 20 mm, two of eight rows half marked
    for corner in ((0.0, 0.0), (-25.0, -5.0)):
        assert bearing_by_tenths(marks, corner) == pytest.approx(100.0 / 8.0)
    assert bearing_sheets(marks) == pytest.approx(100.0 / 8.0)


def test_sheets_cover_the_face_side_by_side():
    marked = np.zeros((440, 640), bool)
    marked[:, :320] = True
    lying = bearing_sheets(Marks(marked, np.ones_like(marked), 0.25))
    assert len(lying) == 3 * 4
    assert lying.mean() == pytest.approx(50.0, abs=1.0)
    standing = bearing_sheets(Marks(marked.T, np.ones_like(marked.T), 0.25))
    assert sorted(standing) == sorted(lying)


def test_squares_that_do_not_fit_the_cells_still_cover_the_sheet_once():
    marked = np.random.default_rng(3).uniform(size=(400, 600)) < 0.5
    assert bearing_by_tenths(Marks(marked, np.ones_like(marked), 0.15), (7.0, 5.0)) == pytest.approx(50.0, abs=1.0)


def test_a_sheet_beside_the_face_is_refused():
    marks = sheet_of([], 0)
    with pytest.raises(BadParam, match="at least one square"):
        bearing_by_tenths(marks, (500.0, 0.0))
    with pytest.raises(BadParam, match="pitch_mm"):
        bearing_by_tenths(Marks(marks.marked, marks.iron, 3.0), (0.0, 0.0))


@pytest.mark.parametrize("marked, iron, pitch_mm, word", [
    (np.zeros((4, 5), bool), np.ones((5, 4), bool), 0.25, "one shape"),
    (np.zeros((4, 5), bool), np.zeros((4, 5), bool), 0.25, "iron"),
    (np.zeros((4, 5), bool), np.ones((4, 5), bool), 0.0, "pitch_mm"),
])
def test_marks_that_make_no_sense_are_refused_in_one_line(marked, iron, pitch_mm, word):
    for measure in (spots, bearing_sheets):
        with pytest.raises(BadParam, match=word) as told:
            measure(Marks(marked, iron, pitch_mm))
        assert "\n" not in str(told.value)


def hollowed(depth_um, size_mm=(80.0, 60.0), pitch_mm=0.25):
    """Level tops of 1.5 mm in a lattice of 4 mm; the rest, more than half, lies this deep."""
    return np.where(discs(size_mm, pitch_mm, 4.0, 1.0).marked, 0.0, -depth_um)


def test_hollows_are_as_deep_as_they_were_dug():
    for depth_um in (0.0, 3.5, 12.0):
        assert pocket_depth_um(face_from_heights(hollowed(depth_um))) == pytest.approx(depth_um, abs=1e-9)


def test_rounded_hollows_count_by_their_median():
    x = (np.arange(320) + 0.5) * 0.25
    wave = np.broadcast_to(-6.0 * np.sin(np.pi * x / 5.0) ** 2, (240, 320))
    # half of a sine-squared lies deeper than half its depth; the crest lies within half a cell of the highest cell
    assert pocket_depth_um(face_from_heights(wave)) == pytest.approx(3.0, abs=6.0 * (math.pi * 0.125 / 5.0) ** 2 + 0.01)


def test_tilt_does_not_deepen_hollows():
    y, x = np.mgrid[:240, :320] * 0.25
    face = face_from_heights(hollowed(4.0) + 0.3 * x - 0.2 * y)
    # 36 um over the diagonal; what three passes leave is under a fifth of the tilt over a mm (0.36 um)
    assert pocket_depth_um(face) == pytest.approx(4.0, abs=0.07)


def test_a_crown_or_dish_of_a_few_microns_hardly_changes_the_depth():
    x = np.broadcast_to(np.arange(320) * 0.25, (240, 320))
    for bow_um in (5.0, -5.0):
        form = bow_um * ((x - 40.0) / 40.0) ** 2
        assert pocket_depth_um(face_from_heights(hollowed(4.0) + form)) == pytest.approx(4.0, abs=0.06)


def test_holes_and_the_edge_break_take_no_part():
    height = hollowed(4.0)
    iron = np.ones(height.shape, bool)
    iron[60:150, 100:200] = False
    scored = iron.copy()
    scored[:4] = False
    height[:4] = -200.0
    assert pocket_depth_um(face_from_heights(height, iron, scored)) == pytest.approx(4.0, abs=1e-9)


def test_a_burr_is_not_iron():
    face = face_from_heights(hollowed(4.0))
    face.burr_um[100, 100] = 30.0
    assert pocket_depth_um(face) == pytest.approx(4.0, abs=1e-9)


def test_a_face_with_nothing_scored_is_refused():
    with pytest.raises(BadParam, match="scored"):
        pocket_depth_um(face_from_heights(np.zeros((8, 8)), scored=np.zeros((8, 8), bool)))
