"""Start faces: what a machine, or the foundry, left to be scraped."""

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_erosion, distance_transform_edt

from sim.errors import BadParam
from sim.kernels.grain import add_noise
from sim.model.face import Face, face_from_heights
from sim.model.plate import Plate, PlateMake
from sim.model.start import KINDS, Lay, Start
from sim.process.bluing import SLOPES, noise_order


def machine_face(start: Start, rng: np.random.Generator) -> Face:
    """A start face.

    Raises
    ------
    BadParam
        If the face has fewer than 8 x 8 or more than 6 million cells, or a cutout is not four or five numbers.
    """
    nx, ny = round(start.length_mm / start.pitch_mm), round(start.width_mm / start.pitch_mm)
    if min(nx, ny) < 8 or nx * ny > 6_000_000:
        raise BadParam(f"a face must have 8 x 8 to 6,000,000 cells, got {nx} x {ny}")
    x = ((np.arange(nx) + 0.5) / nx * 2.0 - 1.0)[None, :]
    y = ((np.arange(ny) + 0.5) / ny * 2.0 - 1.0)[:, None]
    lay = KINDS[start.kind]
    height = form_um(x, y, start) + own_form_um(x, y, lay.form_um, rng)
    if start.error_um > 0.0:
        height *= start.error_um / max(float(height.max()) - float(height.min()), 1e-9)
    wide = replace(lay, sweep_mm=max(lay.sweep_mm, 0.55 * start.width_mm)) if lay.sweep_mm > 0.0 else lay
    across_mm = (np.arange(ny, dtype=np.float64) + 0.5) * start.pitch_mm - 0.5 * start.width_mm
    cut_lay(height, start.pitch_mm, across_mm, wide, rng)
    iron = iron_mask(start)
    scored = _break_edges(height, iron, start.edge_break_mm, start.pitch_mm)
    face = face_from_heights(height, iron, scored, start.pitch_mm)
    if start.edge_break_mm == 0.0 and lay.burr_um > 0.0:
        face.burr_um[:] = edge_burr_um(face, lay.burr_um, rng)
    face.warm_k = start.warm_k
    return face


def form_um(x: NDArray[np.float64], y: NDArray[np.float64], start: Start) -> NDArray[np.float64]:
    """Form added by amount, um; x, y from -1 to 1."""
    bows = start.bow_x_um * (1.0 - x * x) + start.bow_y_um * (1.0 - y * y)
    wedge = 0.5 * start.wedge_x_um * x + 0.5 * start.wedge_y_um * y
    rail = np.where(np.abs(y) < 1.0 / 3.0, -start.rail_um * (1.0 - 9.0 * y * y), 0.0)
    return bows + wedge + 0.5 * start.twist_um * x * y + rail


def own_form_um(x: NDArray[np.float64], y: NDArray[np.float64], range_um: float,
                rng: np.random.Generator) -> NDArray[np.float64]:
    """What clamping, heat and the machine left: twist, crown and a dip in a seeded mixture with this range.

    x (1, nx) and y (ny, 1) from -1 to 1.
    """
    twist, crown, dip = rng.uniform(0.35, 0.6), rng.uniform(0.25, 0.5), rng.uniform(0.25, 0.5)
    side, px, py = rng.choice([-1.0, 1.0]), rng.uniform(-0.6, 0.6), rng.uniform(-0.6, 0.6)
    away = ((x - px) / 0.8) ** 2 + ((y - py) / 0.8) ** 2
    hollow = np.where(away < 1.0, (1.0 - away) * (1.0 - away), 0.0)
    shape = twist * side * x * y - crown * (x * x + 0.6 * y * y) - dip * hollow
    return shape * (range_um / (float(shape.max()) - float(shape.min())))


def cut_lay(height: NDArray[np.float64], pitch_mm: float, across_mm: NDArray[np.float64], lay: Lay,
            rng: np.random.Generator) -> None:
    """Feed cusps, straight or on arcs, and the skin between them; changes `height`.

    across_mm (ny,): distance of each row from the axis of the cutter that cut it, at most the sweep.
    """
    phase = rng.uniform()
    along = (np.arange(height.shape[1]) + 0.5)[None, :] * pitch_mm
    across = across_mm[:, None]
    if lay.sweep_mm > 0.0:
        along = along - np.sqrt(lay.sweep_mm * lay.sweep_mm - across * across)
    turn = (along + 0.0 * across) / lay.feed_mm + phase
    turn = turn - np.floor(turn) - 0.5
    cusps = lay.cusp_um * 4.0 * turn * turn
    uneven = np.zeros_like(height)
    if lay.cusp_um > 0.0:
        add_noise(uneven, pitch_mm, 15.0, 15.0, 0.5, rng.uniform() * 200.0, noise_order(rng), SLOPES)
    height += cusps * (1.0 + uneven)
    if lay.skin_um > 0.0:
        for wave, share in ((1.0, 0.8), (4.0, 1.0), (18.0, 1.2)):
            shift = rng.uniform() * 200.0
            add_noise(height, pitch_mm, wave, wave, share * lay.skin_um, shift, noise_order(rng), SLOPES)


def iron_mask(start: Start) -> NDArray[np.bool_]:
    """Where a start face has iron, bool (ny, nx).

    Raises
    ------
    BadParam
        If a cutout is not four or five numbers.
    """
    iron = np.ones((round(start.width_mm / start.pitch_mm), round(start.length_mm / start.pitch_mm)), bool)
    for cutout in start.cutouts:
        _cut_out(iron, cutout, start.pitch_mm)
    return iron


def _cut_out(iron: NDArray[np.bool_], cutout: tuple[float, ...], pitch_mm: float) -> None:
    """Take a cutout out of the mask, with round ends or corners of a radius; changes `iron`."""
    known = len(cutout) in (4, 5) and all(math.isfinite(v) for v in cutout) and min(cutout[2:4]) > 0.0
    round_mm = 0.5 * min(cutout[2:4]) if known else 0.0
    if not known or not 0.0 <= cutout[-1] or (len(cutout) == 5 and cutout[4] > round_mm):
        raise BadParam("a cutout must be x, y, length, width in mm, the last two above 0, and perhaps a corner radius "
                       f"up to half of the shorter, got {cutout}")
    cx, cy, length, width = cutout[:4]
    ny, nx = iron.shape
    x = np.abs((np.arange(nx) + 0.5)[None, :] * pitch_mm - cx)
    y = np.abs((np.arange(ny) + 0.5)[:, None] * pitch_mm - cy)
    r = cutout[4] if len(cutout) == 5 else round_mm
    ex, ey = np.maximum(x - (0.5 * length - r), 0.0), np.maximum(y - (0.5 * width - r), 0.0)
    iron[ex * ex + ey * ey <= r * r] = False


def edge_burr_um(face: Face, burr_um: float, rng: np.random.Generator) -> NDArray[np.float64]:
    """A ragged burr along every edge, some mm long and some mm apart, as it comes off the machine, um (ny, nx)."""
    ragged = np.zeros(face.shape)
    add_noise(ragged, face.pitch_mm, 3.0, 3.0, 1.0, rng.uniform() * 200.0, noise_order(rng), SLOPES)
    edge = face.iron & ~binary_erosion(face.iron)
    return np.where(edge, burr_um * np.maximum(ragged, 0.0), 0.0)


def _break_edges(height: NDArray[np.float64], iron: NDArray[np.bool_], break_mm: float,
                 pitch_mm: float) -> NDArray[np.bool_]:
    """File a 45 degree chamfer on every edge; changes `height`; returns the iron inside it."""
    inward = distance_transform_edt(np.pad(iron, 1))[1:-1, 1:-1] * pitch_mm - 0.5 * pitch_mm
    missing = np.maximum(break_mm - inward, 0.0) * 1e3
    np.subtract(height, missing, out=height, where=iron)
    return iron & (missing == 0.0)


def break_edges(face: Face, width_mm: float) -> None:
    """File the edges of a face that was not broken yet; changes `face`.

    Raises
    ------
    BadParam
        If the width is not in (0, 10] mm; nothing is changed.
    """
    if not 0.0 < width_mm <= 10.0:
        raise BadParam(f"width_mm of an edge break must be in (0, 10] mm, got {width_mm!r}")
    before = face.height_um.copy()
    face.scored &= _break_edges(face.height_um, face.iron, width_mm, face.pitch_mm)
    face.burr_um[face.height_um < before] = 0.0


def make_plate(make: PlateMake, pitch_mm: float, rng: np.random.Generator) -> Plate:
    """A plate as bought: a smooth seeded error of the stated range, no blue on it."""
    nx, ny = round(make.length_mm / pitch_mm), round(make.width_mm / pitch_mm)
    error = np.zeros((ny, nx))
    if make.flatness_um > 0.0:
        for wave, share in ((160.0, 1.0), (60.0, 0.3)):
            add_noise(error, pitch_mm, wave, wave, share, rng.uniform() * 200.0, noise_order(rng), SLOPES)
        error *= make.flatness_um / (float(error.max()) - float(error.min()))
        error -= float(error.max())
    return Plate(pitch_mm, error, np.zeros((ny, nx)), wear_mm3_per_nm=make.wear_mm3_per_nm)


def cusp_um(feed_mm: float, nose_mm: float) -> float:
    """Height of the cusps that a round nose leaves: f^2 / (8 r). Source: turning and milling geometry, any handbook."""
    return feed_mm * feed_mm / (8.0 * nose_mm) * 1e3


def fly_cut_dish_um(sweep_mm: float, width_mm: float, tram_mm: float, over_mm: float) -> float:
    """Hollow across a face fly-cut with the head out of tram along the feed: (R - sqrt(R^2 - W^2/4)) t / D.

    Raises
    ------
    BadParam
        If the cutter does not span the face.
    """
    if not 0.0 < width_mm <= 2.0 * sweep_mm:
        most = f"a fly cutter of sweep radius {sweep_mm:g} mm spans at most {2 * sweep_mm:g} mm"
        raise BadParam(f"{most}, got a width of {width_mm:g} mm")
    return (sweep_mm - math.sqrt(sweep_mm**2 - 0.25 * width_mm**2)) * tram_mm / over_mm * 1e3
