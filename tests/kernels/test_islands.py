"""Closing, labelling and counting against slow obvious twins."""

import numpy as np
import pytest
from scipy import ndimage

from sim.kernels.islands import close_gaps, label_islands, square_counts


def closed_by_hand(marked, straight, diagonal):
    """Walk from each unmarked cell both ways along four lines until a mark is met."""
    ny, nx = marked.shape
    out = marked.copy()
    for i, j in np.argwhere(~marked):
        for di, dj, longest in ((0, 1, straight), (1, 0, straight), (1, 1, diagonal), (1, -1, diagonal)):
            run = 1
            between = True
            for way in (1, -1):
                y, x = i + way * di, j + way * dj
                while 0 <= y < ny and 0 <= x < nx and not marked[y, x]:
                    y, x, run = y + way * di, x + way * dj, run + 1
                between &= bool(0 <= y < ny and 0 <= x < nx)
            if between and run <= longest:
                out[i, j] = True
    return out


def closed_of(marked, straight, diagonal):
    out = np.empty_like(marked)
    close_gaps(marked, straight, diagonal, out)
    return out


def islands_of(marked):
    ny, nx = marked.shape
    most = ((ny + 1) // 2) * ((nx + 1) // 2)
    labels = np.full((ny, nx), -1, np.int64)
    area, sum_x, sum_y = (np.full(most, -1, np.int64) for _ in range(3))
    n = label_islands(marked, labels, area, sum_x, sum_y)
    return labels, area[:n], sum_x[:n], sum_y[:n]


def counts_of(x, y, iron, size):
    shape = (int(np.floor(iron.shape[0] - size[1])) + 1, int(np.floor(iron.shape[1] - size[0])) + 1)
    counts, cells = np.full(shape, -1, np.int64), np.full(shape, -1, np.int64)
    square_counts(x, y, iron, size, counts, cells)
    return counts, cells


def counted_by_hand(x, y, iron, size):
    """Lay the rectangle down in each placement and look at every point and every cell."""
    ny, nx = iron.shape
    my, mx = int(np.floor(ny - size[1])) + 1, int(np.floor(nx - size[0])) + 1
    off_x, off_y = (nx - size[0] - (mx - 1)) / 2, (ny - size[1] - (my - 1)) / 2
    row, column = np.mgrid[:ny, :nx] + 0.5
    counts, cells = np.empty((my, mx), int), np.empty((my, mx), int)
    for i in range(my):
        for j in range(mx):
            left, low = off_x + j, off_y + i
            counts[i, j] = ((x >= left) & (x < left + size[0]) & (y >= low) & (y < low + size[1])).sum()
            held = (column > left) & (column < left + size[0]) & (row > low) & (row < low + size[1])
            cells[i, j] = (held & iron).sum()
    return counts, cells


def spiral(n):
    """One arm, two cells apart: the first and the last row see it as many runs that join late."""
    out = np.zeros((n, n), bool)
    i = j = 0
    di, dj = 0, 1
    out[0, 0] = True
    for length in [n - 1] + [k for k in range(n - 1, 0, -2) for _ in (0, 1)]:
        for _ in range(length):
            i, j = i + di, j + dj
            if not (0 <= i < n and 0 <= j < n):
                return out
            out[i, j] = True
        di, dj = dj, -di
    return out


@pytest.mark.parametrize("share", [0.05, 0.2, 0.5, 0.8])
@pytest.mark.parametrize("longest", [(1, 0), (2, 1), (0, 3), (4, 2)])
def test_closing_agrees_with_a_walk_from_every_cell(share, longest):
    marked = np.random.default_rng(1).uniform(size=(23, 31)) < share
    assert np.array_equal(closed_of(marked, *longest), closed_by_hand(marked, *longest))


def test_closing_is_the_same_mirrored_and_transposed():
    marked = np.random.default_rng(2).uniform(size=(40, 27)) < 0.25
    closed = closed_of(marked, 2, 1)
    assert closed.sum() > marked.sum()
    for turn in (np.fliplr, np.flipud, np.transpose):
        turned = np.ascontiguousarray(turn(marked))
        assert np.array_equal(closed_of(turned, 2, 1), turn(closed))


def test_a_gap_to_the_edge_stays_open():
    marked = np.zeros((5, 6), bool)
    marked[1:4, 1:5] = True
    assert np.array_equal(closed_of(marked, 3, 3), marked)


def test_closed_cells_do_not_close_further_gaps():
    marked = np.zeros((3, 7), bool)
    marked[1, [0, 2]] = True  # closes column 1 only: columns 3 to 6 lie open
    marked[0, 4] = True
    closed = closed_of(marked, 1, 0)
    assert closed.sum() == 4
    assert closed[1, 1]


@pytest.mark.parametrize("share", [0.05, 0.3, 0.45, 0.7, 1.0])
def test_islands_agree_with_the_library_labels(share):
    marked = np.random.default_rng(3).uniform(size=(61, 84)) < share
    labels, area, sum_x, sum_y = islands_of(marked)
    twin, n = ndimage.label(marked, np.ones((3, 3)))
    row, column = np.mgrid[:61, :84]
    names = np.arange(1, n + 1)
    assert len(area) == n
    assert np.array_equal(labels > 0, marked)
    assert len(set(zip(labels[marked], twin[marked], strict=True))) == n  # the same parting, one name each
    firsts = [np.flatnonzero(labels.ravel() == k)[0] for k in names]
    assert firsts == sorted(firsts)  # numbered by first cell
    assert np.array_equal(area, ndimage.sum_labels(marked, labels, names))
    assert np.array_equal(sum_x, ndimage.sum_labels(column, labels, names))
    assert np.array_equal(sum_y, ndimage.sum_labels(row, labels, names))


@pytest.mark.parametrize("turns", range(4))
def test_a_spiral_is_one_island_from_whichever_side(turns):
    marked = np.ascontiguousarray(np.rot90(spiral(33), turns))
    _, area, _, _ = islands_of(marked)
    assert ndimage.label(marked, np.ones((3, 3)))[1] == 1
    assert area.tolist() == [marked.sum()]


def test_as_many_islands_as_can_be_fit_in_what_is_handed_in():
    marked = np.zeros((7, 9), bool)
    marked[::2, ::2] = True
    _, area, sum_x, sum_y = islands_of(marked)
    assert area.tolist() == [1] * 20
    assert sum_x.tolist() == [0, 2, 4, 6, 8] * 4
    assert sum_y.tolist() == [0] * 5 + [2] * 5 + [4] * 5 + [6] * 5


@pytest.mark.parametrize("size", [(7.0, 5.0), (7.4, 5.8), (30.0, 20.0), (29.3, 1.0), (1.5, 19.6)])
def test_counts_agree_with_laying_the_square_down_everywhere(size):
    rng = np.random.default_rng(4)
    iron = rng.uniform(size=(20, 30)) < 0.8
    x, y = rng.uniform(0.0, 30.0, 60), rng.uniform(0.0, 20.0, 60)
    counts, cells = counts_of(x, y, iron, size)
    counts_twin, cells_twin = counted_by_hand(x, y, iron, size)
    assert np.array_equal(counts, counts_twin)
    assert np.array_equal(cells, cells_twin)


def test_points_a_fraction_of_the_side_apart_count_alike_in_every_placement():
    x, y = (a.ravel() for a in np.meshgrid(np.arange(0.0, 50.0, 2.0), np.arange(0.0, 40.0, 2.0)))
    counts, cells = counts_of(x, y, np.ones((40, 50), bool), (10.0, 10.0))
    assert np.unique(counts).tolist() == [25]
    assert np.unique(cells).tolist() == [100]


def test_counts_of_a_mirrored_face_are_mirrored():
    rng = np.random.default_rng(5)
    iron = rng.uniform(size=(24, 33)) < 0.9
    x, y = rng.uniform(0.0, 33.0, 40), rng.uniform(0.0, 24.0, 40)
    counts, cells = counts_of(x, y, iron, (10.6, 8.3))
    counts_m, cells_m = counts_of(33.0 - x, y, np.ascontiguousarray(iron[:, ::-1]), (10.6, 8.3))
    assert np.array_equal(counts_m, counts[:, ::-1])
    assert np.array_equal(cells_m, cells[:, ::-1])
