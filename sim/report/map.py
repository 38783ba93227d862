"""A wedge to work off, on paper: the face with its bands, what to do in each round, boxes to tick and to fill in."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from html import escape
from itertools import pairwise
from pathlib import Path
from textwrap import wrap
from typing import Any

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from matplotlib.patheffects import withStroke
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt, label
from scipy.spatial import cKDTree

from sim import __version__
from sim.hands.bands import BandPlan, PlannedRound, WedgeWork, lowest_corner, planned_rounds, wander_mm
from sim.model.heights import Heights
from sim.report.figures import INK, MUTED, PAPER, STYLE, themed_svg, typeset
from sim.report.page import CAUTIONS, PAGE, write_page
from sim.units import MM_PER_INCH

Pads = Mapping[tuple[int, int], NDArray[np.bool_]]
ROOM_MM = (168.0, 118.0)  # of the face on an A4 page
RATIOS = (2.0, 1.0, *(1.0 / n for n in (1.5, 2, 2.5, 3, 4, 5, 6, 8, 10, 15, 20, 25, 30, 40, 50, 100, 200, 500)))
LEFT_MM, RIGHT_MM, UNDER_MM, OVER_MM = 13.0, 4.0, 19.0, 6.0  # around the face on paper
HATCHES = ("", "////", "\\\\\\\\", "----")  # of bands 0, 4, 8 ...; 1, 5, 9 ...
HATCH_STYLE = {**STYLE, "hatch.color": MUTED, "hatch.linewidth": 0.4}
LETTERS = "ABCD"
MOST_ROUNDS, MOST_STATIONS = 12, 120  # in the tables of a page
NUMBER_MM, LEAST_ROOM_MM = 2.4, 0.8  # from a dot to its number; around what is written in a band
LEAST_GAP_MM = 4.0  # between stations on paper, for their numbers to be legible


@dataclass(frozen=True, eq=False)
class BandSheet:
    """Everything that a plan on paper tells.

    Attributes
    ----------
    plan : BandPlan
    readings : Heights
        x and y from the corner of the face where cell 0, 0 lies.
    iron : bool (ny, nx)
    pitch_mm : float
    title : str
    figures : sequence of (name, value)
        Told beside the plan, as they are.
    warnings : sequence of str
    pads : pads that are scraped first, by row and column of their corner
    origin_mm : (x, y)
        What the corner of cell 0, 0 is called on the axes.
    base_up : bool
        The face lies on its back: x is drawn from right to left.
    work : WedgeWork
    """

    plan: BandPlan
    readings: Heights
    iron: NDArray[np.bool_]
    pitch_mm: float
    title: str
    figures: Sequence[tuple[str, str]] = ()
    warnings: Sequence[str] = ()
    pads: Pads | None = None
    origin_mm: tuple[float, float] = (0.0, 0.0)
    base_up: bool = False
    work: WedgeWork = field(default_factory=WedgeWork)

    @property
    def size_mm(self) -> tuple[float, float]:
        """Along x and along y."""
        ny, nx = self.iron.shape
        return nx * self.pitch_mm, ny * self.pitch_mm

    @property
    def ratio(self) -> float:
        """Paper / iron: the largest plain ratio that fits the page."""
        return next((r for r in RATIOS if all(s * r <= room for s, room in zip(self.size_mm, ROOM_MM, strict=True))),
                    RATIOS[-1])  # fmt: skip

    @property
    def depth_um(self) -> NDArray[np.float64]:
        """What stands over the plane to reach at each station: reading, or taper, float64 (n,)."""
        return self.plan.depth_um[self.cells()]

    @property
    def passes(self) -> NDArray[np.int64]:
        """Passes at each station, int64 (n,)."""
        return self.plan.passes()[self.cells()]

    def cells(self) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Row and column of each station."""
        at = (np.floor(v / self.pitch_mm).astype(np.int64) for v in (self.readings.y_mm, self.readings.x_mm))
        row, col = (np.clip(v, 0, n - 1) for v, n in zip(at, self.iron.shape, strict=True))
        return row, col

    def rounds(self) -> list[PlannedRound]:
        """The plan round by round."""
        return planned_rounds(self.plan, self.iron, self.pitch_mm, work=self.work,
                              pads=dict(self.pads) if self.pads else None)  # fmt: skip


def bands_page(sheet: BandSheet) -> str:
    """The plan as one HTML text for one or two sheets of A4, without script."""
    rounds = sheet.rounds()
    head, middle, end = PAGE.split("<!-- -->")
    middle = middle.replace("</head>", f"<style>\n{SHEET_STYLE}</style>\n</head>")
    figures = "".join(f"<div><dt>{escape(k)}</dt><dd>{escape(v)}</dd></div>" for k, v in sheet.figures)
    how = "".join(f"<li>{escape(words)}</li>" for words in how_words(sheet))
    body = [
        f"<header><p class='kicker'>flatwright {escape(__version__)} · wedge by bands · date ____________ "
        f"by ____________</p><h1>{escape(sheet.title)}</h1></header>",
        *(f"<p class='verdict short'><b>Mind.</b> {escape(words)}</p>" for words in sheet.warnings),
        f"<dl class='figures'>{figures}</dl>",
        f"<figure class='plan'>{_picture(sheet)}<figcaption>{escape(key_words(sheet))}</figcaption></figure>",
        f"<section class='keep'><h2>Round by round</h2>{_rounds_table(sheet, rounds)}</section>",
        f"<section class='keep how'><h2>How</h2><ul>{how}</ul></section>",
        f"<section><h2>Stations</h2>{_stations_table(sheet)}</section>",
        f"<section class='box cautions'><h2>Cautions</h2><ul>{_cautions()}</ul></section>",
    ]
    return f"{head}{escape(sheet.title)}{middle}{chr(10).join(body)}{end}"


def write_bands_page(path: Path, sheet: BandSheet, force: bool = False) -> None:
    """Write the page; as `sim.report.page.write_page`."""
    write_page(path, partial(bands_page, sheet), force)


def bands_figure(sheet: BandSheet) -> Figure:
    """The same picture on its own, with title and key."""
    under, over = 13.0, 5.0
    wide, high = _paper_mm(sheet)
    wide = max(wide, 130.0)
    with matplotlib.rc_context(HATCH_STYLE):
        figure = Figure(figsize=(wide / MM_PER_INCH, (high + under + over) / MM_PER_INCH), dpi=180)
        FigureCanvasAgg(figure)
        chart = figure.add_axes((0.0, 0.0, 1.0, 1.0))
        draw_bands(chart, sheet)
        _place(chart, sheet, (wide, high + under + over), under)
        left, edge = LEFT_MM / wide, 3.0 / (high + under + over)
        figure.text(left, 1.0 - edge, sheet.title, va="top", fontsize=11, parse_math=False)
        key = "\n".join(wrap(key_words(sheet), int((wide - LEFT_MM) / 1.42)))
        figure.text(left, edge, key, va="bottom", fontsize=7.5, color=MUTED, linespacing=1.4)
    return figure


def draw_bands(chart: Axes, sheet: BandSheet) -> None:
    """Draw face, bands with their passes, stations with their heights, and the corner to reach on `chart`."""
    ny, nx = sheet.iron.shape
    (x0, y0), (length, width) = sheet.origin_mm, sheet.size_mm
    x, y = x0 + (np.arange(nx) + 0.5) * sheet.pitch_mm, y0 + (np.arange(ny) + 0.5) * sheet.pitch_mm
    x[[0, -1]], y[[0, -1]] = (x0, x0 + length), (y0, y0 + width)  # to the rim
    share = np.ma.masked_where(~sheet.iron, np.maximum(sheet.plan.depth_um / sheet.plan.removal_um, 0.0))
    most = int(sheet.plan.passes()[sheet.iron].max())
    levels = np.arange(most + 2) - 0.5
    if nx > 1 and ny > 1:
        hatches = [HATCHES[n % len(HATCHES)] for n in range(most + 1)]
        filled = chart.contourf(x, y, share, levels=levels, colors="none", hatches=hatches)
        filled.set_edgecolor(MUTED)
        filled.set_linewidth(0.0)
        if most:
            chart.contour(x, y, share, levels=levels[1:-1], colors=INK, linewidths=1.1 if most <= 20 else 0.6)
        if not sheet.iron.all():
            chart.contour(x, y, sheet.iron.astype(float), levels=[0.5], colors=INK, linewidths=1.6)
    if sheet.iron.all():
        chart.add_patch(Rectangle((x0, y0), length, width, fill=False, ec=INK, lw=1.8, clip_on=False, zorder=4))
    _draw_pads(chart, sheet)
    _draw_stations(chart, sheet)
    _draw_passes(chart, sheet)
    _draw_lowest(chart, sheet)
    chart.set_xlim(*((x0 + length, x0) if sheet.base_up else (x0, x0 + length)))
    chart.set_ylim(y0, y0 + width)
    chart.set_ylabel("y, mm")
    chart.tick_params(length=2.5)
    for spine in chart.spines.values():
        spine.set_visible(False)
    _draw_scale(chart, sheet)


def _draw_pads(chart: Axes, sheet: BandSheet) -> None:
    for letter, (corner, pad) in zip(LETTERS, (sheet.pads or {}).items(), strict=False):
        row, col = np.nonzero(pad)
        low, high = (np.array([col.min(), row.min()]), np.array([col.max() + 1, row.max() + 1]))
        at, side = low * sheet.pitch_mm + sheet.origin_mm, (high - low) * sheet.pitch_mm
        chart.add_patch(Rectangle(tuple(at), *side, fill=False, ec=INK, lw=1.8, ls=(0, (4, 2)), zorder=4))
        inner = at + side * [0.0 if corner[1] else 1.0, 0.0 if corner[0] else 1.0]
        box = {"boxstyle": "circle,pad=0.2", "fc": PAPER, "ec": INK, "lw": 0.8}
        chart.annotate(letter, inner, fontsize=9, weight="bold", ha="center", va="center", zorder=7, bbox=box)


def _draw_stations(chart: Axes, sheet: BandSheet) -> None:
    x, y = sheet.readings.x_mm + sheet.origin_mm[0], sheet.readings.y_mm + sheet.origin_mm[1]
    chart.plot(x, y, ".", ms=3.0, color=INK, zorder=5, clip_on=False)
    gap_mm = station_gap_mm(sheet.readings) * sheet.ratio
    if gap_mm < LEAST_GAP_MM:
        return
    size = float(np.clip(gap_mm, 5.0, 8.5))
    halo = [withStroke(linewidth=2.2, foreground=PAPER)]
    under = _numbers_under(sheet).tolist()
    for at_x, at_y, depth, below in zip(x.tolist(), y.tolist(), sheet.depth_um.tolist(), under, strict=True):
        chart.annotate(typeset(f"{depth:.0f}"), (at_x, at_y), (0, -3.0 if below else 2.2), fontsize=size, ha="center",
                       textcoords="offset points", va="top" if below else "bottom", zorder=6, path_effects=halo,
                       annotation_clip=False)  # fmt: skip


def _numbers_under(sheet: BandSheet) -> NDArray[np.bool_]:
    """Which stations have their number under the dot, as there is no room for it on the face above, bool (n,)."""
    return (sheet.size_mm[1] - sheet.readings.y_mm) * sheet.ratio < 1.5 * NUMBER_MM


def _draw_passes(chart: Axes, sheet: BandSheet) -> None:
    """In each band, where there is most room beside numbers and other boxes, how often it is scraped."""
    passes = np.where(sheet.iron, sheet.plan.passes(), -1)
    cell_mm = sheet.pitch_mm * sheet.ratio  # on paper
    free = np.ones(sheet.iron.shape, dtype=bool)
    row, col = sheet.cells()
    up = round(NUMBER_MM / cell_mm) * np.where(_numbers_under(sheet), -1, 1)
    for rows in (row, row + up):  # the dot, and the number beside it
        free[np.clip(rows, 0, len(free) - 1), col] = False
    free[lowest_corner(sheet.plan.depth_um)] = False
    for n in np.unique(passes[passes >= 0])[::-1].tolist():
        places, count = label(passes == n)
        largest = np.bincount(places.ravel())[1:].argmax() + 1 if count > 1 else 1
        inside = np.asarray(distance_transform_edt(np.pad(places == largest, 1)))[1:-1, 1:-1]
        away = np.asarray(distance_transform_edt(free))
        room = np.where(places == largest, np.minimum(inside, away), -1.0)
        y, x = (int(v) for v in np.unravel_index(int(room.argmax()), room.shape))
        room_mm = float(room[y, x]) * cell_mm
        if room_mm < LEAST_ROOM_MM:
            continue
        at = (x + 0.5) * sheet.pitch_mm + sheet.origin_mm[0], (y + 0.5) * sheet.pitch_mm + sheet.origin_mm[1]
        narrow = room_mm < 3.5
        box = {"boxstyle": f"square,pad={0.06 if narrow else 0.22}", "fc": PAPER, "ec": INK,
               "lw": 0.4 if narrow else 0.8}  # fmt: skip
        chart.annotate(f"{n}" if narrow else f"{n}×", at, fontsize=5.5 if narrow else 9.0, weight="bold", ha="center",
                       va="center", zorder=7, bbox=box)  # fmt: skip
        wide, high = (round(v / cell_mm) for v in ((3.0, 1.5) if narrow else (4.5, 2.5)))
        free[max(y - high, 0) : y + high + 1, max(x - wide, 0) : x + wide + 1] = False


def _draw_lowest(chart: Axes, sheet: BandSheet) -> None:
    """A filled triangle in the corner whose height is reached."""
    row, col = lowest_corner(sheet.plan.depth_um)
    right = bool(col) != sheet.base_up
    points = np.array([(0.0, 0.0), (1.0, 0.0), (0.0, 1.0)]) * min(5.0 / sheet.ratio, 0.2 * min(sheet.size_mm))
    points[:, 0] = sheet.origin_mm[0] + (sheet.size_mm[0] - points[:, 0] if col else points[:, 0])
    points[:, 1] = sheet.origin_mm[1] + (sheet.size_mm[1] - points[:, 1] if row else points[:, 1])
    chart.fill(*points.T, color=INK, zorder=4, lw=0)  # under the numbers
    chart.annotate("the plane to reach", (float(right), 1.0 if row else 0.0), (0, 4 if row else -17),
                   xycoords="axes fraction", textcoords="offset points", fontsize=8, weight="bold",
                   ha="right" if right else "left", va="bottom" if row else "top")  # fmt: skip
    words = "x, mm" + (", from right to left: the part lies on its back" if sheet.base_up else "")
    chart.set_xlabel(words, loc="left" if row or right else "right")


def _draw_scale(chart: Axes, sheet: BandSheet) -> None:
    """A bar of 25 mm under the face; of 250 mm where that would be a speck."""
    span = 25.0 if 25.0 * sheet.ratio >= 5.0 else 250.0
    share = min(span / sheet.size_mm[0], 1.0)
    drop = -13.0 / (sheet.size_mm[1] * sheet.ratio)
    middle = 0.5 * (1.0 - share)
    chart.plot([middle, middle + share], [drop, drop], lw=1.4, marker="|", ms=7, mew=1.4, solid_capstyle="butt",
               color=INK, transform=chart.transAxes, clip_on=False)  # fmt: skip
    ratio = f"{sheet.ratio:g} : 1" if sheet.ratio >= 1.0 else f"1 : {1.0 / sheet.ratio:g}"
    chart.annotate(f"{span:g} mm; {ratio} on paper at 100 %", (middle + 0.5 * share, drop), (0, -5),
                   xycoords="axes fraction", textcoords="offset points", fontsize=7.5, color=MUTED, ha="center",
                   va="top", annotation_clip=False)  # fmt: skip


def _paper_mm(sheet: BandSheet) -> tuple[float, float]:
    length, width = (side * sheet.ratio for side in sheet.size_mm)
    return length + LEFT_MM + RIGHT_MM, width + UNDER_MM + OVER_MM


def _place(chart: Axes, sheet: BandSheet, paper_mm: tuple[float, float], under_mm: float = 0.0) -> None:
    """Give the face its size on paper, to scale."""
    wide, high = paper_mm
    face = [s * sheet.ratio for s in sheet.size_mm]
    figure: Any = chart.figure
    figure.set_layout_engine("none")
    chart.set_position((LEFT_MM / wide, (UNDER_MM + under_mm) / high, face[0] / wide, face[1] / high))


def _picture(sheet: BandSheet) -> str:
    paper = _paper_mm(sheet)

    def draw(chart: Axes) -> None:
        draw_bands(chart, sheet)
        _place(chart, sheet, paper)

    most = int(sheet.plan.passes()[sheet.iron].max())
    alt = f"The face with its bands of 0 to {most} passes, the readings at their stations, and the lowest corner"
    with matplotlib.rc_context(HATCH_STYLE):
        svg = themed_svg(draw, (paper[0] / MM_PER_INCH, paper[1] / MM_PER_INCH), alt)
    return svg.replace("<svg ", f"<svg style='width:{paper[0]:.2f}mm' ", 1)


def station_gap_mm(readings: Heights) -> float:
    """From a station to the next, the median; infinite for a single place."""
    places = np.unique(np.column_stack([readings.x_mm, readings.y_mm]), axis=0)
    return float(np.median(cKDTree(places).query(places, k=2)[0][:, 1])) if len(places) > 1 else float("inf")


def key_words(sheet: BandSheet) -> str:
    """What the signs in the picture mean."""
    words = ["In a box: passes of full rows over that band."]
    if station_gap_mm(sheet.readings) * sheet.ratio >= LEAST_GAP_MM:
        words.append("Small numbers at the dots: µm to come off there, as written on the iron.")
    else:
        words.append("Dots: stations, too close for their numbers; the table has them.")
    if sheet.pads:
        words.append("Dashed squares: pads, scraped first.")
    words.append("Black corner: the lowest one, left as it is.")
    return " ".join(words)


def round_words(one: PlannedRound, pads: Pads | None = None) -> str:
    """What is scraped in a round: "bands 9, 8 and 7", "band 9", "pads A and C"."""
    if one.on_pads:
        lettered = zip(LETTERS, (pads or {}).values(), strict=False)
        names = [letter for letter, pad in lettered if (pad & one.region).any()]
        return f"pad{'s' if len(names) > 1 else ''} {_listed(names)}"
    bands = one.bands
    if len(bands) > 3 and all(a - b == 1 for a, b in pairwise(bands)):
        return f"bands {bands[0]} to {bands[-1]}"
    return f"band{'s' if len(bands) > 1 else ''} {_listed([str(n) for n in bands])}"


def _listed(names: Sequence[str]) -> str:
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def how_words(sheet: BandSheet) -> list[str]:
    """How the plan is followed, and how a person measures what a pass takes."""
    wander, every = wander_mm(sheet.plan, sheet.pitch_mm, sheet.work), sheet.work.sweep_every
    nth = {1: "every", 2: "every second", 3: "every third"}.get(every, f"every {every}th")
    border = f"up to {wander:.0f} mm" if wander >= 1.5 else "1 mm or so"
    words = [
        "Zero the indicator so that the black corner reads 0, and write the heights on the iron.",
        "Scrape a band in full rows, the whole of it, edges too; cross the direction from round to round. Print, stone "
        "and wipe as ever; the blue says nothing of the wedge.",
        f"Let the borders wander: end the rows {border} beyond the line in one round, as far short of it in the next, "
        "or a step stays.",
        f"Sweep again after {nth} round and make a new plan: what was taken is never quite what was meant.",
        f"When the plane spans {sheet.work.limit_um:g} µm or less, follow the blue alone, and sweep now and then.",
        REMOVAL_WORDS,
    ]
    if sheet.pads:
        words.insert(1, "Pads first, each as a whole, until all read as the lowest one; then the rest, down to them.")
    return words


REMOVAL_WORDS = (
    "What a pass of yours takes: sweep, scrape two rounds of full rows over one part, sweep again; the drop there less "
    "the drop of places left alone, divided by two. Give it with --removal.")  # fmt: skip


def _rounds_table(sheet: BandSheet, rounds: Sequence[PlannedRound]) -> str:
    every, lines = sheet.work.sweep_every, []
    columns = 1 if len(rounds) <= 8 else 2
    for number, one in enumerate(rounds[:MOST_ROUNDS], start=1):
        lines.append(f"<tr><td class='n'>{number}</td><td>{round_words(one, sheet.pads)}</td>"
                     f"<td class='n'>{one.strokes:,}</td><td>{BOX} scraped {BOX} stoned</td></tr>")  # fmt: skip
        if number % every == 0 or number == len(rounds):
            lines.append(f"<tr class='sweep'><td></td><td colspan='2'>sweep, new plan</td><td>{BOX} span ______ µm"
                         "</td></tr>")  # fmt: skip
    head = "<tr><th class='n'>round</th><th>full rows on</th><th class='n'>strokes</th><th>done</th></tr>"
    cut = -(-len(lines) // columns)
    while 0 < cut < len(lines) and "class='sweep'" in lines[cut]:
        cut += 1
    tables = [f"<table><thead>{head}</thead><tbody>{''.join(part)}</tbody></table>"
              for part in (lines[:cut], lines[cut:]) if part]  # fmt: skip
    more = "" if len(rounds) <= MOST_ROUNDS else (
        f"<p class='note'>And so on to round {len(rounds)}.</p>")  # fmt: skip
    first = min(every, len(rounds))
    told = "Round 1 holds" if first == 1 else f"Rounds 1 {'and' if first == 2 else 'to'} {first} hold"
    return (f"<div class='columns'>{''.join(tables)}</div>{more}<p class='note'>{told}; then the new plan does. The "
            "others show how far it is.</p>")  # fmt: skip


BOX = "<i class='tick'></i>"


def _stations_table(sheet: BandSheet) -> str:
    """Reading, what is to come off, passes, and a box for the new reading of each station; as written, row by row."""
    if len(sheet.readings) > MOST_STATIONS:
        return (f"<p class='note'>{len(sheet.readings):,} readings are too many for a sheet: at most {MOST_STATIONS} "
                "are listed.</p>")  # fmt: skip
    h, depth_um, passes = sheet.readings, sheet.depth_um, sheet.passes
    lines = []
    for index in np.lexsort((h.x_mm, h.y_mm)).tolist():
        place = [typeset(f"{v:.1f}".removesuffix(".0")) for v in (h.x_mm[index] + sheet.origin_mm[0],
                                                                 h.y_mm[index] + sheet.origin_mm[1])]  # fmt: skip
        told = [*place, typeset(f"{h.z_um[index]:.1f}"), typeset(f"{depth_um[index]:.1f}"), f"<b>{passes[index]}</b>"]
        cells = "".join(f"<td class='n'>{words}</td>" for words in told)
        lines.append(f"<tr>{cells}<td class='new'></td></tr>")
    names = ("x, mm", "y, mm", "read, µm", "to take", "passes", "new")
    head = "".join(f"<th class='n'>{words}</th>" for words in names)
    columns = 1 if len(lines) <= 10 else 2 if len(lines) <= 60 else 3
    each = -(-len(lines) // columns)
    tables = [f"<table><thead><tr>{head}</tr></thead><tbody>{''.join(lines[at:at + each])}</tbody></table>"
              for at in range(0, len(lines), each)]  # fmt: skip
    return f"<div class='columns stations'>{''.join(tables)}</div>"


def _cautions() -> str:
    return "".join(f"<li><b>{escape(name)}.</b> {escape(words)}</li>" for name, words in CAUTIONS)


SHEET_STYLE = """h1{font-size:1.7rem}h2{margin:1.3rem 0 .4rem}
.figures{display:grid;grid-template-columns:repeat(auto-fill,minmax(9.5rem,1fr));gap:.5rem 1.2rem;margin:.9rem 0 0}
.figures dt{font-size:.86em}.figures dd{font-weight:600}
.plan{margin:1rem 0 0}.plan svg.chart{max-width:100%;height:auto}
.plan figcaption{font-weight:400;color:var(--muted);font-size:.86rem}
.columns{display:grid;grid-auto-flow:column;grid-auto-columns:minmax(0,1fr);gap:0 2rem;align-items:start}
@media screen and (max-width:46rem){.columns{grid-auto-flow:row}}
.tick{display:inline-block;width:.85em;height:.85em;border:1.3px solid var(--ink);
vertical-align:-.1em;margin:0 .15em 0 .3em}
.sweep td{color:var(--muted);border-bottom:1.5px solid var(--ink)}.stations td{padding:.22rem .5rem .22rem 0}
.stations td.new{border:1.2px solid var(--ink);min-width:3.4rem}.stations th{padding-right:.5rem}
.cautions ul,.how ul{columns:2;column-gap:2rem;font-size:.9rem}.cautions li,.how li{break-inside:avoid}
@media screen and (max-width:46rem){.cautions ul,.how ul{columns:1}}td:last-child{white-space:nowrap}
@page{size:A4;margin:12mm 14mm}
@media print{body{font-size:9pt}h1{font-size:15pt;margin:0 0 .2em}h2{font-size:11pt;margin:.8rem 0 .3rem}
.verdict{margin:.4rem 0 0;padding:.3rem .6rem}
.figures{grid-template-columns:repeat(4,1fr);margin:.4rem 0 0;gap:.2rem 1rem}
.plan{margin:.4rem 0 0}
.plan svg.chart{max-width:none}td,th{padding:.16rem .6rem .16rem 0}.keep{break-inside:avoid}.note{margin:.3rem 0 0}
li{margin:.2rem 0}.cautions ul,.how ul{font-size:8pt}.columns table{font-size:8.5pt}}
"""
