"""Commands for a part of several faces: take another in hand, sweep it, print it against an angle plate, recut it."""

from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from sim.kernels.ink import total
from sim.measure import gauge
from sim.model.face import VOID_UM, Face
from sim.model.part import Tolerance, Written
from sim.process import bluing, recut
from sim.seat import stance
from sim.shop.commands import MOST_HANDS, Command, is_row, leave_chips, number_fault, shown, word_fault
from sim.shop.job import Job, Reading
from sim.shop.luck import luck

NUMBER_MM = 3.0  # side of the iron that a written number takes up: common practice, no source
MOST_STATIONS = 2000
TURN_S = 60.0  # a part under the indicator is set down, or turned end for end: common practice, no source
CUTTERS = {"fly cutter": recut.FlyCutter, "cup wheel": recut.CupWheel}


@dataclass(frozen=True)
class TakeFace(Command):
    """Turn the part so that another face is in hand; chips that were not wiped off stay where they are."""

    face: str = "foot"
    seconds: ClassVar[float] = TURN_S

    def problems(self, job: Job) -> list[str]:
        return word_fault("face", self.face, tuple(job.part.faces))

    def act(self, job: Job) -> None:
        if job.strokes_since_wipe:
            leave_chips(job)
            job.strokes_since_wipe = 0
        job.in_hand = self.face
        job.strokes_this_round = 0
        job.last_poses = []
