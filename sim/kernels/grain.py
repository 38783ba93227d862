"""Seeded gradient noise: casting skin, the wander of a hand, an uneven film."""

import math

import numpy as np

from sim.kernels import R2, RI1, W2, f8, kernel, nt


@kernel(f8(f8, f8, RI1, R2))
def gradient_noise(x, y, order, slopes):
    """Gradient noise at a point, about -1 to 1, zero on the lattice.

    order (512,): a permutation of 0..255 twice over; slopes (16, 2): the lattice gradients.
    Quintic fade 6t^5 - 15t^4 + 10t^3: K. Perlin, Improving Noise, SIGGRAPH 2002.
    """
    fx = math.floor(x)
    fy = math.floor(y)
    i = int(fx) & 255
    j = int(fy) & 255
    x -= fx
    y -= fy
    u = x * x * x * (x * (x * 6.0 - 15.0) + 10.0)
    v = y * y * y * (y * (y * 6.0 - 15.0) + 10.0)
    a = order[order[i] + j] & 15
    b = order[order[i + 1] + j] & 15
    c = order[order[i] + j + 1] & 15
    d = order[order[i + 1] + j + 1] & 15
    na = slopes[a, 0] * x + slopes[a, 1] * y
    nb = slopes[b, 0] * (x - 1.0) + slopes[b, 1] * y
    nc = slopes[c, 0] * x + slopes[c, 1] * (y - 1.0)
    nd = slopes[d, 0] * (x - 1.0) + slopes[d, 1] * (y - 1.0)
    low = na + u * (nb - na)
    return low + v * (nc + u * (nd - nc) - low)


@kernel(nt.void(W2, f8, f8, f8, f8, f8, RI1, R2))
def add_noise(field, pitch, wave_x, wave_y, amount, shift, order, slopes):
    """Add `amount` x gradient noise of wavelengths wave_x, wave_y mm to a field (ny, nx) of pitch mm.

    Notes
    -----
    `gradient_noise` at each cell's middle, to rounding. Between two rows of the lattice it is p + q y at the lower
    and r + s (y - 1) at the upper, blended by the fade of y; p to s depend on the column alone.
    """
    ny, nx = field.shape
    p, q, r, s = np.empty(nx), np.empty(nx), np.empty(nx), np.empty(nx)
    band = -1e300
    for i in range(ny):
        y = (i + 0.5) * pitch / wave_y + shift
        if math.floor(y) != band:
            band = math.floor(y)
            for j in range(nx):
                x = (j + 0.5) * pitch / wave_x + shift
                at = int(math.floor(x)) & 255
                x -= math.floor(x)
                u = x * x * x * (x * (x * 6.0 - 15.0) + 10.0)
                for upper in range(2):
                    k = (int(band) & 255) + upper
                    a = order[order[at] + k] & 15
                    b = order[order[at + 1] + k] & 15
                    flat = slopes[a, 0] * x
                    flat += u * (slopes[b, 0] * (x - 1.0) - flat)
                    steep = slopes[a, 1] + u * (slopes[b, 1] - slopes[a, 1])
                    if upper == 0:
                        p[j], q[j] = flat, steep
                    else:
                        r[j], s[j] = flat, steep
        y -= band
        v = y * y * y * (y * (y * 6.0 - 15.0) + 10.0)
        row = field[i]
        for j in range(nx):
            low = p[j] + q[j] * y
            row[j] += amount * (low + v * (r[j] + s[j] * (y - 1.0) - low))
