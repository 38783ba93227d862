"""Faces that somebody has worked on: "round n of a skilled hand" as a job file, kept once it is made."""

import hashlib
import inspect
from collections.abc import Callable, Generator
from dataclasses import asdict
from pathlib import Path
from typing import Any

import sim
from sim import paths
from sim.errors import BadParam, ShopError
from sim.hands import autopilot, lanes, skill
from sim.kernels import sources
from sim.shop.commands import Command
from sim.shop.job import JobStart
from sim.shop.rounds import drive
from sim.shop.session import COPIES_MB, Session
from sim.shop.sight import Sight
from sim.target import Target

MOST_ROUNDS = 1000


def worked_job(start: JobStart, hand: str, rounds: int, on_round: Callable[[object], None] | None = None, *,
               stone: bool = True, crossing: bool = True, copies_mb: float = COPIES_MB) -> Session:
    """A job taken over after some rounds of a hand that follows the blue; from the cache when it was made before.

    Parameters
    ----------
    stone, crossing : bool
        False for a hand that never stones, or that scrapes one way only.
    copies_mb : float
        Room for what makes taking back quick, as `Session.begin`.

    Raises
    ------
    BadParam
        An unknown hand, or rounds outside 1 to 1000.

    Notes
    -----
    The job holds every stroke that was made, so it replays like any other. The cache is keyed by start, hand, rounds,
    physics number and the sources of hands and kernels; a file that cannot be read or written is done without.
    """
    if hand not in skill.HANDS:
        raise BadParam(f"hand must be one of {', '.join(skill.HANDS)}, got {hand!r}")
    if not 1 <= rounds <= MOST_ROUNDS:
        raise BadParam(f"rounds must be 1 to {MOST_ROUNDS}, got {rounds}")
    kept = _kept_at(start, hand, rounds, (stone, crossing))
    if kept.exists():
        try:
            return Session.load(kept, copies_mb=copies_mb)
        except ShopError:
            kept.unlink(missing_ok=True)
    session = Session.begin(start, copies_mb=copies_mb)
    pilot = autopilot.follow_the_blue(skill.HANDS[hand], stone=stone, crossing=crossing)
    drive(session, pilot, Target(), rounds=rounds, carry_on=True, on_round=on_round)
    try:
        kept.parent.mkdir(parents=True, exist_ok=True)
        session.pack(kept, force=True)
    except (ShopError, OSError):
        pass  # nothing is lost: it is made again next time
    return session


def by_stages(hand: skill.Hand, *, first_stage: str = "rough", last_stage: str = "even", film_factor: float = 1.0,
              stone: bool = True, crossing: bool = True, split: bool = True, least_mark_mm2: float = 0.3,
              edge_mm: float = 2.0, even_share: float = 0.45) -> Generator[Command, Sight, None]:  # fmt: skip
    """A hand that follows the blue from one stage to another, with habits changed as the options say."""
    names = [stage.name for stage in autopilot.STAGES]
    stages = autopilot.STAGES[names.index(first_stage) : names.index(last_stage) + 1]
    pilot = autopilot.Pilot(film_factor=film_factor, least_mark_mm2=least_mark_mm2, edge_mm=edge_mm,
                            even_share=even_share)  # fmt: skip
    last = autopilot.SPLIT if split and last_stage == "even" else None
    return autopilot.follow_the_blue(hand, pilot, stages=stages, split=last, stone=stone, crossing=crossing)


def work_on(session: Session, hand: str, rounds: int, options: dict[str, Any]) -> None:
    """Let a hand go on for some rounds as `by_stages` has it; changes the job of `session`."""
    drive(session, by_stages(skill.HANDS[hand], **options), Target(), rounds=rounds, carry_on=True)


def _kept_at(start: JobStart, hand: str, rounds: int, habits: tuple[bool, bool]) -> Path:
    """Where the cache keeps this job."""
    told = repr((asdict(start), hand, rounds, habits, sim.PHYSICS, skill.HANDS[hand]))
    told += "".join(inspect.getsource(module) for module in (autopilot, lanes, skill))
    told += sources()
    return paths.cache_dir() / "worked" / f"{hashlib.sha256(told.encode()).hexdigest()[:24]}.zip"
