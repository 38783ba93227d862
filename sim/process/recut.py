"""Back to the machine: a face fly-cut or cup-ground again, what the tram of the head leaves, and whether it pays."""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from sim.errors import BadParam
from sim.kernels.ink import total
from sim.model.face import Face
from sim.model.start import KINDS
from sim.params import param, tool
from sim.process.machining import cut_lay, edge_burr_um, fly_cut_dish_um, own_form_um

DEEPEST_UM = 1000.0
STEEPEST_UM_PER_MM = 20.0
PAYS_UM = 30.0  # computed: 30 to 40 um, trials of a prototype of this model with the head in tram
STEP_UM = 3.0  # from memory: more than a finishing stroke takes
HAND_UM = 60.0  # from memory; 20 to 25 um is already a lot: common practice, no source


@tool
class FlyCutter:
    """A fly cutter in a mill: one tooth on a circle, the head as it stands. Tilts in um over 100 mm: 0.02/200 is 10."""

    tram_along_um_per_100mm: float = param(
        10.0, "um/100mm", (-500.0, 500.0), "head out of tram along the feed; above 0: the leading edge is the low one",
        "common practice, no source: 0.02 mm over 200 mm")  # fmt: skip
    tram_across_um_per_100mm: float = param(
        0.0, "um/100mm", (-500.0, 500.0), "head out of tram across the feed; above 0: the cut rises with y",
        "common practice, no source")  # fmt: skip
    sweep_mm: float = param(60.0, "mm", (5.0, 300.0), "radius of the circle of the tooth", "from memory")
    stepover_mm: float = param(60.0, "mm", (1.0, 600.0), "from pass to pass where one does not span the face",
                               "from memory")
    leaves: str = param("fly-cut", "", ("fly-cut", "cup-ground", "true"),
                        "form, cusps, skin and burr that stay, as of a start face of this kind", "from memory")
    least_depth_um: float = param(50.0, "um", (0.0, 500.0), "a thinner cut rubs instead of cutting", "from memory")
    pass_depth_um: float = param(500.0, "um", (1.0, 1000.0), "deepest cut in one go; more takes several",
                                 "from memory")
    feed_mm_per_min: float = param(150.0, "mm/min", (1.0, 5000.0), "feed of the table", "from memory")
    set_up_h: float = param(1.25, "h", (0.0, 24.0), "clamping, tramming the head, touching off, cleaning",
                            "from memory: 1 to 1.5 h")
    warm_k: float = param(0.0, "K", (0.0, 20.0), "how much warmer the face is than the back when it comes off",
                          "from memory")


@tool
class CupWheel(FlyCutter):
    """A cup wheel in a mill: it sweeps and tilts as a fly cutter, takes less and leaves the face warm."""

    sweep_mm: float = param(50.0, "mm", (5.0, 300.0), "radius of the rim", "from memory")
    leaves: str = param("cup-ground", "", ("fly-cut", "cup-ground", "true"),
                        "form, cusps, skin and burr that stay, as of a start face of this kind", "from memory")
    least_depth_um: float = param(5.0, "um", (0.0, 500.0), "a thinner cut rubs instead of cutting", "from memory")
    pass_depth_um: float = param(10.0, "um", (1.0, 1000.0), "deepest cut in one go; more takes several",
                                 "from memory")
    feed_mm_per_min: float = param(400.0, "mm/min", (1.0, 5000.0), "feed of the table", "from memory")
    set_up_h: float = param(1.0, "h", (0.0, 24.0), "clamping, dressing the wheel, touching off, cleaning",
                            "from memory")
    warm_k: float = param(3.0, "K", (0.0, 20.0), "how much warmer the face is than the back when it comes off",
                          "from memory")


def pass_axes_mm(cut: FlyCutter, width_mm: float) -> NDArray[np.float64]:
    """Where the axis of the cutter runs in each pass, from the middle of the face: one pass where the sweep spans it.

    Raises
    ------
    BadParam
        If the width is not above 0, or the passes would leave ribs between them.
    """
    if not 0.0 < width_mm < math.inf:
        raise BadParam(f"width_mm must be above 0 mm, got {width_mm!r}")
    if cut.stepover_mm > 2.0 * cut.sweep_mm:
        spans = f"the {2.0 * cut.sweep_mm:g} mm that a sweep of {cut.sweep_mm:g} mm spans"
        raise BadParam(f"stepover_mm must be at most {spans}, got {cut.stepover_mm:g}")
    over = max(width_mm - 2.0 * cut.sweep_mm, 0.0)
    count = 1 + math.ceil(over / cut.stepover_mm - 1e-9)
    return (np.arange(count, dtype=np.float64) - 0.5 * (count - 1)) * cut.stepover_mm


def swept_um(cut: FlyCutter, y_mm: NDArray[np.float64], width_mm: float) -> tuple[NDArray[np.float64], NDArray]:
    """Profile that the tilted circle sweeps across the feed: height, um, and distance from the axis that cut, mm.

    Parameters
    ----------
    y_mm : float64 (n,)
        Across the feed, from the middle of the face.

    Raises
    ------
    BadParam
        As `pass_axes_mm`.

    Notes
    -----
    Along the feed only the low half of the circle cuts: at v from the axis it stands at -sqrt(R^2 - v^2) t_along / D,
    whichever half it is; across, it rises by v t_across / D. The lowest pass counts. The cutter runs off at both ends.
    """
    axes = pass_axes_mm(cut, width_mm)
    v = y_mm[None, :] - axes[:, None]
    inside = cut.sweep_mm * cut.sweep_mm - v * v
    low_half = np.sqrt(np.maximum(inside, 0.0)) * abs(cut.tram_along_um_per_100mm) / 100.0
    height = np.where(inside >= -1e-6, v * (cut.tram_across_um_per_100mm / 100.0) - low_half, np.inf)
    lowest, row = height.argmin(axis=0), np.arange(len(y_mm))
    return height[lowest, row], np.clip(v[lowest, row], -cut.sweep_mm, cut.sweep_mm)


def recut_face(face: Face, cut: FlyCutter, depth_um: float, rng: np.random.Generator,
               slopes_um_per_mm: Sequence[float] | None = None) -> float:
    """Cut the whole face again, feed along x; changes `face`; returns the iron taken off, mm3.

    Parameters
    ----------
    depth_um : float
        From where the cutter first touches the iron to where it cuts: the deepest cut.
    slopes_um_per_mm : (x, y), optional
        How the plane that the machine cuts lies to the face's frame, as it is clamped: the datum's, or the
        least-squares plane of the scored cells.

    Raises
    ------
    BadParam
        A depth from less than the cutter needs up to 1 mm, slopes that are no two numbers up to 20 um/mm, passes that
        leave ribs; nothing is changed.

    Notes
    -----
    Nothing is raised: each cell ends at the lower of iron and cut. What was not reached, as a deep edge break, stays,
    with its blue; cut iron loses blue and burr, edges that were cut get the burr of the machine, chips are washed off.
    Left out: rubbing where the cut runs thin within a pass, marks of the clamps.
    """
    if not max(cut.least_depth_um, 1e-3) <= depth_um <= DEEPEST_UM:
        raise BadParam(f"depth_um must be in [{cut.least_depth_um:g}, {DEEPEST_UM:g}] µm, got {depth_um!r}: "
                       "a thinner cut rubs")
    slopes = _levelled_slopes(face) if slopes_um_per_mm is None else tuple(slopes_um_per_mm)
    if len(slopes) != 2 or not all(abs(s) <= STEEPEST_UM_PER_MM for s in slopes):
        raise BadParam(f"slopes_um_per_mm must be two numbers up to {STEEPEST_UM_PER_MM:g} µm/mm, got {slopes}")
    surface = _tool_surface_um(face, cut, slopes, rng)
    surface += float((face.height_um - surface)[face.iron].max()) - depth_um
    cut_here = face.iron & (surface < face.height_um)
    taken = np.where(cut_here, face.height_um - surface, 0.0)
    face.height_um[cut_here] = surface[cut_here]
    face.blue_um[cut_here] = 0.0
    burr = KINDS[cut.leaves].burr_um
    face.burr_um[cut_here] = edge_burr_um(face, burr, rng)[cut_here] if burr > 0.0 else 0.0
    face.chips = np.zeros((0, 3))
    face.warm_k = cut.warm_k
    return total(taken) * face.cell_mm2 * 1e-3


def _tool_surface_um(face: Face, cut: FlyCutter, slopes: tuple[float, ...],
                     rng: np.random.Generator) -> NDArray[np.float64]:
    """What the cutter would leave of a solid block, um (ny, nx), of any height: plane, sweep, own form, cusps, skin."""
    ny, nx = face.shape
    lay = KINDS[cut.leaves]
    x_mm, y_mm = _from_middle_mm(nx, face.pitch_mm), _from_middle_mm(ny, face.pitch_mm)
    profile, across_mm = swept_um(cut, y_mm, ny * face.pitch_mm)
    surface = (profile + slopes[1] * y_mm)[:, None] + (slopes[0] * x_mm)[None, :]
    surface += own_form_um((x_mm / (0.5 * nx * face.pitch_mm))[None, :], (y_mm / (0.5 * ny * face.pitch_mm))[:, None],
                           lay.form_um, rng)
    texture = np.zeros(face.shape)
    arcs = replace(lay, sweep_mm=cut.sweep_mm)
    cut_lay(texture, face.pitch_mm, across_mm, arcs, rng)
    surface += texture if cut.tram_along_um_per_100mm >= 0.0 else texture[:, ::-1]  # arcs of the half that cuts
    return surface


def _from_middle_mm(cells: int, pitch_mm: float) -> NDArray[np.float64]:
    return (np.arange(cells, dtype=np.float64) + 0.5 - 0.5 * cells) * pitch_mm


def _levelled_slopes(face: Face) -> tuple[float, float]:
    """Slopes of the least-squares plane of the scored cells, um/mm, by sums that are the same on every machine."""
    ny, nx = face.shape
    one = face.scored.astype(np.float64)
    count = max(total(one), 1.0)
    x, y = (np.broadcast_to(v, face.shape) * one for v in (_from_middle_mm(nx, face.pitch_mm)[None, :],
                                                           _from_middle_mm(ny, face.pitch_mm)[:, None]))
    z = np.where(face.scored, face.height_um, 0.0)
    x, y, z = (v - one * (total(v) / count) for v in (x, y, z))
    xx, xy, yy, xz, yz = total(x * x), total(x * y), total(y * y), total(x * z), total(y * z)
    det = xx * yy - xy * xy
    if not det > 1e-9 * xx * yy:
        raise BadParam("the scored cells of the face must not lie on one line: a plane through them is wanted")
    return (xz * yy - yz * xy) / det, (yz * xx - xz * xy) / det


def recut_hours(size_mm: tuple[float, float], cut: FlyCutter, depth_um: float) -> float:
    """Shop time of cutting a face of this length and width once more, h: set-up, then pass by pass, off at both ends.

    Raises
    ------
    BadParam
        As `pass_axes_mm`.
    """
    ways = len(pass_axes_mm(cut, size_mm[1])) * math.ceil(depth_um / cut.pass_depth_um - 1e-9)
    return cut.set_up_h + ways * (size_mm[0] + 2.0 * cut.sweep_mm) / cut.feed_mm_per_min / 60.0


def dish_um(cut: FlyCutter, width_mm: float) -> float:
    """Hollow that the tram along the feed alone leaves, um: closed form, over the widest strip that one pass cuts.

    Raises
    ------
    BadParam
        As `pass_axes_mm`.
    """
    axes = pass_axes_mm(cut, width_mm)
    strip = width_mm if len(axes) == 1 else max(cut.stepover_mm, width_mm - (len(axes) - 1) * cut.stepover_mm)
    return fly_cut_dish_um(cut.sweep_mm, strip, abs(cut.tram_along_um_per_100mm) / 1000.0, 100.0)


def step_um(cut: FlyCutter) -> float:
    """Step between two passes side by side, um: stepover x t / D across the feed; less where the hollows overlap."""
    return cut.stepover_mm * abs(cut.tram_across_um_per_100mm) / 100.0


def tilt_um(cut: FlyCutter, width_mm: float) -> float:
    """Rise over the width of a face cut in one pass, against the table, um: width x t / D across the feed."""
    return width_mm * abs(cut.tram_across_um_per_100mm) / 100.0


def proportion(error_um: float, cut: FlyCutter, width_mm: float) -> list[str]:
    """Sentences of warning where cutting a face with this error again is out of proportion; none where it is not.

    Raises
    ------
    BadParam
        As `pass_axes_mm`.
    """
    told, hollow, passes = [], dish_um(cut, width_mm), len(pass_axes_mm(cut, width_mm))
    if hollow >= error_um:
        told.append(f"The tram alone leaves a hollow of {hollow:.1f} µm where you have {error_um:g} µm: "
                    "tram the head first, or the middle will never mark.")
    elif error_um < PAYS_UM:
        told.append(f"{error_um:g} µm goes about as quickly by hand: with the head in tram a cut begins to pay at "
                    "30 to 40 µm (trials of a prototype of this model).")
    if passes > 1 and step_um(cut) >= STEP_UM:
        told.append(f"Out of tram across the feed: a step of up to {step_um(cut):.1f} µm between passes, which a hand "
                    "has to take down again.")
    if passes == 1 and tilt_um(cut, width_mm) >= error_um:
        told.append(f"Out of tram across the feed: the face rises by {tilt_um(cut, width_mm):.1f} µm over its width "
                    f"where you have {error_um:g} µm; flat it may be, parallel it is not.")
    return told


def hand_proportion(wedge_um: float) -> list[str]:
    """A sentence of warning where taking a wedge off by hand is out of proportion; none where it is not."""
    if wedge_um <= HAND_UM:
        return []
    return [f"A wedge of {wedge_um:g} µm is out of proportion for a hand: 20 to 25 µm is already a lot "
            "(common practice, no source). Cut it on the machine first, then scrape."]
