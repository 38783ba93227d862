"""A flat stone over a face: it rides the local tops and takes a little off what stands above them."""

import math

import numpy as np

from sim.kernels import R1, R2, RB2, RI1, W2, f8, kernel, nt


@kernel(nt.void(R2, RB2, RI1, R1, W2))
def local_tops(height, iron, grid, law, tops):
    """Height below which a share of the iron within reach lies, at the nodes of a coarse grid.

    Parameters
    ----------
    height, iron : (ny, nx)
    grid : row and column of the first tile's corner, cells a tile, reach in tiles
    law : share (0..1), bin um, lowest height um that counts, number of bins
    tops : (ty, tx) um out, one a tile (its centre)

    Notes: a histogram a tile, summed over the (2 reach + 1)^2 tiles around; the height is exact within a bin.
    """
    ty, tx = tops.shape
    size = grid[2]
    reach = grid[3]
    bins = int(law[3])
    counts = np.zeros((ty, tx, bins), np.int32)
    for i in range(height.shape[0]):
        a = (i - grid[0]) // size
        if a < 0 or a >= ty:
            continue
        for j in range(height.shape[1]):
            b = (j - grid[1]) // size
            if iron[i, j] and 0 <= b < tx:
                k = int(math.floor((height[i, j] - law[2]) / law[1]))
                if k >= 0:
                    counts[a, b, min(k, bins - 1)] += 1
    rows = np.zeros((ty, tx, bins), np.int32)
    for a in range(ty):
        for c in range(max(0, a - reach), min(ty, a + reach + 1)):
            for b in range(tx):
                for k in range(bins):
                    rows[a, b, k] += counts[c, b, k]
    around = np.zeros(bins, np.int64)
    for a in range(ty):
        for b in range(tx):
            around[:] = 0
            for c in range(max(0, b - reach), min(tx, b + reach + 1)):
                for k in range(bins):
                    around[k] += rows[a, c, k]
            every = 0
            for k in range(bins):
                every += around[k]
            above = (1.0 - law[0]) * every
            seen = 0
            k = bins - 1
            while k > 0 and seen + around[k] < above:
                seen += around[k]
                k -= 1
            inside = (above - seen) / around[k] if around[k] > 0 else 0.0
            tops[a, b] = law[2] + (k + 1.0 - inside) * law[1] if every > 0 else 1e30


@kernel(f8(W2, RB2, W2, RI1, f8, R2))
def rub_tops(height, iron, burr, grid, depth, tops):
    """Burrs go; iron standing above the local tops loses up to `depth` um, down to them at most.

    tops (ty, tx) um from `local_tops`, read bilinearly between tile centres. Returns the iron removed, um x cells.
    """
    ty, tx = tops.shape
    size = grid[2]
    removed = 0.0
    for i in range(height.shape[0]):
        fy = (i + 0.5 - grid[0]) / size - 0.5
        fy = min(max(fy, 0.0), ty - 1.0)
        a = min(int(fy), max(ty - 2, 0))
        fy -= a
        up = min(a + 1, ty - 1)
        for j in range(height.shape[1]):
            burr[i, j] = 0.0
            if not iron[i, j]:
                continue
            fx = (j + 0.5 - grid[1]) / size - 0.5
            fx = min(max(fx, 0.0), tx - 1.0)
            b = min(int(fx), max(tx - 2, 0))
            fx -= b
            right = min(b + 1, tx - 1)
            low = tops[a, b] + fx * (tops[a, right] - tops[a, b])
            high = tops[up, b] + fx * (tops[up, right] - tops[up, b])
            level = max(low + fy * (high - low), height[i, j] - depth)
            if height[i, j] > level:
                removed += height[i, j] - level
                height[i, j] = level
    return removed
