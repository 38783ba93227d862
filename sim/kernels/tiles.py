"""Highest cell of each square tile of a surface: the coarse level of every search for contact."""

from sim.kernels import R2, W2, i8, kernel, nt


@kernel(nt.void(R2, i8, W2))
def tile_maxima(surface, size, out):
    """Highest value in each tile of `size` x `size` cells.

    surface (ny, nx) um; out (ceil(ny / size), ceil(nx / size)) um, overwritten. Cost: one pass.
    """
    ny, nx = surface.shape
    for ti in range(out.shape[0]):
        i0 = ti * size
        i1 = min(i0 + size, ny)
        for tj in range(out.shape[1]):
            out[ti, tj] = surface[i0, tj * size]
        for i in range(i0, i1):
            for tj in range(out.shape[1]):
                j0 = tj * size
                best = out[ti, tj]
                for j in range(j0, min(j0 + size, nx)):
                    value = surface[i, j]
                    if value > best:
                        best = value
                out[ti, tj] = best
