"""A sheet of paper to draw on in mm from its upper left corner: text that wraps, rules, boxes, pictures."""

from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

import matplotlib
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, findfont, get_font
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle

from sim.report.figures import write_whole
from sim.units import MM_PER_INCH

SIZES_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
MM_PER_PT = MM_PER_INCH / 72.0
LEADING = 1.32
SNUG = 0.97  # of the room is used: a screen sets letters a little wider than a printer
BLACK, GREY = "black", "#555555"
PDF_STYLE: dict[Any, Any] = {"pdf.fonttype": 42, "font.family": "DejaVu Sans", "text.parse_math": False}


@lru_cache(maxsize=100_000)
def width_mm(words: str, size_pt: float, bold: bool = False) -> float:
    """How wide a text is when it is set."""
    font = get_font(findfont(FontProperties(family="DejaVu Sans", weight="bold" if bold else "normal")))
    font.set_size(100.0 * size_pt, 72)  # hundredfold: widths in whole pixels are then fine enough
    font.set_text(words, 0.0)
    return float(font.get_width_height()[0]) / 64.0 / 100.0 * MM_PER_PT


def wrapped(words: str, room_mm: float, size_pt: float, bold: bool = False) -> list[str]:
    """A text in lines that fit; a word that is wider than the room has a line of its own."""
    room_mm *= SNUG
    space = width_mm("a a", size_pt, bold) - width_mm("aa", size_pt, bold)
    lines: list[list[str]] = [[]]
    used = 0.0
    for word in words.split():
        wide = width_mm(word, size_pt, bold)
        if lines[-1] and used + space + wide > room_mm:
            lines.append([])
            used = 0.0
        used += wide + (space if lines[-1] else 0.0)
        lines[-1].append(word)
    return [" ".join(line) for line in lines]


class Paper:
    """One sheet; with `blank` nothing is drawn and only room is measured.

    Attributes
    ----------
    size_mm : (across, down)
    margin_mm : float
    """

    def __init__(self, size: str, margin_mm: float = 14.0, *, blank: bool = False) -> None:
        self.size_mm = SIZES_MM[size]
        self.margin_mm = margin_mm
        self.figure: Figure | None = None
        if not blank:
            self.figure = Figure(figsize=(self.size_mm[0] / MM_PER_INCH, self.size_mm[1] / MM_PER_INCH), dpi=150,
                                 facecolor="white")  # fmt: skip
            FigureCanvasAgg(self.figure)

    @property
    def room_mm(self) -> float:
        """Between the margins."""
        return self.size_mm[0] - 2.0 * self.margin_mm

    def text(self, x_mm: float, y_mm: float, words: str, size_pt: float = 9.0, *, bold: bool = False,
             grey: bool = False, align: str = "left") -> None:  # fmt: skip
        """One line of text whose top is at y."""
        if self.figure:
            self.figure.text(x_mm / self.size_mm[0], 1.0 - (y_mm + 0.95 * size_pt * MM_PER_PT) / self.size_mm[1], words,
                             fontsize=size_pt, weight="bold" if bold else "normal", color=GREY if grey else BLACK,
                             ha=align, va="baseline", parse_math=False)  # fmt: skip

    def para(self, x_mm: float, y_mm: float, words: str, *, room_mm: float, size_pt: float = 9.0, bold: bool = False,
             grey: bool = False) -> float:  # fmt: skip
        """A text in lines; returns where the next one begins."""
        for line in wrapped(words, room_mm, size_pt, bold):
            self.text(x_mm, y_mm, line, size_pt, bold=bold, grey=grey)
            y_mm += size_pt * MM_PER_PT * LEADING
        return y_mm

    def items(self, x_mm: float, y_mm: float, items: Sequence[tuple[str, str]], *, room_mm: float,
              size_pt: float = 9.0, indent_mm: float = 5.0) -> float:  # fmt: skip
        """Several texts, each behind its sign: a number, a dash, a box; returns where the next one begins."""
        for sign, words in items:
            if sign == "□":
                self.box(x_mm, y_mm + 0.4, 2.5, 2.5)
            else:
                self.text(x_mm, y_mm, sign, size_pt, bold=sign != "–")
            y_mm = self.para(x_mm + indent_mm, y_mm, words, room_mm=room_mm - indent_mm, size_pt=size_pt) + 0.7
        return y_mm

    def rule(self, x_mm: float, y_mm: float, long_mm: float, thick_pt: float = 0.5) -> None:
        """A level line."""
        self._line((x_mm, x_mm + long_mm), (y_mm, y_mm), thick_pt)

    def upright(self, x_mm: float, y_mm: float, long_mm: float, thick_pt: float = 0.5) -> None:
        """A line downwards."""
        self._line((x_mm, x_mm), (y_mm, y_mm + long_mm), thick_pt)

    def box(self, x_mm: float, y_mm: float, wide_mm: float, high_mm: float, *, thick_pt: float = 0.6) -> None:
        """An empty frame."""
        if self.figure:
            (wide, high), down = self.size_mm, y_mm + high_mm
            at = x_mm / wide, 1.0 - down / high
            self.figure.add_artist(Rectangle(at, wide_mm / wide, high_mm / high, fill=False, ec=BLACK, lw=thick_pt,
                                             transform=self.figure.transFigure))  # fmt: skip

    def chart(self, x_mm: float, y_mm: float, wide_mm: float, high_mm: float) -> Axes | None:
        """Room for a picture, without axes; None on a blank."""
        if self.figure is None:
            return None
        wide, high = self.size_mm
        made = self.figure.add_axes((x_mm / wide, 1.0 - (y_mm + high_mm) / high, wide_mm / wide, high_mm / high))
        made.set_axis_off()
        return made

    def _line(self, x_mm: tuple[float, float], y_mm: tuple[float, float], thick_pt: float) -> None:
        if self.figure:
            wide, high = self.size_mm
            self.figure.add_artist(Line2D([v / wide for v in x_mm], [1.0 - v / high for v in y_mm], color=BLACK,
                                          lw=thick_pt, transform=self.figure.transFigure))  # fmt: skip


def save_pdf(path: Path, sheets: Sequence[Paper], title: str, force: bool = False) -> None:
    """Save sheets as one PDF, the same bytes each time.

    Raises
    ------
    CannotWrite
        If the file is there and `force` is not set, or it cannot be written; nothing is left behind.
    """

    def write(draft: str) -> None:
        told = {"Title": title, "Creator": "flatwright", "Producer": None, "CreationDate": None}
        with matplotlib.rc_context(PDF_STYLE), PdfPages(draft, metadata=told) as pages:
            for sheet in sheets:
                pages.savefig(sheet.figure)

    write_whole(path, write, force)
