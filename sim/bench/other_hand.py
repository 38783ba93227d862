"""Someone else at the bench, act by act: a trained hand over what is called or chalked, or a whole way of working."""

from collections.abc import Callable
from dataclasses import replace

from sim.bench.desk import Desk, Pilot
from sim.bench.gestures import is_over, ring
from sim.bench.pieces import CALLED_MM
from sim.hands.skill import HANDS
from sim.hands.strategy import STRATEGIES, Strategy
from sim.shop.commands import Scrape, SpotFace, WipeFace
from sim.shop.partwork import SpotUpright
from sim.shop.rounds import is_done
from sim.units import S_PER_H

MOST_ROUNDS = 80


def hand_over(desk: Desk, pilot: Callable[[], Pilot], rounds: int, anywhere: bool = False) -> None:
    """Let a trained hand go on for so many rounds over what is chalked or called high, act by act from now on.

    On a face that it has worked before it goes on as it left off, finer than it began.
    """
    called = [ring(c.x_mm, c.y_mm, CALLED_MM) for c in desk.calls if c.level == 1]
    within = [] if anywhere else [*desk.chalk, *called]
    if not (within or anywhere):
        desk.told = "Chalk an area (F) or call marks high: the trained hand goes over those alone."
        return
    face, handing = desk.session.job.in_hand, desk.handing
    if face not in handing.pilots:
        handing.pilots[face] = pilot()
        handing.first = next(handing.pilots[face])
    handing.within, handing.strategy = within, ""
    _begin(desk, handing.pilots[face], rounds)


def strategies_for(desk: Desk) -> list[Strategy]:
    """Ways of working that the face in hand can be finished by."""
    job = desk.session.job
    held = any(one.face == job.in_hand for one in job.start.shape.tolerances)
    return [one for one in STRATEGIES.values() if held or not one.needs_heights]


def strategy_of(desk: Desk) -> Strategy:
    """The one that is chosen; the first that is possible where it is not."""
    possible = strategies_for(desk)
    return next((one for one in possible if one.name == desk.settings.strategy), possible[0])


def turn_strategy(desk: Desk, step: int) -> None:
    """Choose the next strategy, or the one before."""
    possible = strategies_for(desk)
    at = possible.index(strategy_of(desk))
    desk.set(strategy=possible[(at + step) % len(possible)].name)


def finish_as(desk: Desk, name: str) -> None:
    """Let a strategy work on the face in hand until it is done, act by act from now on."""
    pilot = STRATEGIES[name].work(HANDS[desk.freedom.hand], **STRATEGIES[name].chosen())
    desk.handing.first, desk.handing.within, desk.handing.strategy = next(pilot), (), name
    desk.set(strategy=name, finished_as=name)
    desk.told = f"A copy, worked as {name}; your own job stays as you left it, on the start page. Esc stops."
    _begin(desk, pilot, MOST_ROUNDS)


def _begin(desk: Desk, pilot: Pilot, rounds: int) -> None:
    desk.handed, desk.hand_rounds, desk.handing.printed = pilot, rounds, False
    desk.tool, desk.order, desk.laid = None, (), False


def step_other(desk: Desk) -> bool:
    """The next act of whoever works; False when he has done his rounds or cannot go on."""
    if desk.handed is None:
        return False
    handing = desk.handing
    command, handing.first = handing.first or desk.handed.send(desk.sight), None
    if isinstance(command, Scrape) and handing.within:
        command = replace(command, strokes=tuple(s for s in command.strokes if is_over(s, handing.within)))
    if not (isinstance(command, Scrape) and not command.strokes) and not desk.act(command):
        desk.handed = None
        return False
    if isinstance(command, SpotFace | SpotUpright):
        desk.hang()
        handing.printed = True
        desk.calls, desk.dragged, desk.turned = [], [], None
    if isinstance(command, WipeFace) and handing.printed:
        handing.printed = False
        desk.hand_rounds -= 1
        _end_of_round(desk)
    return desk.handed is not None


def _end_of_round(desk: Desk) -> None:
    """A round has ended: put the scraper down when there is nothing left to do, and say so."""
    job, name = desk.session.job, desk.handing.strategy
    told = f"in round {job.round}, after {job.clock_s / S_PER_H:.1f} h"
    if name and is_done(job):
        desk.told = f"Done as {name} does it, {told}. Finish shows it."
    elif desk.hand_rounds > 0:
        return
    elif name:
        desk.told = f"Given up as {name} does it, {told}: its goal is not met."
    else:
        desk.told = f"The trained hand has put the scraper down in round {job.round}."
    desk.handed, desk.done = None, {"wipe"}
