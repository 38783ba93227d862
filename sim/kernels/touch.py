"""A rigid plane settling on springy iron: where a face sits on its plate and how hard each cell presses."""

import math

import numpy as np

from sim.kernels import R1, R2, RI1, RI2, W1, W2, WI2, f8, i8, kernel, nt
from sim.kernels.tiles import tile_maxima

VOID = -1e29  # anything lower is not iron
NOTHING = -1e30  # stands off the plate and where no iron is
BESIDE = 0.28364816427662776  # 1 / (4 ln(1 + sqrt 2)): sinking one cell aside, where a lone cell sinks by 1
MARGIN_UM = 0.04  # cells this near below the first plane are looked at; doubled until it is enough


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
    """Energy of the plane on the first `count` points, with its gradient and Hessian.

    points (3, n): u, v, height um, where u and v are lengths from the load in units of a span; plane = height, tilt
    in u, tilt in v (um). Each point presses with stiffness * overlap^2 N. Energy in N um.
    """
    energy = g1 = g2 = 0.0
    h00 = h01 = h02 = h11 = h12 = h22 = g0 = 0.0
    for n in range(count):
        u = points[0, n]
        v = points[1, n]
        over = points[2, n] - (plane[0] + plane[1] * u + plane[2] * v)
        if over > 0.0:
            press = over * over
            energy += press * over
            g0 -= press
            g1 -= press * u
            g2 -= press * v
            ou = over * u
            ov = over * v
            h00 += over
            h01 += ou
            h02 += ov
            h11 += ou * u
            h12 += ou * v
            h22 += ov * v
    grad[0] = stiffness * g0 + force_n
    grad[1] = stiffness * g1
    grad[2] = stiffness * g2
    double = 2.0 * stiffness
    hess[0, 0] = double * h00
    hess[0, 1] = double * h01
    hess[0, 2] = double * h02
    hess[1, 1] = double * h11
    hess[1, 2] = double * h12
    hess[2, 2] = double * h22
    return stiffness * energy / 3.0 + force_n * plane[0]


@kernel(nt.void(i8, W1, W2))
def hold(tilt, grad, hess):
    """Take one tilt (1: in u, 2: in v; 0: none) out of a Newton step: it stays as it is, whatever moment that takes."""
    if tilt > 0:
        grad[tilt] = 0.0
        hess[0, tilt] = 0.0
        hess[1, 2] = 0.0
        hess[tilt, tilt] = hess[0, 0]


@kernel(f8(R1, R1, R1))
def sunk(base, plane, box):
    """How far at most a plane lies below a base plane over a box (least and most u, least and most v), um."""
    tilt_u = base[1] - plane[1]
    tilt_v = base[2] - plane[2]
    return base[0] - plane[0] + max(tilt_u * box[0], tilt_u * box[1]) + max(tilt_v * box[2], tilt_v * box[3])


@kernel(i8(R2, i8, R1, R1, W1))
def settle(points, count, law, box, plane):
    """Newton's method with halving to the plane of least energy on the points, no deeper than they were gathered.

    law: stiffness, force_n, step um at which to make one last step (quadratic convergence carries it to the last
    bits), margin um, the tilt that is held as in `hold`. plane (3,) is the start and is overwritten. Returns the
    number of iterations; negative when the plane sank by more than half the margin somewhere over the box: then other
    points may touch as well.
    """
    base = plane.copy()
    step = np.zeros(3)
    trial = plane.copy()
    grad = np.empty(3)
    hess = np.empty((3, 3))
    held = int(law[4])
    energy = pressing(points, count, plane, law[0], law[1], grad, hess)
    hold(held, grad, hess)
    last = False
    for iteration in range(1, 101):
        scale = hess[0, 0] + hess[1, 1] + hess[2, 2]
        if solve3(1e-11, scale, step, hess, grad) == 0:
            step[0] = -law[3]  # nothing touches: come down
            step[1] = 0.0
            step[2] = 0.0
            if scale > 0.0:
                solve3(1e-4, scale, step, hess, grad)
        size = abs(step[0]) + abs(step[1]) + abs(step[2])
        share = 1.0
        for _ in range(200):
            for k in range(3):
                trial[k] = plane[k] + share * step[k]
            if sunk(base, trial, box) <= law[3]:
                new = pressing(points, count, trial, law[0], law[1], grad, hess)
                hold(held, grad, hess)
                if new <= energy + 1e-13 * max(abs(energy), law[1]) or size < 1e-9:  # N um, of a plane 1 um away
                    break
            share *= 0.5
        for k in range(3):
            plane[k] = trial[k]
        energy = new
        if sunk(base, plane, box) > 0.5 * law[3]:
            return -iteration
        if last:
            return iteration
        last = size < law[2]
    return -100


@kernel(i8(R2, R1, R1, f8, W2))
def near_tiles(maxima, frame, plane, margin, points):
    """Middle and top of every tile that may rise above a margin under the plane; returns how many.

    frame: u, v of the middle of tile (0, 0), its side in u and v.
    """
    reach = 0.5 * frame[2] * (abs(plane[1]) + abs(plane[2])) + margin
    count = 0
    for ti in range(maxima.shape[0]):
        v = frame[1] + ti * frame[2]
        level = plane[0] + plane[2] * v - reach
        for tj in range(maxima.shape[1]):
            u = frame[0] + tj * frame[2]
            if maxima[ti, tj] > level + plane[1] * u and maxima[ti, tj] > VOID:
                points[0, count] = u
                points[1, count] = v
                points[2, count] = maxima[ti, tj]
                count += 1
    return count


@kernel(i8(R2, i8, R1, R1, R2, i8, f8, W2))
def near_cells(surface, size, frame, plane, tiles, many, margin, points):
    """Every cell above a margin under the plane, of the first `many` tiles (their middles u, v); returns how many.

    size: cells a tile; frame: u, v of the middle of tile (0, 0), its side in u and v.
    """
    ny, nx = surface.shape
    side = frame[2] / size
    first_u = frame[0] - 0.5 * frame[2] + 0.5 * side
    first_v = frame[1] - 0.5 * frame[2] + 0.5 * side
    count = 0
    for n in range(many):
        i0 = int((tiles[1, n] - frame[1]) / frame[2] + 0.5) * size
        j0 = int((tiles[0, n] - frame[0]) / frame[2] + 0.5) * size
        for i in range(i0, min(i0 + size, ny)):
            v = first_v + i * side
            level = plane[0] + plane[2] * v - margin
            for j in range(j0, min(j0 + size, nx)):
                u = first_u + j * side
                points[0, count] = u
                points[1, count] = v
                points[2, count] = surface[i, j]
                count += 1 if surface[i, j] > level + plane[1] * u else 0  # overwritten if not: no branch to guess
    return count


@kernel(nt.void(R2, i8, R1, R1, R1, W1))
def coarse_plane(maxima, size, law, frame, box, plane):
    """First guess: the plane settled on the tiles of tiles, then on the tiles near it.

    law: stiffness, force_n, the tilt that is held. plane (3,) is overwritten.
    """
    wide = np.empty((-(-maxima.shape[0] // size), -(-maxima.shape[1] // size)))
    tile_maxima(maxima, size, wide)
    points = np.empty((3, maxima.size))
    middle = 0.5 * (size - 1) * frame[2]
    wide_frame = np.array([frame[0] + middle, frame[1] + middle, size * frame[2]])
    plane[0] = plane[1] = plane[2] = 0.0
    count = near_tiles(wide, wide_frame, plane, 1e30, points)
    low = 1e30
    for n in range(count):
        low = min(low, points[2, n])
    plane[0] = low - 1.0
    settle(points, count, np.array([law[0], law[1], 1e-2, 100.0, law[2]]), box, plane)
    count = near_tiles(maxima, frame, plane, 1.0, points)
    settle(points, count, np.array([law[0], law[1], 1e-3, 1.0, law[2]]), box, plane)


@kernel(i8(R2, i8, R1, R1, i8, WI2, W1))
def pressed_points(points, count, plane, frame, size, cells, over):
    """Row and column (2, n) and overlap um (n,) of the pressed ones of the first `count` points; returns how many."""
    side = frame[2] / size
    first_u = frame[0] - 0.5 * frame[2] + 0.5 * side
    first_v = frame[1] - 0.5 * frame[2] + 0.5 * side
    many = 0
    for n in range(count):
        here = points[2, n] - (plane[0] + plane[1] * points[0, n] + plane[2] * points[1, n])
        if here > 0.0:
            cells[0, many] = int((points[1, n] - first_v) / side + 0.5)
            cells[1, many] = int((points[0, n] - first_u) / side + 0.5)
            over[many] = here
            many += 1
    return many


@kernel(nt.void(RI2, RI1, i8, f8, R1, W1, W1))
def sinkings(cells, first, size, reach, forces, sinks, gives):
    """How far each pressed cell sinks in an elastic half-space under the forces near it, and under 1 N on each of them.

    cells (2, n): row and column, tile by tile of `size` cells; first (tiles down, tiles across) in one row: where each
    tile's cells begin, its last two the tiles across and n; reach: how many cells away is near; forces (n,) N.
    sinks, gives (n,) are overwritten: both in units of what a lone cell sinks under 1 N.
    """
    n = cells.shape[1]
    across = first[first.size - 1]
    down = (first.size - 2) // across
    tiles = int(reach) // size + 1
    for a in range(n):
        sinks[a] = forces[a]
        gives[a] = 1.0
    for a in range(n):
        row = cells[0, a]
        col = cells[1, a]
        left = max(col // size - tiles, 0)
        right = min(col // size + tiles + 1, across)
        for ti in range(row // size, min(row // size + tiles + 1, down)):
            for b in range(max(first[ti * across + left], a + 1), first[ti * across + right]):
                di = cells[0, b] - row
                dj = cells[1, b] - col
                away = di * di + dj * dj
                if away <= reach * reach:
                    share = BESIDE / math.sqrt(away)
                    sinks[a] += share * forces[b]
                    sinks[b] += share * forces[a]
                    gives[a] += share
                    gives[b] += share


@kernel(f8(R1, R1, f8))
def carrying(tops, gives, force_n):
    """Height of the plane that presses with force_n on springs that end at `tops` um and give `gives` um/N."""
    height = -1e30
    while True:
        force = give = 0.0
        for n in range(tops.size):
            if tops[n] > height:
                force += tops[n] / gives[n]
                give += 1.0 / gives[n]
        higher = (force - force_n) / give
        if not higher > height:  # the same springs as before
            return height
        height = higher


@kernel(f8(R2, i8, R1, R1, R1, RI1))
def solid_lift(points, count, law, frame, plane, grid):
    """How far above a settled plane it stands when the iron gives as an elastic half-space under the same forces, um.

    law: stiffness N/um^2, force_n, what a lone cell sinks um/N, cells near; grid: cells a tile, tiles down and across.
    One step towards balance of the half-space: a pressed cell sinks under the forces near it, and what that leaves
    of its overlap or takes from it presses it by the stiffness that it and the pressed cells near it have together.
    """
    cells = np.empty((2, count), np.int64)
    over = np.empty(count)
    many = pressed_points(points, count, plane, frame, grid[0], cells, over)
    forces = np.empty(many)
    first = np.zeros(grid[1] * grid[2] + 2, np.int64)
    for n in range(many):
        forces[n] = law[0] * over[n] * over[n]
        first[cells[0, n] // grid[0] * grid[2] + cells[1, n] // grid[0] + 1] += 1
    for tile in range(grid[1] * grid[2]):
        first[tile + 1] += first[tile]
    first[first.size - 1] = grid[2]
    sinks = np.empty(many)
    gives = np.empty(many)
    sinkings(cells[:, :many].copy(), first, grid[0], law[3], forces, sinks, gives)
    for n in range(many):  # sinks becomes the height at which the plane would leave the cell
        gives[n] *= law[2]
        sinks[n] = over[n] - law[2] * sinks[n] + gives[n] * forces[n]
    return carrying(sinks, gives, law[1])


@kernel(i8(R2, i8, R1, f8, R1))
def balances(points, count, plane, stiffness, load):
    """1 when a plane carries the load, force and both moments to 1e-6 of the force, else 0: a step may never end where
    the energy is flat, as round the line through two corners with the load between them.

    load: as in `seat`.
    """
    grad = np.empty(3)
    hess = np.empty((3, 3))
    pressing(points, count, plane, stiffness, load[0], grad, hess)
    hold(int(load[3]), grad, hess)
    return 1 if max(abs(grad[0]), abs(grad[1]), abs(grad[2])) <= 1e-6 * load[0] else 0


@kernel(i8(R2, R2, i8, R1, R1, W1))
def seat(surface, maxima, size, law, load, plane):
    """Plane that balances weight and hands on a springy surface: height and two tilts.

    Parameters
    ----------
    surface : (ny, nx) um, VOID where nothing can touch
    maxima : tile maxima of it (upper bounds do)
    size : cells a tile
    law : pitch_mm, compliance_um (um per MPa^1/2), lone um/N: what a lone cell sinks, reach in cells
    load : force_n, x_mm, y_mm of its centre, the tilt that is held at 0 (1: in x, 2: in y; 0: none)
    plane : (4,) out: height at the load um, slope in x um/mm, slope in y um/mm, lift um as in `solid_lift`

    Returns the Newton iterations on cells, -1 when there is nothing to sit on, -2 when nothing holds the load.
    Notes: minimises sum A/(3 c^2) overlap^3 + F h, convex; started on tiles of tiles, then tiles, then the cells near
    the plane, gathered again until it ends within half the margin of where they were gathered.
    """
    ny, nx = surface.shape
    span = 0.5 * law[0] * (nx + ny)
    side = size * law[0] / span
    box = np.array([-load[1], nx * law[0] - load[1], -load[2], ny * law[0] - load[2]]) / span
    frame = np.array([box[0] + 0.5 * side, box[2] + 0.5 * side, side])
    tiles = np.empty((3, maxima.size))
    plane[0] = plane[1] = plane[2] = plane[3] = 0.0
    if near_tiles(maxima, frame, plane, 1e30, tiles) == 0:
        return -1
    stiffness = (law[0] / law[1]) * (law[0] / law[1])
    coarse_plane(maxima, size, np.array([stiffness, load[0], load[3]]), frame, box, plane)
    margin = MARGIN_UM
    total = 0
    while margin < 1e9:
        many = near_tiles(maxima, frame, plane, margin, tiles)
        points = np.empty((3, many * size * size))
        count = near_cells(surface, size, frame, plane, tiles, many, margin, points)
        done = settle(points, count, np.array([stiffness, load[0], 1e-8, margin, load[3]]), box, plane)
        total += abs(done)
        if done == -100 and margin > 1e6:  # every cell was there: flat along a tilt, as a face on two corners
            done = balances(points, count, plane, stiffness, load)
        if done > 0:
            grid = np.array([size, maxima.shape[0], maxima.shape[1]])
            plane[3] = solid_lift(points, count, np.array([stiffness, load[0], law[2], law[3]]), frame, plane, grid)
            plane[1] /= span
            plane[2] /= span
            return total
        margin *= 2.0
    return -2


@kernel(nt.void(R2, R2, i8, i8, W2))
def lay_on(top, error, row, col, surface):
    """Face on the plate: what stands towards the plate's nominal plane, NOTHING off the plate or where no iron is.

    top (ny, nx) um; error (py, px) um, the plate's own; row, col: plate cell under face cell (0, 0).
    """
    ny, nx = top.shape
    first = min(max(-col, 0), nx)
    end = max(min(error.shape[1] - col, nx), first)
    for i in range(ny):
        if not 0 <= i + row < error.shape[0]:
            surface[i] = NOTHING
            continue
        surface[i, :first] = NOTHING
        surface[i, end:] = NOTHING
        below = error[i + row, first + col : end + col]
        above = top[i, first:end]
        out = surface[i, first:end]
        for j in range(end - first):
            out[j] = above[j] + below[j] if above[j] > VOID else NOTHING


@kernel(nt.void(R2, R1, R1, i8, i8, W2, W2))
def press(surface, plane, law, row, col, gap, error):
    """Least gap so far between plane and surface, 0 where pressed; the plate wears where it is pressed.

    plane: height um at the origin, slopes um/mm, lift um that the gap is wider; law: origin x_mm, y_mm, pitch_mm, wear
    um per um^2 of overlap with the plane not lifted.
    gap (ny, nx) um is lowered in place; error (py, px) is lowered by wear x overlap^2, where it has such cells.
    """
    ny, nx = surface.shape
    first = min(max(-col, 0), nx)
    end = max(min(error.shape[1] - col, nx), first)
    for i in range(ny):
        level = plane[0] + plane[2] * ((i + 0.5) * law[2] - law[1])
        pressed = 0
        for j in range(nx):
            g = level + plane[1] * ((j + 0.5) * law[2] - law[0]) - surface[i, j]
            pressed += 1 if g < 0.0 else 0
            g += plane[3]
            g = g if g > 0.0 else 0.0
            gap[i, j] = g if g < gap[i, j] else gap[i, j]
        if pressed > 0 and law[3] > 0.0 and 0 <= i + row < error.shape[0]:
            worn = error[i + row, first + col : end + col]
            above = surface[i, first:end]
            for j in range(end - first):
                g = level + plane[1] * ((j + first + 0.5) * law[2] - law[0]) - above[j]
                g = g if g < 0.0 else 0.0
                worn[j] -= law[3] * g * g
