"""Single figures: the map of a measured face beside its grades, and what is drawn of a job from round to round."""

import io
import os
import re
import tempfile
import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from html import escape
from pathlib import Path
from typing import Any

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import Collection
from matplotlib.colors import ListedColormap, to_rgb
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from matplotlib.ticker import LogLocator, MaxNLocator, NullLocator
from numpy.typing import NDArray
from PIL import Image

from sim.errors import CannotWrite
from sim.measure.flatness import residuals_um
from sim.measure.spots import EYE, islands
from sim.model.face import Face
from sim.model.heights import Heights
from sim.model.marks import Marks

COLOURS = "PuOr_r"  # high orange, low purple: told apart by every kind of eye
MOST_JOINED = 20_000  # points that are joined to contours; more are averaged in fields
FIELDS = 160  # along the longer side

# Colours on light paper. In a page each becomes a variable of the style sheet, so that dark paper has its own.
INK, MUTED, LINE, RUST, PAPER = "#23272b", "#5a6168", "#d5d1c9", "#a5411b", "#fffefc"
VARIABLES = {INK: "var(--ink)", MUTED: "var(--muted)", LINE: "var(--line)", RUST: "var(--rust)", PAPER: "var(--card)"}
SHEET_COLOURS = 160  # of a picture for the README
SHADES = 12  # of a print: more cannot be told apart and only make the page heavy
IRON, RIM, MARK, SMALL_MARK = "#a3a5a6", "#8f9192", "#0f2f78", "#5f79ae"  # blue is used for blue and for nothing else
HEIGHT_COLOURS = ListedColormap(matplotlib.colormaps["inferno"](np.linspace(0.3, 1.0, 32)), "heights")
STYLE: dict[Any, Any] = {
    "font.size": 8.5, "svg.fonttype": "none", "text.color": INK, "axes.labelcolor": MUTED, "xtick.color": MUTED,
    "ytick.color": MUTED, "axes.edgecolor": MUTED, "axes.linewidth": 0.6, "xtick.major.width": 0.6,
    "ytick.major.width": 0.6, "axes.spines.top": False, "axes.spines.right": False, "axes.facecolor": PAPER,
    "figure.facecolor": PAPER, "lines.linewidth": 1.6, "lines.solid_capstyle": "round", "text.parse_math": False,
}  # fmt: skip
Bytes = NDArray[np.uint8]


@dataclass(frozen=True)
class Curve:
    """A figure over the rounds.

    Title with unit, (label, name in the log) of each line, (name in the target, words) of each limit, and (name in the
    log, least) of what must be reached for a round to be drawn.
    """

    title: str
    lines: tuple[tuple[str, str], ...]
    limits: tuple[tuple[str, str], ...] = ()
    log: bool = False
    bars: bool = False
    where: tuple[str, float] | None = None


CURVES = (
    Curve("Bearing flatness, µm", (("", "bearing_flatness_um"),), (("bearing_flatness_um", "at most"),), log=True),
    Curve("Spots per square inch", (("mean", "spots_mean"), ("lowest", "spots_lowest")),
          (("spots_mean", "mean at least"), ("spots_lowest", "lowest at least"))),
    Curve("Bearing, % of the face", (("", "bearing_pct"),), (("bearing_pct", "at least"),)),
    Curve("Unevenness of spots, σ ÷ mean", (("", "spots_cv"),), log=True, where=("spots_mean", 1.0)),
    Curve("Strokes in each round", (("", "strokes_this_round"),), bars=True),
    Curve("Hours on the shop clock", (("", "shop_hours"),)),
)  # fmt: skip


def flatness_figure(
    heights: Heights,
    residual_um: NDArray[np.floating],
    lines: Sequence[tuple[str, str]],
    title: str,
    axes: tuple[str, str] = ("x, mm", "y, mm"),
) -> Figure:
    """Draw where a face is high and low, with its figures beside it.

    Parameters
    ----------
    heights : Heights
        The points; only x and y are used.
    residual_um : float array (n,)
        Height of each point about the least-squares plane.
    lines : sequence of (name, value)
        The figures and grades, written to the right of the map; an empty value makes a heading.
    title : str
    axes : (across, up)
        What is written on the axes of the map.
    """
    figure = Figure(figsize=(10.6, 5.6), dpi=120)
    figure.set_layout_engine("constrained", w_pad=0.12)  # inches: words keep off the edges
    FigureCanvasAgg(figure)
    chart, card = figure.subplots(1, 2, width_ratios=[1.9, 1.0])
    limit_um = float(np.abs(residual_um).max()) or 1.0
    drawn = _map(chart, heights, residual_um, limit_um)
    for index, mark, name in ((int(residual_um.argmax()), "^", "highest"), (int(residual_um.argmin()), "v", "lowest")):
        chart.plot(
            heights.x_mm[index],
            heights.y_mm[index],
            mark,
            ms=9,
            mfc="white",
            mec="black",
            clip_on=False,
            label=f"{name} {typeset(f'{residual_um[index]:+.3f}')} µm",
            ls="none",
        )
    chart.set_aspect("equal")
    chart.set_xlabel(axes[0])
    chart.set_ylabel(axes[1])
    chart.margins(0.03)
    chart.set_title(title, loc="left", parse_math=False)
    chart.legend(loc="upper center", bbox_to_anchor=(0.5, -0.12), ncols=2, frameon=False)
    bar = figure.colorbar(drawn, ax=chart, shrink=0.8)
    bar.set_label("height about the least-squares plane, µm", labelpad=9)
    card.set_axis_off()
    for row, (name, value) in enumerate(lines):
        height = 0.98 - row * min(0.052, 0.98 / len(lines))
        card.text(0.0, height, name, va="top", weight="normal" if value else "bold", parse_math=False)
        card.text(1.0, height, typeset(value), va="top", ha="right", parse_math=False)
    return figure


def typeset(value: str) -> str:
    """A number as it is set: with a true minus as on the axes, and nought without sign; words as they are."""
    if re.fullmatch(r"[-+]?0(\.0+)?", value):
        return "0"
    return re.sub(r"^-(?=\d)", "\N{MINUS SIGN}", value)


def save_figure(figure: Figure, path: Path, force: bool = False) -> None:
    """Write a figure whole or not at all, and over nothing unless told to.

    Raises
    ------
    CannotWrite
        If the file is there and `force` is not set, or the folder cannot be made or written; nothing is left behind.
    """

    def draw(draft: str) -> None:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # a title in a script that the font does not have
            figure.savefig(draft, metadata={"Software": None} if path.suffix == ".png" else None)

    write_whole(path, draw, force)


def write_whole(path: Path, write: Callable[[str], object], force: bool = False) -> None:
    """Have a file written under a temporary name, then give it its own.

    Parameters
    ----------
    path : Path
        Folders on the way are made.
    write : function of the temporary name

    Raises
    ------
    CannotWrite
        As `save_figure`.
    """
    refuse_existing(path, force)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, draft = tempfile.mkstemp(prefix=f".{path.stem[:40]}-", suffix=path.suffix, dir=path.parent)
        os.close(handle)
        try:
            write(draft)
            os.chmod(draft, 0o644)
            os.replace(draft, path)
        except BaseException:
            os.unlink(draft)
            raise
    except OSError as error:
        raise CannotWrite(f"{path}: cannot be written: {error.strerror or error}") from None


def refuse_existing(path: Path, force: bool) -> None:
    """Raise CannotWrite if a file is there that may not be overwritten, or its folder is a file."""
    if path.exists() and not force:
        raise CannotWrite(f"{path}: is there already and is kept; --force overwrites it")
    if path.is_dir():
        raise CannotWrite(f"{path}: must be a file, got a folder")


def _map(chart: Axes, heights: Heights, residual_um: NDArray[np.floating], limit_um: float) -> Collection:
    """Contours between the points, or coloured points where they cannot be joined, or fields of their means."""
    colours: dict[str, Any] = {"cmap": COLOURS, "vmin": -limit_um, "vmax": limit_um}
    if len(heights) > MOST_JOINED:
        spans = [float(np.ptp(heights.x_mm)), float(np.ptp(heights.y_mm))]
        fields = [max(2, round(FIELDS * span / max(spans))) for span in spans]
        count, x_edges, y_edges = np.histogram2d(heights.x_mm, heights.y_mm, fields)
        total = np.histogram2d(heights.x_mm, heights.y_mm, [x_edges, y_edges], weights=residual_um)[0]
        means = np.divide(total, count, out=np.full(total.shape, np.nan), where=count > 0)
        return chart.pcolormesh(x_edges, y_edges, means.T, **colours)
    try:
        levels = np.linspace(-limit_um, limit_um, 13)
        drawn = chart.tricontourf(heights.x_mm, heights.y_mm, residual_um, levels=levels, cmap=COLOURS)
        chart.tricontour(heights.x_mm, heights.y_mm, residual_um, levels=levels, colors="black", linewidths=0.4)
        if len(heights) <= 500:
            chart.plot(heights.x_mm, heights.y_mm, ".", color="black", ms=3)
        return drawn
    except (RuntimeError, ValueError):
        return chart.scatter(heights.x_mm, heights.y_mm, c=residual_um, edgecolors="black", linewidths=0.3, **colours)


def print_colours(darkness: Bytes, iron: NDArray[np.bool_] | None = None) -> Bytes:
    """A print as seen: iron grey to blue, y upwards; darkness uint8 (ny, nx), row = y, to uint8 (ny, nx, 3).

    iron: the face's own mask, of as many cells or more; slots and holes are left pale.
    """
    share = np.rint(darkness[::-1, :, None] * (SHADES / 255.0)) / SHADES
    grey, mark = (np.array(to_rgb(colour)) for colour in (IRON, MARK))
    colours = np.rint(255.0 * (grey + share * (mark - grey))).astype(np.uint8)
    if iron is not None:
        size = -(-iron.shape[1] // darkness.shape[1])
        middle = iron[size // 2 :: size, size // 2 :: size][: darkness.shape[0], : darkness.shape[1]]
        shown = np.pad(middle, [(0, n - m) for n, m in zip(darkness.shape, middle.shape, strict=True)], mode="edge")
        colours[~shown[::-1]] = np.rint(255.0 * np.array(to_rgb(LINE)))
    return colours


def png_bytes(colours: Bytes) -> bytes:
    """A picture, uint8 (ny, nx, 3), as PNG."""
    made = io.BytesIO()
    matplotlib.image.imsave(made, colours, format="png")
    return made.getvalue()


def draw_curve(chart: Axes, curve: Curve, rounds: Sequence[Any], target: Any, met_round: int | None) -> None:
    """Draw one figure over the rounds on `chart`; limits and lines carry their names, a ring the round that met all."""
    number = np.array([log.round for log in rounds])
    for index, (label, name) in enumerate(curve.lines):
        value = np.array([float(getattr(log, name)) for log in rounds])
        colour = (RUST, INK)[index]
        if curve.bars:
            chart.bar(number, value, width=0.8, color=colour)
            continue
        if curve.log:
            value = np.where(value > 0.0, value, np.nan)
        if curve.where:
            name, least = curve.where
            value = np.where([getattr(log, name) >= least for log in rounds], value, np.nan)
        chart.plot(number, value, color=colour, marker="o" if len(rounds) == 1 else "", ms=4)
        if met_round in number:
            at = int(np.flatnonzero(number == met_round)[0])
            chart.plot(number[at], value[at], "o", ms=6, mfc=PAPER, mec=colour, mew=1.4)
        if np.isnan(value[-1]):
            continue
        told = f"{label} {value[-1]:.3g}".strip()
        chart.annotate(told, (number[-1], value[-1]), (5, 0), textcoords="offset points", color=colour,
                       va=("bottom", "top")[index] if len(curve.lines) > 1 else "center")  # fmt: skip
    if curve.log:
        chart.set_yscale("log")
        chart.yaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
        chart.yaxis.set_major_formatter(lambda tick, _: f"{tick:g}")
        chart.yaxis.set_minor_locator(NullLocator())
    for name, words in curve.limits:
        limit = getattr(target, name)
        chart.axhline(limit, color=MUTED, lw=0.8, dashes=(4, 3))
        right = words.startswith("at most")  # where a curve that comes down to its limit leaves room
        chart.annotate(f"{words} {limit:g}", (float(right), limit), (-3 if right else 3, 3), color=MUTED, fontsize=7.5,
                       xycoords=("axes fraction", "data"), textcoords="offset points",
                       ha="right" if right else "left")  # fmt: skip
    if not curve.log:
        chart.set_ylim(bottom=0.0)
    chart.set_xlim(min(number[0], 1) - 0.5, max(number[-1], 2) + 0.5)
    chart.xaxis.set_major_locator(MaxNLocator(8, integer=True, steps=[1, 2, 5, 10]))
    chart.set_xlabel("round")
    chart.tick_params(which="both", length=2.5)


def about_plane_um(face: Face) -> NDArray[np.float64]:
    """Heights of a face about its least-squares plane, um (ny, nx); NaN where it is not counted."""
    row, column = np.nonzero(face.scored)
    x_mm, y_mm = ((cell.astype(np.float64) + 0.5) * face.pitch_mm for cell in (column, row))
    height = np.full(face.shape, np.nan)
    height[row, column] = residuals_um(Heights(x_mm, y_mm, face.height_um[row, column]))
    return height


def draw_heights(chart: Axes, face: Face, bar_at: str = "bottom") -> None:
    """Draw heights about the least-squares plane on `chart` with their colour bar; what is not counted stays bare."""
    height = about_plane_um(face)
    low, high = np.nanpercentile(height, [0.5, 99.5])
    drawn = chart.imshow(height, origin="lower", extent=(0.0, face.size_mm[0], 0.0, face.size_mm[1]),
                         cmap=HEIGHT_COLOURS, vmin=low, vmax=max(high, low + 1e-3))  # fmt: skip
    chart.set_facecolor(LINE)
    _in_mm(chart)
    bar = chart.figure.colorbar(drawn, ax=chart, location=bar_at, aspect=32, extend="both", extendfrac=0.02)
    bar.set_label("height about the least-squares plane, µm" if bar_at == "bottom" else "µm about the plane")
    bar.outline.set_visible(False)
    if bar.solids is not None:
        bar.solids.set_edgecolor("face")  # or seams show


def draw_section(chart: Axes, start: Face, end: Face) -> None:
    """Draw the middle of the face along x before and after, in one datum, and between them the iron taken off."""
    middle = start.shape[0] // 2
    x = (np.arange(start.shape[1]) + 0.5) * start.pitch_mm
    before, after = (np.where(face.scored[middle], face.height_um[middle], np.nan) for face in (start, end))
    zero = np.nanmean(before)
    before, after = before - zero, after - zero
    chart.fill_between(x, after, before, color=LINE, lw=0)
    chart.plot(x, before, color=INK, lw=0.9)
    chart.plot(x, after, color=RUST, lw=0.9)
    top, bottom = np.nanpercentile(before, 99.8), np.nanpercentile(after, 0.2)  # a nick in an edge must not flatten all
    for words, edge, up, colour in (("start", top, 2, INK), ("end", bottom, -4, RUST)):
        chart.annotate(words, (1.0, edge), (0, up), xycoords=("axes fraction", "data"), textcoords="offset points",
                       color=colour, ha="right", va="bottom" if up > 0 else "top")  # fmt: skip
    chart.set_ylim(bottom - 0.17 * (top - bottom), top + 0.12 * (top - bottom))
    chart.margins(x=0.0)
    chart.set_xlabel("x, mm")
    chart.set_ylabel("height, µm")


def draw_marks(chart: Axes, marks: Marks, spot_area_mm2: float, lowest_at_mm: tuple[float, float]) -> None:
    """Draw the marks of the standard print on `chart`, those too small to count paler, and the poorest square."""
    found = islands(marks)
    counts = np.concatenate([[False], found.area_mm2 >= spot_area_mm2 * (1.0 - 1e-9)])
    ny, nx = marks.marked.shape
    colours = np.empty((ny, nx, 3))
    colours[:] = to_rgb(IRON)
    colours[~marks.iron] = to_rgb(RIM)
    colours[marks.marked] = to_rgb(SMALL_MARK)
    colours[marks.marked & counts[found.labels]] = to_rgb(MARK)
    size = nx * marks.pitch_mm, ny * marks.pitch_mm
    chart.imshow(colours, origin="lower", extent=(0.0, size[0], 0.0, size[1]))
    wide, high = min(EYE.square_mm, size[0]), min(EYE.square_mm, size[1])
    corner = lowest_at_mm[0] - 0.5 * wide, lowest_at_mm[1] - 0.5 * high
    chart.add_patch(Rectangle(corner, wide, high, fill=False, ec="white", lw=3.2))
    chart.add_patch(Rectangle(corner, wide, high, fill=False, ec="black", lw=1.2))
    _in_mm(chart)


def _in_mm(chart: Axes) -> None:
    chart.set_aspect("equal")
    chart.set_xlabel("x, mm")
    chart.set_ylabel("y, mm")
    chart.tick_params(length=2.5)
    for spine in chart.spines.values():
        spine.set_visible(False)


def themed_svg(draw: Callable[[Axes], None], size_in: tuple[float, float], alt: str) -> str:
    """One chart as SVG for a page: text stays text, colours follow the style sheet, and `alt` is read aloud."""
    with matplotlib.rc_context({**STYLE, "image.interpolation": "none", "svg.hashsalt": alt}):
        figure = Figure(figsize=size_in, layout="constrained")
        FigureCanvasAgg(figure)
        draw(figure.subplots())
        figure.patch.set_visible(False)
        made = io.StringIO()
        figure.savefig(made, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
    body = made.getvalue()
    inside = body[body.index(">", body.index("<svg")) + 1 :]
    inside = re.sub(r"<metadata>.*?</metadata>|<defs>\s*<style.*?</style>\s*</defs>|<!--.*?-->", "", inside, flags=re.S)
    inside = re.sub(r"image-rendering: ?(crisp-edges|pixelated);?", "", inside)
    inside = re.sub(r' id="[A-Za-z0-9.]+_[0-9]+"', "", inside)
    inside = re.sub("|".join(VARIABLES), lambda found: VARIABLES[found.group()], inside)
    box = re.search(r'viewBox="[^"]*"', body)
    return f'<svg class="chart" role="img" aria-label="{escape(alt)}" {box.group() if box else ""}>{inside}'


Drawing = tuple[str, Callable[[Axes], None]]  # a title and what draws below it


def draw_print(chart: Axes, darkness: Bytes, iron: NDArray[np.bool_] | None = None) -> None:
    """Draw a print as lifted on `chart`, without axes."""
    chart.imshow(print_colours(darkness, iron))
    chart.set_axis_off()


def save_sheet(
    path: Path, drawings: Sequence[Drawing], columns: int, size_in: tuple[float, float], *, force: bool
) -> None:
    """Save several drawings side by side as one picture on light paper.

    Raises
    ------
    CannotWrite
        As `save_figure`.
    """
    with matplotlib.rc_context(STYLE):
        figure = Figure(figsize=size_in, dpi=100, layout="constrained")
        FigureCanvasAgg(figure)
        charts = figure.subplots(-(-len(drawings) // columns), columns, squeeze=False).flatten().tolist()
        for chart, (title, draw) in zip(charts, drawings, strict=False):
            draw(chart)
            chart.set_title(title, loc="left", fontsize=9.5, parse_math=False)
        for chart in charts[len(drawings) :]:
            chart.set_visible(False)
        drawn = io.BytesIO()
        figure.savefig(drawn, format="png")
    few = Image.open(drawn).convert("RGB").quantize(SHEET_COLOURS, Image.Quantize.MAXCOVERAGE)
    write_whole(path, lambda draft: few.save(draft, optimize=True), force)
