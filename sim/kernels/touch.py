"""A rigid plane settling on springy iron: where a face sits on its plate and how hard each cell presses."""

import math

from sim.kernels import R1, R2, W1, W2, f8, i8, kernel, nt

VOID = -1e29  # anything lower is not iron


@kernel(i8(f8, f8, W1, W2, W1))
def solve3(ridge, scale, step, hess, grad):
    """Step of a ridged Newton iteration in three unknowns by Cholesky; 1 when it exists, else 0 and no step.

    hess (3, 3) symmetric, upper part read; grad (3,); step (3,) overwritten with -(H + ridge scale I)^-1 g.
    """
    add = ridge * scale
    a = hess[0, 0] + add
    if a <= 0.0:
        return 0
    l00 = math.sqrt(a)
    l10 = hess[0, 1] / l00
    l20 = hess[0, 2] / l00
    b = hess[1, 1] + add - l10 * l10
    if b <= 0.0:
        return 0
    l11 = math.sqrt(b)
    l21 = (hess[1, 2] - l20 * l10) / l11
    c = hess[2, 2] + add - l20 * l20 - l21 * l21
    if c <= 0.0:
        return 0
    l22 = math.sqrt(c)
    y0 = -grad[0] / l00
    y1 = (-grad[1] - l10 * y0) / l11
    y2 = (-grad[2] - l20 * y0 - l21 * y1) / l22
    step[2] = y2 / l22
    step[1] = (y1 - l21 * step[2]) / l11
    step[0] = (y0 - l10 * step[1] - l20 * step[2]) / l00
    return 1


@kernel(f8(R2, i8, R1, f8, f8, W1, W2))
def pressing(points, count, plane, stiffness, force_n, grad, hess):
    """Energy of the plane on the first `count` points (u, v, height um), with its gradient and Hessian.

    u, v are scaled, centred on the load; plane = height, tilt in u, tilt in v (um). Each point presses with
    stiffness * overlap^2 N. Energy in N um.
    """
    for k in range(3):
        grad[k] = 0.0
        for m in range(3):
            hess[k, m] = 0.0
    energy = 0.0
    for n in range(count):
        u = points[n, 0]
        v = points[n, 1]
        over = points[n, 2] - (plane[0] + plane[1] * u + plane[2] * v)
        if over > 0.0:
            press = stiffness * over * over
            energy += press * over
            grad[0] -= press
            grad[1] -= press * u
            grad[2] -= press * v
            k2 = 2.0 * stiffness * over
            hess[0, 0] += k2
            hess[0, 1] += k2 * u
            hess[0, 2] += k2 * v
            hess[1, 1] += k2 * u * u
            hess[1, 2] += k2 * u * v
            hess[2, 2] += k2 * v * v
    grad[0] += force_n
    return energy / 3.0 + force_n * plane[0]


@kernel(i8(R2, i8, f8, f8, W1))
def settle(points, count, stiffness, force_n, plane):
    """Newton's method with halving to the plane of least energy; returns the number of iterations.

    plane (3,) is the start and is overwritten. Converges to about 1e-13 um where the contact holds the plane.
    """
    grad = plane.copy()
    step = plane.copy()
    trial = plane.copy()
    hess = points[:3, :3].copy()
    energy = pressing(points, count, plane, stiffness, force_n, grad, hess)
    last = 0
    for iteration in range(100):
        scale = hess[0, 0] + hess[1, 1] + hess[2, 2]
        if solve3(1e-11, scale, step, hess, grad) == 0:
            if scale <= 0.0:  # nothing touches: come down
                step[0] = -1.0
                step[1] = 0.0
                step[2] = 0.0
            else:
                solve3(1e-4, scale, step, hess, grad)
        size = abs(step[0]) + abs(step[1]) + abs(step[2])
        share = 1.0
        for _ in range(40):
            for k in range(3):
                trial[k] = plane[k] + share * step[k]
            new = pressing(points, count, trial, stiffness, force_n, grad, hess)
            if new <= energy + 1e-13 * abs(energy) or size < 1e-9:
                break
            share *= 0.5
        for k in range(3):
            plane[k] = trial[k]
        energy = new
        if last == 1:
            return iteration
        if size < 1e-8:
            last = 1  # one step more: quadratic convergence carries it to the last bits
    return 100


@kernel(i8(R2, R2, i8, R1, R1, W2, W1))
def seat(surface, maxima, size, law, load, points, plane):
    """Plane that balances weight and hands on a springy surface: height and two tilts.

    Parameters
    ----------
    surface : (ny, nx) um, VOID where nothing can touch
    maxima : tile maxima of it (upper bounds do)
    size : cells a tile
    law : pitch_mm, compliance_um (um per MPa^1/2)
    load : force_n, x_mm, y_mm of its centre
    points : (ny nx, 3) scratch
    plane : (3,) out: height at the load um, slope in x um/mm, slope in y um/mm

    Returns the Newton iterations, or -1 when there is nothing to sit on.
    Notes: minimises sum A/(3 c^2) overlap^3 + F h, convex; started on the tiles from below all of them, then
    on the cells near the plane. One pass over the tiles, then some hundreds to thousands of cells.
    """
    ny, nx = surface.shape
    pitch = law[0]
    stiffness = pitch * pitch / (law[1] * law[1])
    span = 0.5 * pitch * (nx + ny)
    count = 0
    low = 1e30
    for ti in range(maxima.shape[0]):
        for tj in range(maxima.shape[1]):
            top = maxima[ti, tj]
            if top > VOID:
                points[count, 0] = ((tj * size + 0.5 * min(size, nx - tj * size)) * pitch - load[1]) / span
                points[count, 1] = ((ti * size + 0.5 * min(size, ny - ti * size)) * pitch - load[2]) / span
                points[count, 2] = top
                count += 1
                if top < low:
                    low = top
    if count == 0:
        return -1
    plane[0] = low - 1.0
    plane[1] = 0.0
    plane[2] = 0.0
    done = settle(points, count, stiffness, load[0], plane)
    base = plane.copy()
    margin = 0.5
    for _ in range(50):
        for k in range(3):
            base[k] = plane[k]
        count = 0
        for ti in range(maxima.shape[0]):
            i0 = ti * size
            i1 = min(i0 + size, ny)
            for tj in range(maxima.shape[1]):
                j0 = tj * size
                j1 = min(j0 + size, nx)
                u = (0.5 * (j0 + j1) * pitch - load[1]) / span
                v = (0.5 * (i0 + i1) * pitch - load[2]) / span
                reach = 0.5 * size * pitch / span * (abs(base[1]) + abs(base[2]))
                if maxima[ti, tj] <= base[0] + base[1] * u + base[2] * v - reach - margin:
                    continue
                for i in range(i0, i1):
                    v = ((i + 0.5) * pitch - load[2]) / span
                    level = base[0] + base[2] * v - margin
                    for j in range(j0, j1):
                        u = ((j + 0.5) * pitch - load[1]) / span
                        if surface[i, j] > level + base[1] * u:
                            points[count, 0] = u
                            points[count, 1] = v
                            points[count, 2] = surface[i, j]
                            count += 1
        done += settle(points, count, stiffness, load[0], plane)
        # every cell that can touch was gathered if the plane sank by less than the margin at all four corners
        worst = 0.0
        for corner in range(4):
            u = ((corner % 2) * nx * pitch - load[1]) / span
            v = ((corner // 2) * ny * pitch - load[2]) / span
            sank = (base[0] - plane[0]) + (base[1] - plane[1]) * u + (base[2] - plane[2]) * v
            worst = max(worst, sank)
        if worst < margin:
            break
        margin *= 2.0
    plane[1] /= span
    plane[2] /= span
    return done


@kernel(nt.void(R2, R2, i8, i8, W2))
def lay_on(top, error, row, col, surface):
    """Face on the plate: what stands towards the plate's nominal plane, -1e30 off the plate or where no iron is.

    top (ny, nx) um; error (py, px) um, the plate's own; row, col: plate cell under face cell (0, 0).
    """
    py, px = error.shape
    for i in range(top.shape[0]):
        a = i + row
        for j in range(top.shape[1]):
            b = j + col
            if 0 <= a < py and 0 <= b < px and top[i, j] > VOID:
                surface[i, j] = top[i, j] + error[a, b]
            else:
                surface[i, j] = -1e30


@kernel(nt.void(R2, R1, R1, i8, i8, W2, W2))
def press(surface, plane, law, row, col, gap, error):
    """Least gap so far between plane and surface, 0 where pressed; the plate wears where it is pressed.

    plane: height um at the origin, slopes um/mm; law: origin x_mm, y_mm, pitch_mm, wear um per um^2 of overlap.
    gap (ny, nx) um is lowered in place; error (py, px) is lowered by wear x overlap^2.
    """
    for i in range(surface.shape[0]):
        level = plane[0] + plane[2] * ((i + 0.5) * law[2] - law[1])
        for j in range(surface.shape[1]):
            if surface[i, j] < VOID:
                continue
            g = level + plane[1] * ((j + 0.5) * law[2] - law[0]) - surface[i, j]
            if g < 0.0:
                error[i + row, j + col] -= law[3] * g * g
                g = 0.0
            if g < gap[i, j]:
                gap[i, j] = g
