"""Lanes over marks: every marked cell is passed, narrow marks get less push, and a turned face the turned strokes."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter, label

from sim.hands.lanes import GAP_MM, Lanes, strokes_over

PITCH_MM = 0.25
DIAGONAL = (0.7071067811865476, 0.7071067811865476)
DIRECTIONS = pytest.mark.parametrize("along", [(1.0, 0.0), (0.0, 1.0), DIAGONAL, (DIAGONAL[0], -DIAGONAL[1])])


def lanes(along=(1.0, 0.0), **other):
    return replace(Lanes(along, spacing_mm=2.0, longest_mm=6.0, beyond_mm=1.0, push_n=80.0), **other)


def blotches(seed=1, shape=(120, 160)):
    """Marks of any shape and size, labelled."""
    noise = gaussian_filter(np.random.default_rng(seed).standard_normal(shape), 6.0)
    return label(noise > np.quantile(noise, 0.7))[0].astype(np.int64)


def bar(cells_wide, shape=(60, 60)):
    """One mark along x, 5 mm long."""
    labels = np.zeros(shape, np.int64)
    labels[10 : 10 + cells_wide, 20:40] = 1
    return labels


def lengths_mm(strokes):
    return np.hypot(strokes[:, 2] - strokes[:, 0], strokes[:, 3] - strokes[:, 1])


@DIRECTIONS
def test_every_marked_cell_lies_under_a_lane(along):
    labels = blotches()
    meant = lanes(along, beyond_mm=0.0)
    strokes = strokes_over(labels, PITCH_MM, meant)
    rows, cols = np.nonzero(labels)
    x, y = (cols + 0.5) * PITCH_MM, (rows + 0.5) * PITCH_MM
    ux, uy = along
    s, v = x * ux + y * uy, y * ux - x * uy
    s0, s1 = (strokes[:, k] * ux + strokes[:, k + 1] * uy for k in (0, 2))
    w = strokes[:, 1] * ux - strokes[:, 0] * uy
    # a mark under 1.5 spacings wide has one lane: no lane is wider than that
    under = np.abs(v[:, None] - w) <= 0.75 * meant.spacing_mm + 1e-9
    under &= (s0 - 1e-9 <= s[:, None]) & (s[:, None] <= s1 + 1e-9)
    assert labels.max() > 5
    assert under.any(axis=1).all()


@DIRECTIONS
def test_no_stroke_is_longer_than_the_longest_and_the_way_before_and_beyond(along):
    meant = lanes(along)
    made_mm = lengths_mm(strokes_over(blotches(), PITCH_MM, meant))
    assert made_mm.max() <= meant.longest_mm + 2.0 * meant.beyond_mm + 1e-9
    assert made_mm.min() >= 2.0 * meant.beyond_mm
    assert made_mm.max() > meant.longest_mm  # long lanes were parted, so the limit was tried


@pytest.mark.parametrize("cells_wide,lanes_wanted,share",
                         [(1, 1, 0.3), (4, 1, 0.5), (6, 1, 0.75), (8, 1, 1.0), (16, 2, 1.0), (24, 3, 1.0)])
def test_a_narrow_mark_gets_less_push_and_one_as_wide_as_the_spacing_all_of_it(cells_wide, lanes_wanted, share):
    strokes = strokes_over(bar(cells_wide), PITCH_MM, lanes(least_share=0.3))  # 8 cells are the spacing of 2 mm
    assert len(strokes) == lanes_wanted
    np.testing.assert_allclose(strokes[:, 4], 80.0 * share, rtol=1e-12)


@pytest.mark.parametrize("gap_mm,runs", [(0.5 * GAP_MM, 1), (1.5 * GAP_MM, 2)])
def test_the_blade_is_lifted_where_a_mark_leaves_its_lane_for_long(gap_mm, runs):
    labels = np.zeros((20, 80), np.int64)
    labels[8:10, 10:20] = 1
    labels[8:10, 20 + round(gap_mm / PITCH_MM) : 30 + round(gap_mm / PITCH_MM)] = 1
    assert len(strokes_over(labels, PITCH_MM, lanes(longest_mm=100.0))) == runs


def test_marks_that_are_to_be_taken_first_are():
    labels = blotches(2)
    first = np.zeros(labels.max() + 1, bool)
    first[labels[-1]] = True
    first[0] = False
    alone = strokes_over(np.where(first[labels], labels, 0), PITCH_MM, lanes())
    strokes = strokes_over(labels, PITCH_MM, lanes(), first)
    np.testing.assert_array_equal(strokes[: len(alone)], alone)
    assert 0 < len(alone) < len(strokes)


@DIRECTIONS
def test_a_face_turned_by_180_degrees_with_its_direction_gets_the_same_strokes_turned(along):
    labels = blotches(3)
    size = np.array([labels.shape[1], labels.shape[0]]) * PITCH_MM
    strokes = strokes_over(labels, PITCH_MM, lanes(along))
    turned = strokes_over(labels[::-1, ::-1].copy(), PITCH_MM, lanes((-along[0], -along[1])))
    turned[:, :4] = np.tile(size, 2) - turned[:, :4]

    def in_order(rows):
        return rows[np.lexsort(np.round(rows, 6).T)]

    np.testing.assert_allclose(in_order(turned), in_order(strokes), rtol=0.0, atol=1e-9)


def test_no_mark_no_stroke():
    assert strokes_over(np.zeros((10, 10), np.int64), PITCH_MM, lanes()).shape == (0, 5)
