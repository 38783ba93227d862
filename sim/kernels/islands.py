"""Marks as an eye groups them: narrow gaps closed, connected marks counted, counts in every placement of a square."""

import numpy as np

from sim.kernels import R1, RB2, WB2, WI1, WI2, f8, i8, kernel, nt


@kernel(nt.void(RB2, i8, i8, WB2))
def close_gaps(marked, straight, diagonal, closed):
    """Mark what lies in a short run of unmarked cells between two marked ones.

    Parameters
    ----------
    marked : bool (ny, nx)
    straight, diagonal : int, >= 0
        The longest run that closes along a row or column, and along a diagonal, in cells.
    closed : bool (ny, nx)
        Out: `marked` and the cells of the closed runs.

    Notes
    -----
    Runs are those of the input, so the result does not depend on the order of the four directions. Beyond the
    edge nothing is marked: a gap between a mark and the edge stays. One pass; only marked cells do work.
    """
    ny, nx = marked.shape
    far = -(ny + nx)
    column = np.full(nx, far)  # row of the last mark met in each column, and on each diagonal
    falling = np.full(ny + nx, far)
    rising = np.full(ny + nx, far)
    for i in range(ny):
        for j in range(nx):
            closed[i, j] = marked[i, j]
    for i in range(ny):
        row = far
        for j in range(nx):
            if not marked[i, j]:
                continue
            if 0 < j - row - 1 <= straight:
                for k in range(row + 1, j):
                    closed[i, k] = True
            row = j
            if 0 < i - column[j] - 1 <= straight:
                for k in range(column[j] + 1, i):
                    closed[k, j] = True
            column[j] = i
            d = j - i + ny
            if 0 < i - falling[d] - 1 <= diagonal:
                for k in range(falling[d] + 1, i):
                    closed[k, j - (i - k)] = True
            falling[d] = i
            d = j + i
            if 0 < i - rising[d] - 1 <= diagonal:
                for k in range(rising[d] + 1, i):
                    closed[k, j + (i - k)] = True
            rising[d] = i


@kernel(i8(RB2, WI2, WI1, WI1, WI1))
def label_islands(marked, labels, area, sum_x, sum_y):
    """Number the islands of marked cells that touch by sides or corners.

    Parameters
    ----------
    marked : bool (ny, nx)
    labels : int64 (ny, nx)
        Out: 0 where unmarked, else 1, 2, ... in raster order of each island's first cell.
    area, sum_x, sum_y : int64, at least ceil(ny / 2) * ceil(nx / 2) long
        Out: cells of island k + 1, and the sums of their column and row numbers.

    Returns
    -------
    int
        How many islands.

    Notes
    -----
    Union-find over the runs of each row; the lower root always stays, so a root is its island's first run.
    """
    ny, nx = marked.shape
    most = ny * ((nx + 1) // 2)
    first = np.empty(most, np.int64)  # a run is marked[row, first:last]
    last = np.empty(most, np.int64)
    row = np.empty(most, np.int64)
    parent = np.empty(most, np.int64)
    n = 0
    above = 0
    for i in range(ny):
        here = n
        j = 0
        while j < nx:
            if not marked[i, j]:
                labels[i, j] = 0
                j += 1
                continue
            first[n] = j
            while j < nx and marked[i, j]:
                j += 1
            last[n], row[n], parent[n] = j, i, n
            while above < here and last[above] < first[n]:
                above += 1
            k = above
            while k < here and first[k] <= j:
                a, b = k, n
                while parent[a] != a:
                    parent[a] = parent[parent[a]]
                    a = parent[a]
                while parent[b] != b:
                    parent[b] = parent[parent[b]]
                    b = parent[b]
                parent[max(a, b)] = min(a, b)
                k += 1
            n += 1
        above = here
    count = 0
    for k in range(n):
        if parent[k] == k:
            name = count
            area[name] = sum_x[name] = sum_y[name] = 0
            count += 1
        else:
            name = first[parent[k]]  # its parent stands before it and has been numbered
        size = last[k] - first[k]
        area[name] += size
        sum_x[name] += size * (first[k] + last[k] - 1) // 2
        sum_y[name] += size * row[k]
        for j in range(first[k], last[k]):
            labels[row[k], j] = name + 1
        first[k] = name
    return count


@kernel(nt.void(R1, R1, RB2, nt.UniTuple(f8, 2), WI2, WI2))
def square_counts(x, y, iron, size, counts, cells):
    """Count points and cells of iron in every placement of a rectangle, one cell apart.

    Parameters
    ----------
    x, y : float64 (n,)
        Points, in cells from the outer corner of `iron`: cell 0 spans 0 to 1.
    iron : bool (ny, nx)
    size : (float, float)
        Sides of the rectangle along x and y, in cells, any fraction; at most nx and ny.
    counts, cells : int64 (floor(ny - size_y) + 1, floor(nx - size_x) + 1)
        Out: points in each placement, and cells of iron whose centres lie in it.

    Notes
    -----
    What is left of a cell is halved between the two ends, so that the placements of a mirrored face are the same.
    A placement holds its lower edges, not its upper ones: points a fraction of the size apart count alike everywhere.
    """
    ny, nx = iron.shape
    my, mx = counts.shape
    off_x = 0.5 * (nx - size[0] - (mx - 1))
    off_y = 0.5 * (ny - size[1] - (my - 1))
    wide = nx - mx + 1  # cells whose centres lie in a placement
    high = ny - my + 1
    for i in range(my):
        for j in range(mx):
            counts[i, j] = 0
    for k in range(len(x)):  # corners of the block of placements that hold the point; summed up below
        left = max(0, int(np.floor(x[k] - off_x - size[0])) + 1)
        right = min(mx, int(np.floor(x[k] - off_x)) + 1)
        low = max(0, int(np.floor(y[k] - off_y - size[1])) + 1)
        top = min(my, int(np.floor(y[k] - off_y)) + 1)
        if left >= right or low >= top:
            continue
        counts[low, left] += 1
        if right < mx:
            counts[low, right] -= 1
        if top < my:
            counts[top, left] -= 1
            if right < mx:
                counts[top, right] += 1
    strip = np.zeros(nx, np.int64)  # iron of each column within the rows of the placement
    for i in range(high - 1):
        for j in range(nx):
            strip[j] += iron[i, j]
    held = np.zeros(mx, np.int64)
    for i in range(my):
        for j in range(nx):
            strip[j] += iron[i + high - 1, j]
        points = 0
        inside = 0
        for j in range(wide - 1):
            inside += strip[j]
        for j in range(mx):
            points += counts[i, j]
            held[j] += points
            counts[i, j] = held[j]
            inside += strip[j + wide - 1]
            cells[i, j] = inside
            inside -= strip[j]
        for j in range(nx):
            strip[j] -= iron[i, j]
