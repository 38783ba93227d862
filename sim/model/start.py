"""What a face starts from: its size, and what the machine or the foundry left on it."""

from dataclasses import dataclass, field

from sim.model.face import PITCH_MM
from sim.params import param, tool


@dataclass(frozen=True)
class Lay:
    """What a way of machining leaves: form error, cusps (um, mm apart, on arcs of a radius or straight), skin (um).

    burr_um: highest burr on an edge as it comes off the machine; from memory.
    """

    form_um: float
    cusp_um: float
    feed_mm: float
    sweep_mm: float
    skin_um: float
    burr_um: float
    ref: str


KINDS = {
    "true": Lay(0.0, 0.0, 1.0, 0.0, 0.0, 0.0, "computed: an ideal face, for what is added by amount"),
    "casting": Lay(150.0, 0.0, 1.0, 0.0, 40.0, 0.0, "from memory"),
    "rough-milled": Lay(25.0, 3.0, 1.25, 40.0, 0.6, 20.0, "from memory: 20 to 50 um over 100 to 200 mm"),
    "fly-cut": Lay(9.0, 1.0, 1.0, 60.0, 0.4, 15.0, "from memory: 5 to 15 um"),
    "cup-ground": Lay(12.0, 0.6, 0.75, 50.0, 0.4, 10.0, "common practice, no source: about 20 um over 200 mm"),
    "surface-ground": Lay(3.5, 0.2, 1.0, 0.0, 0.2, 8.0, "from memory: 2 to 5 um"),
    "planed": Lay(18.0, 3.0, 1.0, 0.0, 0.6, 20.0, "from memory: 10 to 30 um"),
}


@tool
class Start:
    """A start face: size, machining, seed, and what is added by amount. Two starts that are equal give equal faces."""

    length_mm: float = param(160.0, "mm", (5.0, 600.0), "length (x)",
                             "common practice, no source: foot of the optics-bench stand")
    width_mm: float = param(110.0, "mm", (5.0, 600.0), "width (y)",
                            "common practice, no source: foot of the optics-bench stand")
    pitch_mm: float = param(PITCH_MM, "mm", (0.05, 2.0), "side of a cell",
                            "computed: counts hold within 20 % from 0.25 to 0.125 mm")
    kind: str = param("rough-milled", "", tuple(KINDS), "how it was machined", "common practice, no source")
    edge_break_mm: float = param(0.6, "mm", (0.0, 10.0), "chamfer filed on outline, slots and holes",
                                 "common practice, no source")
    bow_x_um: float = param(0.0, "um", (-1000.0, 1000.0), "middle above the ends along x", "common practice, no source")
    bow_y_um: float = param(0.0, "um", (-1000.0, 1000.0), "middle above the ends along y", "common practice, no source")
    twist_um: float = param(0.0, "um", (-1000.0, 1000.0), "two opposite corners above the other two",
                            "common practice, no source")
    wedge_x_um: float = param(0.0, "um", (-1000.0, 1000.0), "rise over the length", "common practice, no source")
    wedge_y_um: float = param(0.0, "um", (-1000.0, 1000.0), "rise over the width", "common practice, no source")
    rail_um: float = param(0.0, "um", (0.0, 1000.0), "wear of the middle third along x, as of a slide",
                           "common practice, no source")
    warm_k: float = param(0.0, "K", (-20.0, 20.0), "face warmer than the back", "common practice, no source")
    error_um: float = param(0.0, "um", (0.0, 1000.0), "range to which the whole form is scaled, cusps and skin not; "
                            "0 leaves it as it is", "computed: the same face more or less out of flat")
    cutouts: tuple[tuple[float, ...], ...] = field(default=())
    """Where no iron is: x, y of the middle, length, width, mm; a fifth is the corner radius, else round ends."""


COUPON = Start(length_mm=60.0, width_mm=40.0)
"""A coupon to practise on."""
