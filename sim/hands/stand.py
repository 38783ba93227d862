"""A whole part by one hand: its faces, datums first, each against its datum, and a last reading of each."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from sim.hands.autopilot import follow_the_blue
from sim.hands.bands import NARROW, WedgeWork, bands_for
from sim.hands.skill import Hand
from sim.hands.strategy import Work
from sim.model.face import Face
from sim.model.part import FaceShape, PartShape
from sim.shop.partwork import SweepFace, TakeFace
from sim.shop.rounds import Driven, RoundLog, drive
from sim.shop.session import Session
from sim.target import Target
from sim.units import S_PER_H

OnRound = Callable[[str, RoundLog], None]


@dataclass(frozen=True, eq=False)
class FaceDone:
    """What came of one face.

    Attributes
    ----------
    driven : Driven
        Its rounds; strokes and hours count from its first.
    start : Face
        The face as it was before.
    strokes, off_marks : int
        Strokes made; of these, those that cut mostly where no blue was to be seen.
    removed_mm3 : float
    hours : float
        Shop time: turning it up, its rounds, and its last reading.
    """

    driven: Driven
    start: Face
    strokes: int
    off_marks: int
    removed_mm3: float
    hours: float


def scrape_part(session: Session, hand: Hand, *, rounds: int = 80, carry_on: bool = False,
                on_round: OnRound | None = None, work: Callable[[FaceShape], Work] | None = None,
                target: Target | None = None, pictures: bool = True) -> dict[str, FaceDone]:
    """Scrape every face of the part, datums first, else in the drawing's order; changes the job of `session`.

    Parameters
    ----------
    rounds : int
        At most, for each face.
    pictures : bool
        As `drive`.
    on_round : callable, optional
        Told the face's name and each round as it ends.
    work : function of a face's description to a generator of commands, optional
        How a face is worked; without it the blue is followed, and wedges are taken off by heights.
    target : Target, optional
        Of every face; without it the drawing's.

    Raises
    ------
    BadParam, Refused
        As `drive`.
    """
    shape = session.job.start.shape
    done = {}
    for face in datums_first(shape):
        job = session.job
        before = job.strokes, job.strokes_off_marks, job.removed_mm3, job.clock_s
        start = job.part.faces[face.name].copy()
        if job.in_hand != face.name:
            session.do(TakeFace(face.name))
        told = partial(on_round, face.name) if on_round else None
        pilot = work(face) if work else follow_the_blue(hand, correct=bands_for(shape.tolerances, face.name))
        driven = drive(session, pilot, target or face.target, rounds=rounds, carry_on=carry_on, on_round=told,
                       pictures=pictures)
        read_again(session, face.name)
        job = session.job
        strokes, off_marks, removed_mm3, clock_s = before
        done[face.name] = FaceDone(driven, start, job.strokes - strokes, job.strokes_off_marks - off_marks,
                                   job.removed_mm3 - removed_mm3, (job.clock_s - clock_s) / S_PER_H)
    return done


def datums_first(shape: PartShape) -> list[FaceShape]:
    """Faces in the order in which they can be worked: none before the datum that it is measured from.

    Faces that are each other's datums are left in the drawing's order.
    """
    left, order = list(shape.faces), []
    while left:
        waiting = {one.face for one in shape.tolerances if one.datum in {face.name for face in left}}
        free = next((face for face in left if face.name not in waiting), left[0])
        left.remove(free)
        order.append(free)
    return order


def read_again(session: Session, face: str) -> None:
    """Take the readings that the face's tolerances ask for, where they are in doubt; changes the job of `session`.

    A squareness is read both ways round, for a square that leans reads a good side as a bad one.
    """
    sight = session.look()
    for tolerance, doubt in zip(sight.tolerances, sight.doubts, strict=True):
        if doubt and tolerance.face == face:
            margin = min(WedgeWork().margin_mm, NARROW * min(session.job.part.faces[face].size_mm))
            for turn_deg in (180.0, 0.0) if tolerance.kind == "perpendicularity" else (0.0,):
                session.do(SweepFace(face, tolerance.datum, margin_mm=margin, turn_deg=turn_deg))
