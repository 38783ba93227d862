"""Rounds: a pilot's commands driven through a session, each round scored when its face is wiped."""

import math
from collections.abc import Callable, Generator
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.errors import BadParam
from sim.measure.orient import part_orientation
from sim.measure.verdict import score
from sim.model.face import Face
from sim.model.film import darkness
from sim.shop.commands import Command, RollFilm, Scrape, SpotFace, WipeFace
from sim.shop.job import Job
from sim.shop.partwork import SpotUpright
from sim.shop.session import Session
from sim.shop.sight import Sight
from sim.target import Target
from sim.units import S_PER_H

PICTURE_CELLS = 240
PUSH_N = 0.1  # a step of push in `Scrape`


@dataclass(frozen=True, eq=False)
class RoundLog:
    """One round: its print as it was lifted, and the face as it was left.

    Attributes
    ----------
    round : int
        Counted from the drive's first.
    strokes, shop_hours : int, float
        Since the drive began; `strokes_this_round` counts those of this round, in however many commands.
    bearing_flatness_um, spots_mean, spots_lowest, spots_cv, bearing_pct : float
        Of the standard print, as `measure.verdict.Score`.
    film_um : float
        Weight of the last film that was rolled with one; NaN if none was.
    blade, push_n : str, float
        The last blade of the round and the median push of its strokes; '' and NaN if none was made.
    against_um : float
        Parallelism or perpendicularity to the datum's contact plane; NaN when the drawing asks for neither.
    met : bool
        True when the target is met, and the tolerances of the face.
    picture : uint8 (n, at most 240)
        Darkness of the print, 0 bare to 255 black, means of square blocks of cells; row 0 is y = 0.
    """

    round: int
    strokes: int
    strokes_this_round: int
    shop_hours: float
    bearing_flatness_um: float
    spots_mean: float
    spots_lowest: float
    spots_cv: float
    bearing_pct: float
    against_um: float
    met: bool
    film_um: float = math.nan
    blade: str = ""
    push_n: float = math.nan
    picture: NDArray[np.uint8] = field(default_factory=lambda: np.zeros((1, 1), np.uint8))


@dataclass(frozen=True, eq=False)
class Driven:
    """All rounds of a drive, and the first that met the target (None: none did)."""

    rounds: list[RoundLog] = field(default_factory=list)
    met_round: int | None = None


def drive(session: Session, pilot: Generator[Command, Sight, None], target: Target, *, rounds: int = 45,
          carry_on: bool = False, on_round: Callable[[RoundLog], None] | None = None, pictures: bool = True) -> Driven:
    """Let a pilot work on the face in hand until the target and its tolerances are met; changes the job of `session`.

    Parameters
    ----------
    pilot : generator
        Yields commands, is sent what a person sees after each; a round ends when it wipes a face that was spotted.
    rounds : int
        Rounds at most.
    carry_on : bool
        Work on for all of `rounds` although the target is met.
    on_round : callable, optional
        Told of each round as it ends.
    pictures : bool
        Keep a picture of each print; without, one bare cell stands for it.

    Raises
    ------
    BadParam
        Fewer than one round.
    Refused
        A command of the pilot that is not possible; the rounds before it stand.
    """
    if rounds < 1:
        raise BadParam(f"rounds must be at least 1, got {rounds}")
    logs: list[RoundLog] = []
    begun = session.job.round, session.job.strokes, session.job.clock_s
    met_round = None
    picture = None
    sight = None
    film_um = math.nan
    scraped: list[Scrape] = []
    while len(logs) < rounds and (carry_on or met_round is None):
        try:
            command = next(pilot) if sight is None else pilot.send(sight)
        except StopIteration:
            break
        session.do(command)
        if isinstance(command, RollFilm):
            film_um = film_um if command.weight_um is None else command.weight_um
        elif isinstance(command, Scrape):
            scraped.append(command)
        elif isinstance(command, SpotFace | SpotUpright):
            opacity_um = session.job.start.material.blue.opacity_um
            picture = print_picture(session.job.face, opacity_um) if pictures else np.zeros((1, 1), np.uint8)
        elif isinstance(command, WipeFace) and picture is not None:
            done = replace(_scored(session, target, begun), film_um=film_um, picture=picture, **_last_blade(scraped))
            logs.append(done)
            picture, scraped = None, []
            if logs[-1].met and met_round is None:
                met_round = logs[-1].round
            if on_round:
                on_round(logs[-1])
        sight = session.look()
    pilot.close()
    return Driven(logs, met_round)


def is_done(job: Job, target: Target | None = None) -> bool:
    """True when the face in hand meets its target (the drawing's unless told) and the tolerances that hold it."""
    target = target or job.start.shape.face(job.in_hand).target
    return score(job.face, target, job.body).meets(target) and all(got <= most for got, most in _against_um(job))


def _against_um(job: Job) -> list[tuple[float, float]]:
    """How far the face in hand is off for each tolerance that holds it, by the contact plane, and the limit."""
    asked = [one for one in job.start.shape.tolerances if one.face == job.in_hand]
    return [(part_orientation(job.part, one).contact_um, one.limit_um) for one in asked]


def _scored(session: Session, target: Target, begun: tuple[int, int, float]) -> RoundLog:
    """The face in hand as it is now; what was done in the round is left to the caller."""
    job = session.job
    found, against = score(job.face, target, job.body), _against_um(job)
    met = found.meets(target) and all(got <= limit for got, limit in against)
    round_, strokes, clock_s = begun
    return RoundLog(
        job.round - round_, job.strokes - strokes, job.strokes_this_round, (job.clock_s - clock_s) / S_PER_H,
        found.bearing_flatness_um, found.spots_mean, found.spots_lowest, found.spots_cv, found.bearing_pct,
        max((got for got, _ in against), default=math.nan), met)


def _last_blade(scraped: list[Scrape]) -> dict[str, Any]:
    """The last blade of a round and the median push of its strokes."""
    pushes = [stroke[4] for command in scraped for stroke in command.strokes]
    return {"blade": scraped[-1].blade, "push_n": float(np.median(pushes)) * PUSH_N} if pushes else {}


def print_picture(face: Face, opacity_um: float, most_cells: int = PICTURE_CELLS) -> NDArray[np.uint8]:
    """Darkness of the blue on a face as uint8 (n, at most `most_cells`): 255 (1 - e^(-blue / opacity)), block means."""
    ny, nx = face.shape
    size = -(-nx // most_cells)
    dark = np.where(face.iron, darkness(face.blue_um.astype(np.float32), opacity_um), np.float32(0.0))
    rows, cols = np.arange(0, ny, size), np.arange(0, nx, size)
    sums = np.add.reduceat(np.add.reduceat(dark, rows, axis=0), cols, axis=1)
    cells = np.diff(np.append(rows, ny))[:, None] * np.diff(np.append(cols, nx))[None, :]
    return np.rint(255.0 * sums / cells).astype(np.uint8)
