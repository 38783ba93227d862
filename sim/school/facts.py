"""What there is to be judged of an attempt: its jobs are run again, act by act, and what matters is noted."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from sim.model.face import Face
from sim.model.marks import Marks
from sim.school.attempt import Attempt, Said, piece_start
from sim.school.calls import Call, CallScore, call_score, seat_plane
from sim.school.lesson import Lesson
from sim.shop.commands import Command, HoneBlade, RollFilm, Scrape, SpotFace, WipeFace
from sim.shop.job import Job
from sim.shop.partwork import PushEnds, SpotUpright
from sim.shop.session import Session

Progress = Callable[[int, int], None]


class Rolled(NamedTuple):
    """A film as it lay on the plate just after it was rolled: asked weight (None: spread), mean and unevenness."""

    piece: int
    round: int
    asked_um: float | None
    mean_um: float
    cv: float
    applicator: str


class Stroked(NamedTuple):
    """A stroke of the learner's, and what it did; mm, N, um."""

    piece: int
    round: int
    blade: str
    x0: float
    y0: float
    x1: float
    y1: float
    push_n: float
    deepest_um: float
    edge_um: float
    inked_share: float
    removed_mm3: float


class Printed(NamedTuple):
    """A print as it was lifted."""

    piece: int
    round: int
    marks: Marks
    predicted: dict[str, Any] | None
    strokes: int


class Called(NamedTuple):
    """Calls of one print against the iron; the score is None where they say nothing."""

    piece: int
    round: int
    calls: tuple[Call, ...]
    score: CallScore | None


@dataclass(eq=False)
class Facts:
    """Everything that checks look at.

    Attributes
    ----------
    lesson, part : Lesson, str
    rolled, printed, strokes, called : list
        In the order in which they came; what was done before the learner took over is not among them.
    acts : list of (piece, round, name)
        Every act of the learner's.
    answers : dict
        (piece, question) to the last answer; counts as ("count", x, y) rows in `counts`.
    counts : list of (piece, round, dict)
    hinged : dict
        Piece to what the last hinge test showed.
    begun, ended : list of Job
        Each piece as it was taken over and as it was left; to look at.
    hours : float
        On the shop clock, since they were taken over.
    hints, uncovered : int
    """

    lesson: Lesson
    part: str
    rolled: list[Rolled] = field(default_factory=list)
    printed: list[Printed] = field(default_factory=list)
    strokes: list[Stroked] = field(default_factory=list)
    called: list[Called] = field(default_factory=list)
    acts: list[tuple[int, int, str]] = field(default_factory=list)
    answers: dict[tuple[int, str], Any] = field(default_factory=dict)
    counts: list[tuple[int, int, dict[str, Any]]] = field(default_factory=list)
    hinged: dict[int, Any] = field(default_factory=dict)
    begun: list[Job] = field(default_factory=list)
    ended: list[Job] = field(default_factory=list)
    hours: float = 0.0
    hints: int = 0
    uncovered: int = 0

    @property
    def rounds(self) -> int:
        """Prints that were made."""
        return len(self.printed)

    def count_of(self, name: str) -> int:
        """How often an act of this name was done."""
        return sum(one == name for _, _, one in self.acts)

    @property
    def face(self) -> Face:
        """The face in hand of the last piece, as it was left."""
        return self.ended[-1].face


def gather(attempt: Attempt, progress: Progress | None = None) -> Facts:
    """The facts of an attempt: its logs are run again from their starts, and say the same everywhere."""
    commands = [session.commands for session in attempt.sessions]
    return gather_from(attempt.lesson, attempt.part, attempt.seed, commands, attempt.said, progress=progress)


def gather_from(lesson: Lesson, part: str, seed: int, commands: Sequence[Sequence[Command]], said: Sequence[Said], *,
                progress: Progress | None = None) -> Facts:
    """The facts of an attempt, from the commands of each of its jobs and what was said.

    Raises
    ------
    Refused
        A command that is not possible where it stands.
    """
    facts = Facts(lesson, part)
    total, done = sum(len(one) for one in commands), 0
    for n, piece in enumerate(lesson.pieces):
        session = Session.begin(piece_start(piece, part, seed), copies_mb=0.0)
        taken = _taken_over(lesson, n, commands[n])
        walk = _Walk(facts, n, [one for one in said if one.piece == n])
        for k, command in enumerate(commands[n]):
            if k == taken:
                walk.begin(session.job)
            if k >= taken:
                walk.before(k, command, session.job)
            result = session.do(command)
            if k >= taken:
                walk.after(command, result, session.job)
            done += 1
            if progress:
                progress(done, total)
        if len(commands[n]) <= taken:
            walk.begin(session.job)
        walk.end(len(commands[n]), session.job)
    return facts


def _taken_over(lesson: Lesson, n: int, commands: Sequence[Command]) -> int:
    """How many commands of a piece were there when the learner took it over: its worked rounds and what came before."""
    piece = lesson.pieces[n]
    count = 0
    if piece.worked is not None:
        prints = 0
        for command in commands:
            count += 1
            prints += isinstance(command, SpotFace)
            if prints == piece.worked.rounds and isinstance(command, WipeFace):
                break
    return count + len(piece.before)


class _Walk:
    """One piece gone through; fills in the facts."""

    def __init__(self, facts: Facts, piece: int, said: list[Said]) -> None:
        self.facts, self.piece, self.said = facts, piece, said
        self.clock_s = 0.0
        self.calls: tuple[Call, ...] | None = None
        self.predicted: dict[str, Any] | None = None
        self.next = 0

    def begin(self, job: Job) -> None:
        """The learner takes the piece over."""
        self.facts.begun.append(job.copy())
        self.clock_s = job.clock_s

    def before(self, k: int, command: Command, job: Job) -> None:
        """What was said before an act; calls of a print are closed by the first act that changes what they were of."""
        self._hear(k, job)
        if self.calls is not None and not isinstance(command, HoneBlade):
            self._close_calls(job)

    def after(self, command: Command, result: Any, job: Job) -> None:
        """What an act has done."""
        facts = self.facts
        facts.acts.append((self.piece, job.round, type(command).__name__))
        if isinstance(command, RollFilm):
            facts.rolled.append(_rolled(self.piece, job, command))
        elif isinstance(command, SpotFace | SpotUpright):
            seen = job.start.material.blue.seen_um
            marks = Marks((job.face.blue_um >= seen) & job.face.iron, job.face.iron.copy(), job.face.pitch_mm)
            facts.printed.append(Printed(self.piece, job.round, marks, self.predicted, len(facts.strokes)))
            self.predicted = None
        elif isinstance(command, Scrape):
            facts.strokes += _strokes(self.piece, job, command, result)
        elif isinstance(command, PushEnds):
            facts.hinged[self.piece] = result

    def end(self, k: int, job: Job) -> None:
        """The piece is put down."""
        self._hear(k, job)
        if self.calls is not None:
            self._close_calls(job)
        self.facts.ended.append(job.copy())
        self.facts.hours += (job.clock_s - self.clock_s) / 3600.0

    def _hear(self, k: int, job: Job) -> None:
        facts = self.facts
        while self.next < len(self.said) and self.said[self.next].after <= k:
            one = self.said[self.next]
            self.next += 1
            if one.kind == "predict":
                self.predicted = one.data
            elif one.kind == "calls":
                self.calls = tuple(Call(float(x), float(y), int(n), bool(sure)) for x, y, n, sure in one.data["calls"])
            elif one.kind == "count":
                facts.counts.append((self.piece, job.round, one.data))
            elif one.kind == "answer":
                facts.answers[self.piece, str(one.data["question"])] = one.data["value"]
            facts.hints += one.kind in ("hint", "coach")
            facts.uncovered += one.kind == "uncover"

    def _close_calls(self, job: Job) -> None:
        calls, self.calls = self.calls or (), None
        if not calls:
            return
        seen = job.start.material.blue.seen_um
        marks = Marks((job.face.blue_um >= seen) & job.face.iron, job.face.iron, job.face.pitch_mm)
        score = call_score(calls, marks, job.face.height_um, seat_plane(job.face, job.body))
        self.facts.called.append(Called(self.piece, job.round, calls, score))


def _rolled(piece: int, job: Job, command: RollFilm) -> Rolled:
    """The film on the plate that was rolled, over its whole area."""
    plate = job.square if command.on == "angle plate" and job.square is not None else job.plate
    mean = float(plate.film_um.mean())
    cv = float(plate.film_um.std()) / mean if mean > 0.0 else math.nan
    return Rolled(piece, job.round, command.weight_um, mean, cv, command.applicator)


def _strokes(piece: int, job: Job, command: Scrape, cut: Any) -> list[Stroked]:
    table: NDArray[np.float64] = np.array(command.strokes, dtype=np.float64) / np.array([100.0] * 4 + [10.0])
    share = cut.inked_cells / np.maximum(cut.cells, 1.0)
    rows = zip(table, cut.deepest_um, cut.edge_um, share, cut.removed_mm3, strict=True)
    found = []
    for (x0, y0, x1, y1, push), *did in rows:
        made = [float(v) for v in (x0, y0, x1, y1, push, *did)]
        found.append(Stroked(piece, job.round, command.blade, *made))
    return found


def strokes_since(facts: Facts, printed: Printed) -> list[Stroked]:
    """Strokes that were made on a print."""
    return [one for one in facts.strokes if one.piece == printed.piece and one.round == printed.round]
