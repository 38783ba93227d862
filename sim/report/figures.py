"""Single figures: the map of a measured face beside its grades."""

import os
import tempfile
import warnings
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import Collection
from matplotlib.figure import Figure
from numpy.typing import NDArray

from sim.errors import CannotWrite
from sim.model.heights import Heights

COLOURS = "PuOr_r"  # high orange, low purple: told apart by every kind of eye
MOST_JOINED = 20_000  # points that are joined to contours; more are averaged in fields
FIELDS = 160  # along the longer side


def flatness_figure(
    heights: Heights, residual_um: NDArray[np.floating], lines: Sequence[tuple[str, str]], title: str
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
    """
    figure = Figure(figsize=(10.0, 5.6), dpi=120, layout="constrained")
    FigureCanvasAgg(figure)
    chart, card = figure.subplots(1, 2, width_ratios=[2.6, 1.0])
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
            label=f"{name} {residual_um[index]:+.3f} µm",
            ls="none",
        )
    chart.set_aspect("equal")
    chart.set_xlabel("x, mm")
    chart.set_ylabel("y, mm")
    chart.margins(0.03)
    chart.set_title(title, loc="left", parse_math=False)
    chart.legend(loc="upper center", bbox_to_anchor=(0.5, -0.12), ncols=2, frameon=False)
    figure.colorbar(drawn, ax=chart, shrink=0.8, label="height about the least-squares plane, µm")
    card.set_axis_off()
    for row, (name, value) in enumerate(lines):
        height = 0.98 - row * 0.052
        card.text(0.0, height, name, va="top", weight="normal" if value else "bold", parse_math=False)
        card.text(1.0, height, value, va="top", ha="right", parse_math=False)
    return figure


def save_figure(figure: Figure, path: Path, force: bool = False) -> None:
    """Write a figure whole or not at all, and over nothing unless told to.

    Raises
    ------
    CannotWrite
        If the file is there and `force` is not set, or the folder cannot be made or written; nothing is left behind.
    """
    refuse_existing(path, force)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, draft = tempfile.mkstemp(prefix=f".{path.stem[:40]}-", suffix=path.suffix, dir=path.parent)
        os.close(handle)
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")  # a title in a script that the font does not have
                figure.savefig(draft, metadata={"Software": None} if path.suffix == ".png" else None)
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
