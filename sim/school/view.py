"""What the eye gets: a picture of a patch of blued iron under a lamp, with everything that does not matter varied.

Heights and film come from the model. Colours, glints and dirt are chosen by eye on prints of this model, no source.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, map_coordinates

from sim.errors import BadParam
from sim.model.face import Face
from sim.model.film import Blue, darkness

Array = NDArray[np.float32]
PIGMENTS = {  # thin and thick colour, sRGB, and opacity against that of blue
    "blue": ((92, 116, 172), (20, 42, 122), 1.0),
    "dark blue": ((84, 96, 130), (14, 22, 60), 0.8),
    "red lead": ((206, 128, 92), (172, 56, 26), 1.3),
    "black": ((92, 92, 96), (22, 22, 25), 0.9),
}
LIGHTS = {"warm": (1.14, 1.0, 0.76), "neutral": (1.0, 1.0, 1.0), "cold": (0.88, 1.0, 1.16)}
LAMPS = {"raking": (8.0, 20.0), "slanting": (20.0, 40.0), "high": (40.0, 60.0)}  # degrees above the iron
VIEWS = ("bench view", "phone picture", "true size")
IRON = (134, 132, 128)
CLOTH = (52, 46, 41)
SLOPE_UM_PER_MM = 6.0  # slope of the iron that doubles or halves the light under a lamp 30 degrees high
MARGIN_MM = 2.0  # what is shown around the patch that is asked about


@dataclass(frozen=True)
class Condition:
    """All that does not matter to what is high, but changes the picture.

    Attributes
    ----------
    pigment, light, lamp : names of `PIGMENTS`, `LIGHTS`, `LAMPS`
        These three name the condition of a family; the others are drawn anew for every item.
    view : name of `VIEWS`
    lamp_deg, lamp_height_deg : where the lamp stands, anticlockwise from the right, and how high
    exposure_stops : lighter or darker than right
    sheen : how oily the film shines, 0 to 1
    grain, lay, lay_deg : how coarse the iron shows, and the lay that an earlier owner left, 0 to 1
    lint : fibres lying on the iron
    fingerprint : 0 none, to 1
    tilt_deg, tilt_to_deg : how far, and which way, the camera leans
    blur_mm, px_per_mm : softness and distance
    seed : places of dirt and grain
    """

    pigment: str
    light: str
    lamp: str
    view: str = "bench view"
    lamp_deg: float = 135.0
    lamp_height_deg: float = 30.0
    exposure_stops: float = 0.0
    sheen: float = 0.4
    grain: float = 0.5
    lay: float = 0.3
    lay_deg: float = 20.0
    lint: int = 0
    fingerprint: float = 0.0
    tilt_deg: float = 0.0
    tilt_to_deg: float = 0.0
    blur_mm: float = 0.05
    px_per_mm: float = 10.0
    seed: int = 0

    @property
    def name(self) -> str:
        """Name of the family's condition, as "red lead, cold, raking"."""
        return f"{self.pigment}, {self.light}, {self.lamp}"


CONDITIONS = tuple(f"{p}, {li}, {la}" for p in PIGMENTS for li in LIGHTS for la in LAMPS)


def condition_named(name: str, seed: int) -> Condition:
    """A condition of this name, everything else drawn by the seed.

    Raises
    ------
    BadParam
        A name that is none of `CONDITIONS`.
    """
    if name not in CONDITIONS:
        raise BadParam(f"condition must be pigment, light, lamp as in {CONDITIONS[0]!r}, got {name!r}")
    pigment, light, lamp = name.split(", ")
    rng = np.random.default_rng([seed, 71])
    view = VIEWS[int(rng.choice(3, p=(0.45, 0.4, 0.15)))]
    phone = view == "phone picture"
    low, high = LAMPS[lamp]
    return Condition(
        pigment, light, lamp, view, float(rng.uniform(0.0, 360.0)), float(rng.uniform(low, high)),
        float(rng.uniform(-1.0, 1.0)), float(rng.uniform(0.0, 1.0)), float(rng.uniform(0.2, 1.0)),
        float(rng.uniform(0.0, 0.8)), float(rng.uniform(0.0, 180.0)), int(rng.integers(0, 5)),
        float(rng.uniform(0.3, 1.0)) if rng.random() < 0.3 else 0.0,
        float(rng.uniform(4.0, 25.0)) if phone else float(rng.uniform(0.0, 8.0)), float(rng.uniform(0.0, 360.0)),
        float(rng.uniform(0.06, 0.16)) if phone else float(rng.uniform(0.02, 0.08)),
        4.5 if view == "true size" else float(rng.uniform(8.0, 11.0)), seed)


@dataclass(frozen=True, eq=False)
class Picture:
    """A picture and where the iron lies in it.

    Attributes
    ----------
    rgb : uint8 (h, w, 3), top row first
    px_per_mm : float
        In the middle of the picture, before the camera leans.
    caption : str
    plane : float64 (3, 3)
        From x, y, 1 of the face in mm to pixels from the left and the top, to be divided by the third.
    """

    rgb: NDArray[np.uint8]
    px_per_mm: float
    caption: str
    plane: NDArray[np.float64]

    def px_of(self, x_mm: float, y_mm: float) -> tuple[float, float]:
        """Pixel (from the left, from the top) of a place on the face."""
        u, v, w = self.plane @ (x_mm, y_mm, 1.0)
        return float(u / w), float(v / w)

    def mm_of(self, left_px: float, top_px: float) -> tuple[float, float]:
        """Place on the face of a pixel."""
        u, v, w = np.linalg.solve(self.plane, (left_px, top_px, 1.0))
        return float(u / w), float(v / w)


@dataclass(frozen=True)
class Patch:
    """The rectangle of a face that is asked about, mm: x and y of its lower left corner, width and height."""

    x_mm: float
    y_mm: float
    wide_mm: float
    high_mm: float


@dataclass(frozen=True)
class Stain:
    """A spot of rust or oil without height: place and radius, and how much it looks like the pigment (0 brown to 1)."""

    x_mm: float
    y_mm: float
    radius_mm: float
    alike: float


def picture(face: Face, patch: Patch, condition: Condition, *, caption: str = "", square: bool = True,
            stains: tuple[Stain, ...] = ()) -> Picture:
    """The picture of a patch of a face, as printed, under a condition; pure and the same for equal arguments.

    Parameters
    ----------
    square : bool
        Four small corners of chalk show the patch.
    """
    c = condition
    s = c.px_per_mm
    beyond = 0.13 * max(patch.wide_mm, patch.high_mm) if c.tilt_deg else 0.0  # seen only where the camera leans
    margin = MARGIN_MM + beyond
    wide, high = patch.wide_mm + 2.0 * margin, patch.high_mm + 2.0 * margin
    x = patch.x_mm - margin + (np.arange(round(wide * s)) + 0.5) / s
    y = patch.y_mm - margin + (np.arange(round(high * s)) + 0.5)[::-1] / s
    rng = np.random.default_rng([c.seed, 72])
    on_x, on_y = _between(x, face.shape[1], face.pitch_mm), _between(y, face.shape[0], face.pitch_mm)
    iron = _at(face.iron.astype(np.float32), on_x, on_y)
    tops = np.where(face.iron, face.height_um, np.nan)
    short = _short_um(tops, face.pitch_mm)
    colour, glint = _lit_iron(_at(short, on_x, on_y), _at(face.burr_um.astype(np.float32), on_x, on_y), c, rng)
    film = _at(face.blue_um.astype(np.float32), on_x, on_y)
    for stain in stains:
        colour = _stained(colour, stain, x, y, c)
    colour = _inked(colour, film, glint, c, rng)
    colour = _dirtied(colour, c, rng)
    colour = colour * iron[..., None] + _linear(CLOTH) * (1.0 - iron[..., None])
    if square:
        _corners(colour, s, margin)
    colour = _lit(colour, c)
    plane = np.array([[s, 0.0, -s * (patch.x_mm - margin)], [0.0, -s, s * (patch.y_mm - margin + high)],
                      [0.0, 0.0, 1.0]])
    if c.tilt_deg:
        cut = round(beyond * s)
        colour, plane = _leaned(colour, plane, c)
        colour = colour[cut : colour.shape[0] - cut, cut : colour.shape[1] - cut]
        plane = np.array([[1.0, 0.0, -cut], [0.0, 1.0, -cut], [0.0, 0.0, 1.0]]) @ plane
    return Picture(_developed(colour, c, rng), s, caption, plane)


def larger(shown: Picture, least_px: int) -> Picture:
    """The same picture, each pixel a square of pixels, until its shorter side has so many; as it is where it has."""
    times = -(-least_px // min(shown.rgb.shape[:2]))
    if times <= 1:
        return shown
    rgb = shown.rgb.repeat(times, axis=0).repeat(times, axis=1)
    scale = np.diag([float(times), float(times), 1.0])
    return replace(shown, rgb=rgb, px_per_mm=shown.px_per_mm * times, plane=scale @ shown.plane)


def numbered(shown: Picture, points_mm: tuple[tuple[float, float], ...]) -> Picture:
    """The same picture with 1, 2, 3 ... beside the points, and a short line to each: for files without a window."""
    rgb = shown.rgb.copy()
    for n, (x, y) in enumerate(points_mm, 1):
        left, top = shown.px_of(x, y)
        to_left = left > rgb.shape[1] - 44  # or the number would stand beyond the picture
        down = top < 32
        for k in range(4, 12):
            _dot(rgb, left + (-k if to_left else k), top + (k if down else -k), (255, 250, 225))
        _digits(rgb, n, round(left) + (-40 if to_left else 13), round(top) + (12 if down else -24))
    return replace(shown, rgb=rgb)


def ringed(shown: Picture, points_mm: Sequence[tuple[float, float]]) -> Picture:
    """The same picture with a ring round each of these points."""
    rgb = shown.rgb.copy()
    for x, y in points_mm:
        left, top = shown.px_of(x, y)
        for radius, tone in ((8.0, DARK_RGB), (11.0, DARK_RGB), (9.0, GREEN_RGB), (10.0, GREEN_RGB)):
            for turn in np.linspace(0.0, 2.0 * math.pi, 120):
                _dot(rgb, left + radius * math.cos(turn), top + radius * math.sin(turn), tone)
    return replace(shown, rgb=rgb)


def measured(shown: Picture, bar_mm: float) -> Picture:
    """The same picture with a strip below it, on which a bar is as long as so many mm in its middle; the caption
    says how many."""
    high, wide, _ = shown.rgb.shape
    rgb = np.concatenate([shown.rgb, np.full((STRIP_PX, wide, 3), DARK_RGB, np.uint8)])
    x, y = shown.mm_of(0.5 * wide, 0.5 * high)
    left, middle = 10, high + STRIP_PX // 2
    right = left + round(shown.px_of(x + bar_mm, y)[0] - 0.5 * wide)
    rgb[middle - 1:middle + 1, left:right] = CHALK_RGB
    for end in (left, right - 1):
        rgb[middle - 5:middle + 5, end] = CHALK_RGB
    told = f"the bar is {bar_mm:g} mm"
    return replace(shown, rgb=rgb, caption=f"{shown.caption}; {told}" if shown.caption else told)


def outlined(shown: Picture, edges_mm: Sequence[tuple[float, float, float, float]]) -> Picture:
    """The same picture with these lines on it (x0, y0, x1, y1)."""
    rgb = shown.rgb.copy()
    for x0, y0, x1, y1 in edges_mm:
        (left, top), (right, bottom) = shown.px_of(x0, y0), shown.px_of(x1, y1)
        count = 2 * math.ceil(max(abs(right - left), abs(bottom - top))) + 1
        for x, y in zip(np.linspace(left, right, count), np.linspace(top, bottom, count), strict=True):
            _dot(rgb, x, y, GREEN_RGB)
    return replace(shown, rgb=rgb)


# ---------------------------------------------------------------- from cells to pixels


def _between(at_mm: NDArray[Any], cells: int, pitch_mm: float) -> Array:
    """Weights (pixels, cells) of a cubic B-spline through the cells; pixels off the face get none."""
    place = at_mm / pitch_mm - 0.5
    low = np.floor(place).astype(int)
    t = place - low
    shares = ((1 - t) ** 3 / 6, (3 * t**3 - 6 * t**2 + 4) / 6, (-3 * t**3 + 3 * t**2 + 3 * t + 1) / 6, t**3 / 6)
    weights = np.zeros((len(at_mm), cells), np.float32)
    inside = (at_mm >= 0.0) & (at_mm <= cells * pitch_mm)
    rows = np.arange(len(at_mm))
    for k, share in enumerate(shares):
        np.add.at(weights, (rows, np.clip(low + k - 1, 0, cells - 1)), np.where(inside, share, 0.0))
    return weights


def _at(values: Array, on_x: Array, on_y: Array) -> Array:
    """Values of the cells at the pixels."""
    return np.asarray(on_y @ values @ on_x.T, dtype=np.float32)


def _short_um(tops: NDArray[np.float64], pitch_mm: float) -> Array:
    """Heights without what is longer than some mm; 0 where there is no iron."""
    iron = np.isfinite(tops)
    middle = float(np.median(tops[iron]))
    held = np.where(iron, np.clip(np.nan_to_num(tops) - middle, -60.0, 60.0), 0.0)
    soft = gaussian_filter(held, 1.5 / pitch_mm)
    share = np.maximum(gaussian_filter(iron.astype(np.float64), 1.5 / pitch_mm), 0.05)
    return np.where(iron, np.clip(held - soft / share, -12.0, 12.0), 0.0).astype(np.float32)


def _leaned(colour: Array, plane: NDArray[np.float64], c: Condition) -> tuple[Array, NDArray[np.float64]]:
    """The picture through a camera that leans: farther parts are smaller, and all is foreshortened that way."""
    high, wide, _ = colour.shape
    to, lean = math.radians(c.tilt_to_deg), math.radians(c.tilt_deg)
    ux, uy = math.cos(to), -math.sin(to)
    k = math.cos(lean) - 1.0
    away = math.sin(lean) / (2.2 * max(high, wide))
    turn = np.array([[1.0 + k * ux * ux, k * ux * uy, 0.0], [k * ux * uy, 1.0 + k * uy * uy, 0.0],
                     [away * ux, away * uy, 1.0]])
    centre = np.array([[1.0, 0.0, -0.5 * wide], [0.0, 1.0, -0.5 * high], [0.0, 0.0, 1.0]])
    lens = np.linalg.inv(centre) @ turn @ centre
    back = np.linalg.inv(lens)
    left, top = np.meshgrid(np.arange(wide) + 0.5, np.arange(high) + 0.5)
    u, v, w = (back[n, 0] * left + back[n, 1] * top + back[n, 2] for n in range(3))
    at = np.stack([v / w - 0.5, u / w - 0.5])
    seen = np.stack([map_coordinates(colour[..., n], at, order=1, mode="nearest") for n in range(3)], axis=-1)
    return seen.astype(np.float32), lens @ plane


# ---------------------------------------------------------------- light and colour, in linear light


def _linear(colour: tuple[int, int, int]) -> Array:
    return ((np.array(colour, np.float32) / 255.0) ** 2.2).astype(np.float32)


def _slope_to_lamp(values: Array, c: Condition) -> Array:
    """Rise per mm of what faces the lamp (positive towards it); rows run down."""
    down, right = np.gradient(values, 1.0 / c.px_per_mm)
    to = math.radians(c.lamp_deg)
    return np.asarray(-(math.cos(to) * right - math.sin(to) * down), dtype=np.float32)


def _streaks(shape: tuple[int, int], c: Condition, rng: np.random.Generator) -> Array:
    """Long scratches one way, standard deviation 1."""
    noise = np.fft.rfft2(rng.standard_normal(shape))
    fy, fx = np.fft.fftfreq(shape[0])[:, None] * c.px_per_mm, np.fft.rfftfreq(shape[1])[None, :] * c.px_per_mm
    to = math.radians(c.lay_deg)
    along, across = fx * math.cos(to) - fy * math.sin(to), fx * math.sin(to) + fy * math.cos(to)
    noise *= np.exp(-0.5 * (along * 14.0) ** 2 - 0.5 * (across * 0.5) ** 2)
    streaks = np.fft.irfft2(noise, shape)
    return (streaks / max(float(streaks.std()), 1e-9)).astype(np.float32)


def _lit_iron(short: Array, burr: Array, c: Condition, rng: np.random.Generator) -> tuple[Array, Array]:
    """Bare iron, linear (h, w, 3), and how strongly each pixel throws the lamp back."""
    shape = (short.shape[0], short.shape[1])
    rake = 1.0 / math.tan(math.radians(max(c.lamp_height_deg, 8.0)))  # 0.6 high to 7 raking
    relief = _slope_to_lamp(short, c) / SLOPE_UM_PER_MM * min(0.35 + 0.33 * rake, 1.7)
    light = relief / (1.0 + np.abs(relief))
    fine = rng.standard_normal(shape).astype(np.float32)
    flakes = gaussian_filter(rng.standard_normal(shape).astype(np.float32), 0.12 * c.px_per_mm)
    flakes /= max(float(flakes.std()), 1e-9)
    tone = 1.0 + 0.62 * light + c.grain * (0.035 * fine + 0.045 * flakes - 0.25 * (flakes > 2.3))
    tone += 0.07 * c.lay * _streaks(shape, c, rng)
    glint = np.maximum(light - 0.35, 0.0) ** 2 * 1.6 + np.minimum(burr, 3.0) * 0.10
    colour = _linear(IRON) * np.maximum(tone, 0.12)[..., None] + (0.55 * glint)[..., None]
    return colour.astype(np.float32), light


def _inked(colour: Array, film: Array, light: Array, c: Condition, rng: np.random.Generator) -> Array:
    """Film over the iron: covers by its thickness, shines by its oil."""
    thin, thick, opacity = PIGMENTS[c.pigment]
    film = np.maximum(film, 0.0)
    cover = darkness(film, Blue().opacity_um * opacity)[..., None]
    body = np.clip(film / 1.4, 0.0, 1.0)[..., None]
    paint = _linear(thin) * (1.0 - body) + _linear(thick) * body
    grainy = gaussian_filter(rng.standard_normal(film.shape).astype(np.float32), 0.9)
    paint = paint * (1.0 + 0.30 * light[..., None] + 0.12 * grainy[..., None])
    wet = _slope_to_lamp(gaussian_filter(film, 0.1 * c.px_per_mm), c)
    shine = c.sheen * np.clip(0.22 * wet + 0.25 * light, 0.0, 0.8) ** 2 * np.minimum(film, 1.0)
    return np.asarray(colour * (1.0 - cover) + np.maximum(paint, 0.0) * cover + 0.9 * shine[..., None])


def _stained(colour: Array, stain: Stain, x: NDArray[Any], y: NDArray[Any], c: Condition) -> Array:
    """A stain soaked into the iron, its edge soft and uneven."""
    dx, dy = x[None, :] - stain.x_mm, y[:, None] - stain.y_mm
    turn = np.arctan2(dy, dx)
    reach = stain.radius_mm * (1.0 + 0.18 * np.sin(2.0 * turn + stain.x_mm) + 0.12 * np.sin(3.0 * turn + stain.y_mm))
    cover = 0.8 / (1.0 + np.exp(np.minimum((np.hypot(dx, dy) / reach - 1.0) * 9.0, 50.0)))
    thin, thick, _ = PIGMENTS[c.pigment]
    pigment = 0.4 * _linear(thin) + 0.6 * _linear(thick)
    tone = (1.0 - stain.alike) * _linear((74, 52, 38)) + stain.alike * pigment
    own = colour / max(float(colour.mean()), 1e-6)  # the grain shows through
    return np.asarray(colour * (1.0 - cover[..., None]) + tone * own * cover[..., None], dtype=np.float32)


def _dirtied(colour: Array, c: Condition, rng: np.random.Generator) -> Array:
    """Lint and a finger's print, drawn over all."""
    high, wide, _ = colour.shape
    s = c.px_per_mm
    thin, thick, _ = PIGMENTS[c.pigment]
    if c.fingerprint:
        cx, cy, turn = rng.uniform(0.0, wide), rng.uniform(0.0, high), rng.uniform(0.0, 3.14)
        left, top = np.meshgrid(np.arange(wide) - cx, np.arange(high) - cy)
        a, b = (left * math.cos(turn) + top * math.sin(turn)) / s, (top * math.cos(turn) - left * math.sin(turn)) / s
        inside = np.exp(-((a / 7.0) ** 4) - (b / 5.0) ** 4)
        warp = gaussian_filter(rng.standard_normal((high, wide)), 2.0 * s) * 14.0 * s
        ridges = 0.5 + 0.5 * np.sin(2.0 * np.pi / 0.55 * np.hypot(a * 0.8, b + 2.0) + warp)
        smear = (0.30 * c.fingerprint * inside * np.clip(1.6 * ridges - 0.3, 0.0, 1.0))[..., None]
        colour = colour * (1.0 - smear) + 0.8 * _linear(thin) * smear
    for _ in range(c.lint):
        at = rng.uniform((0.0, 0.0), (wide, high))
        way, bend = rng.uniform(0.0, 6.28), rng.uniform(-0.5, 0.5)
        length = rng.uniform(1.5, 5.0) * s
        steps = np.linspace(0.0, 1.0, max(8, round(2 * length)))
        turns = way + bend * 4.0 * steps
        across = at[0] + np.cumsum(np.cos(turns)) * length / len(steps)
        down = at[1] + np.cumsum(np.sin(turns)) * length / len(steps)
        ok = (across >= 1) & (across < wide - 1) & (down >= 1) & (down < high - 1)
        hair = np.zeros((high, wide), np.float32)
        np.add.at(hair, (down[ok].astype(int), across[ok].astype(int)), 1.0)
        hair = np.clip(gaussian_filter(hair, max(0.05 * s, 0.5)) * 1.3, 0.0, 0.85)[..., None]
        tone = _linear((226, 222, 212)) if rng.random() < 0.6 else 0.5 * (_linear(thick) + _linear(thin))
        colour = colour * (1.0 - hair) + tone * hair
    return np.asarray(colour, dtype=np.float32)


def _lit(colour: Array, c: Condition) -> Array:
    """The lamp's colour, and how its light falls off across the patch, more when it stands low."""
    high, wide, _ = colour.shape
    to = math.radians(c.lamp_deg)
    left, top = np.linspace(-1.0, 1.0, wide)[None, :], np.linspace(-1.0, 1.0, high)[:, None]
    towards = (left * math.cos(to) - top * math.sin(to)).astype(np.float32)
    fall = 1.0 + (0.34 - 0.26 * c.lamp_height_deg / 60.0) * towards
    glare = 0.10 * c.sheen * np.exp(-((left - 0.6 * math.cos(to)) ** 2 + (top + 0.6 * math.sin(to)) ** 2) / 0.35)
    lit = (colour * fall[..., None] + glare.astype(np.float32)[..., None]) * np.array(LIGHTS[c.light], np.float32)
    return np.asarray(lit, dtype=np.float32)


def _developed(colour: Array, c: Condition, rng: np.random.Generator) -> NDArray[np.uint8]:
    """Blur, exposure with a shoulder, the camera's noise, and eight bits."""
    soft = max(c.blur_mm * c.px_per_mm, 0.35)
    colour = np.stack([gaussian_filter(colour[..., n], soft) for n in range(3)], axis=-1)
    colour = np.maximum(colour, 0.0) * np.float32(2.0**c.exposure_stops)
    colour = np.where(colour > 0.6, 0.6 + 0.4 * np.tanh((colour - 0.6) / 0.4), colour)
    shown = colour ** np.float32(1.0 / 2.2)
    if c.view == "phone picture":
        shown = shown + 0.012 * rng.standard_normal(shown.shape[:2]).astype(np.float32)[..., None]
    return np.clip(np.rint(255.0 * shown), 0.0, 255.0).astype(np.uint8)


# ---------------------------------------------------------------- chalk


def _corners(colour: Array, s: float, margin_mm: float) -> None:
    """Corners of chalk round the patch; changes `colour`."""
    high, wide, _ = colour.shape
    edge, arm, broad = round((margin_mm - 0.35) * s), round(1.6 * s), max(1, round(0.16 * s))
    chalk = _linear((232, 230, 220))
    for top in (slice(edge, edge + broad), slice(high - edge - broad, high - edge)):
        for left in (slice(edge, edge + arm), slice(wide - edge - arm, wide - edge)):
            colour[top, left] = 0.25 * colour[top, left] + 0.75 * chalk
    for left in (slice(edge, edge + broad), slice(wide - edge - broad, wide - edge)):
        for top in (slice(edge, edge + arm), slice(high - edge - arm, high - edge)):
            colour[top, left] = 0.25 * colour[top, left] + 0.75 * chalk


def _dot(rgb: NDArray[np.uint8], left: float, top: float, tone: tuple[int, int, int]) -> None:
    i, j = round(top), round(left)
    if 0 <= i < rgb.shape[0] and 0 <= j < rgb.shape[1]:
        rgb[i, j] = tone


GLYPHS = ("111101101101111", "010110010010111", "111001111100111", "111001011001111", "101101111001001",
          "111100111001111", "111100111101111", "111001010010010", "111101111101111", "111101111001111",
          "000000111111101", "0")
STRIP_PX = 22
CHALK_RGB, DARK_RGB, GREEN_RGB = (255, 250, 225), (20, 24, 22), (110, 235, 120)


def _digits(rgb: NDArray[np.uint8], number: int, left: int, top: int) -> None:
    """A number in a dark box, each dot of its letters two pixels wide; changes `rgb`."""
    text = str(number)
    box = rgb[max(top - 2, 0):max(top + 12, 0), max(left - 2, 0):max(left + 8 * len(text), 0)]
    box[:] = box // 4
    _letters(rgb, text, left, top)


def _letters(rgb: NDArray[np.uint8], text: str, left: int, top: int) -> None:
    """Figures and m, each dot of them two pixels wide; changes `rgb`."""
    for k, sign in enumerate(text):
        for n, bit in enumerate(GLYPHS["0123456789m ".index(sign)]):
            if bit == "1":
                for dy in (0, 1):
                    for dx in (0, 1):
                        _dot(rgb, left + 8 * k + 2 * (n % 3) + dx, top + 2 * (n // 3) + dy, (255, 250, 225))
