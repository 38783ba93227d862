"""What lies on a bench, as plain data: pushes, calls, prints that hang, strokes, how each tool is set."""

import base64
import zlib
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from sim.school.calls import Call as Call
from sim.shop.commands import Command

ROUND = ("roll", "spot", "read", "scrape", "stone", "wipe")
INSTRUMENTS = ("indicator", "hinge", "chalk", "square")
TOOLS = (*ROUND, *INSTRUMENTS)
FILMS_UM = {1: 1.5, 2: 3.0, 3: 8.0}  # thin, normal, heavy: from memory, as the stages of the pilot
DULL_M = 30.0  # metres after which the edge is called dull: common practice, no source
MARK_MM = 4.0  # a stroke belongs to the call nearest to its middle, if that is not farther: common practice, no source
MOST_HUNG = 200
HAND_N = 40.0  # a hand that presses on the middle of the part: common practice, no source
CALLED_MM = 6.0  # a trained hand takes what lies so near to a called mark: common practice, no source
REST_DRAGS = 600  # common practice, no source


class PushStep(NamedTuple):
    """One of the six pushes: the stage it is for, N, and the blade that goes with it."""

    name: str
    push_n: float
    blade: str


# pushes from memory; on flat iron they cut 2.9, 3.4, 5.0, 6.7, 10 and 18 um (computed)
PUSHES = (
    PushStep("splitting", 50.0, "split"),
    PushStep("fine", 70.0, "fine"),
    PushStep("finishing", 95.0, "fine"),
    PushStep("semi", 150.0, "semi"),
    PushStep("rough", 250.0, "rough"),
    PushStep("body", 450.0, "rough"),
)


class Prediction(NamedTuple):
    """What was expected before lifting: the hardest place, and more, same or fewer marks; None: not said."""

    x_mm: float | None = None
    y_mm: float | None = None
    marks: str | None = None


class Beside(Protocol):
    """Who goes along with what is done on a desk."""

    def before(self, desk: Any, command: Command) -> str | None:
        """An act is about to be done; why it is not allowed, None when it is."""

    def after(self, desk: Any, command: Command) -> None:
        """An act was done."""

    def undone(self, desk: Any) -> None:
        """The last act was taken back."""


@dataclass(frozen=True, eq=False)
class Hung:
    """A print that hangs on the left: of which face and round, and its darkness, uint8, row 0 at y = 0."""

    face: str
    round: int
    picture: NDArray[np.uint8]

    @cached_property
    def packed(self) -> str:
        """The picture as text, to be kept in a file; made once."""
        return base64.b64encode(zlib.compress(self.picture.tobytes(), 1)).decode()


@dataclass(frozen=True)
class Freedom:
    """What this practice allows; a lesson allows less than free practice."""

    rows: bool = True
    orders: bool = True
    carry_on: bool = True
    iron_back: bool = True
    uncover: bool = True
    hand_over: bool = True
    finish_as: bool = True
    hand: str = "trained"


@dataclass
class Handing:
    """Of someone else who works by himself: where he keeps to, whether he has printed in this round, his first act
    while it is not done (he was sent no sight yet), who has worked each face before, and as what he works."""

    within: Sequence[Sequence[tuple[float, float]]] = ()
    printed: bool = False
    first: Command | None = None
    pilots: dict[str, Any] = field(default_factory=dict)
    strategy: str = ""


@dataclass
class Settings:
    """How each tool is set."""

    film: int = 2
    applicator: str = "brayer"
    on: str = "plate"
    x_mm: float = 40.0
    y_mm: float = 35.0
    turn_deg: float = 0.0
    way_mm: float = 10.0
    rub: str = "along"
    press_n: float = 0.0
    method: str = "plate"
    push: int = 3
    quarter: int = 0
    blade: str = "fine"
    length_mm: float = 9.0
    angle_deg: float = 45.0
    spacing_mm: float = 2.0
    cross_deg: float = 90.0
    take: str = "high"
    each: int = 1
    pressure: str = "light"
    level: int = 1
    tip: str = "block"
    style: str = "plain"
    lamp_deg: float = 135.0
    square_x_mm: float = 10.0
    square_y_mm: float = 10.0
    counted: str = ""
    bearing: str = ""
    own_um: float = 0.0  # a weight of one's own; 0: one of the three
    other: str = "hand over"
    strategy: str = "break-up-late"
    finished_as: str = ""  # a copy that a strategy worked on: whose work it is

    @property
    def film_um(self) -> float:
        """Weight of the film that is set."""
        return self.own_um or FILMS_UM[self.film]

    @property
    def push_n(self) -> float:
        """Push that is set; quarter steps go between neighbours."""
        step = PUSHES[self.push - 1].push_n
        other = self.push - 1 + (1 if self.quarter > 0 else -1)
        if self.quarter == 0 or not 0 <= other < len(PUSHES):
            return step
        return step + 0.25 * abs(self.quarter) * (PUSHES[other].push_n - step)

    def push_by(self, steps: int, quarter: bool = False) -> None:
        """One push more or less, with the blade that goes with it, or a quarter of one."""
        if quarter:
            total = min(max(4 * self.push + self.quarter + steps, 4), 4 * len(PUSHES))
            self.push, self.quarter = round(total / 4), total - 4 * round(total / 4)
        else:
            self.push, self.quarter = min(max(self.push + steps, 1), len(PUSHES)), 0
            self.blade = PUSHES[self.push - 1].blade


class Stroke(NamedTuple):
    """A stroke as it was dragged, mm, and the called place that it was meant for, if there was one near."""

    x0: float
    y0: float
    x1: float
    y1: float
    target: tuple[float, float] | None = None


@dataclass
class Pass:
    """Strokes that are being laid, piece by piece."""

    blade: str
    strokes: tuple[tuple[int, int, int, int, int], ...]
    laid: int = 0
    paused: bool = False

    @property
    def left(self) -> int:
        """Strokes still to lay."""
        return len(self.strokes) - self.laid
