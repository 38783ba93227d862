"""What is told while acts are played without a window: what an act showed, hints asked for, the coach's remarks."""

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from sim.model.blade import RACK
from sim.process.stroke import Iron, flat_cut, taken_um
from sim.school.attempt import Attempt
from sim.school.calls import Call
from sim.school.coach import Coach
from sim.school.remark import Remark
from sim.school.seen import Counted, Seen
from sim.school.way import Act, Spoken, Take
from sim.seat.hinge import Hinge
from sim.shop.commands import RollFilm, Scrape, SpotFace
from sim.shop.partwork import SpotUpright
from sim.shop.session import Session
from sim.units import counted

MOST_READ = 60
MOST_CUTS = 4


@dataclass(frozen=True)
class Cut:
    """The cut that a push makes on flat iron with the edge as it is: the bench's preview, of no face in particular."""

    blade: str
    push_n: float
    depth_um: float
    width_mm: float

    @property
    def words(self) -> str:
        """It in a line."""
        return f"{self.blade}, {self.push_n:g} N: {self.width_mm:.1f} mm × {self.depth_um:.1f} µm"


def last_cuts(attempt: Attempt, piece: int) -> list[Cut]:
    """Cuts of the strokes that a learner made last on a piece, one for each push, the lightest first; four at most."""
    session = attempt.sessions[piece]
    made = [one for one in session.commands[attempt.begun[piece] :] if isinstance(one, Scrape)]
    if not made:
        return []
    blade, edge_um = made[-1].blade, session.job.edges[made[-1].blade].radius_um
    pushes = sorted({float(push) for push in made[-1].made[:, 4]})
    chosen = [pushes[n] for n in np.unique(np.linspace(0, len(pushes) - 1, min(len(pushes), MOST_CUTS)).astype(int))]
    found = []
    for push in chosen:
        how = RACK[blade], push, Iron(), edge_um
        found.append(Cut(blade, push, taken_um(*how), flat_cut(*how)[1]))
    return found


def section_lines(attempt: Attempt) -> list[str]:
    """Sections of the last strokes of every piece, a line each."""
    return [f"piece {n + 1}, section of the last strokes on flat iron: {one.words}"
            for n in range(len(attempt.sessions)) for one in last_cuts(attempt, n)]  # fmt: skip


@dataclass(frozen=True)
class Told:
    """Something told after act number `act` (from 1; 0 at the end), on a piece counted from 1.

    kind: "shown" by an act, "hint", or "coach".
    """

    act: int
    piece: int
    kind: str
    text: str


@dataclass(eq=False)
class Aloud:
    """Listens to acts as they are played on an attempt; give it to `play` as `on_act`, and `finish` it.

    The coach ends a round when the next print is made: one remark at most, its first rung, from prints and strokes
    alone. {"say": "coach", "rule": ..., "rung": 1} after it asks for the next one. In a check, and in a lesson without
    a coach, he says nothing.
    """

    attempt: Attempt
    told: list[Told] = field(default_factory=list)
    _seen: dict[int, Seen] = field(default_factory=dict)
    _coach: dict[int, Coach] = field(default_factory=dict)
    _asked: dict[int, int] = field(default_factory=dict)
    _remarks: dict[str, Remark] = field(default_factory=dict)

    @property
    def speaks(self) -> bool:
        """Whether there is a coach in this part of this lesson."""
        return self.attempt.part != "check" and self.attempt.lesson.allowed.coach

    def __call__(self, number: int, act: Act, result: Any) -> None:
        """An act was done."""
        if isinstance(act, Take):
            return
        if isinstance(act, Spoken):
            self._hear(number, act)
            return
        seen = self._of_piece(self.attempt.piece)
        if isinstance(act, SpotFace | SpotUpright):
            self._end_round(number, self.attempt.piece)
        seen.note(act, self.attempt.session)
        for line in result_lines(result):
            self._tell(number, "shown", line)

    def finish(self) -> list[Told]:
        """The last round of every piece has ended; everything that was told."""
        for piece in sorted(self._seen):
            self._end_round(0, piece)
        return self.told

    def _of_piece(self, piece: int) -> Seen:
        return self._seen.setdefault(piece, Seen())

    def _hear(self, number: int, act: Spoken) -> None:
        data, seen = act.data, self._of_piece(self.attempt.piece)
        if act.kind == "hint":
            hint = self.attempt.lesson.steps[data["step"] - 1].hints[data["rung"] - 1]
            self._tell(number, "hint", hint)
        elif act.kind == "coach" and self.speaks:
            remark = self._remarks.get(data["rule"])
            rung = min(data["rung"], 3)
            self._tell(number, "coach", remark.rungs[rung] if remark else f"Of {data['rule']} nothing was said.")
        elif act.kind == "calls" and seen.rounds:
            calls = [Call(float(x), float(y), level, sure) for x, y, level, sure in data["calls"]]
            seen.calls(seen.rounds[-1].number, calls)
        elif act.kind == "count" and seen.rounds:
            told = (float(data.get(key, math.nan)) for key in Counted._fields)
            seen.counted(seen.rounds[-1].number, Counted(*told))

    def _end_round(self, number: int, piece: int) -> None:
        """The coach on the round that ends, once."""
        seen = self._of_piece(piece)
        if not self.speaks or len(seen.rounds) <= self._asked.get(piece, 0):
            return
        self._asked[piece] = len(seen.rounds)
        remark = self._coach.setdefault(piece, Coach()).at_round(seen)
        if remark is not None:
            self._remarks[remark.rule] = remark
            self.told.append(Told(number, piece + 1, "coach", f"{remark.rungs[0]} ({remark.rule})"))

    def _tell(self, number: int, kind: str, text: str) -> None:
        self.told.append(Told(number, self.attempt.piece + 1, kind, text))


def result_lines(result: Any) -> list[str]:
    """What an act showed: pivots of a hinge test, readings of a sweep; nothing of others."""
    if isinstance(result, Hinge):
        return [f"Pushed at the {end}: it turns {100.0 * one.share:.0f} % of the length from the far end"
                for end, one in zip(("right", "left"), result.pivots, strict=True)]  # fmt: skip
    if isinstance(result, np.ndarray) and result.ndim == 1 and len(result):
        more = " ..." if len(result) > MOST_READ else ""
        return [f"Read, µm: {', '.join(f'{v:.1f}' for v in result[:MOST_READ])}{more}"]
    return []


def lie_words(session: Session, begun: int) -> str:
    """What of a piece lies there: the face in hand, its round, and the film that was rolled last; or that it was not
    touched since it had so many commands."""
    job = session.job
    if len(session.commands) <= begun:
        rounds = f" (worked for {counted(job.round, 'round')})" if job.round else ""
        return f"{job.in_hand}, as you get it{rounds}"
    rolled = [one for one in session.commands if isinstance(one, RollFilm)]
    weight_um = rolled[-1].weight_um if rolled else 0.0
    film = ", film spread" if weight_um is None else f", last film {weight_um:g} µm" if rolled else ", no film yet"
    return f"{job.in_hand}, round {job.round}{film}"
