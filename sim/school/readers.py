"""Readers that judge the drills: fixed simple ones that look at the picture, and one whose error is known.

Figures that name no other origin are common practice, no source.
"""

import math
from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, label, map_coordinates

from sim.books.standing import skill
from sim.school.bank import LOOK_MM
from sim.school.item import Item
from sim.school.kind_next import ACTS, ALL
from sim.school.kinds_faces import STEPS
from sim.school.kinds_marks import ThreeInOrder
from sim.school.kinds_prints import COUNT, SIDE_MM
from sim.school.view import Condition, Picture

Reader = Callable[[Item], Any]
Grey = NDArray[np.float64]
THRESHOLD = 0.72  # of the light iron around: a colour weaker than this is taken for blue
BLOCK_MM = 8.0  # how far around
NOISE_MM2 = 0.08  # what is smaller is taken for grain
TUNED = Condition("blue", "neutral", "high", lamp_height_deg=50.0)  # what the threshold reader is tuned to


def grey(shown: Picture) -> Grey:
    """Tone of each pixel, 0 black to 1 white."""
    return np.asarray(shown.rgb.astype(np.float64) @ (0.30, 0.59, 0.11) / 255.0)


def cover(shown: Picture, whole: bool = False) -> NDArray[np.bool_]:
    """Where a picture is taken for blue: one colour is much weaker than on the light iron around, by a fixed share.

    whole: than on the lightest iron of the whole picture.
    """
    soft = max(0.12 * shown.px_per_mm, 0.5)
    rgb = np.stack([gaussian_filter(shown.rgb[..., n].astype(np.float64), soft) for n in range(3)], axis=-1)
    if whole:
        return np.asarray((rgb / np.percentile(rgb.reshape(-1, 3), 88, axis=0)).min(axis=-1) < THRESHOLD)
    size = max(8, round(BLOCK_MM * shown.px_per_mm))
    high, wide = (max(1, round(n / size)) for n in rgb.shape[:2])
    rows, cols = np.linspace(0, rgb.shape[0], high + 1).astype(int), np.linspace(0, rgb.shape[1], wide + 1).astype(int)
    light = np.array([[np.percentile(rgb[a:b, c:d].reshape(-1, 3), 70, axis=0) for c, d in pairwise(cols)]
                      for a, b in pairwise(rows)])  # fmt: skip
    own = np.median(light.reshape(-1, 3), axis=0)
    light = np.maximum(light, 0.75 * own)
    iron = np.stack([_spread(light[..., n], rgb.shape[:2]) for n in range(3)], axis=-1)
    return np.asarray((rgb / np.maximum(iron, 1.0)).min(axis=-1) < THRESHOLD)


def _spread(blocks: Grey, shape: tuple[int, int]) -> Grey:
    """Values of blocks at every pixel, linear between their middles."""
    rows, cols = ((np.arange(n) + 0.5) * m / n - 0.5 for n, m in zip(shape, blocks.shape, strict=True))
    at = np.meshgrid(np.clip(rows, 0, blocks.shape[0] - 1), np.clip(cols, 0, blocks.shape[1] - 1), indexing="ij")
    return np.asarray(map_coordinates(blocks, at, order=1))


def upright(values: Grey, shown: Picture, box_mm: tuple[float, float, float, float], step_mm: float) -> Grey:
    """Values of a picture on a grid over the face: x0, y0, x1, y1; rows go up."""
    x, y = np.meshgrid(np.arange(box_mm[0], box_mm[2], step_mm), np.arange(box_mm[1], box_mm[3], step_mm))
    u, v, w = (p[0] * x + p[1] * y + p[2] for p in shown.plane)
    return np.asarray(map_coordinates(values, np.stack([v / w - 0.5, u / w - 0.5]), order=1, mode="nearest"))


def tone_at(tones: Grey, shown: Picture, point_mm: tuple[float, float], reach_mm: float) -> float:
    """Mean tone around a place."""
    left, top = shown.px_of(*point_mm)
    r = max(1, round(reach_mm * shown.px_per_mm))
    i, j = round(top), round(left)
    window = tones[max(i - r, 0) : max(i + r + 1, 1), max(j - r, 0) : max(j + r + 1, 1)]
    return float(window.mean()) if window.size else 1.0


def _darkest(item: Item) -> Any:
    """Kinds 1 and 2: the darkest mark is the highest."""
    shown = item.pictures[0]
    tones = grey(shown)
    told = [tone_at(tones, shown, at, LOOK_MM) for at in item.form.points_mm]  # type: ignore[union-attr]
    order = np.argsort(told).tolist()
    return order if isinstance(item, ThreeInOrder) else order[0]


def _usual_film(item: Item) -> Any:
    """Kind 3: it is always 3 um, and the same does for the next print."""
    return [3.0, 1]


def _more_in_the_middle(item: Item) -> Any:
    """Kind 4: more blue in the middle is a crown, more at the ends a hollow."""
    middle = ends = 0.0
    for shown in item.pictures:
        blue = upright(cover(shown, whole=True).astype(np.float64), shown, (4.0, 4.0, 146.0, 46.0), 0.5)
        third = blue.shape[1] // 3
        middle += float(blue[:, third : 2 * third].mean())
        ends += 0.5 * float(blue[:, :third].mean() + blue[:, 2 * third :].mean())
    if middle > 1.4 * ends:
        return "crowned"
    return "hollow" if ends > 1.4 * middle else "even"


STEP_MM = 0.1


def _count_dark(blue: NDArray[np.bool_], shown: Picture, item: Item) -> list[float]:
    """Every dark patch in the square is a spot, every dark bit of it bears."""
    x, y = item.facts["corner_mm"]
    inside = upright(blue.astype(np.float64), shown, (x, y, x + SIDE_MM, y + SIDE_MM), STEP_MM) > 0.5
    found, count = label(inside)
    sizes = np.bincount(found.ravel(), minlength=count + 1)[1:] * STEP_MM**2
    return [min(float((sizes >= NOISE_MM2).sum()), COUNT.high), 100.0 * float(inside.mean())]


def _components(item: Item) -> Any:
    """Kind 5: patches darker than a fixed share of the middle tone."""
    shown = item.pictures[0]
    return _count_dark(cover(shown), shown, item)


def threshold_reader(item: Item, shown: Picture, tone: float) -> Any:
    """Kind 5: patches darker than one fixed tone, as it was tuned on one condition."""
    return _count_dark(gaussian_filter(grey(shown), 1.0) < tone, shown, item)


def tuned_tone(items: Sequence[Item], condition: Condition) -> tuple[float, float]:
    """The tone with which the threshold reader does best on kind 5 under one condition, and its skill there."""
    shown = [item.draw(condition)[0] for item in items]
    best = (0.0, -math.inf)
    for tone in np.linspace(0.05, 0.8, 31):
        scored = [(item.loss(said := threshold_reader(item, one, float(tone))), item.chance_of(said), item.best)
                  for item, one in zip(items, shown, strict=True)]  # fmt: skip
        best = max(best, (float(tone), skill(scored) or 0.0), key=lambda found: found[1])
    return best


def _strongest_gradient(item: Item) -> Any:
    """Kind 6: the lay runs across the strongest gradient; the next direction is square to it."""
    shown = item.pictures[0]
    tones = gaussian_filter(grey(shown), 0.25 * shown.px_per_mm)
    down, right = np.gradient(tones)
    up = -down
    angle = 0.5 * np.degrees(np.arctan2(2.0 * float((right * up).sum()), float((right**2 - up**2).sum())))
    lay = (angle + 90.0) % 180.0
    return [lay, round(((lay + 90.0) % 180.0) * STEPS / 180.0) % STEPS]


def _large_ones(item: Item) -> Any:
    """Kind 7: what is larger than 1 mm2 is a mark."""
    shown = item.pictures[0]
    found, _ = label(cover(shown))
    taken = []
    for n, at in enumerate(item.form.points_mm):  # type: ignore[union-attr]
        left, top = shown.px_of(*at)
        i, j, r = round(top), round(left), round(0.6 * shown.px_per_mm)
        near = found[max(i - r, 0) : i + r + 1, max(j - r, 0) : j + r + 1]
        names = near[near > 0]
        if names.size and float((found == np.bincount(names).argmax()).sum()) / shown.px_per_mm**2 > 1.0:
            taken.append(n)
    return taken


def _take_all(item: Item) -> Any:
    """Kind 8: take all the blue."""
    return ACTS[ALL]


SIMPLE: dict[str, Reader] = {
    "highest": _darkest, "order": _darkest, "film": _usual_film, "form": _more_in_the_middle, "count": _components,
    "direction": _strongest_gradient, "mark": _large_ones, "next": _take_all,
}  # fmt: skip
"""One fixed simple reader a kind; each must do worse on every higher level."""


def reader_of_error(item: Item, error_um: float, rng: np.random.Generator) -> Any:
    """Kinds 1 and 2: reads each height with a normal error of this standard deviation, um."""
    height = np.array(item.facts["height_um"])
    read = height + error_um * rng.standard_normal(len(height))
    order = np.argsort(-read).tolist()
    return order if isinstance(item, ThreeInOrder) else int(order[0])
