"""A scraper stroke: the blade settles along its whole path on the untouched face, then cuts each cell once."""

import math

import numpy as np

from sim.kernels import R1, R2, W1, W2, f8, i8, kernel, nt

STEP_MM = 0.25  # stations along the path and samples across it
VOID = -1e29
DEEP = -1e30
NEAR_UM = 4.0  # iron lower than this under the blade's path gets no burr: it could not reach the plate
WIDEST = 160  # samples to one side of the blade's middle
CLOSE_UM = 5e-3  # a Newton step shorter than this is the last: what it leaves is a small share of it
SIDE_MM = 0.3  # how far a burr reaches beside a cut and ahead of its end; from memory
PER_STEP = 1.0 / STEP_MM
LEFT, RIGHT, DEPTH, NEXT = np.uint64(1), np.uint64(2), np.uint64(3), np.uint64(4)  # columns of a station
PAIR = nt.UniTuple(f8, 2)
TRIPLE = nt.UniTuple(f8, 3)
SWATH = nt.UniTuple(f8, 10)
SUMS = nt.UniTuple(f8, 6)

# columns of a station: settled height um, contact left mm, contact right mm, depth um
# columns of a stroke: x0, y0, x1, y1 mm, push N
# blade: crown radius mm (end radius / sin of shank angle), half width mm, edge radius um, its growth um per mm,
#        run-off care, ramp mm, burr share sharp, burr share dull
# swath: x0, y0 mm, unit vector of the way, length mm, how far from the middle it cuts and how far it burrs mm,
#        crown um per mm2, least chip um, burr share
# sums: removed um, deepest um, cells cut, of these inked, blue carried off um, burr raised um
# law: pitch mm, Kienzle N/mm2 per (um^(1-m)), edge force sharp N/mm, dull N/mm, honed um, dull um,
#      least chip share, flank um, chatter matrix a11 a12 a21 a22, support um
# force: Kienzle factor, edge force N/mm at this edge radius, entries of the table per um
# out columns: removed um mm2, deepest um, length mm, cells cut, of these inked, blue carried off um mm2,
#              burr raised um mm2, edge radius after um


@kernel(f8(R2, f8, f8, f8, f8, i8, i8, f8, W1))
def lay_bed(height, fx, fy, gx, gy, wide, middle, steep, bed):
    """Heights under the blade, bilinear between cell centres; DEEP off the grid, at a hole and on the side of an edge.

    fx, fy: middle of the blade in cells from the first centre; gx, gy: one sample across, in cells; steep: by how
    many um the four cells around a sample may differ. bed[0 .. 2 wide] is overwritten; returns the highest of the
    samples within `middle` of the middle.
    """
    ny, nx = height.shape
    one = np.uint64(1)
    end_x = abs(wide * gx)
    end_y = abs(wide * gy)
    inside = fx - end_x > 0.0 and fx + end_x < nx - 1.0 and fy - end_y > 0.0 and fy + end_y < ny - 1.0
    u = -float(wide)
    for k in range(2 * wide + 1):
        x = fx + u * gx
        y = fy + u * gy
        u += 1.0
        if not inside and not (0.0 <= x < nx - 1.0 and 0.0 <= y < ny - 1.0):
            bed[k] = DEEP
            continue
        j = int(x)
        i = int(y)
        x -= j
        y -= i
        p = np.uint64(i)
        q = np.uint64(j)
        a = height[p, q]
        b = height[p, q + one]
        c = height[p + one, q]
        d = height[p + one, q + one]
        low = a + x * (b - a)
        z = low + y * (c + x * (d - c) - low)
        bed[k] = DEEP if max(max(a, b), max(c, d)) - min(min(a, b), min(c, d)) > steep else z
    top = DEEP
    for k in range(max(wide - middle, 0), wide + min(middle, wide) + 1):
        if bed[k] > top:
            top = bed[k]
    return top


@kernel(f8(R1, f8, f8))
def chip_power(table, depth, per_um):
    """Tabled depth^(1-m), um^(1-m); linear between entries, on from the last one beyond the table."""
    pos = depth * per_um
    n = int(pos)
    if n > table.shape[0] - 2:
        n = table.shape[0] - 2
    return table[n] + (pos - n) * (table[n + 1] - table[n])


@kernel(PAIR(R1, i8, f8, f8, f8, f8, R1))
def cutting_force(bed, count, tip, factor, edge, per_um, table):
    """Force in N that a blade with its tip at `tip` um meets on a bed of samples, and its slope dF/dtip, N/um.

    bed: height less crown um at samples STEP_MM apart; factor: Kienzle's; edge N/mm; per_um: entries of the table.
    The engaged width is exact for the straight line between samples; a sample at an edge (nothing beside it, or
    beside the window) carries half a step.
    """
    last = table.shape[0] - 2
    engaged = 0.0
    chip = 0.0
    engaged_slope = 0.0
    chip_slope = 0.0
    before = DEEP
    chip_before = 0.0
    slope_before = 0.0
    for n in range(count):
        here = bed[n] - tip
        if here > 0.0:
            pos = here * per_um
            k = np.uint64(min(int(pos), last))
            rise = table[k + np.uint64(1)] - table[k]
            chip_here = table[k] + (pos - k) * rise
            slope_here = rise * per_um
            if before > 0.0:
                engaged += 2.0
                chip += chip_here + chip_before
                chip_slope += slope_here + slope_before
            elif before > VOID:
                run = 1.0 / (here - before)
                engaged += 2.0 * here * run
                engaged_slope += 2.0 * run
                chip += here * run * chip_here
                chip_slope += run * (chip_here + here * slope_here)
            else:
                engaged += 1.0
                chip += chip_here
                chip_slope += slope_here
            chip_before = chip_here
            slope_before = slope_here
        elif before > 0.0:
            if here > VOID:
                run = 1.0 / (before - here)
                engaged += 2.0 * before * run
                engaged_slope += 2.0 * run
                chip += before * run * chip_before
                chip_slope += run * (chip_before + before * slope_before)
            else:
                engaged += 1.0
                chip += chip_before
                chip_slope += slope_before
        before = here
    if before > 0.0:
        engaged += 1.0
        chip += chip_before
        chip_slope += slope_before
    half = 0.5 * STEP_MM
    return half * (factor * chip + edge * engaged), -half * (factor * chip_slope + edge * engaged_slope)


@kernel(PAIR(R1, i8, f8, f8, f8, R1, R1))
def balance(bed, count, top, push, guess, force, table):
    """Tip height at which the force balances the push, and the slope dF/dtip met last.

    Newton inside a bracket. For no push the tip is the `top` of the bed.
    """
    if push <= 0.0 or top < VOID:
        return top, 0.0
    factor = force[0]
    edge = force[1]
    per_um = force[2]
    high = top
    low = top - 1e6
    tip = guess
    if tip >= top or tip < top - 500.0:
        tip = top - 0.47
    for _ in range(80):
        met, slope = cutting_force(bed, count, tip, factor, edge, per_um, table)
        miss = met - push
        if miss > 0.0:
            low = tip
        else:
            high = tip
        new = tip - miss / slope if slope < 0.0 else DEEP
        if low <= new <= high and abs(new - tip) < CLOSE_UM:
            return new, slope
        if not low < new < high:  # astray, or to and fro where a sample at an edge lifts off and the force leaps
            new = 0.5 * (low + high) if high - low < 20.0 else high - 10.03
            if high - low < CLOSE_UM:
                return new, slope
        tip = new
    return tip, slope


@kernel(f8(f8, R1, R1, R1))
def flat_half_width(push, blade, force, table):
    """Half the width (mm) that a push cuts on flat iron: where to look, and what counts as supported."""
    wide = 2.0 * math.sqrt(2e-3 * blade[0])  # of a cut 1 um deep
    per_um = force[2]
    root = 2.0  # of the depth; the force is convex in it, so Newton comes down from above after one step
    for _ in range(12):
        pos = root * root * per_um
        n = min(int(pos), table.shape[0] - 2)
        rise = table[n + 1] - table[n]
        met = 0.7075 * force[0] * (table[n] + (pos - n) * rise) + force[1]
        slope = met + 0.7075 * force[0] * 2.0 * root * root * rise * per_um
        step = (root * met - max(push, 0.1) / wide) / slope
        root -= step
        if abs(step) < 1e-9 * root:
            break
    return min(0.5 * wide * root, blade[1])


@kernel(f8(R2, f8, f8, f8, f8, i8))
def highest_on_line(height, x, y, step_x, step_y, count):
    """Highest iron along the middle of a stroke, um: edges, holes and slots are told by how far they lie below it.

    x, y: its start in cells from the outline; steps in cells.
    """
    ny, nx = height.shape
    top = DEEP
    for n in range(count):
        px = x + n * step_x
        py = y + n * step_y
        if 0.0 <= px < nx and 0.0 <= py < ny:
            top = max(top, height[np.uint64(int(py)), np.uint64(int(px))])
    return top


@kernel(f8(f8, f8, f8))
def eased(edge_mm, ramp_mm, push):
    """Push near the ends of a stroke: it rises and falls smoothly over the ramp."""
    if edge_mm >= ramp_mm:
        return push
    r = edge_mm / ramp_mm
    return push * r * r * (3.0 - 2.0 * r)


@kernel(TRIPLE(W1, i8, i8, f8, f8))
def bed_under(bed, wide, middle, floor, crown):
    """Take the crown off the bed and drop what lies below `floor`.

    Returns the share of the middle that carries, the highest of the bed, and the mean of what carries in the middle.
    """
    held = 0
    total = 0.0
    top = DEEP
    for k in range(2 * wide + 1):
        z = bed[k]
        u = float(k - wide)
        if z < floor:
            bed[k] = DEEP
            continue
        z -= u * u * crown
        bed[k] = z
        if z > top:
            top = z
        if abs(k - wide) <= middle:
            held += 1
            total += z
    return held / (2.0 * middle + 1.0), top, total / max(held, 1)


@kernel(PAIR(f8, f8, R1))
def swing_on(lag, speed, law):
    """A blade with mass: its lag (um) and the lag's slope (um/mm) one step on; the flank holds it from below."""
    x = law[8] * lag + law[9] * speed
    v = law[10] * lag + law[11] * speed
    if x < -law[7]:
        return -law[7], max(v, 0.0)
    return x, v


@kernel(PAIR(R1, i8, f8))
def contact_ends(bed, wide, run):
    """Where the contact of a blade at `run` um begins and ends across it, in mm; 0, 0 for none."""
    count = 2 * wide + 1
    first = 0
    while first < count and bed[first] <= run:
        first += 1
    if first == count:
        return 0.0, 0.0
    last = count - 1
    while bed[last] <= run:
        last -= 1
    return (first - wide) * STEP_MM, (last - wide) * STEP_MM


@kernel(i8(R2, R1, R1, R1, R1, R1, W2, W1))
def settle_blade(height, stroke, blade, law, force, table, stations, bed):
    """Where the blade runs over the whole path on the face as it is; returns the number of stations.

    stations (n + 1, 4) out: tip um, contact from and to (mm across), depth um. Over an edge, a hole or a slot the
    blade holds its level. The last station is doubled, so that every place on the path lies between two.
    """
    dx = stroke[2] - stroke[0]
    dy = stroke[3] - stroke[1]
    length = math.sqrt(dx * dx + dy * dy)
    per_cell = 1.0 / law[0]
    push = stroke[4]
    care = blade[4]
    along_x = dx / length * STEP_MM * per_cell
    along_y = dy / length * STEP_MM * per_cell
    count = min(int(math.ceil(length / STEP_MM - 1e-9)) + 1, stations.shape[0] - 1)
    crown = STEP_MM * STEP_MM * 1e3 / (2.0 * blade[0])
    widest = min(int(blade[1] / STEP_MM), WIDEST)
    middle = min(int(flat_half_width(push, blade, force, table) / STEP_MM), widest)
    wide = min(middle + 1, widest)
    x = stroke[0] * per_cell
    y = stroke[1] * per_cell
    floor = highest_on_line(height, x, y, along_x, along_y, count) - law[12]
    steep = law[12] * law[0] * PER_STEP
    lag = speed = before = level = 0.0
    tip_over = last = slope = 0.0
    met = 0
    for n in range(count):
        s = n * STEP_MM
        here = eased(max(min(s, length - s), 0.0), blade[5], push)
        tip = DEEP
        while True:
            fx = x + n * along_x - 0.5
            fy = y + n * along_y - 0.5
            top = lay_bed(height, fx, fy, -along_y, along_x, wide, middle, steep, bed)
            if top < floor or top < VOID:
                break
            share, top, mean = bed_under(bed, wide, middle, max(top - law[12], VOID), crown)
            carried = here * share * (1.0 + (1.0 - care) * (1.0 - share))  # share^care to first order, and finite load
            first = tip_over + mean + (carried - last) / slope if slope < 0.0 else top - 1.9
            tip, stiff = balance(bed, 2 * wide + 1, top, carried, first, force, table)
            if wide == widest or max(bed[0], bed[2 * wide]) < tip - CLOSE_UM:
                break
            wide = min(wide + 4, widest)  # the contact reaches to the end of the window: look wider
        if tip > VOID:
            if met > 0:
                lag, speed = swing_on(lag + before - tip, speed, law)
                level = tip + lag
            else:  # it comes to the iron at its height and has yet to sink in
                level = top
                lag = top - tip
            before = tip
            tip_over, last, slope = tip - mean, carried, stiff  # for the next guess
            stations[n, 1], stations[n, 2] = contact_ends(bed, wide, level)
            stations[n, 3] = max(top - level, 0.0)
            if met == 0:
                for m in range(n):  # what came before the first iron, at the level found there
                    stations[m, 0] = level
            met = 1
        else:  # nothing carries the blade here: it holds its level
            for k in range(1, 4):
                stations[n, k] = 0.0
        stations[n, 0] = level if met > 0 else 1e30
    for k in range(4):
        stations[count, k] = stations[count - 1, k]
    return count


@kernel(nt.UniTuple(i8, 2)(f8, f8, f8, f8, f8, i8))
def cells_between(middle, half, other, half_other, per_cell, end):
    """First and last cell (of `end`) that two spans, given by middle and half length in mm, have in common; or more."""
    low = max(middle - half, other - half_other) * per_cell - 0.5
    high = min(middle + half, other + half_other) * per_cell + 0.5
    return int(max(low, 0.0)), int(min(max(high, -1.0), end - 1.0))


@kernel(f8(R1, i8, f8, f8, f8))
def burr_beside(runs, n, part, v, least):
    """Burr per unit of share at `v` mm across, beside the contact between stations n and n + 1: a parabola."""
    at = np.uint64(4 * n)
    left = runs[at + LEFT] + part * (runs[at + NEXT + LEFT] - runs[at + LEFT])
    right = runs[at + RIGHT] + part * (runs[at + NEXT + RIGHT] - runs[at + RIGHT])
    t = max(left - v, v - right) * (1.0 / SIDE_MM)
    if t <= 0.0 or t >= 1.0:
        return 0.0
    depth = runs[at + DEPTH] + part * (runs[at + NEXT + DEPTH] - runs[at + DEPTH])
    return max(depth - least, 0.0) * 4.0 * t * (1.0 - t)


@kernel(f8(R1, i8, f8, f8, f8))
def burr_ahead(runs, n, beyond, v, least):
    """Burr per unit of share that the blade at station n has pushed ahead of it, `beyond` mm from where it stopped."""
    at = np.uint64(4 * n)
    if beyond >= SIDE_MM or v < runs[at + LEFT] or v > runs[at + RIGHT]:
        return 0.0
    return max(runs[at + DEPTH] - least, 0.0) * (1.0 - beyond / SIDE_MM)


@kernel(SWATH(R1, R1, R1, R2, i8))
def lay_swath(stroke, blade, law, stations, count):
    """The numbers that hold for a whole swath, see above."""
    dx = stroke[2] - stroke[0]
    dy = stroke[3] - stroke[1]
    length = math.sqrt(dx * dx + dy * dy)
    contact = 0.0
    for n in range(count):
        contact = max(contact, -stations[n, 1], stations[n, 2])
    contact = min(contact + STEP_MM, blade[1])
    dull = min(max((blade[2] - law[4]) / (law[5] - law[4]), 0.0), 1.0)
    share = blade[6] + dull * (blade[7] - blade[6])
    return (
        stroke[0], stroke[1], dx / length, dy / length, length, contact, contact + SIDE_MM, 1e3 / (2.0 * blade[0]),
        law[6] * blade[2], share,
    )  # fmt: skip


@kernel(SUMS(W2, W2, W2, i8, i8, i8, SWATH, R1, i8, R1, SUMS))
def cut_row(height, burr, blue, i, low, high, swath, runs, count, law, sums):
    """Cut the cells `low` to `high` of row `i`; returns the sums with this row's added."""
    removed, deepest, cells, inked, carried, raised = sums
    x0, y0, ux, uy, length, contact, reach, crown, least, share = swath
    ry = (i + 0.5) * law[0] - y0
    for j in range(low, high + 1):
        rx = (j + 0.5) * law[0] - x0
        s = rx * ux + ry * uy
        v = ry * ux - rx * uy
        at = np.uint64(i), np.uint64(j)
        z = height[at]
        was = burr[at]  # asked for early: these wait for memory
        film = blue[at]
        if (s < 0.0) | (abs(v) > reach) | (z < VOID):
            continue
        if s > length:
            up = share * burr_ahead(runs, count - 2, s - length, v, least)
        else:
            n = int(s * PER_STEP)
            part = s * PER_STEP - n
            here = np.uint64(4 * n)
            line = runs[here] + part * (runs[here + NEXT] - runs[here]) + v * v * crown
            depth = z - line - least
            if (depth > 0.0) & (abs(v) <= contact):
                height[at] = z - depth
                removed += depth
                deepest = max(deepest, depth)
                cells += 1.0
                raised -= was
                burr[at] = 0.0
                if film > 0.0:
                    inked += 1.0 if film > law[13] else 0.0
                    carried += film
                    blue[at] = 0.0
                continue
            if z < line - NEAR_UM:
                continue
            if was > max(line - z, 0.0):  # what stands in the blade's way is shaved
                raised += max(line - z, 0.0) - was
                was = max(line - z, 0.0)
                burr[at] = was
            up = share * burr_beside(runs, n, part, v, least)
        if up > was:
            raised += up - was
            burr[at] = up
    return removed, deepest, cells, inked, carried, raised


@kernel(nt.void(W2, W2, W2, R1, R1, R1, R2, i8, W1))
def cut_swath(height, burr, blue, stroke, blade, law, stations, count, out):
    """Cut every cell of the swath once, from its own centre; burrs at its sides and exit. out (8,) overwritten."""
    ny, nx = height.shape
    swath = lay_swath(stroke, blade, law, stations, count)
    runs = stations.ravel()
    x0, y0, ux, uy, length, _, reach, _, _, _ = swath
    # the rows and columns that the swath covers: 0 <= s <= 2 far and -reach <= v <= reach
    per_cell = 1.0 / law[0]
    far = 0.5 * (length + SIDE_MM)
    along = 1.0 / ux if abs(ux) > 1e-9 else 0.0
    across = 1.0 / uy if abs(uy) > 1e-9 else 0.0
    half_s = abs(far * along) if along != 0.0 else 1e9
    half_v = abs(reach * across) if across != 0.0 else 1e9
    first, last = cells_between(y0 + far * uy, far * abs(uy) + reach * abs(ux), 0.0, 1e9, per_cell, ny)
    sums = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    for i in range(first, last + 1):
        ry = (i + 0.5) * law[0] - y0
        low, high = cells_between(x0 + (far - ry * uy) * along, half_s, x0 + ry * ux * across, half_v, per_cell, nx)
        sums = cut_row(height, burr, blue, i, low, high, swath, runs, count, law, sums)
    area = law[0] * law[0]
    out[0], out[1], out[2], out[3] = sums[0] * area, sums[1], length, sums[2]
    out[4], out[5], out[6] = sums[3], sums[4] * area, sums[5] * area


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
