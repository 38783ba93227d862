"""The picture of a part: its faces drawn flat and to scale, and how they lie in the body."""

import math
from collections.abc import Sequence

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import Polygon, Rectangle
from numpy.typing import NDArray

from sim.model.part import FaceShape, PartShape
from sim.report.figures import INK, MUTED, PAPER, RUST, STYLE

FACE_COLOUR, BACK_COLOUR = "#dfe0df", "#f1f0ec"
GAP_MM_PER_MM = 0.16
VIEW = (0.62, -0.62, 0.48)  # where the eye is: from the right, in front, above


def part_figure(part: PartShape) -> Figure:
    """Faces flat, each seen from outside with its x to the right; below them the body in lines, and its tolerances."""
    with matplotlib.rc_context(STYLE):
        figure = Figure(figsize=(10.0, 7.4), dpi=130, layout="constrained")
        FigureCanvasAgg(figure)
        above, below = figure.subplots(2, 1, height_ratios=(0.85, 1.0))
        _draw_flat(above, part.faces)
        draw_body(below, part)
        figure.suptitle(f"{part.name}: {part.mass_kg:g} kg", x=0.012, ha="left", fontsize=12, color=INK)
    return figure


def _draw_flat(chart: Axes, faces: Sequence[FaceShape]) -> None:
    """Every face beside the other, in mm."""
    gap = GAP_MM_PER_MM * max(face.start.length_mm for face in faces)
    left, high = 0.0, max(face.start.width_mm for face in faces)
    small = 6.5 if len(faces) > 4 else 8.5
    for face in faces:
        start = face.start
        chart.add_patch(Rectangle((left, 0.0), start.length_mm, start.width_mm, facecolor=FACE_COLOUR, edgecolor=INK,
                                  linewidth=1.0))
        for row in start.cutouts:
            rim = _rim_mm(row) + (left, 0.0)
            chart.add_patch(Polygon(rim, facecolor=PAPER, edgecolor=INK, linewidth=0.7))
        chart.text(left, start.width_mm + 0.03 * high, face.name, va="bottom", fontsize=small + 1.5, color=INK)
        size = f"{start.length_mm:g} × {start.width_mm:g} mm, {start.kind}"
        chart.text(left, -0.04 * high, size, va="top", fontsize=small, color=MUTED)
        reach = min(0.1 * high, 0.3 * min(start.length_mm, start.width_mm))
        inset = 0.03 * high
        for dx, dy, name in ((reach, 0.0, "x"), (0.0, reach, "y")):
            chart.annotate("", (left + inset + dx, inset + dy), (left + inset, inset),
                           arrowprops={"arrowstyle": "-|>", "color": RUST, "linewidth": 0.9, "shrinkA": 0, "shrinkB": 0,
                                       "mutation_scale": 7})
            chart.text(left + inset + 1.3 * dx, inset + 1.3 * dy, name, fontsize=small - 1.5, color=RUST, ha="center",
                       va="center")
        left += start.length_mm + gap
    chart.set(xlim=(-1.0, left - gap + 1.0), ylim=(-0.18 * high, 1.18 * high), aspect="equal", anchor="W")
    chart.axis("off")


def draw_body(chart: Axes, part: PartShape, told: bool = True) -> None:
    """Draw the faces where they lie, the nearest last, those that look away dashed; tolerances beside them if told."""
    outlines = [_corners_mm(face) for face in part.faces]
    everything = np.vstack(outlines)
    low, high = everything.min(axis=0), everything.max(axis=0)
    for a, b in _box_edges(low, high):
        chart.plot(*_seen(np.array([a, b])).T, color="#cfcbc2", linewidth=0.7, linestyle=(0, (4, 3)), zorder=1)
    order = sorted(range(len(outlines)), key=lambda n: float(outlines[n].mean(axis=0) @ VIEW))
    looks = [float(np.dot(face.frame.out, VIEW)) for face in part.faces]
    for height, n in enumerate(order, start=2):
        face, away = part.faces[n], looks[n] <= 0.0
        chart.add_patch(Polygon(_seen(outlines[n]), facecolor=BACK_COLOUR if away else FACE_COLOUR, edgecolor=INK,
                                linewidth=1.0, linestyle="--" if away else "-", zorder=height))
        for row in face.start.cutouts:
            rim = _rim_mm(row)
            in_body = face.frame.body_mm(rim[:, 0], rim[:, 1], np.zeros(len(rim)))
            chart.add_patch(Polygon(_seen(in_body), facecolor=PAPER, edgecolor=INK, linewidth=0.6, zorder=height))
    _name_faces(chart, part, outlines)
    centre = _seen(np.array([part.centre_mm]))[0]
    chart.plot(*centre, marker="+", color=RUST, markersize=9, markeredgewidth=1.4, zorder=90)
    chart.annotate("centre of gravity", centre, xytext=(-7, 0), textcoords="offset points", fontsize=8, color=RUST,
                   ha="right", va="center", zorder=90,
                   bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 1.0, "alpha": 0.85})
    asked = [f"{one.kind} of {one.face} to {one.datum}: {one.limit_um:g} µm" for one in part.tolerances]
    if told and asked:
        chart.annotate("\n".join(asked[:12]), (1.0, 0.9), xycoords="axes fraction", xytext=(50, 0), va="top",
                       textcoords="offset points", fontsize=9.5, color=INK, linespacing=1.8, in_layout=False)
    chart.set(aspect="equal", anchor="W")
    chart.margins(0.04)
    chart.axis("off")


def _name_faces(chart: Axes, part: PartShape, outlines: Sequence[NDArray[np.float64]]) -> None:
    """Each name at the end of a short arrow out of its face."""
    size = float(np.ptp(np.vstack(outlines), axis=0).max())
    for face, outline in zip(part.faces, outlines, strict=True):
        middle = outline.mean(axis=0)
        foot, tip = _seen(np.array([middle, middle + 0.45 * size * np.array(face.frame.out)]))
        chart.annotate(face.name, foot, xytext=tip, fontsize=9, color=INK, ha="center", va="center", zorder=95,
                       bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 1.5},
                       arrowprops={"arrowstyle": "<|-", "color": MUTED, "linewidth": 0.9, "mutation_scale": 8})


def _corners_mm(face: FaceShape) -> NDArray[np.float64]:
    x, y = face.start.length_mm, face.start.width_mm
    return face.frame.body_mm(np.array([0.0, x, x, 0.0]), np.array([0.0, 0.0, y, y]), np.zeros(4))


def _rim_mm(row: Sequence[float]) -> NDArray[np.float64]:
    """Outline of a cutout on its face, float64 (n, 2)."""
    x, y, length, width = row[:4]
    radius = row[4] if len(row) == 5 else 0.5 * min(length, width)
    points = []
    for quarter, (right, up) in enumerate(((1, 1), (-1, 1), (-1, -1), (1, -1))):
        for step in range(9):
            turn = 0.5 * math.pi * (quarter + step / 8)
            points.append((x + right * (0.5 * length - radius) + radius * math.cos(turn),
                           y + up * (0.5 * width - radius) + radius * math.sin(turn)))
    return np.array(points)


def _box_edges(low: NDArray[np.float64], high: NDArray[np.float64]) -> list[tuple[list[float], list[float]]]:
    """The twelve edges of the box around all faces."""
    corners = [[(low, high)[bit >> axis & 1][axis] for axis in range(3)] for bit in range(8)]
    return [(corners[a], corners[a | 1 << axis]) for a in range(8) for axis in range(3) if not a >> axis & 1]


def _seen(points_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """Points as the eye at VIEW sees them from far away, float64 (n, 2)."""
    eye = np.array(VIEW) / math.sqrt(sum(v * v for v in VIEW))
    right = np.cross([0.0, 0.0, 1.0], eye)
    right /= math.sqrt(float(np.sum(right * right)))
    return np.column_stack([points_mm @ right, points_mm @ np.cross(eye, right)])
