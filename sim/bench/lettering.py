"""Letters and boxes of the bench: what is drawn once is kept, since most of a frame is as it was before."""

from collections.abc import Callable
from typing import NamedTuple

import pygame

from sim import paths
from sim.bench.palette import Rgb, Theme

GOAL, NAME, STATION, BODY, CONTROL, LABEL, SMALL = 17, 20, 17, 16, 15, 14, 13
"""Sizes of letters at scale 1, in pixels."""
LINE_HEIGHT = 1.35
_FINE = 4  # boxes are drawn four times too large, then made smaller: round corners without steps
_KEPT = 2000


class Drawn(NamedTuple):
    """One line of text as it was drawn: for tests of the layout."""

    string: str
    rect: pygame.Rect
    colour: Rgb
    ground: Rgb
    cut: bool


class Ui:
    """How everything is drawn: theme, scale, letters and boxes; what was drawn once is kept.

    Parameters
    ----------
    theme : Theme
    scale : float
        Size of letters and controls, 1 to 2.
    motion : bool
        False for "less movement"; the controls here never move.
    """

    def __init__(self, theme: Theme, scale: float = 1.0, motion: bool = True) -> None:
        self.theme, self.scale, self.motion = theme, scale, motion
        self.seen: list[Drawn] | None = None
        """A list here gathers every line of text that is drawn from now on."""
        self._fonts: dict[tuple[int, bool], pygame.font.Font] = {}
        self._pictures: dict[tuple, pygame.Surface] = {}
        self._fitted: dict[int, tuple[pygame.Surface, pygame.Surface]] = {}
        self._sizes: dict[tuple[str, int, bool], tuple[int, int]] = {}
        self._lines: dict[tuple, list[str]] = {}

    def px(self, n: float) -> int:
        """Pixels for a length in pixels at scale 1."""
        return round(n * self.scale)

    def font(self, size: int, bold: bool = False) -> pygame.font.Font:
        """DejaVu Sans of a size at scale 1."""
        key = self.px(size), bold
        if key not in self._fonts:
            name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
            self._fonts[key] = pygame.font.Font(paths.assets() / "fonts" / name, key[0])
        return self._fonts[key]

    def measured(self, string: str, size: int, bold: bool = False) -> tuple[int, int]:
        """Width and height of a line of text, pixels; asked for once."""
        key = string, self.px(size), bold
        if key not in self._sizes:
            if len(self._sizes) >= _KEPT:
                self._sizes.clear()
            self._sizes[key] = self.font(size, bold).size(string)
        return self._sizes[key]

    def wrapped(self, string: str, size: int, width: int, bold: bool = False) -> list[str]:
        """The text in lines no wider than `width` pixels; a single word that is wider keeps its line to itself."""
        key = string, self.px(size), width, bold
        if key in self._lines:
            return self._lines[key]
        font, lines = self.font(size, bold), list[str]()
        for paragraph in string.split("\n"):
            line = ""
            for word in paragraph.split():
                longer = f"{line} {word}" if line else word
                if line and font.size(longer)[0] > width:
                    lines.append(line)
                    longer = word
                line = longer
            lines.append(line)
        if len(self._lines) >= _KEPT:
            self._lines.clear()
        self._lines[key] = lines
        return lines

    def text(
        self, surface: pygame.Surface, xy: tuple[int, int], string: str, size: int = CONTROL, colour: Rgb | None = None,
        *, bold: bool = False, width: int | None = None, wrap: bool = False,
    ) -> pygame.Rect:  # fmt: skip
        """Draw text with its upper left corner at `xy`; what is wider than `width` ends in "…" or, asked so, wraps.

        Returns
        -------
        pygame.Rect
            What the letters take.
        """
        if wrap and width is not None:
            rect = pygame.Rect(xy, (0, 0))
            for i, line in enumerate(self.wrapped(string, size, width, bold)):
                at = xy[0], xy[1] + round(i * LINE_HEIGHT * self.px(size))
                rect.union_ip(self.text(surface, at, line, size, colour, bold=bold, width=width))
            return rect
        shown = string if width is None else self.shortened(string, size, width, bold)
        colour = colour or self.theme.text
        key = (shown, self.px(size), bold, colour)
        letters = self._keep(key, lambda: self.font(size, bold).render(shown, True, colour))
        rect = letters.get_rect(topleft=xy)
        if self.seen is not None and string:
            inside = surface.get_rect().collidepoint(rect.center)
            ground = surface.get_at(rect.center) if inside else (*self.theme.panel, 255)
            self.seen.append(Drawn(string, rect, colour, (ground[0], ground[1], ground[2]), shown != string))
        surface.blit(letters, rect)
        return rect

    def line(
        self, surface: pygame.Surface, box: pygame.Rect, string: str, size: int = CONTROL, colour: Rgb | None = None,
        *, bold: bool = False, align: str = "left",
    ) -> pygame.Rect:  # fmt: skip
        """Draw one line in the middle of the height of a box: `left`, `centre` or `right` in it."""
        wide, high = self.measured(string, size, bold)
        spare = max(box.width - wide, 0)
        left = box.left + {"left": 0, "centre": spare // 2, "right": spare}[align]
        return self.text(
            surface, (left, box.centery - high // 2), string, size, colour, bold=bold, width=box.width
        )  # fmt: skip

    def box(
        self, surface: pygame.Surface, rect: pygame.Rect, fill: Rgb | None, edge: Rgb | None = None,
        *, radius: float = 4, edge_px: float = 1, dashed: bool = False,
    ) -> None:  # fmt: skip
        """Draw a box with round corners; radius and edge in pixels at scale 1."""
        size, round_px, line_px = rect.size, self.px(radius), max(1, self.px(edge_px))
        key = (size, fill, edge, round_px, line_px, dashed)
        surface.blit(self._keep(key, lambda: _boxed(size, fill, edge, (round_px, line_px), dashed)), rect)

    def ring(self, surface: pygame.Surface, rect: pygame.Rect, radius: float = 4) -> None:
        """Draw the ring of the focus round a rect: 2 px of accent between two lines of the ground."""
        for out, colour, edge in ((4, self.theme.background, 4), (3, self.theme.accent, 2)):
            grown = rect.inflate(2 * self.px(out), 2 * self.px(out))
            self.box(surface, grown, None, colour, radius=radius + out, edge_px=edge)

    def fitted(self, picture: pygame.Surface, size: tuple[int, int]) -> pygame.Surface:
        """A small picture scaled to a size; done once for each picture."""
        kept = self._fitted.get(id(picture))
        if kept is None or kept[0] is not picture or kept[1].get_size() != size:
            if len(self._fitted) >= _KEPT:
                self._fitted.clear()
            self._fitted[id(picture)] = kept = picture, pygame.transform.smoothscale(picture, size)
        return kept[1]

    def shortened(self, string: str, size: int, width: int, bold: bool = False) -> str:
        """The text, ending in "…" where it is wider than `width` pixels."""
        font = self.font(size, bold)
        if self.measured(string, size, bold)[0] <= width:
            return string
        while string and font.size(string + "…")[0] > width:
            string = string[:-1]
        return string.rstrip() + "…"

    def _keep(self, key: tuple, make: Callable[[], pygame.Surface]) -> pygame.Surface:
        if key not in self._pictures:
            if len(self._pictures) >= _KEPT:
                self._pictures.clear()
            self._pictures[key] = make()
        return self._pictures[key]


def _boxed(
    size: tuple[int, int], fill: Rgb | None, edge: Rgb | None, measures: tuple[int, int], dashed: bool
) -> pygame.Surface:
    """Picture of a box; `measures` are radius and width of its edge."""
    (width, height), (radius, line_px) = size, measures
    fine = pygame.Surface((width * _FINE, height * _FINE), pygame.SRCALPHA)
    fine.fill((*(edge or fill or (0, 0, 0)), 0))
    inner, within = fine.get_rect(), radius
    if edge:
        pygame.draw.rect(fine, edge, inner, border_radius=radius * _FINE)
        inner, within = inner.inflate(-2 * line_px * _FINE, -2 * line_px * _FINE), max(radius - line_px, 0)
    clear = (*fill, 255) if fill else (*(edge or (0, 0, 0)), 0)
    pygame.draw.rect(fine, clear, inner, border_radius=within * _FINE)
    drawn = pygame.transform.smoothscale(fine, size)
    if dashed:
        gap, every = 3 * line_px, 7 * line_px
        for x in range(radius + every - gap, width - radius - gap, every):
            drawn.fill(clear, (x, 0, gap, line_px))
            drawn.fill(clear, (x, height - line_px, gap, line_px))
        for y in range(radius + every - gap, height - radius - gap, every):
            drawn.fill(clear, (0, y, line_px, gap))
            drawn.fill(clear, (width - line_px, y, line_px, gap))
    return drawn
