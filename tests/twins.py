"""Slow and obvious twins of the kernels, written from docstrings and the model's page, and faces to try them on.

They judge the fast ones: whole blade instead of a window, scipy's bracketing root finder instead of Newton, every
cell of the face instead of the rows that a swath covers, sorted heights instead of histograms.
"""

import math
from functools import lru_cache

import numpy as np
from scipy.linalg import expm
from scipy.optimize import brentq

from sim.model.blade import RACK, Edge
from sim.model.face import VOID_UM, Face
from sim.model.plate import Plate
from sim.model.start import COUPON, Start
from sim.process.machining import machine_face
from sim.process.stroke import WEAR_UM_PER_M, Chatter, Iron, chip_table, crown_mm, scrape

STEP_MM = 0.25
NOTHING = -math.inf


# ---------------------------------------------------------------- faces


@lru_cache(maxsize=16)
def _coupon(seed, length_mm, width_mm, pitch_mm):
    rng = np.random.default_rng([seed, 77])
    face = machine_face(Start(length_mm=length_mm, width_mm=width_mm, pitch_mm=pitch_mm, kind="rough-milled"), rng)
    for blade, push_n in (("semi", (90.0, 160.0)), ("fine", (60.0, 95.0))):
        scrape(face, bare_plate(), RACK[blade], Edge(4.0), random_strokes(rng, 60, (length_mm, width_mm), push_n))
    return face


def scraped_coupon(seed, length_mm=COUPON.length_mm, width_mm=COUPON.width_mm, pitch_mm=0.25) -> Face:
    """A milled coupon that was scraped here and there: burrs, ripple, old skin and an edge break."""
    return _coupon(seed, length_mm, width_mm, pitch_mm).copy()


def bare_plate(length_mm=90.0, width_mm=60.0, pitch_mm=0.25) -> Plate:
    """A true plate with nothing on it; film lies where a test puts it."""
    shape = (round(width_mm / pitch_mm), round(length_mm / pitch_mm))
    return Plate(pitch_mm, np.zeros(shape), np.zeros(shape))


def random_strokes(rng, count, size_mm, push_n, length_mm=(2.0, 8.0)):
    """Strokes anywhere on a face and a little beyond, all numbers multiples of 1/64 mm: mirroring them is exact."""
    middle = rng.uniform(-1.0, 1.0, (count, 2)) * (0.5 * np.array(size_mm) + 1.0) + 0.5 * np.array(size_mm)
    turn, half = rng.uniform(0.0, 2.0 * np.pi, count), 0.5 * rng.uniform(*length_mm, count)
    way = np.column_stack([half * np.cos(turn), half * np.sin(turn)])
    ends = np.round(np.hstack([middle - way, middle + way]) * 64.0) / 64.0
    return np.column_stack([ends, rng.uniform(*push_n, count)])


MOVES = ("mirrored in x", "mirrored in y", "transposed")


def move_array(values, move):
    return np.ascontiguousarray(
        {"mirrored in x": values[:, ::-1], "mirrored in y": values[::-1], "transposed": values.T}[move]
    )


def move_points(points, move, size_mm):
    """(n, 2) points in mm carried along with a face or plate of this size."""
    x, y = points[:, 0], points[:, 1]
    pair = {"mirrored in x": (size_mm[0] - x, y), "mirrored in y": (x, size_mm[1] - y), "transposed": (y, x)}[move]
    return np.column_stack(pair)


def move_strokes(strokes, move, size_mm):
    return np.column_stack(
        [move_points(strokes[:, :2], move, size_mm), move_points(strokes[:, 2:4], move, size_mm), strokes[:, 4]]
    )


def move_face(face, move) -> Face:
    arrays = (move_array(a, move) for a in (face.height_um, face.iron, face.scored, face.burr_um, face.blue_um))
    chips = np.column_stack([move_points(face.chips, move, face.size_mm), face.chips[:, 2]])
    return Face(face.pitch_mm, *arrays, chips, face.warm_k)


def embed_face(face, top, right, bottom, left) -> Face:
    """The same iron in a larger grid; margins in cells, in the order of a style sheet with row 0 on top."""
    pads = ((top, bottom), (left, right))
    height = np.pad(face.height_um, pads, constant_values=VOID_UM)
    others = [np.pad(a, pads) for a in (face.iron, face.scored, face.burr_um, face.blue_um)]
    chips = face.chips + np.array([left * face.pitch_mm, top * face.pitch_mm, 0.0])
    return Face(face.pitch_mm, height, *others, chips, face.warm_k)


def iron_height(face):
    """Heights on iron, 0 elsewhere: differences of faces with holes stay finite."""
    return np.where(face.iron, face.height_um, 0.0)


def largest_difference(face, other):
    """Largest difference of height, burr and blue of two faces of one shape, um."""
    pairs = ((iron_height(face), iron_height(other)), (face.burr_um, other.burr_um), (face.blue_um, other.blue_um))
    return max(float(np.abs(a - b).max()) for a, b in pairs)


def cut_arguments(blade, edge_um=4.0, care=1.0, ramp_mm=1.0, pitch_mm=0.25, iron=None, chatter=None, seen_um=0.2426):
    """The blade's and the law's numbers in the order that the kernels of the stroke document."""
    iron, chatter = iron or Iron(), chatter or Chatter()
    factor = iron.kc11_n_mm2 * iron.rake_factor * 1e-3 ** (1.0 - iron.chip_power)
    tool = np.array(
        [
            crown_mm(blade),
            0.5 * blade.width_mm,
            edge_um,
            WEAR_UM_PER_M[blade.material] * 1e-3,
            care,
            ramp_mm,
            iron.burr_sharp,
            iron.burr_dull,
        ]
    )
    law = np.array(
        [
            pitch_mm,
            factor,
            iron.edge_sharp_n_mm,
            iron.edge_dull_n_mm,
            iron.honed_um,
            iron.dull_um,
            iron.least_chip_share,
            chatter.flank_um,
            *swing_matrix(chatter.wave_mm, chatter.damping, STEP_MM).ravel(),
            iron.support_um,
            seen_um,
            8.0,
        ]
    )
    return tool, law, chip_table(iron.chip_power)


# ---------------------------------------------------------------- stroke


def swing_matrix(wave_mm, damping, step_mm):
    """Matrix exponential of x'' = -w^2 x - 2 z w x' over a step."""
    omega = 2.0 * np.pi / wave_mm
    return expm(np.array([[0.0, 1.0], [-(omega**2), -2.0 * damping * omega]]) * step_mm)


def height_at(height, x_mm, y_mm, pitch_mm, support_um):
    """Bilinear height at a point; minus infinity where nothing carries a blade.

    That is off the grid, beside a hole, and on the side of an edge: where the four cells around lie farther apart than
    `support_um` over STEP_MM, so that a chamfer is none of the face.
    """
    fx, fy = x_mm / pitch_mm - 0.5, y_mm / pitch_mm - 0.5
    j, i = math.floor(fx), math.floor(fy)
    if j < 0 or i < 0 or j + 1 >= height.shape[1] or i + 1 >= height.shape[0]:
        return NOTHING
    four = height[i : i + 2, j : j + 2]
    if np.ptp(four) > support_um / STEP_MM * pitch_mm:
        return NOTHING
    wx, wy = np.array([1.0 - (fx - j), fx - j]), np.array([1.0 - (fy - i), fy - i])
    return float(wy @ four @ wx)


def blade_force(bed, tip, factor, edge_n_mm, table, per_um):
    """Force over a bed of straight pieces: edge x engaged width + Kienzle x trapezoids of the tabled depth^(1-m).

    An engaged sample with nothing beside it (an edge, or the end of what is looked at) carries half a step more.
    """
    s = np.arange(len(bed)) * STEP_MM
    deep = np.maximum(np.asarray(bed) - tip, -1e9)
    cross = [
        (s[n] + STEP_MM * deep[n] / (deep[n] - deep[n + 1]), 0.0)
        for n in range(len(bed) - 1)
        if deep[n] * deep[n + 1] < 0.0
    ]
    line = np.array(sorted([*zip(s, deep, strict=True), *cross]))
    depth = np.maximum(line[:, 1], 0.0)
    chip = np.interp(depth, np.arange(len(table)) / per_um, table)
    engaged = np.diff(line[:, 0])[(line[:-1, 1] + line[1:, 1]) > 0.0].sum()
    there = np.concatenate([[False], np.asarray(bed) > -1e9, [False]])
    alone = np.where(deep > 0.0, 2.0 - there[:-2] - there[2:], 0.0) * 0.5 * STEP_MM  # way that only this sample carries
    chips = np.interp(np.maximum(deep, 0.0), np.arange(len(table)) / per_um, table)
    return factor * (np.trapezoid(chip, line[:, 0]) + (alone * chips).sum()) + edge_n_mm * (engaged + alone.sum())


def balanced_tip(bed, push, factor, edge_n_mm, table, per_um):
    """Tip where the force equals the push; the top of the bed for no push."""
    top = max(bed)
    if push <= 0.0 or top == NOTHING:
        return top
    return brentq(
        lambda tip: blade_force(bed, tip, factor, edge_n_mm, table, per_um) - push,
        top - 1e3,
        top,
        xtol=1e-12,
        rtol=1e-15,
    )


def flat_half_width(push, tool, law, table):
    """Half the width of the cut that this push makes on flat iron with this edge, mm; at most half the blade."""
    factor, edge = edge_law(tool, law)
    v = np.linspace(-1.0, 1.0, 2001)

    def miss(depth):
        chip = np.trapezoid(np.interp(depth * (1.0 - v * v), np.arange(len(table)) / law[14], table), v) / 2.0
        return 2.0 * math.sqrt(2.0 * tool[0] * depth * 1e-3) * (factor * chip + edge) - push

    depth = brentq(miss, 1e-6, 500.0)
    return min(math.sqrt(2.0 * tool[0] * depth * 1e-3), tool[1])


def highest_cell(height, points, pitch):
    """Highest of the cells under some points (mm); minus infinity where none is on the grid."""
    cells = [(math.floor(y / pitch), math.floor(x / pitch)) for x, y in points]
    return max(
        (height[c] for c in cells if 0 <= c[0] < height.shape[0] and 0 <= c[1] < height.shape[1]), default=NOTHING
    )


def edge_law(tool, law):
    """Kienzle factor and edge force per mm: from sharp to dull in step with the edge radius."""
    return law[1], np.interp(tool[2], law[4:6], law[2:4])


def settled(height, stroke, tool, law, table, whole=False):
    """Stations of a stroke: way s, tip, contact from and to, depth; (n, 5).

    Looks one sample wider than the cut on flat iron, and four more whenever the contact reaches the end of what is
    looked at; `whole` looks at all of the blade from the start. Iron more than `support_um` below the top met near the
    middle is not under the blade.
    """
    crown_mm, half_mm, _, _, care, ramp_mm = tool[:6]
    pitch, flank_um, support_um, per_um = law[0], law[7], law[12], law[14]
    step = law[8:12].reshape(2, 2)
    x0, y0, x1, y1, push = stroke
    length = math.hypot(x1 - x0, y1 - y0)
    ux, uy = (x1 - x0) / length, (y1 - y0) / length
    ways = [*(np.arange(math.ceil(length / STEP_MM - 1e-9)) * STEP_MM), length]
    lowest = highest_cell(height, [(x0 + s * ux, y0 + s * uy) for s in ways], pitch) - support_um
    widest = int(half_mm / STEP_MM)
    v = np.arange(-widest, widest + 1) * STEP_MM
    nominal = int(flat_half_width(max(push, 0.1), tool, law, table) / STEP_MM)
    near = np.abs(v) <= nominal * STEP_MM + 1e-9
    looked = widest if whole else min(nominal + 1, widest)
    swing, before, rows = np.zeros(2), None, []
    for s in ways:
        met = np.array([height_at(height, x0 + s * ux - w * uy, y0 + s * uy + w * ux, pitch, support_um) for w in v])
        top = met[near].max()
        if top < lowest or top == NOTHING:  # off the edge: it holds its level
            rows.append([s, rows[-1][1] if rows else math.inf, 0.0, 0.0, 0.0])
            continue
        ramp = min(min(s, length - s) / ramp_mm, 1.0)
        share = np.mean(met[near] > top - support_um)
        load_per_width = 1.0 + (1.0 - care) * (1.0 - share)  # the more is off the edge, the harder on the rest
        push_here = push * ramp**2 * (3.0 - 2.0 * ramp) * share * load_per_width
        while True:
            seen = np.abs(v) <= looked * STEP_MM + 1e-9
            bed = np.where(seen & (met >= top - support_um), met - v * v * 1e3 / (2.0 * crown_mm), NOTHING)
            tip = balanced_tip(bed[seen], push_here, *edge_law(tool, law), table, per_um)
            if looked == widest or max(bed[seen][[0, -1]]) < tip - 0.005:
                break
            looked = min(looked + 4, widest)
        if before is None:  # it comes to the iron at its height and has yet to sink in
            run, swing = max(bed), np.array([max(bed) - tip, 0.0])
        else:
            swing = step @ (swing + np.array([before - tip, 0.0]))
            if swing[0] < -flank_um:  # the flank holds it
                swing = np.array([-flank_um, max(swing[1], 0.0)])
            run = tip + swing[0]
        before = tip
        touching = v[bed > run]
        ends = (touching[0], touching[-1]) if len(touching) else (0.0, 0.0)
        for row in rows:  # what came before the first iron, at the level found there
            row[1] = run if row[1] == math.inf else row[1]
        rows.append([s, run, *ends, max(max(bed) - run, 0.0)])
    return np.array(rows)


def swath(face_height, burr, blue, stroke, tool, law, stations):
    """What a stroke with these stations leaves: height, burr, blue, and a dictionary of what is reported."""
    height, burr, blue = face_height.copy(), burr.copy(), blue.copy()
    crown_mm, half_mm, edge_um, _, _, _, burr_sharp, burr_dull = tool
    pitch, honed_um, dull_um, least_share, seen_um = law[[0, 4, 5, 6, 13]]
    x0, y0, x1, y1 = stroke[:4]
    length = math.hypot(x1 - x0, y1 - y0)
    ux, uy = (x1 - x0) / length, (y1 - y0) / length
    least = least_share * edge_um
    share = np.interp(edge_um, [honed_um, dull_um], [burr_sharp, burr_dull])
    told = {"removed": 0.0, "deepest": 0.0, "cells": 0, "inked": 0, "carried": 0.0, "burr": 0.0}
    reach = min(max((-stations[:, 2]).max(), stations[:, 3].max()) + STEP_MM, half_mm)  # a step beyond the contact
    for i in range(height.shape[0]):
        for j in range(height.shape[1]):
            rx, ry = (j + 0.5) * pitch - x0, (i + 0.5) * pitch - y0
            s, v = rx * ux + ry * uy, ry * ux - rx * uy
            z, was = height[i, j], burr[i, j]
            if z < 0.1 * VOID_UM or s < 0.0 or s > length + 0.3 or abs(v) > reach + 0.3:
                continue
            if s > length:  # what the last station that still pushes has ahead of it; it falls off over 0.3 mm
                _, _, left, right, depth = stations[-2]
                if left <= v <= right:
                    burr[i, j] = max(was, share * max(depth - least, 0.0) * (1.0 - (s - length) / 0.3))
                told["burr"] += burr[i, j] - was
                continue
            if math.inf in stations[:, 1]:  # no iron met
                continue
            tip, left, right, depth = (np.interp(s, stations[:, 0], column) for column in stations[:, 1:].T)
            line = tip + v * v * 1e3 / (2.0 * crown_mm)
            if z - line > least and abs(v) <= reach:
                height[i, j] = line + least
                told["removed"] += z - line - least
                told["deepest"] = max(told["deepest"], z - line - least)
                told["cells"] += 1
                told["inked"] += int(blue[i, j] > seen_um)
                told["carried"] += blue[i, j]
                burr[i, j] = blue[i, j] = 0.0
            elif z - line >= -4.0:  # iron far below the blade could not bring a burr to the plate
                burr[i, j] = min(was, max(line - z, 0.0))  # what stood in the blade's way is shaved
                t = max(left - v, v - right) / 0.3
                if 0.0 < t < 1.0:
                    burr[i, j] = max(burr[i, j], share * max(depth - least, 0.0) * 4.0 * t * (1.0 - t))
            told["burr"] += burr[i, j] - was
    return height, burr, blue, told


# ---------------------------------------------------------------- blue


def squeezed(film, gap, moved, reach_cells):
    """Blue given away and received where the gap is thinner than the film; what finds no room stays."""
    ny, nx = film.shape
    sent, got = np.zeros(film.shape), np.zeros(film.shape)
    cells = [(i, j) for i in range(ny) for j in range(nx)]
    givers = {c: moved * (film[c] - gap[c]) for c in cells if film[c] > gap[c]}
    rooms = {c: 1.0 - (gap[c] - film[c]) / film[c] for c in cells if film[c] < gap[c] < 2.0 * film[c]}
    flows = {}
    for (i, j), gives in givers.items():
        near = [c for c in rooms if math.hypot(c[0] - i, c[1] - j) <= reach_cells + 1e-9]
        weight = sum(rooms[c] for c in near)
        flows.update({((i, j), c): gives * rooms[c] / weight for c in near})
    for c in rooms:
        asked = sum(flow for (_, to), flow in flows.items() if to == c)
        space = gap[c] - film[c]
        for pair in [p for p in flows if p[1] == c]:
            flow = flows[pair] * (min(1.0, space / asked) if asked > 0.0 else 0.0)
            sent[pair[0]] += flow
            got[c] += flow
    return sent, got


def window(plate, corner, shape):
    """The plate's cells under a face at a corner; 0 beyond its edges."""
    out = np.zeros(shape)
    for i in range(shape[0]):
        for j in range(shape[1]):
            a, b = i + corner[0], j + corner[1]
            if 0 <= a < plate.shape[0] and 0 <= b < plate.shape[1]:
                out[i, j] = plate[a, b]
    return out


def put_back(amount, corner, plate):
    """Add amounts at face cells to the plate's cells under them; changes `plate`."""
    for i in range(amount.shape[0]):
        for j in range(amount.shape[1]):
            a, b = i + corner[0], j + corner[1]
            if 0 <= a < plate.shape[0] and 0 <= b < plate.shape[1]:
                plate[a, b] += amount[i, j]


def met_film(plate, corners, stay, shape):
    """Largest film met over the poses, less where a plate cell is asked for more than it has; and what it can spare."""
    films = [window(plate, corner, shape) for corner in corners]
    largest, every = np.max(films, axis=0), np.sum(films, axis=0)
    asked = np.zeros(plate.shape)
    for corner, film in zip(corners, films, strict=True):
        put_back(np.divide(stay * largest * film, every, out=np.zeros(shape), where=every > 0.0), corner, asked)
    spare = np.divide(plate, asked, out=np.ones(plate.shape), where=asked > plate)
    there = np.sum([window(plate * spare, corner, shape) for corner in corners], axis=0)
    met = np.divide(largest * there, every, out=np.zeros(shape), where=every > 0.0)
    return met, there, spare


def taken(plate, corners, loss, there, spare):
    """The plate after each face cell took its loss from the cells it passed, in shares of what they had to spare."""
    after = plate.copy()
    for corner in corners:
        film = window(plate * spare, corner, loss.shape)
        put_back(-np.divide(loss * film, there, out=np.zeros(loss.shape), where=there > 0.0), corner, after)
    return after


# ---------------------------------------------------------------- stone and noise


def sorted_top(height, iron, grid, share, lowest, tile):
    """The height that `share` of the iron (that counts) in the tiles around one tile lies below, by sorting."""
    size, reach = int(grid[2]), int(grid[3])
    values = []
    for i in range(height.shape[0]):
        for j in range(height.shape[1]):
            a, b = (i - grid[0]) // size, (j - grid[1]) // size
            if iron[i, j] and abs(a - tile[0]) <= reach and abs(b - tile[1]) <= reach and height[i, j] >= lowest:
                values.append(height[i, j])
    values.sort(reverse=True)
    return values[max(math.ceil((1.0 - share) * len(values)) - 1, 0)]


def rubbed(height, iron, grid, depth, tops):
    """z <- min(z, max(T, z - depth)), T bilinear between tile centres and constant beyond the outermost."""
    out = height.copy()
    size = int(grid[2])
    centre_y = grid[0] + (np.arange(tops.shape[0]) + 0.5) * size
    centre_x = grid[1] + (np.arange(tops.shape[1]) + 0.5) * size
    for i in range(height.shape[0]):
        line = [np.interp(i + 0.5, centre_y, tops[:, b]) for b in range(tops.shape[1])]
        for j in range(height.shape[1]):
            if iron[i, j]:
                level = np.interp(j + 0.5, centre_x, line)
                out[i, j] = min(height[i, j], max(level, height[i, j] - depth))
    return out


def noise_at(x, y, order, slopes):
    """Gradient noise: the ramps of the four lattice points around, faded into each other."""

    def fade(t):
        return 6.0 * t**5 - 15.0 * t**4 + 10.0 * t**3

    value = 0.0
    for i in (math.floor(x), math.floor(x) + 1):
        for j in (math.floor(y), math.floor(y) + 1):
            gx, gy = slopes[order[order[i % 256] + j % 256] % 16]
            value += fade(1.0 - abs(x - i)) * fade(1.0 - abs(y - j)) * (gx * (x - i) + gy * (y - j))
    return value
