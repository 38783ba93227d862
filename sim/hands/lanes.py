"""Laying strokes over marks: lanes across each mark in one direction, begun before it and ended beyond it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

GAP_MM = 1.2  # from cell to cell: the blade is lifted where a mark leaves its lane for longer
LONGER_MM = 4096.0  # longer than any face


@dataclass(frozen=True)
class Lanes:
    """How strokes are laid: direction (length 1), spacing, longest stroke, way before and beyond marks (mm), push (N).

    push_n is meant for a lane as wide as the spacing: a narrower one gets less, down to least_share of it, for the same
    push on less width would dig. Lanes share the width of a mark evenly:
    one is up to 1.5 spacings wide, several are 0.75 to 1.25.
    """

    along: tuple[float, float]
    spacing_mm: float
    longest_mm: float
    beyond_mm: float
    push_n: float
    least_share: float = 1.0


def strokes_over(labels: NDArray[np.int64], pitch_mm: float, lanes: Lanes,
                 first: NDArray[np.bool_] | None = None) -> NDArray[np.float64]:
    """Strokes that take every labelled mark once, in rows: float64 (n, 5).

    Parameters
    ----------
    labels : int64 (ny, nx)
        0 = not taken; each mark gets at least one lane through its middle, and as many as its width asks for.
    first : bool (labels + 1,), optional
        Marks that are taken before the others.
    """
    rows, cols = np.nonzero(labels)
    if len(rows) == 0:
        return np.zeros((0, 5))
    mark = labels[rows, cols]
    ux, uy = lanes.along
    x, y = (cols + 0.5) * pitch_mm, (rows + 0.5) * pitch_mm
    s, v = x * ux + y * uy, y * ux - x * uy
    count = int(mark.max()) + 1
    low, high = np.full(count, np.inf), np.full(count, -np.inf)
    np.minimum.at(low, mark, v)
    np.maximum.at(high, mark, v)
    wide = high - low + pitch_mm
    number = np.maximum(1, np.rint(wide / lanes.spacing_mm)).astype(np.int64)
    lane = np.minimum(((v - low[mark] + 0.5 * pitch_mm) / wide[mark] * number[mark]).astype(np.int64), number[mark] - 1)
    row = mark * (int(number.max()) + 1) + lane
    order = np.argsort(row * LONGER_MM + s)
    s, row = s[order], row[order]
    start = np.concatenate([[0], np.nonzero((np.diff(row) != 0) | (np.diff(s) > GAP_MM))[0] + 1])
    begin, end = np.minimum.reduceat(s, start), np.maximum.reduceat(s, start)
    mark, lane = mark[order][start], lane[order][start]
    width = wide[mark] / number[mark]
    middle = low[mark] - 0.5 * pitch_mm + (lane + 0.5) * wide[mark] / number[mark]
    push_n = lanes.push_n * np.clip(width / lanes.spacing_mm, lanes.least_share, 1.0)
    later = np.zeros(len(mark), bool) if first is None else ~first[mark]
    runs = np.column_stack([begin - 0.5 * pitch_mm, end + 0.5 * pitch_mm, middle, push_n, later])
    return _as_strokes(runs, lanes)


def _as_strokes(runs: NDArray[np.float64], lanes: Lanes) -> NDArray[np.float64]:
    """Runs (begin, end, place across, push, 1 for later) as strokes of at most the longest length, in rows."""
    ux, uy = lanes.along
    begin, end, v, push_n, later = runs.T
    pieces = np.maximum(1, np.ceil((end - begin) / lanes.longest_mm)).astype(np.int64)
    run = np.repeat(np.arange(len(begin)), pieces)
    part = np.arange(len(run)) - np.repeat(np.cumsum(pieces) - pieces, pieces)
    each = ((end - begin) / pieces)[run]
    s0 = begin[run] + part * each - lanes.beyond_mm
    s1 = begin[run] + (part + 1) * each + lanes.beyond_mm
    w = v[run]
    strokes = np.column_stack([s0 * ux - w * uy, s0 * uy + w * ux, s1 * ux - w * uy, s1 * uy + w * ux, push_n[run]])
    return strokes[np.lexsort((s0, np.floor(w / lanes.spacing_mm), later[run]))]
