"""What lies near what: how far each cell is from the nearest of a mask, and which strokes go over an earlier one."""

import numpy as np

from sim.kernels import R1, R2, RB2, W1, WI2, f8, i8, kernel, nt


@kernel(nt.void(RB2, i8, WI2))
def squares_away(mask, most, away):
    """Squared distance of each cell to the nearest cell of a mask, in cells: exact, between middles.

    Parameters
    ----------
    mask : bool (ny, nx)
    most : int, >= 0
        How far is looked, in cells.
    away : int64 (ny, nx)
        Out: 0 on the mask; more than most * most where it lies farther than that.

    Notes
    -----
    Along columns first; then each row takes the least of k^2 and its neighbours' squares, outwards until k^2 alone is
    more. A cell costs at most 2 `most` looks, and no more than twice its own distance.
    """
    ny, nx = mask.shape
    far = most + 1
    for j in range(nx):
        away[0, j] = 0 if mask[0, j] else far
    for i in range(1, ny):
        for j in range(nx):
            away[i, j] = 0 if mask[i, j] else min(away[i - 1, j] + 1, far)
    for i in range(ny - 2, -1, -1):
        for j in range(nx):
            away[i, j] = min(away[i, j], away[i + 1, j] + 1)
    column = np.empty(nx, np.int64)
    for i in range(ny):
        for j in range(nx):
            column[j] = away[i, j] * away[i, j]
        for j in range(nx):
            best = column[j]
            k = 1
            while k <= most and k * k < best:
                if j >= k:
                    best = min(best, column[j - k] + k * k)
                if j + k < nx:
                    best = min(best, column[j + k] + k * k)
                k += 1
            away[i, j] = best


@kernel(nt.void(R2, R2, R1, f8, f8, W1))
def gone_over(middle, unit, length, least_cosine, apart, share):
    """For each stroke, the share of its length that lies on the line of one earlier stroke: the largest of them.

    Parameters
    ----------
    middle, unit : float64 (n, 2)
        Middles, mm, and directions of length 1.
    length : float64 (n,)
        mm, more than 0.
    least_cosine, apart : float
        An earlier stroke counts when the cosine between the two is more than this, in either sense, and its middle
        lies less than this beside the line, mm, and nearer than half of both lengths.
    share : float64 (n,)
        Out: 0 to 1.
    """
    for k in range(len(length)):
        x, y, ux, uy, half = middle[k, 0], middle[k, 1], unit[k, 0], unit[k, 1], 0.5 * length[k]
        most = 0.0
        for n in range(k):
            dx, dy = middle[n, 0] - x, middle[n, 1] - y
            both = 0.5 * (length[n] + length[k])
            if dx * dx + dy * dy >= both * both or abs(dx * uy - dy * ux) >= apart:
                continue
            if abs(unit[n, 0] * ux + unit[n, 1] * uy) <= least_cosine:
                continue
            along = dx * ux + dy * uy
            common = min(half, along + 0.5 * length[n]) - max(-half, along - 0.5 * length[n])
            most = max(most, common)
        share[k] = min(1.0, most / length[k])
