"""What is uncovered: the only part of the bench that knows the heights, and whoever shows it says so."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.bench.desk import Desk
from sim.bench.palette import HEIGHTS, WELL
from sim.measure.orient import part_orientation
from sim.measure.verdict import score
from sim.model.face import Face
from sim.target import Target
from sim.units import S_PER_H, UM_PER_TENTH

SPAN_UM = 6.0  # of the map, up and down, at least


@dataclass(frozen=True, eq=False)
class Uncovered:
    """A face after Finish: its map, and its figures against the goal.

    Attributes
    ----------
    map : uint8 (ny, nx, 3)
        Heights over the plane that it bears on, top row first.
    span_um : float
    rows : tuple
        What, got, goal in words, and whether it is met; None where there is no goal.
    """

    map: NDArray[np.uint8]
    span_um: float
    rows: tuple[tuple[str, str, str, bool | None], ...]
    met: bool
    pitch_mm: float = 0.25


def uncovered(desk: Desk, inches: bool = False) -> Uncovered:
    """Uncover the face in hand."""
    job = desk.session.job
    target: Target = job.start.shape.face(job.in_hand).target
    found = score(job.face, target, job.body)
    off = 100.0 * job.strokes_off_marks / max(job.strokes, 1)
    flat, want = (v / UM_PER_TENTH if inches else v for v in (found.bearing_flatness_um, target.bearing_flatness_um))
    rows = (
        (
            f"Bearing flatness, {'tenths' if inches else 'µm'}",
            f"{flat:.1f}",
            f"≤ {want:.3g}",
            found.bearing_flatness_um <= target.bearing_flatness_um,
        ),
        (
            "Spots in the square, mean",
            f"{found.spots_mean:.1f}",
            f"≥ {target.spots_mean:g}",
            found.spots_mean >= target.spots_mean,
        ),
        (
            "Spots, lowest square",
            f"{found.spots_lowest:.3g}",
            f"≥ {target.spots_lowest:g}",
            found.spots_lowest >= target.spots_lowest,
        ),
        (
            "Bearing, %",
            f"{found.bearing_pct:.1f}",
            f"≥ {target.bearing_pct:g}",
            found.bearing_pct >= target.bearing_pct,
        ),
        ("Strokes off the marks, %", f"{off:.0f}", "–", None),
        ("Rounds", f"{job.round}", "–", None),
        ("Hours on the shop clock", f"{job.clock_s / S_PER_H:.1f}", "–", None),
    )
    between = []
    for asked in job.start.shape.tolerances:
        if asked.face == job.in_hand:
            um = part_orientation(job.part, asked).contact_um
            got, limit = (v / UM_PER_TENTH if inches else v for v in (um, asked.limit_um))
            words = f"{asked.kind.capitalize()} to {asked.datum}, {'tenths' if inches else 'µm'}"
            between.append((words, f"{got:.1f}", f"≤ {limit:.3g}", um <= asked.limit_um))
    heights, span = height_map(job.face)
    met = found.meets(target) and all(row[3] for row in between)
    return Uncovered(heights, span, (*rows[:4], *between, *rows[4:]), met, job.face.pitch_mm)


def height_map(face: Face) -> tuple[NDArray[np.uint8], float]:
    """Colours of the heights of a face over its least-squares plane, and the span of the colours, um."""
    scored = face.scored
    rows, cols = np.nonzero(scored)
    places = np.column_stack([cols, rows, np.ones(len(rows))])
    plane, *_ = np.linalg.lstsq(places, face.height_um[scored], rcond=None)
    ny, nx = face.shape
    off = face.height_um - (plane[0] * np.arange(nx)[None, :] + plane[1] * np.arange(ny)[:, None] + plane[2])
    span = max(SPAN_UM, float(np.ceil(np.percentile(np.abs(off[scored]), 99.0))))
    share = np.clip(off / span, -1.0, 1.0)
    knots = np.linspace(-1.0, 1.0, len(HEIGHTS))
    picture = np.empty((*face.shape, 3), np.uint8)
    for channel in range(3):
        picture[:, :, channel] = np.interp(share, knots, [colour[channel] for colour in HEIGHTS])
    lines = np.floor(off / 2.0)
    edge = np.zeros(face.shape, bool)
    edge[:, 1:] |= lines[:, 1:] != lines[:, :-1]
    edge[1:] |= lines[1:] != lines[:-1]
    picture[edge & scored] = (picture[edge & scored] * 0.82).astype(np.uint8)
    picture[~face.iron] = WELL
    return picture[::-1], span
