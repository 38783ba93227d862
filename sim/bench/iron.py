"""The picture of a face: iron with its grain and lay, facets that catch the lamp, blue by its thickness.

What is drawn comes from blue, burrs and heights shorter than 10 mm; the form of the face cannot be seen in it.
"""

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import correlate1d, gaussian_filter

from sim.bench.palette import CHALK, INK, MARKS, PLATE, WELL, Rgb
from sim.errors import BadParam
from sim.model.face import Face
from sim.model.film import Blue
from sim.model.plate import Plate

STYLES = ("outlines", "hatching", "plain")
SEEN_UM = Blue().seen_um
BLOCK_MM = 1.0  # the slow part of the heights is known by its means over blocks of this size
SMOOTH_MM, SMOOTH_REACH = 1.5, 6  # Gauss, and how many blocks of it are kept to each side
RING_MM = 1.5  # how near thick blue lies on all four sides of iron that was rubbed bare
SLOPE_UM_PER_MM = 9.0  # slope towards the lamp that is half as light as can be
# thickness of the blue at each colour, and all that follows: chosen by eye on prints of this model, no source
KNOTS_UM = {"iron": 0.0, "halo": 0.22, "medium": 0.6, "ring": 1.15}
FILM_KNOTS_UM = {"iron": 0.0, "halo": 0.5, "medium": 3.5, "ring": 12.0}
TONES, BLUES, BARES = 64, 64, 8  # steps of light, of thickness, of how bare: one look-up a cell
BLUE_STEP_UM = KNOTS_UM["ring"] / (BLUES - 1)
ENCLOSING, THIN = np.uint8(110), np.uint8(60)  # blue in 0.005 um: round a bared top more than this, on it less
BAND = 220  # rows drawn at a time: small arrays are not given back to the system and asked for again
LINES, DOTS, CROSSES = 1, 2, 4
GRAIN_SEED = 20


class IronPicture:
    """The picture of a face, kept up to date stroke by stroke.

    Parameters
    ----------
    face : Face
        Its outline is taken for good: make a new picture when edges are broken or another face is in hand.
    lamp_deg : float
        Where the lamp stands, anticlockwise from the right of the screen.
    style : "outlines", "hatching" or "plain"
        How marks are set off besides their colour.

    Attributes
    ----------
    rgbx : uint8 (ny, nx, 4)
        One pixel a cell, top row first, contiguous; the fourth byte is nothing.

    Raises
    ------
    BadParam
        An unknown style.

    Notes
    -----
    Light = slope towards the lamp of the heights less their means over a few mm (2 G - G G with a Gauss of 1.5 mm:
    a wave of 20 mm keeps under 3 %). The means are weighted by where there is iron, and stand at blocks of 1 mm,
    straight between them.
    """

    def __init__(self, face: Face, *, lamp_deg: float = 135.0, style: str = "outlines") -> None:
        self._check(style)
        self.style, self.lamp_deg = style, lamp_deg
        ny, nx = face.shape
        self.rgbx = np.zeros((ny, nx, 4), np.uint8)
        self._pitch_mm = face.pitch_mm
        self._side = max(1, round(BLOCK_MM / face.pitch_mm))
        self._ring = max(1, round(RING_MM / face.pitch_mm))
        self._flat = face.scored.astype(np.float32)
        self._void = None if face.iron.all() else ~face.iron
        self._rows, self._cols = _between(ny, self._side), _between(nx, self._side)
        blocks = -(-ny // self._side), -(-nx // self._side)
        self._sums = np.zeros(blocks, np.float32)
        share = _smooth(_block_sums(self._flat, self._side))
        self._per_share = np.where(share > 0.05, 1.0 / np.maximum(share, 0.05), 0.0).astype(np.float32)
        self._out = _outward(face)
        self._grain, self._hatching = _grain(ny, nx), _hatching(ny, nx)
        self._still = self._grain
        self.light(lamp_deg, face)

    @property
    def pixels(self) -> NDArray[np.uint8]:
        """The picture as uint8 (ny, nx, 3), top row first; a view."""
        return self.rgbx[:, :, :3]

    def light(self, lamp_deg: float, face: Face) -> None:
        """Move the lamp and draw the whole face."""
        self.lamp_deg = lamp_deg
        ux, uy = math.cos(math.radians(lamp_deg)), math.sin(math.radians(lamp_deg))
        self._still = self._grain + (1.5 * (ux * self._out[0] + uy * self._out[1])).astype(np.float32)
        self.redraw(face)

    def dress(self, style: str, face: Face) -> None:
        """Change the style and draw the whole face."""
        self._check(style)
        self.style = style
        self.redraw(face)

    def redraw(self, face: Face, cells: tuple[int, int, int, int] | None = None) -> tuple[int, int, int, int]:
        """Draw what changed in `cells` (first row, first column, rows, columns of the face), or all of it.

        Returns the part of the picture that was drawn: left, top, width, height. The picture is then the same as if all
        of it had been drawn.
        """
        ny, nx = face.shape
        row, col, rows, cols = (0, 0, ny, nx) if cells is None else cells
        side = self._side
        first = max(row // side, 0), max(col // side, 0)
        last = min(-(-(row + rows) // side), self._sums.shape[0]), min(-(-(col + cols) // side), self._sums.shape[1])
        under = slice(first[0] * side, last[0] * side), slice(first[1] * side, last[1] * side)
        flat = face.height_um[under].astype(np.float32) * self._flat[under]
        self._sums[first[0]:last[0], first[1]:last[1]] = _block_sums(flat, side)
        grow = (SMOOTH_REACH + 2) * side
        shown = (slice(max(row - grow, 0), min(row + rows + grow, ny)),
                 slice(max(col - grow, 0), min(col + cols + grow, nx)))
        for top in range(shown[0].start, shown[0].stop, BAND):
            self._draw(face, (slice(top, min(top + BAND, shown[0].stop)), shown[1]))
        return shown[1].start, ny - shown[0].stop, shown[1].stop - shown[1].start, shown[0].stop - shown[0].start

    def _draw(self, face: Face, shown: tuple[slice, slice]) -> None:
        """Draw these cells; what lies a little farther out is looked at too."""
        pad = max(self._ring, 3) + 2
        wide = tuple(slice(max(s.start - pad, 0), min(s.stop + pad, n)) for s, n in zip(shown, face.shape, strict=True))
        rows, cols = wide
        short = face.height_um[wide].astype(np.float32)
        short -= self._means(rows, cols)
        short *= self._flat[wide]
        blue = face.blue_um[wide].astype(np.float32)
        marked = blue >= np.float32(SEEN_UM)
        blue = _soft(np.minimum(blue, np.float32(KNOTS_UM["ring"])))
        bare = self._bare(blue, short)
        light = self._light(short, face.burr_um[wide])
        light += self._still[wide]
        np.divide(light, 1.0 + np.abs(light), out=light)
        light *= 0.5 * TONES - 0.5
        light += 0.5 * TONES
        blue *= np.float32(0.9999 / BLUE_STEP_UM)
        at = light.astype(np.uint16)
        at *= BLUES
        at += blue.astype(np.uint16)
        at *= BARES
        at += bare
        colours = np.take(_colours(), at, mode="clip")
        if self.style == "outlines":
            _outline(colours, marked)
        elif self.style == "hatching":
            met = np.take(_hatched(), at, mode="clip") & self._hatching[wide]
            np.copyto(colours, _packed(CHALK), where=(met & (LINES | DOTS)) > 0)
            np.copyto(colours, _packed(INK), where=(met & CROSSES) > 0)
        if self._void is not None:
            np.copyto(colours, _packed(WELL), where=self._void[wide])
        inner = tuple(slice(s.start - w.start, s.stop - w.start) for s, w in zip(shown, wide, strict=True))
        whole = self.rgbx.view(np.uint32)[::-1, :, 0]
        whole[shown] = colours[inner]

    def _means(self, rows: slice, cols: slice) -> NDArray[np.float32]:
        """Heights as they are without what is shorter than some mm, for these cells."""
        (low_r, part_r), (low_c, part_c) = self._rows, self._cols
        low_r, part_r, low_c, part_c = low_r[rows], part_r[rows], low_c[cols], part_c[cols]
        r0, r1 = int(low_r[0]), min(int(low_r[-1]) + 2, self._sums.shape[0])
        c0, c1 = int(low_c[0]), min(int(low_c[-1]) + 2, self._sums.shape[1])
        far = tuple(slice(max(a - SMOOTH_REACH, 0), b + SMOOTH_REACH) for a, b in ((r0, r1), (c0, c1)))
        inner = slice(r0 - far[0].start, r1 - far[0].start), slice(c0 - far[1].start, c1 - far[1].start)
        means = _smooth(self._sums[far])[inner] * self._per_share[r0:r1, c0:c1]
        step = np.diff(means, axis=1, append=means[:, -1:])
        along = np.take(means, low_c - c0, axis=1) + np.take(step, low_c - c0, axis=1) * part_c
        step = np.diff(along, axis=0, append=along[-1:])
        full = np.take(step, low_r - r0, axis=0)
        full *= part_r[:, None]
        full += np.take(along, low_r - r0, axis=0)
        return full

    def _light(self, short: NDArray[np.float32], burr_um: NDArray[np.float64]) -> NDArray[np.float32]:
        """How much lighter the lamp makes each cell; burrs shine from every side."""
        scale = -1.0 / (2.0 * self._pitch_mm * SLOPE_UM_PER_MM)
        ux, uy = (np.float32(scale * f(math.radians(self.lamp_deg))) for f in (math.cos, math.sin))
        light = burr_um.astype(np.float32)
        np.minimum(light, np.float32(2.0), out=light)
        light *= np.float32(0.6)
        light[:, 1:-1] += ux * (short[:, 2:] - short[:, :-2])
        light[1:-1] += uy * (short[2:] - short[:-2])
        return light

    def _bare(self, blue: NDArray[np.float32], short: NDArray[np.float32]) -> NDArray[np.uint8]:
        """How bare (0 to BARES - 1) the top of a mark was rubbed: little blue, much on all four sides, not in a dip."""
        thick = (blue * np.float32(200.0)).astype(np.uint8)  # at most 230: the blue of a ring
        if thick.max(initial=0) <= ENCLOSING:
            return np.zeros(blue.shape, np.uint8)
        enclosed = np.maximum(_least_of_four(thick, self._ring), ENCLOSING) - ENCLOSING
        thin = THIN - np.minimum(thick, THIN)
        bare = np.minimum(np.minimum(enclosed >> 3, thin >> 2), np.uint8(BARES - 1))
        bare *= (short > -0.3).view(np.uint8)
        return bare

    @staticmethod
    def _check(style: str) -> None:
        if style not in STYLES:
            raise BadParam(f"style must be one of {', '.join(STYLES)}, got {style!r}")


def iron_picture(face: Face, *, lamp_deg: float = 135.0, style: str = "outlines") -> NDArray[np.uint8]:
    """The picture of a face, uint8 (ny, nx, 3), top row first; see `IronPicture`.

    Raises
    ------
    BadParam
        An unknown style.
    """
    return np.ascontiguousarray(IronPicture(face, lamp_deg=lamp_deg, style=style).pixels)


def film_picture(plate: Plate, *, mirrored: bool = False) -> NDArray[np.uint8]:
    """The film on the plate, uint8 (py, px, 3), top row first: bare patches are where the part bore.

    Parameters
    ----------
    mirrored : bool
        As it lies beside a part that was turned over its long edge: far and near are exchanged.
    """
    steps = np.linspace(0.0, FILM_KNOTS_UM["ring"], 256)
    film = np.minimum(plate.film_um.astype(np.float32) * np.float32(255.0 / steps[-1]), np.float32(255.0))
    at, speck = film.astype(np.uint8), 1.0 + 0.12 * _grain(*film.shape)
    picture = np.empty((*film.shape, 3), np.uint8)
    for channel in range(3):
        tones = [PLATE[channel] if name == "iron" else MARKS[name][channel] for name in FILM_KNOTS_UM]
        tone = np.interp(steps, list(FILM_KNOTS_UM.values()), tones).astype(np.float32)
        picture[:, :, channel] = np.clip(np.take(tone, at) * speck, 0.0, 255.0)
    return picture if mirrored else np.ascontiguousarray(picture[::-1])


# ---------------------------------------------------------------- the slow part of the heights


def _block_sums(values: NDArray[np.float32], side: int) -> NDArray[np.float32]:
    """Sums over blocks of side x side cells; a last block may be cut off. The same block always gives the same bits."""
    ny, nx = values.shape
    rows, cols = -(-ny // side), -(-nx // side)
    if (rows * side, cols * side) != (ny, nx):
        values = np.pad(values, ((0, rows * side - ny), (0, cols * side - nx)))
    lines = values[0::side].copy()
    for k in range(1, side):
        lines += values[k::side]
    sums = lines[:, 0::side].copy()
    for k in range(1, side):
        sums += lines[:, k::side]
    return sums


@lru_cache(maxsize=1)
def _taps() -> NDArray[np.float64]:
    """2 G - G G along one axis, cut off and brought to the sum 1."""
    x = np.arange(-3 * SMOOTH_REACH, 3 * SMOOTH_REACH + 1) * BLOCK_MM
    once = np.exp(-0.5 * (x / SMOOTH_MM) ** 2)
    once /= once.sum()
    taps = (2.0 * once - np.convolve(once, once, "same"))[2 * SMOOTH_REACH:-2 * SMOOTH_REACH]
    return taps / taps.sum()


def _smooth(sums: NDArray[np.float32]) -> NDArray[np.float32]:
    taps = _taps()
    return correlate1d(correlate1d(sums, taps, axis=0, mode="constant"), taps, axis=1, mode="constant")


def _between(cells: int, side: int) -> tuple[NDArray[np.intp], NDArray[np.float32]]:
    """For each cell the block before its middle, and the way to the next as a share."""
    place = np.clip((np.arange(cells) + 0.5) / side - 0.5, 0.0, None)
    return np.floor(place).astype(np.intp), (place - np.floor(place)).astype(np.float32)


# ---------------------------------------------------------------- what lies still


@lru_cache(maxsize=4)
def _grain(ny: int, nx: int) -> NDArray[np.float32]:
    """Grain of the iron, the same for every face of this size; knows nothing of heights."""
    rng = np.random.default_rng(GRAIN_SEED)
    fine = rng.standard_normal((ny, nx), dtype=np.float32)
    grain = 0.07 * fine + 0.20 * gaussian_filter(rng.standard_normal((ny, nx), dtype=np.float32), 1.2)
    grain -= 0.30 * (fine > 2.6)  # flakes of graphite
    grain.flags.writeable = False
    return grain


def _outward(face: Face) -> NDArray[np.float32]:
    """Which way the filed edges look, float32 (2, ny, nx): x and y, zero on the flat."""
    soft = gaussian_filter(face.scored.astype(np.float32), 0.5 / face.pitch_mm, mode="constant")
    dy, dx = np.gradient(soft)
    size = np.maximum(np.hypot(dx, dy), 1e-6)
    return np.where(face.scored, 0.0, -np.stack([dx, dy]) / size).astype(np.float32)


# ---------------------------------------------------------------- colours


@lru_cache(maxsize=4)
def _hatching(ny: int, nx: int) -> NDArray[np.uint8]:
    """Which strokes of hatching pass through a cell: lines 3 cells apart, dots and small crosses every 4."""
    i, j = np.ogrid[:ny, :nx]
    a, b = i % 4, j % 4
    cross = ((a == 1) & (b <= 2)) | ((b == 1) & (a <= 2))
    return (LINES * ((i - j) % 3 == 0) + DOTS * ((a == 0) & (b == 0)) + CROSSES * cross).astype(np.uint8)


@lru_cache(maxsize=1)
def _hatched() -> NDArray[np.uint8]:
    """Which hatching each step of thickness and bareness takes: lines for thick blue, dots for medium."""
    blue, half = np.arange(BLUES) * BLUE_STEP_UM, 0.5 * (KNOTS_UM["medium"] + KNOTS_UM["ring"])
    kind = np.where(blue >= half, LINES, np.where(blue >= 0.4, DOTS, 0))[:, None] + np.zeros((TONES, 1, BARES), int)
    kind[:, :, BARES // 2:] = CROSSES
    return kind.astype(np.uint8).ravel()


def _packed(colour: Rgb) -> np.uint32:
    return np.array([*colour, 255], np.uint8).view(np.uint32)[0]


@lru_cache(maxsize=1)
def _colours() -> NDArray[np.uint32]:
    """Packed colour of every step of light, thickness and bareness."""
    blue = np.arange(BLUES) * BLUE_STEP_UM
    knots = list(KNOTS_UM.values())
    base = np.stack([np.interp(blue, knots, [MARKS[name][c] for name in KNOTS_UM]) for c in range(3)], axis=1)
    bare = (np.arange(BARES) / (BARES - 1.0))[None, :, None]
    base = base[:, None, :] + bare * (np.array(MARKS["bared"], float) - base[:, None, :])
    light = (np.arange(TONES) - 0.5 * TONES + 0.5) / (0.5 * TONES - 0.5)
    cover = np.minimum(blue / KNOTS_UM["ring"], 1.0)[:, None, None]
    glint = np.maximum(light - 0.25, 0.0)[:, None, None, None] ** 2 * (90.0 + 40.0 * cover)
    lit = base * (1.0 + (0.46 + 0.14 * cover) * (light[:, None, None, None] - 0.02)) + glint
    full = np.full((TONES, BLUES, BARES, 4), 255, np.uint8)
    full[..., :3] = np.clip(np.rint(lit), 0.0, 255.0)
    return full.view(np.uint32).ravel()


def _least_of_four(thick: NDArray[np.uint8], reach: int) -> NDArray[np.uint8]:
    """The least of the thickest found within `reach` cells to the left, right, below and above; 0 outside."""
    least = np.full_like(thick, 255)
    for flip in (False, True):
        mine, into = (thick.T, least.T) if flip else (thick, least)
        cells = mine.shape[0]
        most = np.zeros((cells + 2 * reach, mine.shape[1]), np.uint8, order="F" if flip else "C")
        most[reach : reach + cells] = mine
        wide = 1  # rows of which each now holds the most
        while wide < reach:
            step = min(wide, reach - wide)
            most, wide = np.maximum(most[:-step], most[step:]), wide + step
        np.minimum(into, most[:cells], out=into)
        np.minimum(into, most[reach + 1 : reach + 1 + cells], out=into)
    return least


def _outline(colours: NDArray[np.uint32], marked: NDArray[np.bool_]) -> None:
    """A dark line inside the edge of every mark three cells broad, a light one outside; changes `colours`.

    Narrower marks, and gaps of one cell between marks, keep their own colour: lines would leave nothing of them.
    """
    if not marked.any():
        return
    inner = _spread(marked, np.bitwise_and)
    grown = _spread(inner, np.bitwise_or)
    np.copyto(colours, _packed(INK), where=marked & ~inner & grown)
    body = _spread(grown, np.bitwise_or) & marked
    light = _spread(body, np.bitwise_or) & ~marked
    light[:, 1:-1] &= ~(marked[:, 2:] & marked[:, :-2])
    light[1:-1] &= ~(marked[2:] & marked[:-2])
    np.copyto(colours, _packed(CHALK), where=light)


def _spread(mask: NDArray[np.bool_], join: np.ufunc) -> NDArray[np.bool_]:
    """Each cell joined with its four neighbours."""
    joined = mask.copy()
    for mine, other in ((np.s_[1:], np.s_[:-1]), (np.s_[:-1], np.s_[1:]),
                        (np.s_[:, 1:], np.s_[:, :-1]), (np.s_[:, :-1], np.s_[:, 1:])):
        join(joined[mine], mask[other], out=joined[mine])
    return joined


def _soft(blue: NDArray[np.float32]) -> NDArray[np.float32]:
    """Blue with the corners of its cells rubbed off: 1 2 1 along both axes."""
    pairs = blue[:, 1:] + blue[:, :-1]
    across = 4.0 * blue
    np.add(pairs[:, 1:], pairs[:, :-1], out=across[:, 1:-1])
    pairs = across[1:] + across[:-1]
    soft = 4.0 * across
    np.add(pairs[1:], pairs[:-1], out=soft[1:-1])
    soft *= np.float32(1.0 / 16.0)
    return soft
