"""A scraper stroke: the blade settles along its whole path on the untouched face, then cuts each cell once."""

import math

import numpy as np

from sim.kernels import R1, R2, W1, W2, f8, i8, kernel, nt

STEP_MM = 0.25  # stations along the path and samples across it
VOID = -1e29
DEEP = -1e30
NEAR_UM = 4.0  # iron lower than this under the blade's path gets no burr: it could not reach the plate
WIDEST = 160  # samples to one side of the blade's middle

# columns of a station: settled height um, contact left mm, contact right mm, depth um
# columns of a stroke: x0, y0, x1, y1 mm, push N
# blade: crown radius mm (end radius / sin of shank angle), half width mm, edge radius um, its growth um per mm,
#        run-off care, ramp mm, burr share sharp, burr share dull
# law: pitch mm, Kienzle N/mm2 per (um^(1-m)), edge force sharp N/mm, dull N/mm, honed um, dull um,
#      least chip share, flank um, chatter matrix a11 a12 a21 a22, support um
# out columns: removed um mm2, deepest um, length mm, cells cut, of these inked, blue carried off um mm2,
#              burr raised um mm2, edge radius after um


@kernel(f8(R2, f8, f8, f8, f8, i8, i8, W1))
def lay_bed(height, fx, fy, gx, gy, wide, middle, bed):
    """Heights under the blade, bilinear between cell centres; DEEP where a cell around is not iron or off the grid.

    fx, fy: middle of the blade in cells from the first centre; gx, gy: one sample across, in cells. bed[0 .. 2 wide]
    is overwritten; returns the highest of the samples within `middle` of the middle.
    """
    ny, nx = height.shape
    cells = height.ravel()
    top = DEEP
    ends = abs(wide * gx), abs(wide * gy)
    inside = fx - ends[0] > 0.0 and fx + ends[0] < nx - 1.0 and fy - ends[1] > 0.0 and fy + ends[1] < ny - 1.0
    for k in range(2 * wide + 1):
        x = fx + (k - wide) * gx
        y = fy + (k - wide) * gy
        if not inside and not (0.0 <= x < nx - 1.0 and 0.0 <= y < ny - 1.0):
            bed[k] = DEEP
            continue
        j = np.uint64(x)
        i = np.uint64(y)
        x -= j
        y -= i
        at = i * np.uint64(nx) + j
        a = cells[at]
        b = cells[at + np.uint64(1)]
        c = cells[at + np.uint64(nx)]
        d = cells[at + np.uint64(nx + 1)]
        low = a + x * (b - a)
        z = low + y * (c + x * (d - c) - low)
        if a + b + c + d < VOID:
            z = DEEP
        bed[k] = z
        if z > top and abs(k - wide) <= middle:
            top = z
    return top


@kernel(f8(R1, f8, f8))
def chip_power(table, depth, per_um):
    """Tabled depth^(1-m), um^(1-m); linear between entries, on from the last one beyond the table."""
    pos = depth * per_um
    n = int(pos)
    if n > table.shape[0] - 2:
        n = table.shape[0] - 2
    return table[n] + (pos - n) * (table[n + 1] - table[n])


@kernel(f8(R1, i8, f8, R1, R1, W1))
def cutting_force(bed, count, tip, force, table, slope):
    """Force in N that a blade with its tip at `tip` um meets on a bed of samples; slope[0] gets dF/dtip.

    bed: height less crown um at samples STEP_MM apart; force: Kienzle factor, edge N/mm, entries of table per um.
    The engaged width is exact for the straight line between samples; a sample at an edge (nothing beside it, or
    beside the window) carries half a step.
    """
    per_um = force[2]
    engaged = 0.0
    chip = 0.0
    engaged_slope = 0.0
    chip_slope = 0.0
    before = DEEP
    chip_before = 0.0
    slope_before = 0.0
    for n in range(count + 1):
        here = bed[n] - tip if n < count else DEEP
        chip_here = 0.0
        slope_here = 0.0
        if here > 0.0:
            pos = here * per_um
            k = int(pos)
            if k > table.shape[0] - 2:
                k = table.shape[0] - 2
            rise = table[k + 1] - table[k]
            chip_here = table[k] + (pos - k) * rise
            slope_here = rise * per_um
            if before > 0.0:
                engaged += 1.0
                chip += 0.5 * (chip_here + chip_before)
                chip_slope += 0.5 * (slope_here + slope_before)
            elif before > VOID:
                run = 1.0 / (here - before)
                engaged += here * run
                engaged_slope += run
                chip += 0.5 * here * run * chip_here
                chip_slope += 0.5 * run * (chip_here + here * slope_here)
            else:
                engaged += 0.5
                chip += 0.5 * chip_here
                chip_slope += 0.5 * slope_here
        elif before > 0.0:
            if here > VOID:
                run = 1.0 / (before - here)
                engaged += before * run
                engaged_slope += run
                chip += 0.5 * before * run * chip_before
                chip_slope += 0.5 * run * (chip_before + before * slope_before)
            else:
                engaged += 0.5
                chip += 0.5 * chip_before
                chip_slope += 0.5 * slope_before
        before = here
        chip_before = chip_here
        slope_before = slope_here
    slope[0] = -STEP_MM * (force[0] * chip_slope + force[1] * engaged_slope)
    return STEP_MM * (force[0] * chip + force[1] * engaged)


@kernel(f8(R1, i8, f8, f8, R1, R1, W1))
def balance(bed, count, push, guess, force, table, slope):
    """Tip height at which the force balances the push: Newton inside a bracket; the top of the bed for no push."""
    top = bed[0]
    for n in range(1, count):
        if bed[n] > top:
            top = bed[n]
    if push <= 0.0 or top < VOID:
        return top
    high = top
    low = top - 1e6
    tip = guess
    if tip >= top or tip < top - 500.0:
        tip = top - 2.0
    last = 0
    for _ in range(80):
        miss = cutting_force(bed, count, tip, force, table, slope) - push
        if miss > 0.0:
            low = tip
        else:
            high = tip
        step = -miss / slope[0] if slope[0] < 0.0 else 0.0
        new = tip + step
        if slope[0] >= 0.0 or new > high or new < low:
            new = 0.5 * (low + high) if high - low < 20.0 else high - 10.0
            step = new - tip
        tip = new
        if last == 1 or high - low < 1e-12:
            break
        if abs(step) < 1e-3:
            last = 1
    return tip


@kernel(f8(f8, R1, R1, R1))
def flat_half_width(push, blade, force, table):
    """Half the width (mm) that a push cuts on flat iron: where to look, and what counts as supported."""
    flat = 1.0
    half = 0.0
    for _ in range(12):
        half = math.sqrt(2.0 * blade[0] * flat * 1e-3)
        met = 2.0 * half * (0.7075 * force[0] * chip_power(table, flat, force[2]) + force[1])
        flat *= math.sqrt(max(push, 0.1) / met)
    return min(half, blade[1])


@kernel(f8(R2, R1, f8, f8, i8))
def highest_on_line(height, stroke, per_step, per_cell, count):
    """Highest iron along the middle of a stroke, um: edges, holes and slots are told by how far they lie below it."""
    ny, nx = height.shape
    top = DEEP
    for n in range(count):
        share = min(n * per_step, 1.0)
        i = int((stroke[1] + share * (stroke[3] - stroke[1])) * per_cell)
        j = int((stroke[0] + share * (stroke[2] - stroke[0])) * per_cell)
        if 0 <= i < ny and 0 <= j < nx and height[i, j] > top:
            top = height[i, j]
    return top


@kernel(f8(f8, f8, f8))
def eased(edge_mm, ramp_mm, push):
    """Push near the ends of a stroke: it rises and falls smoothly over the ramp."""
    if edge_mm >= ramp_mm:
        return push
    r = edge_mm / ramp_mm
    return push * r * r * (3.0 - 2.0 * r)


@kernel(f8(W1, i8, i8, f8, f8))
def bed_under(bed, wide, middle, floor, crown):
    """Take the crown off the bed and drop what lies below `floor`; returns the share of the middle that carries."""
    held = 0
    for k in range(2 * wide + 1):
        if bed[k] < floor:
            bed[k] = DEEP
        else:
            bed[k] -= (k - wide) * (k - wide) * crown
            if abs(k - wide) <= middle:
                held += 1
    return held / (2.0 * middle + 1.0)


@kernel(nt.void(f8, f8, R1, i8, W1))
def swing_on(tip, before, law, first, state):
    """A blade with mass: state (lag um, its slope um/mm) after one step towards the balance `tip`; flank below."""
    if first == 1:
        state[0] = 0.0
        state[1] = 0.0
        return
    lag = state[0] + before - tip
    speed = state[1]
    state[0] = law[8] * lag + law[9] * speed
    state[1] = law[10] * lag + law[11] * speed
    if state[0] < -law[7]:
        state[0] = -law[7]
        if state[1] < 0.0:
            state[1] = 0.0


@kernel(nt.void(R1, i8, f8, W1))
def engage(bed, wide, run, station):
    """Fill a station: tip, where contact begins and ends across the blade (mm), and the deepest engagement (um)."""
    left = 0.0
    right = 0.0
    deepest = 0.0
    for k in range(2 * wide + 1):
        over = bed[k] - run
        if over > 0.0:
            v = (k - wide) * STEP_MM
            if deepest == 0.0:
                left = v
            right = v
            if over > deepest:
                deepest = over
    station[0] = run
    station[1] = left
    station[2] = right
    station[3] = deepest


@kernel(i8(R2, R1, R1, R1, R1, R1, W2, W1))
def settle_blade(height, stroke, blade, law, force, table, stations, bed):
    """Where the blade runs over the whole path on the face as it is; returns the number of stations.

    stations (n + 1, 4) out: tip um, contact from and to (mm across), depth um. Over an edge, a hole or a slot the
    blade holds its level. The last station is doubled, so that every place on the path lies between two.
    """
    dx = stroke[2] - stroke[0]
    dy = stroke[3] - stroke[1]
    length = math.sqrt(dx * dx + dy * dy)
    ux = dx / length
    uy = dy / length
    count = min(int(math.ceil(length / STEP_MM - 1e-9)) + 1, stations.shape[0] - 1)
    per_cell = 1.0 / law[0]
    across = STEP_MM * per_cell
    crown = STEP_MM * STEP_MM * 1e3 / (2.0 * blade[0])
    nominal = flat_half_width(stroke[4], blade, force, table)
    widest = min(int(blade[1] / STEP_MM), WIDEST)
    middle = min(int(nominal / STEP_MM), widest)
    wide = min(middle + 1, widest)
    floor = highest_on_line(height, stroke, STEP_MM / length, per_cell, count) - law[12]
    slope = np.zeros(1)
    state = np.zeros(2)
    guess = 1e30
    met = 0
    for n in range(count):
        s = n * STEP_MM
        fx = (stroke[0] + s * ux) * per_cell - 0.5
        fy = (stroke[1] + s * uy) * per_cell - 0.5
        push = eased(max(min(s, length - s), 0.0), blade[5], stroke[4])
        tip = DEEP
        while True:
            top = lay_bed(height, fx, fy, -uy * across, ux * across, wide, middle, bed)
            if top < floor or top < VOID:
                break
            share = bed_under(bed, wide, middle, max(top - law[12], VOID), crown)
            carried = push * (share * (2.0 * blade[4] - 1.0) + math.sqrt(share) * (2.0 - 2.0 * blade[4]))
            tip = balance(bed, 2 * wide + 1, carried, guess, force, table, slope)
            if wide < widest and (bed[0] > tip or bed[2 * wide] > tip):
                wide = min(wide + 4, widest)  # the contact reaches beyond the window: look wider
                continue
            break
        if tip < VOID:  # nothing carries the blade here: it holds its level
            for k in range(1, 4):
                stations[n, k] = 0.0
            stations[n, 0] = stations[n - 1, 0] if met == 1 else 1e30
            continue
        swing_on(tip, guess, law, 1 - met, state)
        guess = tip
        engage(bed, wide, tip + state[0], stations[n])
        if met == 0:
            for m in range(n):  # what came before the first iron, at the level found there
                stations[m, 0] = stations[n, 0]
            met = 1
    for k in range(4):
        stations[count, k] = stations[count - 1, k]
    return count


@kernel(nt.void(W2, W2, W2, R1, R1, R1, R2, i8, W1))
def cut_swath(height, burr, blue, stroke, blade, law, stations, count, out):
    """Cut every cell of the swath once, from its own centre; burrs at its sides and exit. out (8,) overwritten."""
    ny, nx = height.shape
    pitch = law[0]
    dx = stroke[2] - stroke[0]
    dy = stroke[3] - stroke[1]
    length = math.sqrt(dx * dx + dy * dy)
    ux = dx / length
    uy = dy / length
    reach = 0.0
    for n in range(count):
        reach = max(reach, -stations[n, 1], stations[n, 2])
    side = 0.3
    tail = 0.3
    reach = min(reach + STEP_MM, blade[1]) + side
    flat = height.ravel()
    burrs = burr.ravel()
    blues = blue.ravel()
    runs = stations.ravel()
    edge_um = blade[2]
    dull = min(max((edge_um - law[4]) / (law[5] - law[4]), 0.0), 1.0)
    burr_share = blade[6] + dull * (blade[7] - blade[6])
    least = law[6] * edge_um
    removed = 0.0
    deepest = 0.0
    cells = 0.0
    inked = 0.0
    carried = 0.0
    raised = 0.0
    crown = 1e3 / (2.0 * blade[0])
    per_step = 1.0 / STEP_MM
    per_cell = 1.0 / pitch
    # the rows and columns that the swath covers: 0 <= s <= far and from <= v <= to
    far = length + tail
    y_low = min(stroke[1], stroke[1] + far * uy) - reach * abs(ux)
    y_high = max(stroke[1], stroke[1] + far * uy) + reach * abs(ux)
    i_low = max(int(y_low * per_cell - 0.5), 0)
    i_high = min(int(y_high * per_cell + 0.5), ny - 1)
    along = 1.0 / ux if abs(ux) > 1e-9 else 1e9
    across = 1.0 / uy if abs(uy) > 1e-9 else 1e9
    half_s = abs(0.5 * far * along)
    half_v = abs(reach * across)
    for i in range(i_low, i_high + 1):
        ry = (i + 0.5) * pitch - stroke[1]
        middle = (0.5 * far - ry * uy) * along if half_s < 1e6 else 0.0
        other = ry * ux * across if half_v < 1e6 else 0.0
        x_low = stroke[0] + max(middle - half_s, other - half_v)
        x_high = stroke[0] + min(middle + half_s, other + half_v)
        j_low = max(int(x_low * per_cell - 0.5), 0) if x_low > 0.0 else 0
        j_high = int(x_high * per_cell + 0.5) if x_high < nx * pitch else nx - 1
        j_high = min(j_high, nx - 1)
        s_row = ry * uy
        v_row = ry * ux
        for j in range(j_low, j_high + 1):
            at = np.uint64(i * nx + j)
            rx = (j + 0.5) * pitch - stroke[0]
            s = rx * ux + s_row
            v = v_row - rx * uy
            z = flat[at]
            if s < 0.0 or z < VOID or abs(v) > reach:
                continue
            if s > length:  # beyond the exit: what the blade pushed ahead of it
                if s < length + tail and stations[count - 2, 1] <= v <= stations[count - 2, 2]:
                    up = burr_share * max(stations[count - 2, 3] - least, 0.0) * (1.0 - (s - length) / tail)
                    if up > burrs[at]:
                        raised += up - burrs[at]
                        burrs[at] = up
                continue
            pos = s * per_step
            n = np.uint64(pos)
            part = pos - n
            here = n * np.uint64(4)
            tip = runs[here] + part * (runs[here + np.uint64(4)] - runs[here])
            target = tip + v * v * crown
            over = z - target
            if over > least and abs(v) <= reach - side:
                depth = over - least
                flat[at] = z - depth
                removed += depth
                if depth > deepest:
                    deepest = depth
                cells += 1.0
                if blues[at] > law[13]:
                    inked += 1.0
                carried += blues[at]
                blues[at] = 0.0
                raised -= burrs[at]
                burrs[at] = 0.0
                continue
            if over < -NEAR_UM:
                continue
            if burrs[at] > 0.0 and z + burrs[at] > target:
                left_over = max(-over, 0.0)
                raised -= burrs[at] - left_over
                burrs[at] = left_over
            left = runs[here + np.uint64(1)] + part * (runs[here + np.uint64(5)] - runs[here + np.uint64(1)])
            right = runs[here + np.uint64(2)] + part * (runs[here + np.uint64(6)] - runs[here + np.uint64(2)])
            beyond = left - v if v < left else v - right
            if 0.0 < beyond < side:
                t = beyond / side
                depth = runs[here + np.uint64(3)] + part * (runs[here + np.uint64(7)] - runs[here + np.uint64(3)])
                up = burr_share * max(depth - least, 0.0) * 4.0 * t * (1.0 - t)
                if up > burrs[at]:
                    raised += up - burrs[at]
                    burrs[at] = up
    area = pitch * pitch
    out[0] = removed * area
    out[1] = deepest
    out[2] = length
    out[3] = cells
    out[4] = inked
    out[5] = carried * area
    out[6] = raised * area


@kernel(nt.void(W2, W2, W2, R2, W1, R1, R1, W2))
def cut_strokes(height, burr, blue, strokes, blade, law, table, out):
    """All strokes of one command, one after the other; the edge wears as it goes (blade[2] is updated)."""
    longest = 0.0
    for n in range(strokes.shape[0]):
        dx = strokes[n, 2] - strokes[n, 0]
        dy = strokes[n, 3] - strokes[n, 1]
        longest = max(longest, math.sqrt(dx * dx + dy * dy))
    stations = np.empty((int(longest / STEP_MM) + 4, 4))
    bed = np.empty(2 * WIDEST + 1)
    force = np.empty(3)
    for n in range(strokes.shape[0]):
        dull = min(max((blade[2] - law[4]) / (law[5] - law[4]), 0.0), 1.0)
        force[0] = law[1]
        force[1] = law[2] + dull * (law[3] - law[2])
        force[2] = law[14]
        if strokes[n, 4] > 0.0:
            count = settle_blade(height, strokes[n], blade, law, force, table, stations, bed)
            cut_swath(height, burr, blue, strokes[n], blade, law, stations, count, out[n])
        blade[2] += out[n, 2] * blade[3]
        out[n, 7] = blade[2]
