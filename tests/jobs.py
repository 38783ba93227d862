"""Jobs part of the way, worked once and copied for each test: what comes out of many acts is tried on these."""

from functools import lru_cache

import numpy as np

from sim.hands.autopilot import follow_the_blue
from sim.hands.lanes import Lanes, strokes_over
from sim.hands.skill import HANDS, lay
from sim.model.plate import PlateMake
from sim.model.start import Start
from sim.shop.commands import Command, HoneBlade, Scrape, StoneFace, WipeFace, perform, strokes_as_data
from sim.shop.job import Job, JobStart, begin_job
from sim.shop.rounds import drive
from sim.shop.session import Session
from sim.shop.sight import look
from sim.target import Target

SKILLED = HANDS["skilled"]
MOST_ROUNDS = 45  # as the demo
HALF_FINISHED_UM = 3.0  # bearing flatness under which a face is half finished: level as a whole, next to no spots yet
ROW_MM, STROKE_MM, BEYOND_MM, ROW_PUSH_N = 1.9, 7.0, 1.0, 95.0  # rows of a finishing round


def half_finished(seed: int) -> Job:
    """The demo's foot at the end of the first round that left its bearing flatness under HALF_FINISHED_UM; a copy."""
    return _scraped(seed)[0].copy()


def passing(seed: int) -> Job:
    """The demo's foot at the end of the first round that met the demo's target; a copy."""
    job, met_round = _scraped(seed)[1:3]
    assert met_round, f"seed {seed} did not pass in {MOST_ROUNDS} rounds"
    return job.copy()


def commands_to_pass(seed: int) -> tuple[Command, ...]:
    """All that was done until the foot passed."""
    return _scraped(seed)[3]


@lru_cache(maxsize=4)
def _scraped(seed: int) -> tuple[Job, Job, int | None, tuple[Command, ...]]:
    """The demo's foot of this seed in the hands of the skilled pilot until it passes: 2 to 4 s, so once."""
    session = Session.begin(JobStart(seed=seed), copies_mb=0.0)
    level: list[Job] = []

    def on_round(log):
        if not level and log.bearing_flatness_um < HALF_FINISHED_UM:
            level.append(session.job.copy())

    driven = drive(session, follow_the_blue(SKILLED), Target(), rounds=MOST_ROUNDS, on_round=on_round)
    assert level, f"seed {seed} was never half finished in {MOST_ROUNDS} rounds"
    print(f"\nseed {seed}: half finished after round {level[0].round}, passing after round {driven.met_round}")
    return level[0], session.job.copy(), driven.met_round, session.commands


def go_on(job: Job, pilot, rounds: int) -> None:
    """Let a pilot work for so many rounds; changes `job`."""
    last = job.round + rounds
    command = next(pilot)
    while True:
        perform(command, job)
        if isinstance(command, WipeFace) and job.round == last:
            return
        command = pilot.send(look(job))


def ground_coupon(seed: int, **start) -> Job:
    """A surface-ground face of 80 x 60 mm, for scraping in rows."""
    face = Start(**{"length_mm": 80.0, "width_mm": 60.0, "kind": "surface-ground", **start})
    return begin_job(JobStart(face, PlateMake(length_mm=120.0, width_mm=100.0), seed=seed))


def scrape_rows(job: Job, along: tuple[float, float], number: int) -> None:
    """One round by no print: the whole face in rows along a direction, then stone, wipe and hone; changes `job`.

    A skilled hand; each row begins 1 mm outside one edge and ends 1 mm outside the other.
    """
    lanes = Lanes(along, ROW_MM, STROKE_MM, BEYOND_MM, ROW_PUSH_N)
    meant = strokes_over(job.face.iron.astype(np.int64), job.face.pitch_mm, lanes)
    made = lay(meant, SKILLED, job.start.seed, number)
    for k in range(0, len(made), 2000):
        perform(Scrape("fine", strokes_as_data(made[k : k + 2000]), SKILLED.care, SKILLED.ramp_mm), job)
    for command in (StoneFace(), WipeFace(), HoneBlade("fine")):
        perform(command, job)
