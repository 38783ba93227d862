"""Which strokes go over an earlier one."""

from sim.kernels import R1, R2, W1, f8, kernel, nt


@kernel(nt.void(R2, R2, R1, f8, f8, W1))
def gone_over(middle, unit, length, least_cosine, apart, share):
    """For each stroke, the share of its length that lies on the line of one earlier stroke: the largest of them.

    Parameters
    ----------
    middle, unit : float64 (n, 2)
        Middles, mm, and directions of length 1.
    length : float64 (n,)
        mm, more than 0.
    least_cosine, apart : float
        An earlier stroke counts when the cosine between the two is more than this, in either sense, and its middle
        lies less than this beside the line, mm, and nearer than half of both lengths.
    share : float64 (n,)
        Out: 0 to 1.
    """
    for k in range(len(length)):
        x, y, ux, uy, half = middle[k, 0], middle[k, 1], unit[k, 0], unit[k, 1], 0.5 * length[k]
        most = 0.0
        for n in range(k):
            dx, dy = middle[n, 0] - x, middle[n, 1] - y
            both = 0.5 * (length[n] + length[k])
            if dx * dx + dy * dy >= both * both or abs(dx * uy - dy * ux) >= apart:
                continue
            if abs(unit[n, 0] * ux + unit[n, 1] * uy) <= least_cosine:
                continue
            along = dx * ux + dy * uy
            common = min(half, along + 0.5 * length[n]) - max(-half, along - 0.5 * length[n])
            most = max(most, common)
        share[k] = min(1.0, most / length[k])
