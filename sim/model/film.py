"""What is known of the blue: how it is laid on, how it looks."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.params import param, tool


@tool
class Blue:
    """Prussian blue in oil, the brayer and the rag, and the eye that judges it."""

    opacity_um: float = param(0.35, "um", (0.1, 2.0), "thickness that covers 63 %; darkness = 1 - exp(-b / this)",
                              "from memory: 0.25 to 0.5")
    seen_um: float = param(0.2426, "um", (0.01, 5.0), "film that an eye counts as marked: half dark",
                           "computed: 0.35 um x ln 2")
    push_mm: float = param(0.75, "mm", (0.25, 3.0), "how far rubbing moves the squeezed-out blue", "from memory")
    rub_mm: float = param(10.0, "mm", (1.0, 100.0), "rub length over which 63 % of the excess moves", "from memory")
    stay_share: float = param(0.5, "", (0.1, 0.7), "share of the blue in the gap that stays on the part",
                              "source: Walker and Fetsko, ink transfer")
    brayer_cv: float = param(0.12, "", (0.0, 1.0), "unevenness of a brayed film: standard deviation / mean",
                             "from memory")
    rag_cv: float = param(0.4, "", (0.0, 1.0), "unevenness of a film laid with a rag", "from memory")
    lint_per_rag: float = param(1.5, "", (0.0, 50.0), "fibres that a rag leaves on the plate, mean", "from memory")
    wipe_top_share: float = param(0.02, "", (0.0, 1.0), "share of the blue that the cloth leaves on the tops",
                                  "from memory")
    wipe_pocket_share: float = param(0.5, "", (0.0, 1.0), "share that it leaves in deep pockets", "from memory")
    pocket_um: float = param(8.0, "um", (0.5, 100.0), "depth below the tops at which the pocket share is reached",
                             "from memory")
    chips_per_stroke: float = param(0.003, "", (0.0, 1.0), "chips left on an unwiped face, mean per stroke",
                                    "from memory")


def darkness(blue_um: NDArray[Any], opacity_um: float) -> NDArray[Any]:
    """How dark blue of a thickness looks, 0 bare to 1: 1 - e^(-blue / opacity); floats of the kind that came in."""
    dark: NDArray[Any] = -np.expm1(blue_um / blue_um.dtype.type(-opacity_um))
    return dark
