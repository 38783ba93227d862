"""What there is to be judged of an attempt: its jobs are run again, act by act, and what matters is noted.

Figures that name no other origin are common practice, no source.
"""

import contextlib
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates

from sim.errors import Refused
from sim.measure.flatness import bearing_flatness_um
from sim.model.blade import RACK
from sim.model.face import Face
from sim.model.marks import Marks
from sim.process.stroke import crown_mm
from sim.school.attempt import Attempt, Said, begun_piece, piece_start
from sim.school.calls import Call, CallScore, Odd, call_score, calls_at_odds, calls_from, seat_plane
from sim.school.coach import Coach, Remark
from sim.school.lesson import Lesson, Piece, pieces_of
from sim.school.seen import Seen
from sim.shop.commands import Command, HoneBlade, RollFilm, Scrape, SpotFace, WipeFace, plate_of
from sim.shop.job import Job
from sim.shop.partwork import PushEnds, SpotUpright, SweepFace
from sim.shop.session import Session
from sim.shop.sight import marks_seen
from sim.units import S_PER_H, UM_PER_MM

Progress = Callable[[int, int], None]
LEDGE_MM = 0.5  # a step over so much way is a ledge: common practice, no source
LEDGE_REACH_MM = 2.5
TOPS_MM = 5.0  # the highest iron of fields of this side makes the plane of the tops


class Rolled(NamedTuple):
    """A film as it lay on the plate just after it was rolled: asked weight (None: spread), mean and unevenness."""

    piece: int
    round: int
    asked_um: float | None
    mean_um: float
    cv: float
    applicator: str


class Stroked(NamedTuple):
    """A stroke of the learner's on a face, and what it did; mm, N, um.

    depth_um: of the round section that holds what it removed, ends left out. deepest_um: of its deepest cell, which
    lies beside the middle line by up to half a cell. ledge_um: the steepest step it left at either end, over half a
    millimetre. low_um: how far the iron under its middle lay below the tops of the face when the piece was taken over.
    """

    piece: int
    round: int
    blade: str
    x0: float
    y0: float
    x1: float
    y1: float
    push_n: float
    depth_um: float
    deepest_um: float
    inked_share: float
    removed_mm3: float
    ledge_um: float
    low_um: float
    face: str = ""


class Printed(NamedTuple):
    """A print as it was lifted.

    face: which was printed. film_um: mean film on the plate before it. flat_um: bearing flatness of the face; both
    before the print.
    """

    piece: int
    round: int
    face: str
    command: Command
    marks: Marks
    predicted: dict[str, Any] | None
    film_um: float
    flat_um: float


class Called(NamedTuple):
    """Calls of one print against the iron; the score is None where they say nothing.

    strokes: made when they were said, of all pieces. odd: the calls most at odds with the iron.
    """

    piece: int
    round: int
    calls: tuple[Call, ...]
    score: CallScore | None
    strokes: int = 0
    odd: tuple[Odd, ...] = ()


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
        (piece, question) to the last answer.
    counts : list of (piece, round, what was said of a square)
    hinged : dict
        Piece to what the last hinge test showed.
    swept : list of (piece, SweepFace)
    remarks : list of (piece, Remark)
        What the coach sees from prints and strokes, whether or not the learner was told; then what the iron says.
    lamps : list of (piece, degrees)
    begun, ended : list of Job
        Each piece as it was taken over and as it was left; to look at.
    hours : float
        On the shop clock, since they were taken over.
    hints, uncovered : int
    """

    lesson: Lesson
    part: str
    seed: int = 0
    rolled: list[Rolled] = field(default_factory=list)
    printed: list[Printed] = field(default_factory=list)
    strokes: list[Stroked] = field(default_factory=list)
    called: list[Called] = field(default_factory=list)
    acts: list[tuple[int, int, str]] = field(default_factory=list)
    answers: dict[tuple[int, str], Any] = field(default_factory=dict)
    counts: list[tuple[int, int, dict[str, Any]]] = field(default_factory=list)
    hinged: dict[int, Any] = field(default_factory=dict)
    swept: list[tuple[int, SweepFace]] = field(default_factory=list)
    remarks: list[tuple[int, Remark]] = field(default_factory=list)
    lamps: list[tuple[int, float]] = field(default_factory=list)
    begun: list[Job] = field(default_factory=list)
    ended: list[Job] = field(default_factory=list)
    hours: float = 0.0
    hints: int = 0
    uncovered: int = 0

    @property
    def rounds(self) -> int:
        """Prints that were made."""
        return len(self.printed)

    @property
    def nothing_done(self) -> bool:
        """Whether no piece was worked at, nor anything said of one."""
        return not (self.acts or self.answers or self.counts or self.called)

    def told(self, question: str) -> bool:
        """Whether a question was answered for any piece."""
        return any(name == question for _, name in self.answers)

    @property
    def pieces(self) -> tuple[Piece, ...]:
        """The pieces in the order in which this attempt had them."""
        return pieces_of(self.lesson, self.seed)

    def faults(self) -> dict[int, int]:
        """Number of a fault to how often the coach saw it; no stone is none where the lesson has no stone."""
        stoned = "stone" in self.lesson.allowed.tools
        seen = [one.fault for _, one in self.remarks if one.fault and not one.praise and (stoned or one.fault != 4)]
        return {number: seen.count(number) for number in sorted(set(seen))}


def gather(attempt: Attempt, progress: Progress | None = None) -> Facts:
    """The facts of an attempt: its logs are run again from their starts, and say the same everywhere."""
    commands = [session.commands for session in attempt.sessions]
    return gather_from(attempt.lesson, attempt.part, attempt.seed, commands, attempt.said, progress=progress)


def gather_from(lesson: Lesson, part: str, seed: int, commands: Sequence[Sequence[Command]], said: Sequence[Said], *,
                begun: Sequence[Session] = (), progress: Progress | None = None) -> Facts:
    """The facts of an attempt, from the commands of each of its jobs and what was said.

    Parameters
    ----------
    begun : sequence of Session
        The pieces as they were taken over, where they are at hand. Their commands must be those with which each job
        begins; they are worked on.

    Raises
    ------
    Refused
        A command that is not possible where it stands.
    """
    facts = Facts(lesson, part, seed)
    total, done = sum(len(one) for one in commands), 0
    for n, piece in enumerate(facts.pieces):
        session, taken = (begun[n], len(begun[n].commands)) if begun else _taken_over(piece, part, seed, commands[n])
        session.fingerprints = False
        walk = _Walk(facts, n, [one for one in said if one.piece == n])
        walk.begin(session.job)
        done += taken
        for k, command in enumerate(commands[n][taken:], start=taken):
            walk.before(k, command, session.job)
            walk.after(command, session.do(command), session)
            done += 1
            if progress:
                progress(done, total)
        walk.end(len(commands[n]), session.job)
    return facts


def _taken_over(piece: Piece, part: str, seed: int, commands: Sequence[Command]) -> tuple[Session, int]:
    """The piece as the learner took it over, and how many commands it had by then.

    Its worked rounds are taken as they were kept, where the log begins with the very same commands; a log of other
    rounds (made before a hand was changed) is run again from its first command.
    """
    session = begun_piece(piece, part, seed)
    count = len(session.commands)
    if list(commands[:count]) == list(session.commands):
        return session, count
    session = Session.begin(piece_start(piece, part, seed), copies_mb=0.0)
    taken = taken_over(piece, part, commands)
    for command in commands[:taken]:
        session.do(command)
    return session, taken


def taken_over(piece: Piece, part: str, commands: Sequence[Command]) -> int:
    """How many commands of a log were there when the learner took the piece over: worked rounds, what came before, and
    in the part with help the model's first rounds. At most as many as there are.
    """
    count = _ended(commands, 0, piece.worked.rounds if piece.worked is not None else 0) + len(piece.before)
    if part == "help" and piece.ahead is not None:
        count = _ended(commands, count, piece.ahead.rounds)
    return min(count, len(commands))


def _ended(commands: Sequence[Command], first: int, rounds: int) -> int:
    """Where so many rounds that begin with a command end: after the cloth that follows the last of their prints."""
    prints = 0
    for n, command in enumerate(commands[first:] if rounds else (), start=first + 1):
        prints += isinstance(command, SpotFace)
        if prints == rounds and isinstance(command, WipeFace):
            return n
    return len(commands) if rounds else first


class _Walk:
    """One piece gone through; fills in the facts."""

    def __init__(self, facts: Facts, piece: int, said: list[Said]) -> None:
        self.facts, self.piece, self.said = facts, piece, said
        self.clock_s = 0.0
        self.calls: tuple[Call, ...] | None = None
        self.predicted: dict[str, Any] | None = None
        self.next = 0
        self.seen, self.coach, self.asked = Seen(), Coach(), 0
        self.low_um: dict[str, NDArray[np.float64]] = {}
        self.was = np.zeros((1, 1))
        self.film_um = self.flat_um = math.nan

    def begin(self, job: Job) -> None:
        """The learner takes the piece over."""
        self.facts.begun.append(job.copy())
        self.clock_s = job.clock_s
        self.low_um = {name: _below_tops_um(face) for name, face in job.part.faces.items()}

    def before(self, k: int, command: Command, job: Job) -> None:
        """What was said before an act; calls of a print are closed by the first act that changes what they were of."""
        self._hear(k, job)
        if self.calls is not None and not isinstance(command, HoneBlade):
            self._close_calls(job)
        if isinstance(command, SpotFace | SpotUpright):
            self._ask_coach()
            plate = job.square if isinstance(command, SpotUpright) and job.square is not None else job.plate
            self.film_um = float(plate.film_um.mean())
            self.flat_um = bearing_flatness_um(job.face)
        elif isinstance(command, Scrape):
            self.was = job.face.height_um.copy()

    def after(self, command: Command, result: Any, session: Session) -> None:
        """What an act has done."""
        facts, job = self.facts, session.job
        facts.acts.append((self.piece, job.round, type(command).__name__))
        self.seen.note(command, session)
        if isinstance(command, RollFilm):
            facts.rolled.append(_rolled(self.piece, job, command))
        elif isinstance(command, SpotFace | SpotUpright):
            facts.printed.append(Printed(self.piece, job.round, job.in_hand, command, marks_seen(job), self.predicted,
                                         self.film_um, self.flat_um))
            self.predicted = None
        elif isinstance(command, Scrape):
            facts.strokes += _strokes(self.piece, job, command, result, was=self.was,
                                      low_um=self.low_um[job.in_hand])
        elif isinstance(command, PushEnds):
            facts.hinged[self.piece] = result
        elif isinstance(command, SweepFace):
            facts.swept.append((self.piece, command))

    def end(self, k: int, job: Job) -> None:
        """The piece is put down."""
        self._hear(k, job)
        if self.calls is not None:
            self._close_calls(job)
        self._ask_coach()
        if any(one.piece == self.piece for one in self.facts.strokes):
            with contextlib.suppress(Refused):  # what cannot stand on a plate: nothing more is to be said of it
                before = {one.rule for piece, one in self.facts.remarks if piece == self.piece}
                self.facts.remarks += [(self.piece, one) for one in self.coach.at_finish(self.seen, job)
                                       if one.rule not in before]  # fmt: skip
        self.facts.ended.append(job.copy())
        self.facts.hours += (job.clock_s - self.clock_s) / S_PER_H

    def _ask_coach(self) -> None:
        """What the coach has to say of the round that ends, once."""
        if len(self.seen.rounds) > self.asked:
            self.asked = len(self.seen.rounds)
            remark = self.coach.at_round(self.seen)
            if remark is not None:
                self.facts.remarks.append((self.piece, remark))

    def _hear(self, k: int, job: Job) -> None:
        facts = self.facts
        while self.next < len(self.said) and self.said[self.next].after <= k:
            one = self.said[self.next]
            self.next += 1
            self.seen.heard(one.kind, one.data)
            if one.kind == "predict":
                self.predicted = one.data
            elif one.kind == "calls":
                self.calls = calls_from(one.data["calls"])
            elif one.kind == "count":
                facts.counts.append((self.piece, job.round, one.data))
            elif one.kind == "lamp":
                facts.lamps.append((self.piece, float(one.data["lamp_deg"])))
            elif one.kind == "answer":
                facts.answers[self.piece, str(one.data["question"])] = one.data["value"]
            facts.hints += one.kind in ("hint", "coach")
            facts.uncovered += one.kind == "uncover"

    def _close_calls(self, job: Job) -> None:
        calls, self.calls = self.calls or (), None
        if not calls:
            return
        of = calls, marks_seen(job), job.face.height_um, seat_plane(job.face, job.body)
        called = Called(self.piece, job.round, calls, call_score(*of), len(self.facts.strokes), calls_at_odds(*of))
        self.facts.called.append(called)


def _rolled(piece: int, job: Job, command: RollFilm) -> Rolled:
    """The film on the plate that was rolled, over its whole area."""
    plate, _ = plate_of(job, command.on)
    assert plate is not None  # or it would have been refused
    mean = float(plate.film_um.mean())
    cv = float(plate.film_um.std()) / mean if mean > 0.0 else math.nan
    return Rolled(piece, job.round, command.weight_um, mean, cv, command.applicator)


def _strokes(piece: int, job: Job, command: Scrape, cut: Any, *, was: NDArray[np.float64],
             low_um: NDArray[np.float64]) -> list[Stroked]:
    share = cut.inked_cells / np.maximum(cut.cells, 1.0)
    made, pitch = command.made, job.face.pitch_mm
    ledges = ledges_um(was - job.face.height_um, pitch, made)
    middle = 0.5 * (made[:, :2] + made[:, 2:4]) / pitch
    j, i = (np.clip(middle[:, axis].astype(np.int64), 0, n - 1) for axis, n in ((0, was.shape[1]), (1, was.shape[0])))
    depth_um = section_depth_um(cut.removed_mm3, np.hypot(*(made[:, 2:4] - made[:, :2]).T), command)
    did = (depth_um, cut.deepest_um, share, cut.removed_mm3, ledges, low_um[i, j])
    rows = np.column_stack([made, *did]).tolist()
    return [Stroked._make([piece, job.round, command.blade, *row, job.in_hand]) for row in rows]


def section_depth_um(removed_mm3: NDArray[np.float64], length_mm: NDArray[np.float64],
                     command: Scrape) -> NDArray[np.float64]:
    """Depth of the round section whose volume was removed, um: d from 4/3 d sqrt(2 R d) over the way at full push.

    Each end counts for what its rise leaves: the section goes as push^1.875, so a linear rise for 1/2.875 of its way.
    """
    blade = RACK[command.blade]
    ends = 2.0 * np.minimum(command.ramp_mm, 0.5 * length_mm) * (1.0 - 1.0 / 2.875)
    section_mm2 = removed_mm3 / np.maximum(length_mm - ends, 0.1)
    return np.asarray((0.75 * section_mm2 / math.sqrt(2.0 * crown_mm(blade))) ** (2.0 / 3.0) * UM_PER_MM)


def ledges_um(taken_um: NDArray[np.float64], pitch_mm: float, strokes: NDArray[np.float64]) -> NDArray[np.float64]:
    """The steepest step over half a millimetre within 2.5 mm of either end of each stroke, along its middle line, um.

    Parameters
    ----------
    taken_um : float64 (ny, nx)
        What the strokes took.
    strokes : float64 (n, 5)
        Mm and N.
    """
    start, way = strokes[:, :2], strokes[:, 2:4] - strokes[:, :2]
    length = np.hypot(way[:, 0], way[:, 1])
    unit = way / length[:, None]
    at = np.arange(-1.0, LEDGE_REACH_MM + 1e-9, 0.5 * LEDGE_MM)
    found = np.zeros(len(strokes))
    for origin, sign in ((start, 1.0), (start + way, -1.0)):
        points = origin[:, None, :] + sign * at[None, :, None] * unit[:, None, :]
        depth = map_coordinates(taken_um, (points[..., 1] / pitch_mm - 0.5, points[..., 0] / pitch_mm - 0.5), order=1,
                                mode="nearest")  # fmt: skip
        found = np.maximum(found, np.abs(depth[:, 2:] - depth[:, :-2]).max(axis=1))
    return found


def _below_tops_um(face: Face) -> NDArray[np.float64]:
    """How far each cell lies below the tops of the face: below the plane through the highest iron of each field."""
    size = max(1, round(TOPS_MM / face.pitch_mm))
    iron = np.where(face.scored, face.height_um, -np.inf)
    ny, nx = iron.shape
    rows, cols = np.arange(0, ny, size), np.arange(0, nx, size)
    tops = np.maximum.reduceat(np.maximum.reduceat(iron, rows, axis=0), cols, axis=1)
    y, x = np.meshgrid((rows + 0.5 * size) * face.pitch_mm, (cols + 0.5 * size) * face.pitch_mm, indexing="ij")
    good = np.isfinite(tops)
    plane, *_ = np.linalg.lstsq(np.column_stack([np.ones(good.sum()), x[good], y[good]]), tops[good], rcond=None)
    yy, xx = np.mgrid[0:ny, 0:nx]
    middle = plane[0] + plane[1] * (xx + 0.5) * face.pitch_mm + plane[2] * (yy + 0.5) * face.pitch_mm
    return np.asarray(middle - face.height_um)
