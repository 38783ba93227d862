"""Signs on the face: calls, what was expected, ghosts, written heights, what the coach goes by, the blade."""

import math
from collections.abc import Callable

import pygame

from sim.bench.desk import Desk
from sim.bench.gestures import Line
from sim.bench.hold import Hold
from sim.bench.inhand import preview
from sim.bench.lettering import SMALL, Ui
from sim.bench.palette import CALL_EDGE, CALL_FILL, CHALK, INK, WELL_FOCUS, WELL_TEXT, WRITTEN, WRITTEN_HALO
from sim.bench.viewport import Viewport
from sim.model.blade import RACK

At = tuple[float, float]


def dashes(
    surface: pygame.Surface, a: tuple[float, float], b: tuple[float, float], colour: tuple[int, int, int]
) -> None:
    """A dashed line."""
    way = math.dist(a, b)
    for n in range(0, max(int(way), 1), 8):
        p, q = n / max(way, 1.0), min((n + 4) / max(way, 1.0), 1.0)
        pygame.draw.line(
            surface,
            colour,
            (a[0] + p * (b[0] - a[0]), a[1] + p * (b[1] - a[1])),
            (a[0] + q * (b[0] - a[0]), a[1] + q * (b[1] - a[1])),
        )


def ghost(surface: pygame.Surface, view: Viewport, line: Line) -> None:
    """A stroke that is drawn and not yet laid."""
    a, b = view.to_px(*line[:2]), view.to_px(*line[2:])
    pygame.draw.line(surface, INK, a, b, 3)
    dashes(surface, a, b, CALL_FILL)


def stamp(surface: pygame.Surface, view: Viewport) -> None:
    """The stamped corner, beside the face."""
    left, top, _, _ = view.face_rect_px()
    pygame.draw.circle(surface, WELL_TEXT, (round(left) - 10, round(top) - 8), 3)


def call_sign(surface: pygame.Surface, ui: Ui, at: At, level: int) -> None:
    """A call: triangle up, square, triangle down; `call_word` comes beside it, over all else."""
    x, y, r = at[0], at[1], ui.px(7)
    shapes = {
        1: ((x, y - r), (x + r, y + r * 0.8), (x - r, y + r * 0.8)),
        2: (
            (x - r * 0.85, y - r * 0.85),
            (x + r * 0.85, y - r * 0.85),
            (x + r * 0.85, y + r * 0.85),
            (x - r * 0.85, y + r * 0.85),
        ),
        3: ((x, y + r), (x + r, y - r * 0.8), (x - r, y - r * 0.8)),
    }
    pygame.draw.polygon(surface, CALL_FILL, shapes[level])
    pygame.draw.polygon(surface, CALL_EDGE, shapes[level], 2)


def call_word(surface: pygame.Surface, ui: Ui, at: At, level: int, sure: bool) -> None:
    """The digit of a call, with "!" where it is sure."""
    word = f"{level}{'!' if sure else ''}"
    haloed(surface, ui, (at[0] + ui.px(11) + 0.5 * ui.measured(word, SMALL, True)[0], at[1]), word)


def expected(surface: pygame.Surface, ui: Ui, at: At) -> None:
    """Where it was expected to bear hardest: a diamond, open, so that a mark and its call are seen in it."""
    x, y = round(at[0]), round(at[1])
    for colour, width in ((INK, 5), (CALL_FILL, 2)):
        r = ui.px(15)
        pygame.draw.polygon(surface, colour, ((x, y - r), (x + r, y), (x, y + r), (x - r, y)), width)


def pointed(surface: pygame.Surface, ui: Ui, at: At) -> None:
    """The cursor that keys move: four short lines that leave the place itself free."""
    x, y, near, far = round(at[0]), round(at[1]), ui.px(9), ui.px(16)
    for colour, width in ((INK, 4), (CALL_FILL, 2)):
        for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1)):
            pygame.draw.line(surface, colour, (x + near * dx, y + near * dy), (x + far * dx, y + far * dy), width)


def haloed(surface: pygame.Surface, ui: Ui, at: tuple[float, float], string: str) -> None:
    """Dark strokes with a chalk halo: read on iron and on blue."""
    font = ui.font(SMALL, True)
    wide, high = font.size(string)
    x, y = round(at[0] - wide / 2), round(at[1] - high / 2)
    halo = font.render(string, True, WRITTEN_HALO)
    for dx, dy in ((-2, 0), (2, 0), (0, -2), (0, 2), (-1, -1), (1, 1), (-1, 1), (1, -1)):
        surface.blit(halo, (x + dx, y + dy))
    surface.blit(font.render(string, True, WRITTEN), (x, y))


def coach_ring(surface: pygame.Surface, ui: Ui, at: tuple[float, float]) -> None:
    """A ring round a place that the coach goes by."""
    middle = round(at[0]), round(at[1])
    for radius, colour, width in ((15, INK, 6), (14, CALL_FILL, 3), (5, INK, 4), (4, CALL_FILL, 2)):
        pygame.draw.circle(surface, colour, middle, ui.px(radius), width)


def cross(surface: pygame.Surface, at: tuple[float, float]) -> None:
    """A cross over a place."""
    x, y = round(at[0]), round(at[1])
    for colour, width in ((INK, 4), (CALL_FILL, 2)):
        pygame.draw.line(surface, colour, (x - 7, y - 7), (x + 7, y + 7), width)
        pygame.draw.line(surface, colour, (x - 7, y + 7), (x + 7, y - 7), width)


def blade_end(surface: pygame.Surface, view: Viewport, hold: Hold) -> None:
    """The end of the blade to scale, a tail in the set direction, and a ring of six for the push."""
    x, y = view.to_px(*hold.cursor_mm)
    s = hold.desk.settings
    turn = math.radians(s.angle_deg)
    ux, uy = math.cos(turn), -math.sin(turn)
    half = 0.5 * RACK[s.blade].width_mm * view.px_per_mm
    ends = (x - uy * half, y + ux * half), (x + uy * half, y - ux * half)
    pygame.draw.line(surface, CHALK, *ends, 1)  # the blade; what of it cuts is thick
    cut = 0.5 * max(preview(s.blade, s.push_n, 4.0)[1] * view.px_per_mm, 4.0)
    for colour, width in ((INK, 5), (CHALK, 3)):
        pygame.draw.line(surface, colour, (x - uy * cut, y + ux * cut), (x + uy * cut, y - ux * cut), width)
        pygame.draw.line(surface, colour, (x, y), (x - 14 * ux, y - 14 * uy), max(width - 2, 1))
    box = pygame.Rect(0, 0, 26, 26)
    box.center = round(x), round(y)
    for n in range(6):
        begin = math.pi / 2 - (n + 1) * math.pi / 3 + 0.12
        pygame.draw.arc(surface, WELL_FOCUS if n < s.push else INK, box, begin, begin + math.pi / 3 - 0.24, 3)


# ---------------------------------------------------------------------- what the signs mean

CALLS_TOLD = "▲ high ■ medium ▽ low, ! sure"
EXPECTED_TOLD = "where you expected it hardest"
RING_TOLD = "what the coach goes by"
SIGNS = (
    ("▲ 1", "called high"),
    ("■ 2", "called medium"),
    ("▽ 3", "called low"),
    ("1!", "a call that you are sure of (Shift)"),
    ("◇", EXPECTED_TOLD),
    ("◎", RING_TOLD),
    ("□", "the counting square, 25.4 mm"),
    ("– –", "a ghost: a stroke that is drawn and not yet laid"),
    ("+3", "a height that the indicator gave, µm"),
)
"""Signs on the iron and what they mean, for the page of keys."""


def legend(desk: Desk) -> list[tuple[Callable[[pygame.Surface, Ui, At], None] | None, str]]:
    """What lies on the face now and wants a word: how it is drawn, and the word."""
    told: list[tuple[Callable[[pygame.Surface, Ui, At], None] | None, str]] = []
    if expects(desk):
        told.append((expected, EXPECTED_TOLD))
    if desk.lit_mm:
        told.append((coach_ring, RING_TOLD))
    if desk.calls:
        told.append((None, CALLS_TOLD))
    return told


def expects(desk: Desk) -> bool:
    """The place that was expected hardest is shown on the face."""
    seen = desk.prediction is not None and desk.prediction.x_mm is not None and desk.prediction.y_mm is not None
    return seen and desk.tool in ("spot", "read")


def draw_legend(surface: pygame.Surface, ui: Ui, desk: Desk, row: pygame.Rect) -> None:
    """The words of `legend` from the right end of a row to the left, as many as it has room for."""
    right, gap = row.right - ui.px(16), ui.px(18)
    for draw, words in legend(desk):
        wide = ui.measured(words, SMALL)[0] + (ui.px(26) if draw else 0)
        if right - wide < row.left:
            break
        left = right - wide
        if draw:
            small = Ui(ui.theme, 0.45 * ui.scale, ui.motion)
            draw(surface, small, (left + ui.px(9), row.centery))
            left += ui.px(26)
        ui.text(surface, (left, row.centery - ui.px(8)), words, SMALL, WELL_TEXT)
        right -= wide + gap
