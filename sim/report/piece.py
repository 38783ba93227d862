"""The picture of a piece as it lies: iron and blue as the bench shows them, with rules; below it what the blade cut."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from numpy.typing import NDArray

from sim.model.film import Blue
from sim.model.heights import Heights
from sim.report.figures import INK, IRON, LINE, RUST, STYLE
from sim.school.aloud import Cut
from sim.school.view import MARGIN_MM, Condition, Patch, picture
from sim.shop.job import Job

LONG_IN = 9.0
TICKS_MM = 10.0
MOST_PX, MOST_PX_MM = 1400.0, 16.0
LIGHT = Condition("blue", "neutral", "slanting", sheen=0.2, grain=0.35, lay=0.0, blur_mm=0.02)
SECTION_IN = 1.5
SECTION_MM = 14.0  # across the box of a section, as on the bench


def piece_figure(job: Job, title: str, lamp_deg: float = 135.0, cuts: Sequence[Cut] = ()) -> Figure:
    """The face in hand under a lamp, y upwards, ticks every 10 mm, and the numbers that are written on it.

    Of its heights nothing is in it that is longer than some mm, as on the bench.

    Parameters
    ----------
    lamp_deg : float
        Where the lamp stands, anticlockwise from the right.
    cuts : sequence of Cut
        Sections that are drawn below.
    """
    face = job.face
    length, width = face.size_mm
    with matplotlib.rc_context(STYLE):
        tall = 1.2 + LONG_IN * (width + 2.0 * MARGIN_MM) / (length + 2.0 * MARGIN_MM)
        figure = Figure(figsize=(LONG_IN, tall + SECTION_IN * bool(cuts)), dpi=130, layout="constrained")
        FigureCanvasAgg(figure)
        above: Any = figure
        below: Any = None
        if cuts:
            parts: Any = figure.subfigures(2, 1, height_ratios=(tall, SECTION_IN))
            above, below = parts
        chart = above.subplots()
        beside = MARGIN_MM
        chart.imshow(_seen(job, lamp_deg), extent=(-beside, length + beside, -beside, width + beside))
        chart.set(xlabel="x, mm", ylabel="y, mm", aspect="equal")
        chart.set_xticks(_ticks(length))
        chart.set_yticks(_ticks(width))
        written = job.part.numbers(job.in_hand)
        if written is not None:
            _write(chart, written)
        _scale_bar(chart, length, width)
        chart.set(xlim=(-beside, length + beside), ylim=(-beside, width + beside))
        above.suptitle(title, x=0.012, ha="left", fontsize=11, color=INK)
        if below is not None:
            _sections(list(below.subplots(1, max(len(cuts), 3))), cuts)
            below.suptitle("Section of the last strokes, on flat iron; depth many times enlarged", x=0.012, ha="left",
                           fontsize=9, color=INK)  # fmt: skip
    return figure


def _seen(job: Job, lamp_deg: float) -> NDArray[np.uint8]:
    """Iron and blue as the eye gets them, one picture of the whole face."""
    length, width = job.face.size_mm
    opacity = job.start.material.blue.opacity_um
    face = replace(job.face, blue_um=job.face.blue_um * (Blue().opacity_um / opacity))
    light = replace(LIGHT, lamp_deg=lamp_deg, px_per_mm=min(MOST_PX_MM, MOST_PX / max(length, width)))
    return picture(face, Patch(0.0, 0.0, length, width), light, square=False).rgb


def _ticks(reach_mm: float) -> NDArray[np.float64]:
    step = TICKS_MM * max(1, round(reach_mm / 200.0))
    return np.arange(0.0, reach_mm + 0.5 * step, step)


def _scale_bar(chart: Axes, length: float, width: float) -> None:
    """A bar of 10 mm above the right end of the picture."""
    y = width + MARGIN_MM + 0.025 * length
    chart.plot([length - TICKS_MM, length], [y, y], color=INK, lw=2.2, solid_capstyle="butt", clip_on=False)
    chart.text(length - TICKS_MM - 1.0, y, f"{TICKS_MM:g} mm", ha="right", va="center", fontsize=9, color=INK)


def _write(chart: Axes, written: Heights) -> None:
    """Numbers as they stand on the face, um."""
    for x, y, z in zip(written.x_mm, written.y_mm, written.z_um, strict=True):
        chart.text(x, y, f"{z:.0f}", color=RUST, fontsize=8, ha="center", va="center")


def _sections(charts: Sequence[Axes], cuts: Sequence[Cut]) -> None:
    """Each cut in a box of its own: as wide as it is, depths of all to one scale."""
    deep = 1.6 * max(5.0, *(one.depth_um for one in cuts))
    for chart, one in zip(charts, cuts, strict=False):
        x = np.linspace(-0.5 * SECTION_MM, 0.5 * SECTION_MM, 561)
        floor = -one.depth_um * np.maximum(1.0 - (x / (0.5 * one.width_mm)) ** 2, 0.0)
        chart.fill_between(x, floor, -deep, color=IRON, lw=0)
        chart.plot(x, floor, color=INK, lw=1.0)
        chart.set(xlim=(x[0], x[-1]), ylim=(-deep, 0.15 * deep), ylabel="µm", xlabel="mm")
        chart.set_title(one.words, fontsize=8, color=INK)
        chart.tick_params(labelsize=7, color=LINE)
    for chart in charts[len(cuts) :]:
        chart.set_axis_off()
