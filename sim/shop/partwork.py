"""Commands for a part of several faces: take another face in hand, sweep it, print it square, machine it again."""

from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from sim.measure import gauge
from sim.model.face import VOID_UM, Face
from sim.model.part import Written


from sim.shop.commands import Command, _leave_chips, _number, _word, shown
from sim.shop.job import Job, Reading
from sim.shop.luck import luck

NUMBER_MM = 3.0  # a number is written over so much iron
MOST_STATIONS = 2000


def _other_face(name: str, value: Any, job: Job) -> list[str]:
    """A line when the value is no face of the part."""
    return _word(name, value, tuple(job.part.faces))


@dataclass(frozen=True)
class TakeFace(Command):
    """Turn the part so that another face is in hand; chips that were not wiped stay where they are."""

    face: str = "foot"
    seconds: ClassVar[float] = 60.0

    def problems(self, job: Job) -> list[str]:
        return _other_face("face", self.face, job)

    def act(self, job: Job) -> None:
        if job.strokes_since_wipe:
            _leave_chips(job)
            job.strokes_since_wipe = 0
        job.in_hand = self.face
        job.strokes_this_round = 0
        job.last_poses = []


@dataclass(frozen=True)
class SweepFace(Command):
    """TEMP."""
    face: str = "top"
    datum: str = "foot"
    grid: tuple[int, int] = (6, 4)
    margin_mm: float = 6.0
    turned: bool = False

    def takes_s(self, job):
        return 120.0 + 6.0 * self.grid[0] * self.grid[1]

    def act(self, job):
        f = job.part.faces[self.face]
        L, W = f.size_mm
        xs = np.linspace(self.margin_mm, L - self.margin_mm, self.grid[0]); ys = np.linspace(self.margin_mm, W - self.margin_mm, self.grid[1])
        top = f.height_um + f.burr_um
        X, Y, Z, I = [], [], [], []
        b = 18
        for y in ys:
            for x in xs:
                i, j = int(y / f.pitch_mm), int(x / f.pitch_mm)
                p = top[max(i-b,0):i+b, max(j-b,0):j+b]
                if (p > -1e20).mean() < .5: continue
                X.append(x); Y.append(y); Z.append(round(float(p.max()))); I.append(f.height_um[i-6:i+6, j-6:j+6].copy())
        job.part.written[self.face] = Written(np.array(X), np.array(Y), np.array(Z, float), np.array(I), job.round)
        job.sweeps += 1
