"""One picture of a face before and after the machine: a section across, the first prints, the map after."""

from collections.abc import Sequence

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import Patch
from numpy.typing import NDArray

from sim.model.face import Face
from sim.report.figures import INK, LINE, MUTED, RUST, STYLE, Bytes, about_plane_um, draw_heights, draw_print


def recut_figure(before: Face, after: Face, prints: Sequence[tuple[str, Bytes]], swept_um: NDArray[np.float64],
                 title: str) -> Figure:
    """Draw the face before and after a cut.

    Parameters
    ----------
    before, after : Face
        Of one shape; the feed ran along x.
    prints : two of (words, darkness)
        Before and after, as `figures.draw_print` takes them.
    swept_um : float array (ny,)
        Profile across the feed that the tram alone leaves, of any height.
    title : str
    """
    with matplotlib.rc_context(STYLE):
        figure = Figure(figsize=(10.6, 6.2), dpi=120, layout="constrained")
        FigureCanvasAgg(figure)
        figure.suptitle(title, x=0.008, ha="left", fontsize=11.5)
        charts = figure.subplot_mosaic([["across"] * 3, ["before", "after", "heights"]], height_ratios=[1.3, 1.0])
        draw_section_across(charts["across"], before, after, swept_um)
        _name(charts["across"], "Section across the feed, at the middle")
        for place, (words, darkness) in zip(("before", "after"), prints, strict=True):
            draw_print(charts[place], darkness)
            _name(charts[place], words)
        draw_heights(charts["heights"], after, "right")
        _name(charts["heights"], "Heights after the cut")
    return figure


def draw_section_across(chart: Axes, before: Face, after: Face, swept_um: NDArray[np.float64]) -> None:
    """Draw the column through the middle of both faces, each about its own plane, and what the tram alone leaves."""
    y_mm = (np.arange(before.shape[0]) + 0.5) * before.pitch_mm
    for face, words, colour in ((before, "before", INK), (after, "after", RUST)):
        height = about_plane_um(face)
        counted = np.isfinite(height).any(axis=1)
        chart.fill_between(y_mm[counted], np.nanmin(height[counted], axis=1), np.nanmax(height[counted], axis=1),
                           color=colour, alpha=0.13, lw=0)
        chart.plot(y_mm, height[:, face.shape[1] // 2], color=colour, lw=1.2, label=words)
    level = np.polynomial.Polynomial.fit(y_mm, swept_um, 1)(y_mm)
    chart.plot(y_mm, swept_um - level, color=MUTED, lw=1.1, dashes=(4, 3), label="the tilted circle alone")
    band = Patch(color=LINE, label="lowest to highest along x")
    chart.margins(x=0.01, y=0.1)
    chart.set_xlabel("y, mm")
    chart.set_ylabel("height about the\nleast-squares plane, µm")
    chart.legend(handles=[*chart.get_lines(), band], loc="lower right", bbox_to_anchor=(1.0, 1.0), ncols=4,
                 frameon=False, borderaxespad=0.2)  # fmt: skip


def _name(chart: Axes, words: str) -> None:
    chart.set_title(words, loc="left", fontsize=9.5)
