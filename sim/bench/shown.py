"""The picture of a drill's item: as it is, with the places that can be named, and what a pointer says on it."""

import math
from dataclasses import dataclass, field
from typing import ClassVar, NamedTuple

import numpy as np
import pygame
from numpy.typing import NDArray

from sim.bench.controls import FORWARD, PRESSES, Said, Widget
from sim.bench.drills import Dot, Way
from sim.bench.lettering import SMALL, Ui
from sim.bench.palette import CALL_FILL, CHALK, DARK, INK, Rgb
from sim.school.item import Edges, Points
from sim.school.view import Picture

LEAST_DRAG_PX = 8.0
AROUND = ((1, -1), (-1, -1), (1, 1), (-1, 1), (0, -1), (1, 0), (0, 1), (-1, 0))
"""Where the number of a place may stand, seen from the place."""
FILLS: dict[str, tuple[Rgb, Rgb]] = {
    "": (INK, CHALK), "chosen": (CALL_FILL, INK), "true": (DARK.reached, INK), "wrong": (DARK.not_reached, INK),
    "missed": (INK, DARK.reached), "other": (DARK.not_reached, INK),
}  # fmt: skip
ENDS = {"true": " ✓", "wrong": " ✕", "missed": " left"}
WAYS: dict[str, Rgb] = {"chosen": CALL_FILL, "yours": DARK.not_reached, "true": DARK.reached}


@dataclass
class Pointer:
    """What outlives a redraw while one points: where a drag began, and the place that the keys have come to."""

    began: tuple[int, int] | None = None
    cursor: int = 0


class Chip(NamedTuple):
    """A place, its pixel of the window, and the box of its number."""

    dot: Dot
    at: tuple[float, float]
    box: pygame.Rect


def enlarged(picture: Picture, size: tuple[int, int]) -> pygame.Surface:
    """A picture at a size in pixels: smooth when it is smaller, by cubic curves through its pixels when larger."""
    high, wide = picture.rgb.shape[:2]
    if size[0] <= wide:
        plain = pygame.image.frombuffer(picture.rgb.tobytes(), (wide, high), "RGB")
        return pygame.transform.smoothscale(plain, size)
    across, down = _curves(size[0], wide), _curves(size[1], high)
    tall = (down @ picture.rgb.reshape(high, -1).astype(np.float32)).reshape(size[1], wide, 3)
    made = (tall.swapaxes(1, 2).reshape(-1, wide) @ across.T).reshape(size[1], 3, size[0]).swapaxes(1, 2)
    pixels = np.clip(np.rint(made), 0.0, 255.0).astype(np.uint8)
    return pygame.image.frombuffer(pixels.tobytes(), size, "RGB")


def _curves(count: int, given: int) -> NDArray[np.float32]:
    """Weights (count, given) of cubic curves through given values, the ends held."""
    at = (np.arange(count) + 0.5) * given / count - 0.5
    low = np.floor(at).astype(int)
    t = at - low
    shares = (-t**3 + 2 * t**2 - t, 3 * t**3 - 5 * t**2 + 2, -3 * t**3 + 4 * t**2 + t, t**3 - t**2)
    weights = np.zeros((count, given), np.float32)
    for k, share in enumerate(shares):
        np.add.at(weights, (np.arange(count), np.clip(low + k - 1, 0, given - 1)), 0.5 * share)
    return weights


@dataclass(eq=False)
class Shown(Widget):
    """A picture that is only looked at.

    Attributes
    ----------
    picture : Picture
    surface : pygame.Surface
        The same picture at the size of the rect.
    dots, ways, lit, edges : what is drawn over it
    """

    focusable: ClassVar[bool] = False

    picture: Picture
    surface: pygame.Surface
    dots: list[Dot] = field(default_factory=list)
    ways: list[Way] = field(default_factory=list)
    lit: Points = ()
    edges: Edges = ()
    chips: list["Chip"] = field(default_factory=list, init=False)

    @property
    def zoom(self) -> float:
        """Pixels of the window for one of the picture."""
        return self.rect.width / self.picture.rgb.shape[1]

    def px_of(self, x_mm: float, y_mm: float) -> tuple[float, float]:
        """Pixel of the window of a place on the iron."""
        left, top = self.picture.px_of(x_mm, y_mm)
        return self.rect.left + left * self.zoom, self.rect.top + top * self.zoom

    def mm_of(self, pos: tuple[float, float]) -> tuple[float, float]:
        """Place on the iron of a pixel of the window."""
        return self.picture.mm_of((pos[0] - self.rect.left) / self.zoom, (pos[1] - self.rect.top) / self.zoom)

    def place(self, rect: pygame.Rect, ui: Ui) -> None:
        """Put it there, and each number where it covers no other place and no other number."""
        self.rect, made = rect, list[Chip]()
        points = [self.px_of(dot.x_mm, dot.y_mm) for dot in self.dots]
        high, beside, over, straight, near = (ui.px(n) for n in (20, 12, 24, 30, 16))
        for dot, (x, y) in zip(self.dots, points, strict=True):
            wide = ui.measured(f"{dot.words}{ENDS.get(dot.state, '')}", SMALL, True)[0] + ui.px(10)
            best, least = pygame.Rect(0, 0, wide, high), math.inf
            for right, down in AROUND:
                box = pygame.Rect(0, 0, wide, high)
                box.center = round(x + right * (wide / 2 + beside)), round(y + down * (over if right else straight))
                wider = box.inflate(near, near)
                fault = 100.0 * (not self.rect.contains(box))
                fault += sum(10.0 for _, _, other in made if other.inflate(4, 4).colliderect(box))
                fault += sum(4.0 for px in points if wider.collidepoint(px))
                if fault < least:
                    best, least = box, fault
                if not fault:
                    break
            made.append(Chip(dot, (x, y), best.clamp(self.rect)))
        self.chips = made

    def _paint(self, surface: pygame.Surface, ui: Ui) -> None:
        surface.blit(self.surface, self.rect)
        ends = [(self.px_of(x0, y0), self.px_of(x1, y1)) for x0, y0, x1, y1 in self.edges]
        for colour, wide in ((INK, 4), (DARK.reached, 2)):
            for end in ends:
                pygame.draw.line(surface, colour, *end, ui.px(wide))
        for way in self.ways:
            self._paint_way(surface, ui, way)
        for place in self.lit:
            at = self.px_of(*place)
            for radius, colour, wide in ((17, INK, 5), (16, CALL_FILL, 3)):
                pygame.draw.circle(surface, colour, at, ui.px(radius), ui.px(wide))
        for n, (dot, at, box) in enumerate(self.chips):
            self._paint_chip(surface, ui, Chip(dot, at, box), self._is_at(n))

    def _is_at(self, n: int) -> bool:
        return False

    def _paint_chip(self, surface: pygame.Surface, ui: Ui, chip: "Chip", at: bool) -> None:
        dot, (x, y), box = chip
        fill, ink = FILLS[dot.state]
        away = math.hypot(box.centerx - x, box.centery - y) or 1.0
        start = x + (box.centerx - x) * ui.px(5) / away, y + (box.centery - y) * ui.px(5) / away
        for colour, wide in ((INK, 3), (CHALK if fill == INK else fill, 1)):
            pygame.draw.line(surface, colour, start, box.center, ui.px(wide))
        ui.box(surface, box, fill, CHALK if dot.state in ("", "missed") else INK)
        if at:
            ui.ring(surface, box)
        ui.line(surface, box, f"{dot.words}{ENDS.get(dot.state, '')}", SMALL, ink, bold=True, align="centre")

    def _paint_way(self, surface: pygame.Surface, ui: Ui, way: Way) -> None:
        """A line through the middle, as it lies on the iron."""
        x, y = self.mm_of(self.rect.center)
        reach = (0.34 if way.words == "next" else 0.42) * self.rect.width / self.zoom / self.picture.px_per_mm
        dx, dy = reach * math.cos(math.radians(way.deg)), reach * math.sin(math.radians(way.deg))
        ends = self.px_of(x - dx, y - dy), self.px_of(x + dx, y + dy)
        for colour, wide in ((INK, 5), (WAYS[way.state], 3)):
            pygame.draw.line(surface, colour, *ends, ui.px(wide))
        if way.words:
            words, end = f"{way.words}{ENDS.get(way.state, '')}", ends[way.state == "true"]
            box = pygame.Rect((0, 0), (ui.measured(words, SMALL, True)[0] + ui.px(10), ui.px(20)))
            box.center = round(end[0]), round(end[1])
            box.clamp_ip(self.rect)
            ui.box(surface, box, WAYS[way.state], INK)
            ui.line(surface, box, words, SMALL, INK, bold=True, align="centre")


@dataclass(eq=False)
class Asked(Shown):
    """A picture on which one answers: a click takes a place, a drag draws a direction.

    It says ("drill pick", number) and ("drill way", degrees). At the focus arrows go from place to place, Space and
    Enter take one.
    """

    focusable: ClassVar[bool] = True
    keys: ClassVar[tuple[int, ...]] = (*FORWARD, *PRESSES)

    pointer: Pointer = field(default_factory=Pointer)
    draws: bool = False

    def wants(self, event: pygame.event.Event) -> bool:
        """Directions are turned by the page itself, and Enter gives them."""
        return bool(self.dots) and super().wants(event)

    def targets(self) -> list[pygame.Rect]:
        """All of it: what lies nearest is taken."""
        return [self.rect]

    def _is_at(self, n: int) -> bool:
        return self.focused and n == self.pointer.cursor

    def _click(self, pos: tuple[int, int]) -> Said:
        if self.draws or not self.dots:
            drew, self.pointer.began = self._is_drawn_to(pos), None
            return [("drill drawn", True)] if drew else []
        n, away = self._nearest(pos)
        if away > 40.0:
            return []
        self.pointer.cursor = n
        return [("drill pick", n)]

    def _nearest(self, pos: tuple[int, int]) -> tuple[int, float]:
        """The place whose point or number lies nearest, and how far, pixels."""
        for n, (_, _, box) in enumerate(self.chips):
            if box.collidepoint(pos):
                return n, 0.0
        far = [math.dist(pos, self.px_of(dot.x_mm, dot.y_mm)) for dot in self.dots]
        n = min(range(len(far)), key=far.__getitem__)
        return n, far[n]

    def _key(self, event: pygame.event.Event) -> Said:
        if event.key in PRESSES:
            return [("drill pick", self.pointer.cursor)]
        self.pointer.cursor = (self.pointer.cursor + FORWARD[event.key]) % len(self.dots)
        return []

    def _is_drawn_to(self, pos: tuple[int, int]) -> bool:
        return self.pointer.began is not None and math.dist(pos, self.pointer.began) >= LEAST_DRAG_PX

    def _other(self, event: pygame.event.Event) -> Said:
        if not self.draws:
            return []
        if event.type == pygame.MOUSEBUTTONDOWN:
            self.pointer.began = event.pos
        elif event.type == pygame.MOUSEMOTION and self.pressed and self._is_drawn_to(event.pos):
            assert self.pointer.began is not None
            (x0, y0), (x1, y1) = self.mm_of(self.pointer.began), self.mm_of(event.pos)
            return [("drill way", math.degrees(math.atan2(y1 - y0, x1 - x0)) % 180.0)]
        return []
