"""Laying strokes over marks: lanes across each mark in one direction, begun before it and ended beyond it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

GAP_MM = 1.2


@dataclass(frozen=True)
class Lanes:
    """How strokes are laid: direction (length 1), spacing, longest stroke, way before and beyond the mark (mm), push (N).

    push_n is meant for a lane as wide as the spacing: a narrow mark gets less, down to least_share of it, for the same
    push on less width would dig.
    """

    along: tuple[float, float]
    spacing_mm: float
    longest_mm: float
    beyond_mm: float
    push_n: float
    least_share: float = 1.0


def strokes_over(labels: NDArray[np.int64], pitch_mm: float, lanes: Lanes) -> NDArray[np.float64]:
    """Strokes that take every labelled mark once, in rows: float64 (n, 5).

    Parameters
    ----------
    labels : int64 (ny, nx)
        0 = not taken; each mark gets at least one lane through its middle, and as many as its width asks for.
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
    order = np.lexsort((s, lane, mark))
    mark, lane, s = mark[order], lane[order], s[order]
    cut = (np.diff(mark) != 0) | (np.diff(lane) != 0) | (np.diff(s) > GAP_MM)
    first = np.concatenate([[0], np.nonzero(cut)[0] + 1])
    last = np.concatenate([np.nonzero(cut)[0], [len(s) - 1]])
    middle = low[mark[first]] - 0.5 * pitch_mm + (lane[first] + 0.5) * wide[mark[first]] / number[mark[first]]
    share = np.clip(wide[mark[first]] / number[mark[first]] / lanes.spacing_mm, lanes.least_share, 1.0)
    ends = s[first] - 0.5 * pitch_mm, s[last] + 0.5 * pitch_mm
    return _as_strokes(*ends, middle, lanes.push_n * share, lanes)


def _as_strokes(begin: NDArray[np.float64], end: NDArray[np.float64], v: NDArray[np.float64],
                push_n: NDArray[np.float64], lanes: Lanes) -> NDArray[np.float64]:
    """Runs along lanes as strokes of at most the longest length, in rows across the face."""
    ux, uy = lanes.along
    pieces = np.maximum(1, np.ceil((end - begin) / lanes.longest_mm)).astype(np.int64)
    run = np.repeat(np.arange(len(begin)), pieces)
    part = np.arange(len(run)) - np.repeat(np.cumsum(pieces) - pieces, pieces)
    each = ((end - begin) / pieces)[run]
    s0 = begin[run] + part * each - lanes.beyond_mm
    s1 = begin[run] + (part + 1) * each + lanes.beyond_mm
    w = v[run]
    strokes = np.column_stack([s0 * ux - w * uy, s0 * uy + w * ux, s1 * ux - w * uy, s1 * uy + w * ux, push_n[run]])
    return strokes[np.lexsort((s0, np.floor(w / lanes.spacing_mm)))]
