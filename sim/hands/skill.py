"""A hand: how far its strokes stray from what was meant."""

from dataclasses import asdict, fields

import numpy as np
from numpy.typing import NDArray

from sim.params import param, tool
from sim.shop.luck import luck


@tool
class Hand:
    """Scatter, drift and pace of a hand; the defaults are a skilled one."""

    depth_scatter: float = param(0.15, "", (0.0, 1.0), "scatter of depth from stroke to stroke",
                                 "from memory: 0.15 skilled, 0.22 trained, 0.35 beginner")
    drift_mm: float = param(0.3, "mm", (0.0, 10.0), "miss of the mark, standard deviation each way",
                            "from memory: 0.3, 0.7, 1.5")
    direction_deg: float = param(3.0, "deg", (0.0, 45.0), "spread of direction", "from memory: 3, 6, 12")
    pace_per_min: float = param(60.0, "1/min", (1.0, 300.0), "strokes a minute, all in", "from memory: 60, 50, 40")
    read_s: float = param(30.0, "s", (0.0, 3600.0), "time to read a print", "from memory: 30, 60, 120")
    care: float = param(1.0, "", (0.5, 1.0),
                        "how it eases off over an edge: share of support to this power, to first order",
                        "common practice, no source")
    ramp_mm: float = param(1.0, "mm", (0.05, 20.0), "way over which the push rises and falls",
                           "common practice, no source")
    style: float = param(0.15, "", (0.0, 0.5), "spread of the push between persons, one draw a job",
                         "source: dynamometer studies find workers differ more than passes; the number from memory")

    def at(self, round_: int) -> "Hand":
        """The hand as it is in a round: this one never changes."""
        return self


@tool
class LearningHand(Hand):
    """A beginner who becomes a trained hand over the rounds; before round 1 he is one."""

    half_rounds: float = param(20.0, "", (1.0, 10_000.0), "rounds after which half of the way is gone; twice as many, "
                               "two thirds", "from memory: practice pays most at first; the number is a guess")

    def at(self, round_: int) -> Hand:
        """The hand as it is in a round: by the share half / (half + round) still a beginner."""
        share = self.half_rounds / (self.half_rounds + max(round_, 0))
        end = HANDS["trained"]
        return Hand(*(share * getattr(self, f.name) + (1.0 - share) * getattr(end, f.name) for f in fields(Hand)))


HANDS = {
    "skilled": Hand(),
    "trained": Hand(depth_scatter=0.22, drift_mm=0.7, direction_deg=6.0, pace_per_min=50.0, read_s=60.0, care=0.8),
    "beginner": Hand(depth_scatter=0.35, drift_mm=1.5, direction_deg=12.0, pace_per_min=40.0, read_s=120.0, care=0.5),
}
HANDS["learning"] = LearningHand(**asdict(HANDS["beginner"]))
PUSH_PER_DEPTH = 0.8  # depth goes as push^1.25 around a finishing stroke (computed from flat_cut)


def lay(strokes: NDArray[np.float64], hand: Hand, seed: int, round_: int, first: int = 0) -> NDArray[np.float64]:
    """Strokes as this hand makes them.

    Parameters
    ----------
    strokes : float64 (n, 5)
        As meant: x0, y0, x1, y1 in mm, push in N.
    round_, first : int
        Round, and number of the first of these strokes in it: the keys of the hand's luck.

    Returns
    -------
    float64 (n, 5)
        As made; a hand of no scatter gives back what was meant.
    """
    count = len(strokes)
    draws = luck(seed, "hand", round_, first).standard_normal((count, 4))
    person = 1.0 + hand.style * np.clip(luck(seed, "style").standard_normal(), -1.5, 1.5)
    middle = 0.5 * (strokes[:, :2] + strokes[:, 2:4]) + hand.drift_mm * draws[:, :2]
    half = 0.5 * (strokes[:, 2:4] - strokes[:, :2])
    turn = np.radians(hand.direction_deg) * np.clip(draws[:, 2], -3.0, 3.0)
    c, s = np.cos(turn), np.sin(turn)
    turned = np.column_stack([c * half[:, 0] - s * half[:, 1], s * half[:, 0] + c * half[:, 1]])
    push = strokes[:, 4] * person * np.clip(1.0 + PUSH_PER_DEPTH * hand.depth_scatter * draws[:, 3], 0.3, 2.0)
    return np.column_stack([middle - turned, middle + turned, np.minimum(push, 900.0)])
