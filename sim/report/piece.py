"""The picture of a piece as it lies: its print as a person sees it, with a rule along both sides."""

import matplotlib
import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from numpy.typing import NDArray

from sim.model.film import darkness
from sim.model.heights import Heights
from sim.report.figures import INK, RUST, STYLE, print_colours
from sim.shop.job import Job

LONG_IN = 9.0
TICKS_MM = 10.0


def piece_figure(job: Job, title: str) -> Figure:
    """The face in hand: blue as it is seen, y upwards, ticks every 10 mm, and the numbers that are written on it.

    Nothing else of its heights is in it.
    """
    face = job.face
    length, width = face.size_mm
    seen = np.rint(255.0 * darkness(face.blue_um, job.start.material.blue.opacity_um)).astype(np.uint8)
    with matplotlib.rc_context(STYLE):
        figure = Figure(figsize=(LONG_IN, 1.0 + LONG_IN * width / length), dpi=130, layout="constrained")
        FigureCanvasAgg(figure)
        chart = figure.subplots()
        chart.imshow(print_colours(seen, face.iron), extent=(0.0, length, 0.0, width), interpolation="nearest")
        chart.set(xlabel="x, mm", ylabel="y, mm", aspect="equal")
        chart.set_xticks(_ticks(length))
        chart.set_yticks(_ticks(width))
        written = job.part.numbers(job.in_hand)
        if written is not None:
            _write(chart, written)
        figure.suptitle(title, x=0.012, ha="left", fontsize=11, color=INK)
    return figure


def _ticks(reach_mm: float) -> NDArray[np.float64]:
    step = TICKS_MM * max(1, round(reach_mm / 200.0))
    return np.arange(0.0, reach_mm + 0.5 * step, step)


def _write(chart: matplotlib.axes.Axes, written: Heights) -> None:
    """Numbers as they stand on the face, um."""
    for x, y, z in zip(written.x_mm, written.y_mm, written.z_um, strict=True):
        chart.text(x, y, f"{z:.0f}", color=RUST, fontsize=8, ha="center", va="center")
