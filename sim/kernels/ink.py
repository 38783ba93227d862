"""Blue between face and plate: what a rubbing pass meets, what the squeeze moves, what the plate gives up.

Every loop runs along whole rows, so that the compiler does several cells at a time.
"""

import numpy as np

from sim.kernels import R2, RI1, RI2, W1, W2, f8, i8, kernel, nt


@kernel(nt.void(R2, RI1, W2))
def disc_sums(values, wide, out):
    """Sum of the values within a disc around each cell; beyond the edge there is nothing.

    values, out : (ny, nx); wide (n,): half width in cells of the disc's rows 0 to n - 1 above or below its middle,
    never rising. Each row is widened step by step and laid on the rows that want it that wide.
    """
    ny, nx = values.shape
    pad = wide[0]
    row = np.zeros(nx + 2 * pad)
    sums = np.empty(nx)
    out[:] = 0.0
    for i in range(ny):
        row[pad : pad + nx] = values[i]
        sums[:] = values[i]
        for half in range(pad + 1):
            if half > 0:
                left = row[pad - half : pad - half + nx]
                right = row[pad + half : pad + half + nx]
                for j in range(nx):
                    sums[j] += left[j] + right[j]
            for away in range(wide.shape[0]):
                if wide[away] != half:
                    continue
                if i >= away:
                    above = out[i - away]
                    for j in range(nx):
                        above[j] += sums[j]
                if away > 0 and i + away < ny:
                    below = out[i + away]
                    for j in range(nx):
                        below[j] += sums[j]


@kernel(nt.void(R2, R2, f8, RI1, W2, W2, W2))
def squeeze(film, gap, moved_share, wide, work, sent, got):
    """Blue moved aside where the gap is thinner than the film.

    Parameters
    ----------
    film, gap : (ny, nx) um; gap 1e30 where there is nothing
    moved_share : phi, share of the excess (film - gap) that rubbing moves
    wide : half widths in cells of the disc within reach, as in `disc_sums`
    work : scratch (ny, nx)
    sent, got : (ny, nx) um out: what a pressed cell gave away and what a cell with room received

    Notes
    -----
    A cell has room where film < gap < 2 film; it receives in shares (2 - gap / film), so that the rim beside the
    contact fills first, and never more than gap - film. What finds no room is not sent. sum(sent) = sum(got).
    """
    ny, nx = film.shape
    share = np.empty((ny, nx))
    for i in range(ny):
        for j in range(nx):
            free = gap[i, j] - film[i, j]
            part = 1.0 - free / film[i, j]
            share[i, j] = part if (free > 0.0) & (free < film[i, j]) else 0.0
    disc_sums(share, wide, work)
    for i in range(ny):
        for j in range(nx):
            gives = moved_share * (film[i, j] - gap[i, j])
            each = gives / work[i, j]
            work[i, j] = each if (gives > 0.0) & (work[i, j] > 0.0) else 0.0
    disc_sums(work, wide, got)
    for i in range(ny):
        for j in range(nx):
            free = gap[i, j] - film[i, j]
            asked = got[i, j]
            full = free / asked
            part = full if asked * share[i, j] > free else share[i, j]
            part = part if share[i, j] > 0.0 else 0.0
            got[i, j] = asked * part
            share[i, j] = part
    disc_sums(share, wide, sent)
    for i in range(ny):
        for j in range(nx):
            sent[i, j] *= work[i, j]


@kernel(nt.void(R2, RI2, W2, W2))
def under_poses(plate, corners, sums, most):
    """Sum and largest over the poses of what lies under each face cell; 0 where the plate never is.

    plate (py, px); corners (poses, 2): row and column of the plate cell under face cell (0, 0); sums, most (ny,
                                                                                                             nx) out.
    """
    ny, nx = sums.shape
    py, px = plate.shape
    sums[:] = 0.0
    most[:] = 0.0
    for i in range(ny):
        for k in range(corners.shape[0]):
            a = i + corners[k, 0]
            first = min(max(-corners[k, 1], 0), nx)
            end = max(min(px - corners[k, 1], nx), first)
            if not 0 <= a < py or first == end:
                continue
            below = plate[a, first + corners[k, 1] : end + corners[k, 1]]
            total_row = sums[i, first:end]
            most_row = most[i, first:end]
            for j in range(end - first):
                total_row[j] += below[j]
                most_row[j] = below[j] if below[j] > most_row[j] else most_row[j]


@kernel(nt.void(R2, RI2, i8, W1))
def over_poses(face, corners, a, row):
    """Sum over the poses of what the face holds above row `a` of the plate: row (px,) out, 0 where it never is."""
    ny, nx = face.shape
    row[:] = 0.0
    for k in range(corners.shape[0]):
        i = a - corners[k, 0]
        first = min(max(-corners[k, 1], 0), nx)
        end = max(min(row.shape[0] - corners[k, 1], nx), first)
        if not 0 <= i < ny or first == end:
            continue
        out = row[first + corners[k, 1] : end + corners[k, 1]]
        above = face[i, first:end]
        for j in range(end - first):
            out[j] += above[j]


@kernel(nt.void(R2, RI2, f8, W2, W2, W2))
def film_met(plate, corners, stay_share, met, sums, spare):
    """Film that each face cell meets over the poses of a rub, thinned so that the plate can give it.

    Parameters
    ----------
    plate : (py, px) um
    corners : (poses, 2) row and column of the plate cell under face cell (0, 0)
    stay_share : largest share of the film met that a print takes
    met : (ny, nx) um out: the largest film met, times the share that is there to give
    sums : (ny, nx) out: sum over the poses of film x spare, the weights of `take_film`
    spare : (py, px) out: 1, or less where more is asked of a plate cell than lies on it

    Notes
    -----
    A plate cell gives at most the largest stay x met / sums times the poses: where this is nowhere over 1, all is
    there to give and nothing is thinned.
    """
    ny, nx = met.shape
    py, px = plate.shape
    under_poses(plate, corners, sums, met)
    worst = stay_share * corners.shape[0]
    short = 0
    for i in range(ny):
        for j in range(nx):
            short += 1 if worst * met[i, j] > sums[i, j] else 0
    spare[:] = 1.0
    if short == 0:
        return
    for i in range(ny):
        for j in range(nx):
            part = stay_share * met[i, j] / sums[i, j]
            sums[i, j] = part if sums[i, j] > 0.0 else 0.0
    asked = np.empty(px)
    given = np.empty((py, px))
    for a in range(py):
        over_poses(sums, corners, a, asked)
        for b in range(px):
            part = 1.0 / asked[b]
            spare[a, b] = part if asked[b] > 1.0 else 1.0
            given[a, b] = plate[a, b] * spare[a, b]
    share = sums.copy()
    under_poses(given, corners, sums, met)
    for i in range(ny):
        for j in range(nx):
            met[i, j] = share[i, j] / stay_share * sums[i, j]


@kernel(nt.void(W2, RI2, W2, R2, R2))
def take_film(plate, corners, loss, sums, spare):
    """Take `loss` um of each face cell off the plate, shared over the poses by what lay there.

    plate (py, px) um is lowered; loss (ny, nx) becomes scratch; sums and spare from `film_met`.
    """
    ny, nx = loss.shape
    py, px = plate.shape
    for i in range(ny):
        for j in range(nx):
            part = loss[i, j] / sums[i, j]
            loss[i, j] = part if sums[i, j] > 0.0 else 0.0
    taken = np.empty(px)
    for a in range(py):
        over_poses(loss, corners, a, taken)
        for b in range(px):
            left = plate[a, b] - plate[a, b] * (spare[a, b] * taken[b])
            plate[a, b] = left if left > 0.0 else 0.0


@kernel(nt.void(R2, R2, R2, R2, f8, f8, W2, W2))
def lift(film, gap, sent, got, moved_share, stay_share, print_um, loss):
    """What stays on the face when it is lifted, and what the plate has lost at each cell.

    print = stay (film - moved (film - gap)) where pressed, stay x got where blue was pushed.
    loss = stay x (film - moved (film - gap) + sent) where pressed: sum(loss) = sum(print).
    """
    for i in range(film.shape[0]):
        for j in range(film.shape[1]):
            over = film[i, j] - gap[i, j]
            kept = stay_share * (film[i, j] - moved_share * over)
            print_um[i, j] = kept if over > 0.0 else stay_share * got[i, j]
            loss[i, j] = kept + stay_share * sent[i, j] if over > 0.0 else 0.0


@kernel(nt.void(R2, R2, i8, nt.UniTuple(f8, 3), W2))
def wiped(height, blue, reach, cloth, left):
    """Blue that a cloth leaves: its share grows from the tops to the pockets.

    Parameters
    ----------
    height, blue : (ny, nx) um
    reach : cells along rows and columns within which the highest cell is the top
    cloth : share left on the tops, share left in pockets, depth um of a pocket
    left : (ny, nx) um out
    """
    ny, nx = height.shape
    high = np.full(nx + 2 * reach, -1e30)
    tops = np.empty(nx)
    for i in range(ny):
        column = high[reach : reach + nx]
        column[:] = height[i]
        for a in range(max(0, i - reach), min(ny, i + reach + 1)):
            for j in range(nx):
                column[j] = height[a, j] if height[a, j] > column[j] else column[j]
        tops[:] = column
        for b in range(2 * reach + 1):
            aside = high[b : b + nx]
            for j in range(nx):
                tops[j] = aside[j] if aside[j] > tops[j] else tops[j]
        for j in range(nx):
            deep = (tops[j] - height[i, j]) / cloth[2]
            deep = deep if deep < 1.0 else 1.0
            deep = deep if height[i, j] > -1e29 else 0.0
            left[i, j] = blue[i, j] * (cloth[0] + deep * (cloth[1] - cloth[0]))


@kernel(f8(R2))
def total(values):
    """Sum of all: down each column, then along the row of sums; always in the same order."""
    column = np.zeros(values.shape[1])
    for i in range(values.shape[0]):
        for j in range(values.shape[1]):
            column[j] += values[i, j]
    amount = 0.0
    for j in range(values.shape[1]):
        amount += column[j]
    return amount
