"""Blue between face and plate: what a rubbing pass meets, what the squeeze moves, what the plate gives up."""

from sim.kernels import R2, RI2, W2, f8, kernel, nt


@kernel(nt.void(R2, R2, f8, RI2, W2, W2, W2))
def squeeze(film, gap, moved_share, disc, work, sent, got):
    """Blue moved aside where the gap is thinner than the film.

    Parameters
    ----------
    film, gap : (ny, nx) um; gap 1e30 where there is nothing
    moved_share : phi, share of the excess (film - gap) that rubbing moves
    disc : (n, 2) row and column offsets of the cells within reach
    work : scratch (ny, nx)
    sent, got : (ny, nx) um out: what a pressed cell gave away and what a cell with room received

    Notes
    -----
    A cell has room where film < gap < 2 film; it receives in shares (2 - gap / film), so that the rim beside the
    contact fills first, and never more than gap - film. What finds no room is not sent. sum(sent) = sum(got).
    """
    ny, nx = film.shape
    for i in range(ny):
        for j in range(nx):
            work[i, j] = 0.0
            sent[i, j] = 0.0
            got[i, j] = 0.0
    for i in range(ny):
        for j in range(nx):
            gives = moved_share * (film[i, j] - gap[i, j])
            if gives <= 0.0:
                continue
            room = 0.0
            for k in range(disc.shape[0]):
                a = i + disc[k, 0]
                b = j + disc[k, 1]
                if 0 <= a < ny and 0 <= b < nx:
                    free = gap[a, b] - film[a, b]
                    if 0.0 < free < film[a, b]:
                        room += 1.0 - free / film[a, b]
            if room > 0.0:
                work[i, j] = gives / room
    for i in range(ny):
        for j in range(nx):
            free = gap[i, j] - film[i, j]
            if not 0.0 < free < film[i, j]:
                continue
            asked = 0.0
            for k in range(disc.shape[0]):
                a = i + disc[k, 0]
                b = j + disc[k, 1]
                if 0 <= a < ny and 0 <= b < nx:
                    asked += work[a, b]
            share = 1.0 - free / film[i, j]
            if asked * share > free:
                share = free / asked
            got[i, j] = asked * share
            sent[i, j] = -share  # kept here until the last pass: a cell with room sends nothing
    for i in range(ny):
        for j in range(nx):
            if work[i, j] <= 0.0:
                continue
            taken = 0.0
            for k in range(disc.shape[0]):
                a = i + disc[k, 0]
                b = j + disc[k, 1]
                if 0 <= a < ny and 0 <= b < nx and sent[a, b] < 0.0:
                    taken -= sent[a, b]
            sent[i, j] = work[i, j] * taken
    for i in range(ny):
        for j in range(nx):
            if sent[i, j] < 0.0:
                sent[i, j] = 0.0


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
    """
    ny, nx = met.shape
    py, px = plate.shape
    for a in range(py):
        for b in range(px):
            spare[a, b] = 0.0
    for i in range(ny):
        for j in range(nx):
            met[i, j] = 0.0
            sums[i, j] = 0.0
    for k in range(corners.shape[0]):
        for i in range(max(0, -corners[k, 0]), min(ny, py - corners[k, 0])):
            for j in range(max(0, -corners[k, 1]), min(nx, px - corners[k, 1])):
                t = plate[i + corners[k, 0], j + corners[k, 1]]
                sums[i, j] += t
                if t > met[i, j]:
                    met[i, j] = t
    for i in range(ny):
        for j in range(nx):
            sums[i, j] = stay_share * met[i, j] / sums[i, j] if sums[i, j] > 0.0 else 0.0
    for k in range(corners.shape[0]):
        for i in range(max(0, -corners[k, 0]), min(ny, py - corners[k, 0])):
            for j in range(max(0, -corners[k, 1]), min(nx, px - corners[k, 1])):
                spare[i + corners[k, 0], j + corners[k, 1]] += sums[i, j]
    for a in range(py):
        for b in range(px):
            spare[a, b] = 1.0 if spare[a, b] <= 1.0 else 1.0 / spare[a, b]
    for i in range(ny):
        for j in range(nx):
            met[i, j] = sums[i, j] / stay_share
            sums[i, j] = 0.0
    for k in range(corners.shape[0]):
        for i in range(max(0, -corners[k, 0]), min(ny, py - corners[k, 0])):
            for j in range(max(0, -corners[k, 1]), min(nx, px - corners[k, 1])):
                a = i + corners[k, 0]
                b = j + corners[k, 1]
                sums[i, j] += plate[a, b] * spare[a, b]
    for i in range(ny):
        for j in range(nx):
            met[i, j] *= sums[i, j]


@kernel(nt.void(W2, RI2, W2, R2, W2))
def take_film(plate, corners, loss, sums, spare):
    """Take `loss` um of each face cell off the plate, shared over the poses by what lay there.

    plate (py, px) um is lowered; loss (ny, nx) becomes scratch; sums and spare from `film_met` (spare becomes scratch).
    """
    ny, nx = loss.shape
    py, px = plate.shape
    for i in range(ny):
        for j in range(nx):
            loss[i, j] = loss[i, j] / sums[i, j] if sums[i, j] > 0.0 else 0.0
    for a in range(py):
        for b in range(px):
            spare[a, b] *= plate[a, b]
    for k in range(corners.shape[0]):
        for i in range(max(0, -corners[k, 0]), min(ny, py - corners[k, 0])):
            for j in range(max(0, -corners[k, 1]), min(nx, px - corners[k, 1])):
                a = i + corners[k, 0]
                b = j + corners[k, 1]
                plate[a, b] -= loss[i, j] * spare[a, b]
    for a in range(py):
        for b in range(px):
            if plate[a, b] < 0.0:
                plate[a, b] = 0.0


@kernel(nt.void(R2, R2, R2, R2, f8, f8, W2, W2))
def lift(film, gap, sent, got, moved_share, stay_share, print_um, loss):
    """What stays on the face when it is lifted, and what the plate has lost at each cell.

    print = stay (film - moved (film - gap)) where pressed, stay x got where blue was pushed.
    loss = stay x (film - moved (film - gap) + sent) where pressed: sum(loss) = sum(print).
    """
    for i in range(film.shape[0]):
        for j in range(film.shape[1]):
            over = film[i, j] - gap[i, j]
            if over > 0.0:
                kept = stay_share * (film[i, j] - moved_share * over)
                print_um[i, j] = kept
                loss[i, j] = kept + stay_share * sent[i, j]
            else:
                print_um[i, j] = stay_share * got[i, j]
                loss[i, j] = 0.0


@kernel(f8(R2))
def total(values):
    """Sum row by row, always in the same order."""
    amount = 0.0
    for i in range(values.shape[0]):
        row = 0.0
        for j in range(values.shape[1]):
            row += values[i, j]
        amount += row
    return amount
