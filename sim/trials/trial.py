"""One trial: a start, a hand and a strategy worked until the target is met or the budget is used up."""

import ctypes
import math
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import GeneratorType
from typing import Any

from sim.errors import CannotWrite, ShopError
from sim.hands.own import in_own_file, load_own, own_line
from sim.hands.skill import HANDS
from sim.hands.stand import scrape_part
from sim.hands.strategy import Work, known
from sim.model.part import FaceShape
from sim.shop.commands import Command, shown
from sim.shop.job import JobStart
from sim.shop.rounds import RoundLog
from sim.shop.session import Session
from sim.target import Target
from sim.units import S_PER_H

MOST_ACTS = 5000
"""Acts of a round at most: the busiest round of a beginner has under 200, one stroke at a time some 2,000. A strategy
that never prints loops."""
MOST_IDLE = 300
"""Acts without a print or a stroke at most: a sweep of both ways and all that goes with it are under 20."""
MOST_WORDS = 400  # of a fault
CURVE = ("shop_hours", "bearing_flatness_um", "spots_mean", "spots_lowest", "bearing_pct")


class StrategyFault(ShopError, RuntimeError):
    """A strategy raised, looped or yielded what is no command."""


@dataclass(frozen=True)
class Trial:
    """What a trial is; equal trials give equal results, bit for bit, on one kind of machine.

    Attributes
    ----------
    strategy : str
        Registered name.
    options : tuple of (str, float)
    hand : str
    start : JobStart
        With its seed: face, plate, film, gauge and strokes draw from it.
    target : Target or None
        Of every face; None takes the drawing's.
    rounds : int
        Of a face at most.
    hours : float
        On the shop clock at most.
    varied : float
        What was varied; NaN if nothing was.
    own : str
        File of the person's own strategies; '' if there is none.
    deadline_s : float
        Of wall clock: what takes longer is a fault, not a result.
    """

    strategy: str
    options: tuple[tuple[str, float], ...]
    hand: str
    start: JobStart
    target: Target | None = None
    rounds: int = 60
    hours: float = 40.0
    varied: float = math.nan
    own: str = ""
    deadline_s: float = 300.0

    @property
    def label(self) -> str:
        """The strategy as it was asked for."""
        told = ",".join(f"{name}={value:.12g}" for name, value in self.options)
        return f"{self.strategy}:{told}" if told else self.strategy

    @property
    def key(self) -> tuple[str, float, int]:
        """Which trial of a comparison it is; nothing varied counts as 0."""
        return self.label, 0.0 if math.isnan(self.varied) else self.varied, self.start.seed


@dataclass(frozen=True)
class Outcome:
    """What came of a trial.

    Attributes
    ----------
    strategy, varied, seed
        As in the trial; strategy with its options.
    met : bool
        Every face met its target, and the part its tolerances, within the budget.
    hours : float
        Shop hours until then, or until it was given up.
    rounds, strokes, off_marks : int
        off_marks: strokes that cut mostly where no blue was to be seen.
    removed_mm3 : float
    bearing_flatness_um, spots_mean, spots_lowest, bearing_pct, against_um : float
        At the end, of the poorest face; against_um is NaN where the drawing asks for none.
    curve : tuple of tuple of float
        `CURVE` of every round of the first face.
    fault : str
        What went wrong with the strategy; '' if nothing did. Other figures are then of no worth.
    seconds : float
        Of processor, this time.
    """

    strategy: str
    varied: float
    seed: int
    met: bool = False
    hours: float = math.nan
    rounds: int = 0
    strokes: int = 0
    off_marks: int = 0
    removed_mm3: float = math.nan
    bearing_flatness_um: float = math.nan
    spots_mean: float = math.nan
    spots_lowest: float = math.nan
    bearing_pct: float = math.nan
    against_um: float = math.nan
    curve: tuple[tuple[float, ...], ...] = field(default=(), repr=False)
    fault: str = ""
    seconds: float = field(default=0.0, compare=False)

    @property
    def key(self) -> tuple[str, float, int]:
        """Of which trial."""
        return self.strategy, 0.0 if math.isnan(self.varied) else self.varied, self.seed


def run_trial(trial: Trial, job_path: Path | None = None) -> Outcome:
    """Work a trial to its end; what goes wrong with the strategy is told in the outcome.

    Parameters
    ----------
    job_path : Path, optional
        Where the job is logged.

    Raises
    ------
    BadParam, BadFile, CannotWrite
        The trial itself cannot be: an unknown name, a start that cannot be made, a file that cannot be written.
    """
    began = time.process_time()
    if trial.own:
        load_own(Path(trial.own))
    [way] = known([trial.strategy])
    options, hand = way.chosen(**dict(trial.options)), HANDS[trial.hand]
    fault, logs, works = "", dict[str, list[RoundLog]](), list[Work]()

    def work(face: FaceShape) -> Work:
        works.append(way.work(hand, **options))
        return minded(works[-1], trial.hours)

    with Session.begin(trial.start, job_path, copies_mb=0.0) as session:
        session.fingerprints = job_path is not None
        try:
            with _within(trial.deadline_s):
                scrape_part(session, hand, rounds=trial.rounds, target=trial.target, work=work, pictures=False,
                            on_round=lambda face, log: logs.setdefault(face, []).append(log))  # fmt: skip
        except (CannotWrite, KeyboardInterrupt):
            raise
        except BaseException as error:  # a strategy may do anything: leave the process, too
            fault = _told(error, trial, works[-1] if works else None)
        found = _outcome(trial, session, logs)
    return replace(found, fault=fault, met=found.met and not fault, seconds=time.process_time() - began)


def minded(work: Work, hours: float) -> Work:
    """A strategy's commands, held to be commands and to get on; it ends when the shop clock is over the hours.

    Raises
    ------
    StrategyFault
        What it yields is no command, or `MOST_ACTS` acts went by without a print, `MOST_IDLE` without a stroke too.
    """
    sight, acts, idle, before = None, 0, 0, (-1, -1)
    while sight is None or sight.clock_s <= hours * S_PER_H:
        try:
            command = next(work) if sight is None else work.send(sight)
        except StopIteration:
            return
        if not isinstance(command, Command):
            raise StrategyFault(f"a strategy must yield commands, got {shown(command)}")
        sight = yield command
        now = sight.round, sight.strokes
        acts, idle = acts + 1 if now[0] == before[0] else 0, idle + 1 if now == before else 0
        before = now
        if idle > MOST_IDLE:
            raise StrategyFault(f"a strategy must print or scrape within {MOST_IDLE} acts, got neither in round "
                                f"{now[0]}")
        if acts > MOST_ACTS:
            raise StrategyFault(f"a strategy must print within {MOST_ACTS} acts, got none in round {now[0]}")


def _outcome(trial: Trial, session: Session, logs: dict[str, list[RoundLog]]) -> Outcome:
    job, faces = session.job, session.job.start.shape.faces
    found = Outcome(trial.label, trial.varied, trial.start.seed, hours=job.clock_s / S_PER_H, rounds=job.round,
                    strokes=job.strokes, off_marks=job.strokes_off_marks, removed_mm3=job.removed_mm3)  # fmt: skip
    last = [rounds[-1] for rounds in logs.values()]
    if not last:
        return found
    first = logs.get(faces[0].name, [])
    return replace(
        found, met=len(last) == len(faces) and all(log.met for log in last),
        bearing_flatness_um=max(log.bearing_flatness_um for log in last),
        spots_mean=min(log.spots_mean for log in last), spots_lowest=min(log.spots_lowest for log in last),
        bearing_pct=min(log.bearing_pct for log in last),
        against_um=max((log.against_um for log in last if not math.isnan(log.against_um)), default=math.nan),
        curve=tuple(tuple(float(getattr(log, name)) for name in CURVE) for log in first))  # fmt: skip


class _OutOfTime(BaseException):
    """Raised into the thread of a trial; no plain `except Exception` of a strategy stops it."""


@contextmanager
def _within(seconds: float) -> Iterator[None]:
    """Stop Python code of this thread that runs longer, whichever thread it is; told again each second until it ends.

    What sleeps or hangs outside Python's reach is the executor's affair.
    """
    over, thread = threading.Event(), ctypes.c_ulong(threading.get_ident())

    def stop() -> None:
        wait = seconds
        while not over.wait(wait):
            ctypes.pythonapi.PyThreadState_SetAsyncExc(thread, ctypes.py_object(_OutOfTime))
            wait = 1.0

    watch = threading.Thread(target=stop, daemon=True)
    watch.start()
    try:
        yield
    finally:
        while watch.is_alive() or not over.is_set():  # it may still be told while it is put off
            with suppress(_OutOfTime):
                over.set()
                watch.join()
        ctypes.pythonapi.PyThreadState_SetAsyncExc(thread, None)


def _told(error: BaseException, trial: Trial, work: Any) -> str:
    """One line: what went wrong, and where in the person's own file: where it arose, or what was yielded last."""
    line = own_line(error)
    if not line and not isinstance(error, _OutOfTime):
        line = _yielding(work)
    words = str(error) if isinstance(error, ShopError) else f"{type(error).__name__}: {error}"
    if isinstance(error, _OutOfTime):
        words = f"took longer than {trial.deadline_s:g} s"
    words = " ".join(words.split())[:MOST_WORDS].removesuffix(":")
    return f"{Path(trial.own).name}:{line}: {words}" if line else words


def _yielding(work: Any) -> int:
    """Line of a person's own file at which a generator, or what it yields from, stands; 0 if in none."""
    line = 0
    while isinstance(work, GeneratorType):
        frame = work.gi_frame
        line = frame.f_lineno if frame is not None and in_own_file(frame) else line
        work = work.gi_yieldfrom
    return line
