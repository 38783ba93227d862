"""Colours of the bench, and how well one is read on another. Blue belongs to the marks: nothing else is blue."""

from dataclasses import dataclass

Rgb = tuple[int, int, int]


@dataclass(frozen=True)
class Theme:
    """Colours of everything round the face.

    Attributes
    ----------
    background, panel, raised : the ground, what lies on it, controls on that
    text, muted, line : letters, lesser letters, edges of controls
    accent, on_accent : in hand, focus, selection; letters on it
    reached, not_reached : always together with a word and a sign
    """

    name: str
    background: Rgb
    panel: Rgb
    raised: Rgb
    text: Rgb
    muted: Rgb
    line: Rgb
    accent: Rgb
    on_accent: Rgb
    reached: Rgb
    not_reached: Rgb


DARK = Theme("dark", (27, 29, 31), (37, 40, 43), (50, 54, 58), (236, 233, 226), (176, 174, 168), (134, 140, 146),
             (233, 178, 92), (27, 29, 31), (126, 214, 186), (240, 140, 100))
LIGHT = Theme("light", (243, 241, 236), (233, 230, 223), (250, 249, 246), (32, 31, 29), (88, 84, 77), (118, 113, 104),
              (138, 74, 12), (255, 253, 248), (0, 88, 80), (176, 64, 0))
THEMES = {theme.name: theme for theme in (DARK, LIGHT)}

WELL: Rgb = (46, 48, 50)
"""Round the face, the same in both themes, so that blue looks the same."""
WELL_TEXT, WELL_FOCUS = DARK.text, DARK.accent

MARKS: dict[str, Rgb] = {
    "iron": (168, 166, 160),
    "bared": (204, 202, 196),
    "halo": (126, 138, 154),
    "medium": (66, 92, 148),
    "ring": (12, 34, 112),
}
"""How a print looks: no blue; iron rubbed bare inside a mark; thin, more and thick blue."""
RED_LEAD: Rgb = (201, 72, 38)
PLATE: Rgb = (132, 130, 126)
"""The bare reference plate."""

INK: Rgb = (24, 22, 20)
CHALK: Rgb = (247, 245, 238)
CALL_FILL: Rgb = (255, 214, 120)
CALL_EDGE = INK
WRITTEN, WRITTEN_HALO = INK, CHALK

HEIGHTS: tuple[Rgb, ...] = (
    (64, 28, 104), (120, 84, 164), (178, 158, 205), (242, 240, 236), (238, 184, 116), (196, 112, 30), (120, 56, 8),
)
"""Stops of a height map after Finish, low to high, the lightest at zero."""


def height_colour(share: float) -> Rgb:
    """Colour of a height from -1 (lowest) over 0 to 1 (highest), straight between the stops, held beyond them."""
    place = (min(max(share, -1.0), 1.0) + 1.0) * 0.5 * (len(HEIGHTS) - 1)
    at = min(int(place), len(HEIGHTS) - 2)
    return mixed(HEIGHTS[at], HEIGHTS[at + 1], place - at)


def mixed(a: Rgb, b: Rgb, share: float) -> Rgb:
    """`a` with a share (0 to 1) of `b`."""
    red, green, blue = (round(u + share * (v - u)) for u, v in zip(a, b, strict=True))
    return red, green, blue


def luminance(colour: Rgb) -> float:
    """Relative luminance, 0 to 1. Reference: WCAG 2.2, relative luminance."""
    red, green, blue = (v / 255.0 / 12.92 if v <= 10 else ((v / 255.0 + 0.055) / 1.055) ** 2.4 for v in colour)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(a: Rgb, b: Rgb) -> float:
    """Contrast of two colours, 1 to 21: 4.5 for text, 3 for edges. Reference: WCAG 2.2, contrast ratio."""
    dark, light = sorted((luminance(a), luminance(b)))
    return (light + 0.05) / (dark + 0.05)
