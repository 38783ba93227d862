"""Scraper strokes: force decides depth; a blade with mass; burr, run-off and edge wear."""

from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from sim.errors import BadParam
from sim.kernels.cut import STEP_MM, cut_strokes
from sim.model.blade import Blade, Edge
from sim.model.face import Face
from sim.model.plate import Plate
from sim.params import param, tool

TABLE_PER_UM = 8
TABLE_UM = 128


@tool
class Iron:
    """Grey iron under the blade."""

    kc11_n_mm2: float = param(1150.0, "N/mm2", (300.0, 4000.0), "Kienzle specific force at 1 mm chip",
                              "source: VDI 3323 group tables, grey iron 180 HB; 1350 the harder group")
    chip_power: float = param(0.20, "", (0.05, 0.5), "Kienzle exponent m: force per width = k h^(1-m)",
                              "source: VDI 3323 group tables; 0.28 the harder group")
    rake_factor: float = param(1.56, "", (0.5, 3.0), "force at the true rake of about -35 deg",
                               "computed: 1 % per degree, compounded")
    edge_sharp_n_mm: float = param(25.0, "N/mm", (0.0, 300.0), "force per engaged width that does not cut, sharp",
                                   "computed: fitted to 454 and 178 N measured on a worker (a calibration)")
    edge_dull_n_mm: float = param(100.0, "N/mm", (0.0, 500.0), "the same, dull", "computed: fitted, the same study")
    honed_um: float = param(4.0, "um", (0.5, 20.0), "edge radius as honed", "from memory")
    dull_um: float = param(12.0, "um", (1.0, 100.0), "edge radius that no longer finishes", "from memory")
    least_chip_share: float = param(0.3, "", (0.0, 1.0), "least chip / edge radius: less is burnished",
                                    "source: size-effect literature for the idea; from memory for the number")
    burr_sharp: float = param(0.2, "", (0.0, 2.0), "burr height / depth, sharp", "from memory")
    burr_dull: float = param(0.6, "", (0.0, 2.0), "burr height / depth, dull", "from memory")
    support_um: float = param(60.0, "um", (5.0, 500.0),
            "iron lower than this under the blade, or falling so much in 0.25 mm, does not carry it",
            "common practice, no source")


@tool
class Chatter:
    """A blade with mass on a springy shank."""

    wave_mm: float = param(1.5, "mm", (0.8, 10.0), "wave left by free swing at working speed",
                           "from memory: 40 to 50 Hz at 60 to 75 mm/s")
    damping: float = param(0.2, "", (0.0, 0.95), "damping ratio", "from memory")
    flank_um: float = param(0.5, "um", (0.0, 10.0), "how far the flank lets the edge dip under its balance",
                            "from memory")


WEAR_UM_PER_M = {"carbon steel": 2.0, "high-speed steel": 1.0, "carbide": 0.1}  # from memory


@dataclass(frozen=True)
class Cut:
    """What a command's strokes did, one entry a stroke.

    removed_mm3, deepest_um, length_mm, cells, inked_cells, blue_um_mm2, burr_mm3, edge_um : float64 (n,)
    """

    removed_mm3: NDArray[np.float64]
    deepest_um: NDArray[np.float64]
    length_mm: NDArray[np.float64]
    cells: NDArray[np.float64]
    inked_cells: NDArray[np.float64]
    blue_um_mm2: NDArray[np.float64]
    burr_mm3: NDArray[np.float64]
    edge_um: NDArray[np.float64]


@lru_cache(maxsize=16)
def chip_table(chip_power: float) -> NDArray[np.float64]:
    """depth^(1-m) for 0 to TABLE_UM um, TABLE_PER_UM entries a um; in decimal arithmetic, the same on every machine."""
    power = 1 - Decimal(repr(chip_power))
    steps = range(1, TABLE_UM * TABLE_PER_UM + 1)
    table = np.array([0.0] + [float((Decimal(n) / TABLE_PER_UM) ** power) for n in steps])
    table.flags.writeable = False
    return table


@lru_cache(maxsize=16)
def swing(wave_mm: float, damping: float, step_mm: float = STEP_MM) -> tuple[float, float, float, float]:
    """Exact step of a damped swing over `step_mm`: (x, x') -> M (x, x'), by series, the same on every machine."""
    omega = 2.0 * 3.141592653589793 / wave_mm
    a = [[0.0, step_mm], [-omega * omega * step_mm, -2.0 * damping * omega * step_mm]]
    sums, power = [[1.0, 0.0], [0.0, 1.0]], [[1.0, 0.0], [0.0, 1.0]]
    for n in range(1, 60):
        power = [[sum(power[i][k] * a[k][j] for k in range(2)) / n for j in range(2)] for i in range(2)]
        sums = [[sums[i][j] + power[i][j] for j in range(2)] for i in range(2)]
    return sums[0][0], sums[0][1], sums[1][0], sums[1][1]


def kienzle_n_mm(iron: Iron) -> float:
    """Cutting force per mm of width at 1 um of depth: k_c1.1 x rake x 0.001^(1-m)."""
    return iron.kc11_n_mm2 * iron.rake_factor * float(Decimal("0.001") ** (1 - Decimal(repr(iron.chip_power))))


def flat_cut(blade: Blade, push_n: float, iron: Iron, edge_um: float | None = None) -> tuple[float, float]:
    """Depth (um) and width (mm) at which a push balances on flat iron: the preview on the bench.

    Notes
    -----
    Cross section d (1 - u^2): mean of its (1-m)th power is B(1/2, 2 - m) / 2 of the peak's. Width 2 sqrt(2 R d / sin).
    """
    from scipy.optimize import brentq
    from scipy.special import beta

    mean = 0.5 * beta(0.5, 2.0 - iron.chip_power)
    dull = min(max(((edge_um or iron.honed_um) - iron.honed_um) / (iron.dull_um - iron.honed_um), 0.0), 1.0)
    edge = iron.edge_sharp_n_mm + dull * (iron.edge_dull_n_mm - iron.edge_sharp_n_mm)

    def miss(depth_um: float) -> float:
        width = cut_width_mm(blade, depth_um)
        return width * (kienzle_n_mm(iron) * mean * depth_um ** (1.0 - iron.chip_power) + edge) - push_n

    depth = float(brentq(miss, 1e-9, 1e4, xtol=1e-12))
    return depth, cut_width_mm(blade, depth)


def taken_um(blade: Blade, push_n: float, iron: Iron, edge_um: float | None = None) -> float:
    """Depth that a push takes off flat iron, um: where it balances, less the least chip, which is burnished."""
    depth, _ = flat_cut(blade, push_n, iron, edge_um)
    return max(depth - iron.least_chip_share * (edge_um or iron.honed_um), 0.0)


def cut_width_mm(blade: Blade, depth_um: float) -> float:
    """Width of a cut on flat iron: 2 sqrt(2 R d / sin(shank)), at most the blade."""
    return float(min(2.0 * np.sqrt(2.0 * crown_mm(blade) * depth_um * 1e-3), blade.width_mm))


def crown_mm(blade: Blade) -> float:
    """Radius of the edge as it meets the face: end radius / sin(shank angle)."""
    return blade.end_radius_mm / sine(blade.shank_deg)


def sine(degrees: float) -> float:
    """Sine of an angle up to 90 degrees by its series: the same bits on every machine."""
    x = degrees * 3.141592653589793 / 180.0
    term = result = x
    for n in range(3, 40, 2):
        term *= -x * x / (n * (n - 1))
        result += term
    return result


def scrape(face: Face, plate: Plate, blade: Blade, edge: Edge, strokes: NDArray[np.float64], *, care: float = 1.0,
           ramp_mm: float = 1.0, iron: Iron | None = None, chatter: Chatter | None = None,
           seen_um: float = 0.2426) -> Cut:
    """Make strokes in order; changes `face` and `edge`, and books the blue carried off on `plate`.

    Parameters
    ----------
    strokes : float64 (n, 5)
        x0, y0, x1, y1 in mm and push in N.
    care : float in [0.5, 1]
        How far the hand eases off where the blade runs over an edge: 1 in step with the support, 0.5 half as much.
    ramp_mm : float
        Way over which the push rises and falls.
    seen_um : float
        Blue thicker than this is a mark that the eye sees; cells that bore one are counted as inked.

    Notes
    -----
    Of the push, share (1 + (1 - care) (1 - share)) is left where a share of the cut's width on flat iron is supported.
    That is share^care to first order in what is off the edge; but share^care itself would load the last sliver at a
    corner without limit (share^(care - 1) a mm), where this loads it at most 2 - care times as much as inside.

    Raises
    ------
    BadParam
        Wrong shape or numbers; nothing is changed.
    """
    iron = iron or Iron()
    chatter = chatter or Chatter()
    strokes = np.ascontiguousarray(strokes, dtype=np.float64)
    if strokes.ndim != 2 or strokes.shape[1] != 5 or not np.isfinite(strokes).all():
        raise BadParam(f"strokes must be finite numbers (n, 5): x0, y0, x1, y1 mm, push N; got shape {strokes.shape}")
    lengths = np.hypot(strokes[:, 2] - strokes[:, 0], strokes[:, 3] - strokes[:, 1])
    if len(strokes) and not (lengths.min() >= 0.1 and lengths.max() <= 200.0):
        raise BadParam(f"a stroke must be 0.1 to 200 mm long, got {lengths.min():g} to {lengths.max():g}")
    if len(strokes) and not (0.0 <= strokes[:, 4].min() and strokes[:, 4].max() <= 900.0):
        raise BadParam(f"push_n must be in [0, 900] N, got {strokes[:, 4].min():g} to {strokes[:, 4].max():g}")
    tool_ = np.array([crown_mm(blade), 0.5 * blade.width_mm, edge.radius_um, WEAR_UM_PER_M[blade.material] * 1e-3, care,
                      ramp_mm, iron.burr_sharp, iron.burr_dull])
    law = np.array([face.pitch_mm, kienzle_n_mm(iron), iron.edge_sharp_n_mm, iron.edge_dull_n_mm, iron.honed_um,
                    iron.dull_um, iron.least_chip_share, chatter.flank_um, *swing(chatter.wave_mm, chatter.damping),
                    iron.support_um, seen_um, TABLE_PER_UM])
    out = np.zeros((len(strokes), 8))
    cut_strokes(face.height_um, face.burr_um, face.blue_um, strokes, tool_, law, chip_table(iron.chip_power), out)
    for row in out[:, 5]:
        plate.cloth_um_mm2 += float(row)
    for row in out[:, 2]:
        edge.metres += float(row) * 1e-3
    edge.radius_um = float(tool_[2])
    return Cut(out[:, 0] * 1e-3, out[:, 1], out[:, 2], out[:, 3], out[:, 4], out[:, 5], out[:, 6] * 1e-3, out[:, 7])
