"""Coupons worked with habits good and bad, each once, and what a coach who was there said after each round."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from scipy.ndimage import distance_transform_edt

from sim.hands.autopilot import STAGES, Pilot, follow_the_blue
from sim.hands.skill import HANDS
from sim.measure.spots import EYE, islands
from sim.model.plate import PlateMake
from sim.model.start import COUPON
from sim.school.coach import Coach
from sim.school.evidence import cells_of, line_points, read
from sim.school.remark import Remark
from sim.school.seen import Counted, Seen
from sim.shop.commands import Command, Scrape, SpotFace, StoneFace, WipeFace, strokes_as_data
from sim.shop.job import JobStart
from sim.shop.session import Session

BOWED = replace(COUPON, bow_x_um=18.0)
PLATE = PlateMake(length_mm=120.0, width_mm=100.0)
Change = Callable[[Command, Seen], list[Command]]


@dataclass(frozen=True, eq=False)
class Worked:
    """A coupon after some rounds; said: (round, what the coach said), silent rounds with None."""

    session: Session
    seen: Seen
    coach: Coach
    said: list[tuple[int, Remark | None]]

    def spoken(self, rule: str) -> list[Remark]:
        """Remarks of one rule."""
        return [remark for _, remark in self.said if remark is not None and remark.rule == rule]

    def faults(self) -> list[str]:
        """Names of the rules that spoke of a fault."""
        return [remark.rule for _, remark in self.said if remark is not None and not remark.praise]


def as_it_is(command: Command, _: Seen) -> list[Command]:
    """No bad habit."""
    return [command]


def work(seed: int, rounds: int, change: Change = as_it_is, *, hand="skilled", first: tuple[Command, ...] = (),
         count: Callable | None = None, start=COUPON, after: int = 0, **pilot) -> Worked:
    """A coupon in the hands of a pilot whose commands go through a habit first, that begins after some rounds."""
    session = Session.begin(JobStart(start, PLATE, seed=seed), copies_mb=0.0)
    seen, coach, said = Seen(), Coach(), []
    going = follow_the_blue(HANDS[hand] if isinstance(hand, str) else hand, **pilot)
    for one in first:
        session.do(one)
        seen.note(one, session)
    command = next(going)
    while True:
        for one in (change if len(seen.rounds) > after else as_it_is)(command, seen):
            session.do(one)
            seen.note(one, session)
        if isinstance(command, SpotFace) and count is not None:
            seen.counted(seen.rounds[-1].number, count(seen))
        if isinstance(command, WipeFace) and seen.rounds:
            said.append((seen.rounds[-1].number, coach.at_round(seen)))
            if len(said) == rounds:
                return Worked(session, seen, coach, said)
        command = going.send(session.look())


@lru_cache(maxsize=16)
def good(seed: int, hand: str = "skilled", rounds: int = 20, bowed: bool = False) -> Worked:
    """A coupon without bad habits."""
    return work(seed, rounds, hand=hand, start=BOWED if bowed else COUPON)


@lru_cache(maxsize=32)
def bad(habit: str, seed: int = 1, rounds: int = 6) -> Worked:
    """A coupon with one bad habit of the list below."""
    return work(seed, rounds, **HABITS[habit])


def _strokes(keep: Callable) -> Change:
    """Strokes that go through `keep(strokes in mm and N, the round) -> strokes` first."""
    def change(command: Command, seen: Seen) -> list[Command]:
        if not isinstance(command, Scrape):
            return [command]
        made = np.array(command.strokes, float) / [100.0, 100.0, 100.0, 100.0, 10.0]
        made = keep(made, seen.rounds[-1])
        return [replace(command, strokes=strokes_as_data(made[:2000]))] if len(made) else []
    return change


def _but_on(strokes, one, which):
    """Strokes that miss all of these marks, and have not half their length beside them."""
    labels = read(one).labels
    avoided = np.concatenate([[False], which])[labels]
    points, of = line_points(strokes)
    i, j, inside = cells_of(points, one)
    hit = np.zeros(len(points), bool)
    hit[inside] = avoided[i[inside], j[inside]]
    return strokes[np.bincount(of, hit, len(strokes)) == 0]


def _each(kind: type[Command], times: int = 1, **what) -> Change:
    """Commands of a kind made so many times (0: forgotten), with some of their settings changed."""
    def change(command: Command, _: Seen) -> list[Command]:
        return [replace(command, **what)] * times if isinstance(command, kind) else [command]
    return change


def _half_way(strokes, _):
    """Only the middle third of every stroke."""
    a, b = strokes[:, :2], strokes[:, 2:4]
    third = (b - a) / 3.0
    return np.column_stack([a + third, b - third, strokes[:, 4]])


def _anywhere(strokes, one):
    """Every second stroke laid where there is no blue within 1.5 mm."""
    far = distance_transform_edt(~one.marked) * one.pitch_mm
    bare = np.argwhere((far >= min(1.5, 0.7 * far.max())) & one.iron)
    moved = strokes.copy()
    rng = np.random.default_rng(one.number)
    for k in range(0, len(strokes), 2):
        i, j = bare[rng.integers(len(bare))]
        half = 0.5 * (strokes[k, 2:4] - strokes[k, :2])
        at = (np.array([j, i]) + 0.5) * one.pitch_mm
        moved[k, :2], moved[k, 2:4] = at - half, at + half
    return moved


def _unwiped(command: Command, seen: Seen) -> list[Command]:
    return [] if isinstance(command, WipeFace) and seen.rounds else [command]


def square_of(one, best: bool) -> Counted:
    """Corner and count of the fullest or poorest square inch of a print, tried every 2 mm."""
    found = islands(one.marks)
    big = found.area_mm2 >= EYE.spot_area_mm2
    x, y, side = found.x_mm[big], found.y_mm[big], EYE.square_mm
    length, width = (n * one.pitch_mm for n in one.iron.shape[::-1])
    tried = [(int(((x >= a) & (x < a + side) & (y >= b) & (y < b + side)).sum()), a, b)
             for a in np.arange(0.0, length - side + 0.1, 2.0) for b in np.arange(0.0, width - side + 0.1, 2.0)]
    count, a, b = max(tried) if best else min(tried)
    return Counted(float(a), float(b), float(count), float("nan"))


BLUNTING = tuple(
    Scrape("fine", tuple((0, 100 * y, 6000, 100 * y, 700) for y in range(1, 40)), pace_per_min=300.0)
    for _ in range(14))  # 33 m

HABITS = {
    "heavy film": {"pilot": Pilot(film_factor=3.0)},
    "rings taken": {"change": _strokes(lambda s, one: _but_on(s, one, read(one).pale)), "after": 5},
    "long rub": {"change": _each(SpotFace, way_mm=50.0)},
    "hands in the middle": {"change": _each(SpotFace, hands=((30.0, 20.0, 60.0),))},
    "no stone": {"stone": False},
    "one-sided print": {"change": _unwiped},
    "one way": {"crossing": False},
    "rough too long": {"stages": STAGES[:1], "split": None},
    "fine too early": {"stages": STAGES[2:3], "split": None, "start": BOWED},
    "edges left": {"change": _strokes(lambda s, one: _but_on(s, one, read(one).edge)), "after": 5},
    "dull edge": {"first": BLUNTING, "stages": STAGES[2:], "pilot": Pilot(hone_m=1000.0)},
    "abrupt ends": {"change": _strokes(_half_way)},
    "short ramps": {"hand": replace(HANDS["skilled"], ramp_mm=0.1)},
    "same place": {"change": _each(SpotFace, x_mm=30.0, y_mm=30.0, turn_deg=0.0)},
    "twice over": {"change": _strokes(lambda s, _: np.repeat(s, 2, axis=0))},
    "off the blue": {"change": _strokes(_anywhere), "after": 5},
    "stoned too much": {"change": _each(StoneFace, 4)},
    "best square": {"count": lambda seen: square_of(seen.rounds[-1], best=True)},
    "poorest square counted": {"count": lambda seen: square_of(seen.rounds[-1], best=False)},
}
