"""Ways of working on the iron: strokes of a depth, crossing, called marks, following the blue, bands, a taper.

Figures that name no other origin are common practice, no source.
"""

import math
from collections.abc import Callable, Generator
from dataclasses import replace
from functools import partial
from typing import Any, Literal, NamedTuple

import numpy as np

from sim.hands.autopilot import STAGES, Pilot, fields_reached_pct, follow_the_blue
from sim.hands.bands import FIRST_GUESS, Bands, bands_for, taper_plan
from sim.hands.lanes import Lanes, strokes_over
from sim.hands.skill import Hand, lay
from sim.hands.stand import datums_first
from sim.hands.worked import by_stages
from sim.measure.gauge import reading_plane
from sim.measure.orient import reversal
from sim.measure.spots import spots
from sim.model.blade import RACK
from sim.model.marks import Marks
from sim.process.stroke import Iron, taken_um
from sim.school.evidence import poorest_field_mm
from sim.school.way import Eyes, Take, Working, say, way
from sim.school.ways_reading import called, place
from sim.shop.commands import Command, HoneBlade, RollFilm, Scrape, SpotFace, StoneFace, WipeFace, strokes_as_data
from sim.shop.partwork import SweepFace, TakeFace
from sim.shop.sight import Sight
from sim.target import Target

BladeName = Literal["rough", "semi", "fine", "split"]
StageName = Literal["rough", "semi", "fine", "even"]
HONE_M = 8.0
SLANT = 0.7071067811865476
LEAST_BAND = 0.05  # of the iron: a narrower band is taken with the next; common practice, no source
BLUE_ROUNDS = 2  # after a taper, before the side is read again: a foot of two facets rocks
UPRIGHT_UM = 1.5  # over the height of the side: less than the indicator's play, by many stations both ways round
PROOF_UM, PROOF_MM = 1.5, 2.0  # film and rub of the print that proves: as the standard print that scores
OVER = 1.15  # counted on it / what is asked: common practice, no source
READ_SHARE = 0.7  # of a tolerance: what the indicator may read, for it has play


class Enough(NamedTuple):
    """When a face is done: asked of a print that was made with a film of at most so much, um."""

    film_um: float
    asked: Callable[[Eyes], bool]


def scraped(eyes: Eyes, hand: Hand, meant: np.ndarray, blade: str, ramp_mm: float | None = None) -> Working:
    """Strokes as this hand makes them, the blade honed when it has cut enough."""
    if not len(meant):
        return
    if eyes.sight.metres[blade] >= HONE_M:
        yield HoneBlade(blade)
    made = lay(meant, hand, eyes.sight.seed, eyes.sight.round)
    for k in range(0, len(made), 500):
        yield Scrape(blade, strokes_as_data(made[k : k + 500]), hand.care, ramp_mm or hand.ramp_mm, hand.pace_per_min)


def push_for(blade: str, depth_um: float) -> float:
    """The push that cuts this deep on flat iron, as one finds it by trying, N."""
    low, high = 5.0, 600.0
    for _ in range(40):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if taken_um(RACK[blade], middle, Iron()) < depth_um else (low, middle)
    return 0.5 * (low + high)


@way
def single_strokes(eyes: Eyes, hand: Hand, *, strokes: float = 12.0, ramp_mm: float = 3.0, push_n: float = 0.0,
                   blade: BladeName = "fine") -> Working:
    """Strokes side by side, each as deep as the piece asks, eased in and out; or all with one push."""
    for n in range(eyes.pieces):
        yield Take(n)
        push = push_n or push_for(blade, eyes.asked_um)
        own = replace(hand, style=0.0)  # one's own strength is known after a stroke or two
        length, wide = eyes.sight.size_mm
        rows = np.array([(0.5 * length - 8.0, y, 0.5 * length + 8.0, y, push)
                         for y in np.linspace(0.12 * wide, 0.88 * wide, int(strokes))])  # fmt: skip
        yield from scraped(eyes, own, rows, blade, ramp_mm)


@way
def cross(eyes: Eyes, hand: Hand, *, rounds: float = 4.0, turn_deg: float = 60.0, blade: BladeName = "fine",
          push_n: float = 70.0) -> Working:
    """Rounds of full rows, each turned against the last, stoned and wiped after."""
    for n in range(int(rounds)):
        yield RollFilm(3.0)
        yield place(eyes, hand)
        angle = math.radians(45.0 + turn_deg * (n + 1))
        lanes = Lanes((math.cos(angle), math.sin(angle)), 1.8, 8.0, 0.0, push_n)
        rows = strokes_over(eyes.sight.iron.astype(np.int64), eyes.sight.pitch_mm, lanes)
        yield from scraped(eyes, hand, rows, blade)
        yield StoneFace()
        yield WipeFace()


def _over(eyes: Eyes, labels: np.ndarray, which: np.ndarray, stage: Any, *, slant: float = SLANT) -> np.ndarray:
    """Strokes over the chosen marks with a stage's spacing and push."""
    chosen = np.where(np.concatenate([[False], which])[labels], labels, 0)
    lanes = Lanes((SLANT, slant), stage.spacing_mm, stage.longest_mm, 0.6, stage.push_n, stage.narrow_share)
    return strokes_over(chosen, eyes.sight.pitch_mm, lanes)


@way
def hit_called(eyes: Eyes, hand: Hand, *, aim: Literal["called", "everything"] = "called",
               by: Literal["middles", "darkness"] = "middles") -> Working:
    """Print, call, and scrape the marks called high and medium; or go over everything."""
    yield RollFilm(3.0)
    yield place(eyes, hand)
    calls, marks, given = called(eyes, hand, by, most=40)
    yield say("calls", calls=calls)
    stage = STAGES[2]
    if aim == "called":
        yield from scraped(eyes, hand, _over(eyes, marks.labels, (given > 0) & (given < 3), stage), stage.blade)
    else:
        lanes = Lanes((SLANT, SLANT), stage.spacing_mm, stage.longest_mm, 0.0, stage.push_n)
        rows = strokes_over(eyes.sight.iron.astype(np.int64), eyes.sight.pitch_mm, lanes)
        yield from scraped(eyes, hand, rows, stage.blade)


@way
def only_hardest(eyes: Eyes, hand: Hand, *, take: Literal["middles", "darkness"] = "middles",
                 strokes: float = 60.0, rounds: float = 2.0,
                 film_um: float = 3.0) -> Working:
    """In each round take the marks with pale middles, the largest first, until the strokes are used; or dark ones."""
    each = int(strokes) // int(rounds)
    for n in range(int(rounds)):
        yield RollFilm(film_um)
        yield place(eyes, hand, number=n)
        calls, marks, given = called(eyes, hand, take, most=40)
        yield say("calls", calls=calls)
        stage = replace(STAGES[1], spacing_mm=2.2)
        order = np.lexsort((-marks.area_mm2, np.where(given > 0, given, 9)))
        chosen = np.zeros(len(given), bool)
        rows = np.zeros((0, 5))
        for k in order:
            if not 0 < given[k] < 3:
                break
            chosen[k] = True
            more = _over(eyes, marks.labels, chosen, stage, slant=SLANT if n % 2 else -SLANT)
            if len(more) > each:
                chosen[k] = False
                continue
            rows = more
        yield from scraped(eyes, hand, rows[:each], stage.blade)
        yield StoneFace()
        yield WipeFace()


def _drive(pilot: Generator[Command, Sight, None], eyes: Eyes, rounds: int, enough: Enough | None = None) -> Working:
    """A pilot's commands for so many rounds, each ended by a cloth; fewer where a thin, gentle print is enough.

    A print that looks enough is proved by another one, thin and hardly rubbed, from which the pilot else goes on.
    """
    command, made, printed, film_um = next(pilot), 0, False, math.nan
    while True:
        yield command
        if isinstance(command, RollFilm) and command.weight_um is not None:
            film_um = command.weight_um
        if isinstance(command, SpotFace):
            printed = True
            if enough and film_um <= enough.film_um and enough.asked(eyes):
                yield WipeFace()
                yield RollFilm(PROOF_UM)
                yield replace(command, way_mm=PROOF_MM)
                if enough.asked(eyes):
                    yield WipeFace()
                    return
        if isinstance(command, WipeFace) and printed:
            made, printed = made + 1, False
            if made >= rounds:
                return
        command = pilot.send(eyes.sight)


@way
def follow(eyes: Eyes, hand: Hand, *, rounds: float = 9.0, first_stage: StageName = "rough",
           last_stage: StageName = "even",
           film_factor: float = 1.0, stone: bool = True, crossing: bool = True, split: bool = True,
           least_mark_mm2: float = 0.3, edge_mm: float = 2.0, even_share: float = 0.45) -> Working:
    """Follow the blue for some rounds: coarse to fine, crossed, stoned; with habits changed as the options say."""
    going = by_stages(
        hand, first_stage=first_stage, last_stage=last_stage, film_factor=film_factor, stone=stone, crossing=crossing,
        split=split, least_mark_mm2=least_mark_mm2, edge_mm=edge_mm, even_share=even_share)  # fmt: skip
    yield from _drive(going, eyes, int(rounds))


@way
def at_the_hole(eyes: Eyes, hand: Hand, *, rounds: float = 8.0) -> Working:
    """Work where the print shows nothing, round after round, as if a low place could be filled."""
    stage = STAGES[1]
    for n in range(int(rounds)):
        yield RollFilm(stage.film_um)
        yield place(eyes, hand, number=n)
        x, y = poorest_field_mm(eyes.print())
        ny, nx = eyes.sight.iron.shape
        yy, xx = np.mgrid[0:ny, 0:nx]
        pitch = eyes.sight.pitch_mm
        zone = (np.hypot((xx + 0.5) * pitch - x, (yy + 0.5) * pitch - y) < 9.0) & eyes.sight.iron
        lanes = Lanes((SLANT, SLANT if n % 2 else -SLANT), stage.spacing_mm, stage.longest_mm, 0.0, stage.push_n)
        yield from scraped(eyes, hand, strokes_over(zone.astype(np.int64), pitch, lanes), stage.blade)
        yield StoneFace()
        yield WipeFace()


def _counted(eyes: Eyes, target: Target) -> bool:
    """Whether a print has what the drawing asks for, counted square by square, and its readings are close enough."""
    sight = eyes.sight
    for one, read, doubt in zip(sight.tolerances, sight.readings, sight.doubts, strict=True):
        if one.face == sight.in_hand and (read is None or doubt or read.value_um > READ_SHARE * one.limit_um):
            return False
    found = spots(Marks(sight.marked, sight.iron, sight.pitch_mm), target.spot_area_mm2)
    return (found.mean >= OVER * target.spots_mean and found.lowest >= OVER * target.spots_lowest
            and found.bearing_pct >= OVER * target.bearing_pct)  # fmt: skip


class _HighestFirst(Bands):
    """Bands by written heights; a strip too narrow to be worth a print is taken together with the next band."""

    def _region(self, sight: Sight) -> np.ndarray | None:
        region = super()._region(sight)
        while region is not None and self.left and region.sum() < LEAST_BAND * sight.iron.sum():
            region = super()._region(sight)
        return region


@way
def to_heights(eyes: Eyes, hand: Hand, *, rounds: float = 36.0, datum: str = "foot", face: str = "top",
               bands: bool = True, lever_deg: float = 15.0, tip: Literal["block", "ball"] = "block",
               first_stage: StageName = "semi") -> Working:
    """Sweep a face over its datum, take bands by the written heights, then follow the blue; or the blue alone."""
    if eyes.sight.in_hand != face:
        yield TakeFace(face)
    names = [stage.name for stage in STAGES]
    plan = _HighestFirst(datum) if bands else None
    done = Enough(PROOF_UM, partial(_counted, target=eyes.shape.face(face).target)) if bands else None
    pilot = follow_the_blue(hand, stages=STAGES[names.index(first_stage) :], correct=plan)
    yield from _drive(pilot, eyes, int(rounds), done)
    yield SweepFace(face, datum, tip=tip, lever_deg=lever_deg)


@way
def by_the_foot(eyes: Eyes, hand: Hand, *, rounds: float = 32.0, datum: str = "foot", side: str = "side",
                top: str = "top", where: Literal["foot", "side"] = "foot", again: bool = True) -> Working:
    """Read the side both ways round, taper the foot by it, flatten, read again; or scrape the side itself."""
    face = side if where == "side" else datum
    plan = Bands(datum, reverse=True) if where == "side" else _Taper(eyes, datum, side)
    if eyes.sight.in_hand != face:
        yield TakeFace(face)
    done = Enough(STAGES[2].film_um, plan.stands) if isinstance(plan, _Taper) else None
    yield from _drive(follow_the_blue(hand, stages=STAGES[1:], correct=plan), eyes, int(rounds), done)
    if again:
        yield say("answer", question="in_doubt", value="the top")
        for turn in (180.0, 0.0):
            yield SweepFace(side, datum, turn_deg=turn)
        yield SweepFace(top, datum)


class _Taper(Bands):
    """Bands on the foot by what the side leans: asked by `follow_the_blue` in place of bands by heights."""

    def __init__(self, eyes: Eyes, datum: str, side: str) -> None:
        super().__init__(datum)
        self.eyes, self.side = eyes, side

    def rows(self, sight: Sight, blade: str) -> Generator[Command, Sight, Any]:
        """The taper's bands, then rounds by the blue until the foot stands, and a fresh reading of the side."""
        if self.since_sweep < 0 or self.since_sweep >= BLUE_ROUNDS + (self.plan.rounds if self.plan else 0):
            self.plan = yield from self._read(sight, FIRST_GUESS[blade] * self.work.removal_um)
            self.left = self.plan.rounds if self.plan else 0
            self.since_sweep = 0
        self.since_sweep += 1
        return self._region(sight) if self.plan else None

    def stands(self, eyes: Eyes) -> bool:
        """Whether the side was found upright just now and the foot, printed thinly, bears all over."""
        sight, pilot = eyes.sight, Pilot()
        upright = self.plan is None and self.since_sweep == 1
        blue = Marks(sight.marked, sight.iron, sight.pitch_mm)
        return upright and fields_reached_pct(blue, pilot) >= pilot.fields_pct

    def _read(self, sight: Sight, removal_um: float) -> Generator[Command, Sight, Any]:
        """The side swept both ways round, and the plan for the foot; None while the side is near enough upright."""
        planes, high_mm = [], 0.0
        for turn in (180.0, 0.0):
            yield SweepFace(self.side, self.datum, turn_deg=turn)
            looked = yield TakeFace(self.side)
            high_mm = looked.size_mm[1]
            if looked.written is None or len(looked.written) < 3:
                return None
            planes.append(reading_plane(looked.written.x_mm, looked.written.y_mm, looked.written.z_um))
        yield TakeFace(self.datum)
        turned, straight = planes
        lean = straight.slope_y - reversal(straight.slope_y, turned.slope_y)[0]
        if abs(lean) * high_mm < UPRIGHT_UM:
            return None
        return taper_plan(sight.iron.shape, sight.pitch_mm, (-lean, 0.0), removal_um)


@way
def whole_part(eyes: Eyes, hand: Hand, *, rounds: float = 45.0, again: bool = True,
               order: Literal["datums first", "datum last"] = "datums first") -> Working:
    """Every face until a thin print shows what is asked, datums first, and a last reading each; or the datum last."""
    shape = eyes.shape
    faces = datums_first(shape)
    for face in faces if order == "datums first" else faces[::-1]:
        if eyes.sight.in_hand != face.name:
            yield TakeFace(face.name)
        pilot = follow_the_blue(hand, correct=bands_for(shape.tolerances, face.name))
        yield from _drive(pilot, eyes, int(rounds), Enough(PROOF_UM, partial(_counted, target=face.target)))
    for one in shape.tolerances if again else ():
        for turn in (180.0, 0.0) if one.kind == "perpendicularity" else (0.0,):
            yield SweepFace(one.face, one.datum, turn_deg=turn)
