"""Highest cell of each square tile of a surface: the coarse level of every search for contact."""

import numpy as np

from sim.kernels import R2, W2, i8, kernel, nt


@kernel(nt.void(R2, i8, W2))
def tile_maxima(surface, size, out):
    """Highest value in each tile of `size` x `size` cells.

    surface (ny, nx) um; out (ceil(ny / size), ceil(nx / size)) um, overwritten. Cost: one pass. Columns first: whole
    rows against the highest so far, which the compiler does several at a time.
    """
    ny, nx = surface.shape
    best = np.empty(nx)
    for ti in range(out.shape[0]):
        i0 = ti * size
        for j in range(nx):
            best[j] = surface[i0, j]
        for i in range(i0 + 1, min(i0 + size, ny)):
            for j in range(nx):
                best[j] = surface[i, j] if surface[i, j] > best[j] else best[j]
        for tj in range(out.shape[1]):
            top = best[tj * size]
            for j in range(tj * size + 1, min(tj * size + size, nx)):
                top = best[j] if best[j] > top else top
            out[ti, tj] = top
