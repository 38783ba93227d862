"""What lies near what: how far each cell is from the nearest of a mask, and which strokes go over an earlier one."""

import numpy as np

from sim.kernels import R1, R2, RB2, W1, WI2, f8, kernel, nt


@kernel(nt.void(RB2, WI2))
def squares_away(mask, away):
    """Squared distance of each cell to the nearest cell of a mask, between middles, in cells: exact.

    Parameters
    ----------
    mask : bool (ny, nx)
        At least one cell is in it.
    away : int64 (ny, nx)
        Out: 0 on the mask.

    Notes
    -----
    Distances along the columns first, g; then along each row the lower envelope of the parabolas g(u)^2 + (x - u)^2,
    in whole numbers throughout. The time does not depend on how far the mask lies.

    References
    ----------
    Meijster, Roerdink, Hesselink 2000, A general algorithm for computing distance transforms in linear time.
    """
    ny, nx = mask.shape
    far = ny + nx
    for j in range(nx):
        away[0, j] = 0 if mask[0, j] else far
    for i in range(1, ny):
        for j in range(nx):
            away[i, j] = 0 if mask[i, j] else away[i - 1, j] + 1
    for i in range(ny - 2, -1, -1):
        for j in range(nx):
            away[i, j] = min(away[i, j], away[i + 1, j] + 1)
    at = np.empty(nx, np.int64)  # middles of the parabolas of the envelope, and from where each is the lowest
    start = np.empty(nx, np.int64)
    square = np.empty(nx, np.int64)
    for i in range(ny):
        for j in range(nx):
            square[j] = away[i, j] * away[i, j]
        n = 0
        at[0] = start[0] = 0
        for j in range(1, nx):
            while n >= 0:
                x, u = start[n], at[n]
                if square[u] + (x - u) * (x - u) <= square[j] + (x - j) * (x - j):
                    break
                n -= 1
            if n < 0:
                n = 0
                at[0] = j
                start[0] = 0
            else:
                u = at[n]
                x = 1 + (square[j] - square[u] + j * j - u * u) // (2 * (j - u))
                if x < nx:
                    n += 1
                    at[n] = j
                    start[n] = x
        for j in range(nx - 1, -1, -1):
            u = at[n]
            away[i, j] = square[u] + (j - u) * (j - u)
            if j == start[n]:
                n -= 1


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
