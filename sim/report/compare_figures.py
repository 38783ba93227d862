"""Charts of a comparison. A way is told by where it stands and by its name, never by colour alone, so that a dozen fit.

Each chart is drawn on axes of its own; `sim.report.figures.themed_svg` sets them into the page.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, Rectangle
from matplotlib.ticker import LogLocator, MaxNLocator, NullLocator
from numpy.typing import NDArray

from sim.report.compare_words import end, places, span, told
from sim.report.figures import INK, LINE, MUTED, PAPER, RUST
from sim.trials.stats import Interval, Spread

Floats = NDArray[np.float64]
LOOKS: tuple[dict[str, Any], ...] = (
    {"color": RUST, "ls": "-", "lw": 2.0},
    {"color": INK, "ls": (0, (5.0, 2.0)), "lw": 1.5},
    {"color": MUTED, "ls": (0, (1.0, 1.4)), "lw": 2.2},
    {"color": INK, "ls": (0, (9.0, 2.0, 1.5, 2.0)), "lw": 1.0},
)
"""Of lines in one chart; colour, dash and weight all differ."""
MOST_DOTS = 240
MOST_STEPS = 600
NAME_LETTERS = 34
WIDE_IN, PANEL_IN = 7.8, (3.5, 2.2)
GOLDEN = 0.6180339887498949


@dataclass(frozen=True)
class Hours:
    """Hours of a way: of trials that met the target, of those that did not, and what is summed up of both."""

    name: str
    met: Floats
    not_met: Floats
    spread: Spread


@dataclass(frozen=True)
class Reached:
    """Chance of being done: hours of those that met, of how many trials, and the chance at the end."""

    name: str
    met: Floats
    runs: int
    chance: Interval


@dataclass(frozen=True)
class Band:
    """A figure over the rounds: median, 10 and 90 % points; index 0 is round 1."""

    name: str
    median: Floats
    p10: Floats
    p90: Floats


@dataclass(frozen=True)
class Along:
    """Hours of a way at each value of what is varied."""

    name: str
    at: Floats
    spreads: tuple[Spread, ...]


def band(name: str, curves: Sequence[Sequence[float]]) -> Band:
    """Of trials, each with the figure of its rounds; one that has ended keeps its last figure."""
    long = max((len(one) for one in curves), default=0)
    rows = [[*one, *([one[-1]] * (long - len(one)))] for one in curves if len(one)]
    if not rows:
        none = np.array([])
        return Band(name, none, none, none)
    filled = np.array(rows, dtype=np.float64)
    points = []
    for column in filled.T:
        sound = column[np.isfinite(column)]
        points.append(np.quantile(sound, [0.5, 0.1, 0.9]) if len(sound) else np.full(3, np.nan))
    median, p10, p90 = np.array(points).T
    return Band(name, median, p10, p90)


# ---------------------------------------------------------------- spread of hours


def spread_size(rows: int) -> tuple[float, float]:
    """Inches of the chart of so many ways."""
    return WIDE_IN, 0.85 + 0.46 * rows


def draw_spread(chart: Axes, rows: Sequence[Hours]) -> None:
    """Draw the hours of each way in a row: trials that met above the bar, those that did not below, both in the bar."""
    for y, row in enumerate(rows):
        _dots(chart, row.met, y - 0.13, -0.25, {"marker": "o", "mfc": RUST, "mec": "none"})
        _dots(chart, row.not_met, y + 0.15, 0.2, {"marker": "x", "mec": INK, "mew": 0.9})
        if np.isfinite(row.spread.median):
            low, high = row.spread.p10, row.spread.p90
            chart.add_patch(Rectangle((low, y - 0.07), high - low, 0.14, fc=LINE, ec=INK, lw=0.7, zorder=2))
            chart.plot([row.spread.median] * 2, [y - 0.16, y + 0.16], color=INK, lw=2.2, zorder=3)
            chart.annotate(told(row.spread.median, 1), (1.01, y), xycoords=("axes fraction", "data"), va="center")
    _rows(chart, [short(row.name) for row in rows])
    chart.autoscale_view(scaley=False)
    chart.set_xlim(left=max(0.0, chart.get_xlim()[0]))
    chart.set_xlabel("hours on the shop clock; the median at the right")
    handles: list[Any] = [
        Line2D([], [], ls="none", marker="o", mfc=RUST, mec="none", ms=4, label="met the target"),
        Line2D([], [], ls="none", marker="x", mec=INK, ms=4, label="not met: hours spent"),
        Patch(fc=LINE, ec=INK, lw=0.7, label="10 to 90 % of both, line: median"),
    ]
    _legend(chart, handles, 3, 1.8)


def _dots(chart: Axes, hours: Floats, y: float, wide: float, look: dict[str, Any]) -> None:
    """Dots in a strip from y on; where there are very many, every so manyth."""
    ordered = np.sort(hours[np.isfinite(hours)])
    if len(ordered) > MOST_DOTS:
        ordered = ordered[np.rint(np.linspace(0, len(ordered) - 1, MOST_DOTS)).astype(int)]
    rise = (np.arange(len(ordered)) * GOLDEN) % 1.0 if len(ordered) > 1 else np.array([0.3] * len(ordered))
    size = 4.0 if len(ordered) <= 40 else 3.0
    chart.plot(ordered, y + wide * rise, ls="none", ms=size, alpha=0.75, zorder=1, **look)


def _rows(chart: Axes, names: Sequence[str]) -> None:
    """Names at the left, the first on top."""
    chart.set_yticks(range(len(names)), names)
    chart.set_ylim(len(names) - 0.5, -0.5)
    chart.tick_params(axis="y", length=0, labelcolor=INK)
    chart.tick_params(axis="x", length=2.5)
    chart.spines["left"].set_visible(False)
    for y in range(1, len(names)):
        chart.axhline(y - 0.5, color=LINE, lw=0.6, zorder=0)


def short(name: str) -> str:
    """A name as it fits beside a chart: its options below it, cut where they are long."""
    way, colon, options = name.partition(":")
    lines = [way + colon, options] if options else [way]
    return "\n".join(_cut(line) for line in lines)


def _cut(line: str) -> str:
    return line if len(line) <= NAME_LETTERS else f"{line[: NAME_LETTERS - 1]}…"


def _legend(chart: Axes, handles: Sequence[Any], columns: int, long: float = 3.2) -> None:
    chart.figure.legend(handles=handles, loc="outside upper left", ncols=columns, frameon=False, borderaxespad=0.2,
                        handlelength=long, columnspacing=1.6)  # fmt: skip


# ---------------------------------------------------------------- chance of being done


def draw_chance(chart: Axes, lines: Sequence[Reached], last_h: float, *, named: bool = True) -> None:
    """Draw on `chart` the share of trials that are done against shop hours, in steps, its interval at the end.

    Parameters
    ----------
    lines : up to four
    last_h : float
        The most hours that any trial spent.
    named : bool
        Whether the lines need their names.
    """
    last_h = last_h if np.isfinite(last_h) and last_h > 0.0 else 1.0
    for n, (line, look) in enumerate(zip(lines, LOOKS, strict=False)):
        hours = np.sort(line.met[np.isfinite(line.met)])
        share = 100.0 * np.arange(1, len(hours) + 1) / max(line.runs, 1)
        if len(hours) > MOST_STEPS:
            keep = np.rint(np.linspace(0, len(hours) - 1, MOST_STEPS)).astype(int)
            hours, share = hours[keep], share[keep]
        final = share[-1] if len(share) else 0.0
        chart.plot([0.0, *hours, last_h], [0.0, *share, final], drawstyle="steps-post", label=short(line.name), **look,
                   zorder=5 - n)  # fmt: skip
        if np.isfinite(line.chance.low):
            at = last_h * (1.02 + 0.022 * n)
            chart.plot([at, at], [100.0 * line.chance.low, 100.0 * line.chance.high], color=look["color"], lw=1.2)
            chart.plot(at, final, "o", ms=4, mfc=look["color"], mec="none")
    chart.set_xlim(0.0, last_h * (1.04 + 0.022 * len(lines)))
    chart.set_xticks([tick for tick in MaxNLocator(8).tick_values(0.0, last_h) if 0.0 <= tick <= last_h])
    chart.spines["bottom"].set_bounds(0.0, last_h)
    chart.set_ylim(0.0, 103.0)
    chart.set_yticks([0, 25, 50, 75, 100])
    chart.set_xlabel("hours on the shop clock")
    chart.set_ylabel("done, % of the faces")
    chart.tick_params(length=2.5)
    if named and len(lines) > 1:
        _legend(chart, chart.get_legend_handles_labels()[0], 2)


# ---------------------------------------------------------------- over the rounds


def draw_band(chart: Axes, mine: Band, other: Band | None, rounds: int, limit: tuple[str, float] | None, *,
              log: bool = False, reach: tuple[float, float] | None = None) -> None:
    """Draw a figure over the rounds on `chart`: median and band of a way, the median of another one beside it.

    Parameters
    ----------
    rounds : int
        How far the axis goes.
    limit : (words, value)
    reach : (least, most)
        What the axis must hold, so that charts side by side compare.
    """
    for one, look in ((other, LOOKS[1]), (mine, LOOKS[0])):
        if one is None or not len(one.median):
            continue
        number, shown = np.arange(1, len(one.median) + 1), [one.p10, one.median, one.p90]
        if log:
            shown = [np.where(values > 0.0, values, np.nan) for values in shown]
        if one is mine:
            chart.fill_between(number, shown[0], shown[2], color=RUST, alpha=0.2, lw=0)
        chart.plot(number, shown[1], **look, marker="o" if len(number) == 1 else "", ms=4)
    if not len(mine.median):
        chart.annotate("no round that counts", (0.5, 0.5), xycoords="axes fraction", ha="center", color=MUTED)
    if log:
        chart.set_yscale("log")
        chart.yaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
        chart.yaxis.set_major_formatter(lambda tick, _: f"{tick:g}")
        chart.yaxis.set_minor_locator(NullLocator())
    if reach is not None:
        chart.set_ylim(*reach)
    if limit is not None:
        chart.axhline(limit[1], color=MUTED, lw=0.8, dashes=(1.5, 2.0))
        right = limit[0].startswith("at most")
        chart.annotate(f"{limit[0]} {limit[1]:g}", (float(right), limit[1]), (-3 if right else 3, 3), color=MUTED,
                       fontsize=7.5, xycoords=("axes fraction", "data"), textcoords="offset points",
                       ha="right" if right else "left")  # fmt: skip
    chart.set_xlim(0.5, max(rounds, 2) + 0.5)
    chart.xaxis.set_major_locator(MaxNLocator(8, integer=True, steps=[1, 2, 5, 10]))
    chart.set_xlabel("round")
    chart.tick_params(which="both", length=2.5)


def reach_of(bands: Sequence[Band], limit: float, log: bool) -> tuple[float, float] | None:
    """From the least to the most of all bands and the limit, with some room; None where there is nothing."""
    values = np.concatenate([np.concatenate([one.p10, one.p90]) for one in bands] or [np.array([])])
    values = values[np.isfinite(values) & ((values > 0.0) if log else True)]
    if not len(values):
        return None
    low, high = min(float(values.min()), limit), max(float(values.max()), limit)
    return (max(low, 1e-3) / 1.3, high * 1.2) if log else (0.0, high * 1.08 + 1e-9)


# ---------------------------------------------------------------- differences


def difference_size(rows: int) -> tuple[float, float]:
    """Inches of the chart of so many pairs."""
    return WIDE_IN, 0.75 + 0.34 * rows


def draw_differences(chart: Axes, rows: Sequence[tuple[str, str, Interval]]) -> None:
    """Draw paired differences of hours, median and interval; one that holds nought is hollow and thin."""
    chart.axvline(0.0, color=MUTED, lw=0.9)
    digits = max((places(one.value, one.low, one.high) for _, _, one in rows), default=1)
    for y, (_, _, one) in enumerate(rows):
        if not np.isfinite(one.value):
            continue
        known = np.isfinite(one.low)
        clear = known and not one.low <= 0.0 <= one.high
        colour = RUST if clear else MUTED
        if known:
            chart.plot([one.low, one.high], [y, y], color=colour, lw=2.2 if clear else 1.1, marker="|", ms=6)
        chart.plot(one.value, y, "o", ms=6, mfc=colour if clear else PAPER, mec=colour, mew=1.3)
        told_span = span(one.low, one.high, digits) if known else "too few"
        chart.annotate(f"{told(one.value, digits, '+')}  ({told_span})", (1.01, y),
                       xycoords=("axes fraction", "data"), va="center", color=INK if clear else MUTED)  # fmt: skip
    others = {b for _, b, _ in rows}
    than = f" than {_cut(min(others))}" if len(others) == 1 else ""
    _rows(chart, [short(a) if than else f"{_cut(a)}\nless {_cut(b)}" for a, b, _ in rows])
    chart.margins(x=0.06)
    chart.set_xlabel(f"hours more (right of nought) or less (left){than}: median and 95 % interval")


# ---------------------------------------------------------------- where something is varied


def draw_along(chart: Axes, a: Along, b: Along, crossing: Interval, words: str) -> None:
    """Draw the hours of two ways against what is varied, median and 10 to 90 %, and where they cross.

    Parameters
    ----------
    crossing : Interval
        NaN where there is none; its ends may be infinite.
    words : str
        What is varied, with its unit.
    """
    low, high = min(a.at.min(), b.at.min()), max(a.at.max(), b.at.max())
    room = 0.04 * (high - low or 1.0)
    if np.isfinite(crossing.value):
        if not np.isnan(crossing.low):
            left, right = max(crossing.low, low - room), min(crossing.high, high + room)
            chart.axvspan(left, right, color=LINE, alpha=0.55, lw=0, zorder=0)
        chart.axvline(crossing.value, color=MUTED, lw=1.0, dashes=(4, 3), zorder=1)
        ends = "" if np.isnan(crossing.low) else " ({} to {})".format(*(end(one, a.at.tolist()) for one in
                                                                      (crossing.low, crossing.high)))  # fmt: skip
        middle = crossing.value < low + 0.5 * (high - low)
        chart.annotate(f"cross at {crossing.value:.0f}{ends}", (crossing.value, 1.0), (4 if middle else -4, -2),
                       xycoords=("data", "axes fraction"), textcoords="offset points", va="top",
                       ha="left" if middle else "right", color=INK)  # fmt: skip
    for one, look, marker in ((b, LOOKS[1], "s"), (a, LOOKS[0], "o")):
        spread = np.array([(s.median, s.p10, s.p90) for s in one.spreads]).T
        chart.fill_between(one.at, spread[1], spread[2], color=look["color"], alpha=0.13, lw=0)
        chart.plot(one.at, spread[0], **look, marker=marker, ms=4.5, mfc=look["color"], mec=PAPER,
                   label=short(one.name))  # fmt: skip
    chart.set_xlim(low - room, high + room)
    chart.margins(y=0.16)
    chart.set_ylim(bottom=max(0.0, chart.get_ylim()[0]))
    chart.set_xlabel(words)
    chart.set_ylabel("hours, median and 10–90 %")
    chart.tick_params(length=2.5)
    _legend(chart, chart.get_legend_handles_labels()[0][::-1], 2)
