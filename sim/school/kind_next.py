"""The drill about a job: what is to be done next. Each act is run on the model for the same shop time."""

import math
from typing import Any

import numpy as np

from sim.errors import BadParam, Refused
from sim.hands import autopilot
from sim.hands.lanes import Lanes
from sim.hands.skill import HANDS, lay
from sim.measure.flatness import bearing_flatness_um
from sim.school.bank import ROUNDS, Bank
from sim.school.item import Choice, Form, Item, Part, option_of, share_hard
from sim.school.view import Condition, Patch, Picture, picture
from sim.shop.commands import (
    HoneBlade,
    LetSoak,
    RollFilm,
    Scrape,
    SpotFace,
    StoneFace,
    WipeFace,
    perform,
    strokes_as_data,
)
from sim.shop.job import Job
from sim.shop.sight import Sight, look

ACTS = (
    "take the high ones only",
    "take all the blue",
    "a film of half the thickness, then all",
    "a film of twice the thickness, then all",
    "stone and print again, then all",
    "stop",
)
HIGH, ALL, THINNER, THICKER, STONE, STOP = range(len(ACTS))
AGAIN = {THINNER: 0.5, THICKER: 2.0, STONE: 1.0}  # acts that print again first, and the film against that of before
HORIZON_S = 1500.0
REPEATS, QUICK = 8, 2  # runs of each act; runs by which a state is looked for that suits the level
TRIES = 8


def next_facts(bank: Bank, level: int, rng: np.random.Generator) -> dict[str, Any]:
    """Facts of an item of kind 8: taking all is right on level 1, any other act as often as any on level 10."""
    others = [act for act in range(len(ACTS)) if act != ALL]
    wanted = others[int(rng.integers(len(others)))] if rng.random() < share_hard(level) else ALL
    nearest: tuple[float, dict[str, Any]] | None = None
    for _ in range(TRIES):
        facts = _drawn_state(bank, rng)
        try:
            ends = _ends(bank, facts, QUICK).mean(axis=1)
        except Refused:
            continue  # some act makes it tip
        short = float(ends[wanted] - np.delete(ends, wanted).min())  # how far it is from the best of the others
        spare = float(ends[ALL] - ends.min()) / float((ends - ends.min()).mean() + 1e-9) if wanted != ALL else 0.0
        if nearest is None or short - spare < nearest[0]:
            nearest = short - spare, facts
        if short < -0.1 and (wanted == ALL or spare > 0.8):
            break
    if nearest is None:
        raise BadParam(f"no state of {bank.coupons} coupons can be worked on by every act")
    facts = nearest[1]
    runs = _ends(bank, facts, REPEATS)
    means = runs.mean(axis=1)
    best = int(means.argmin())
    error = float(runs[best].std(ddof=1)) / math.sqrt(REPEATS)
    cost = np.where(means <= means[best] + error, 0.0, means - means[best])
    if not cost.any():
        raise BadParam("every act ends alike: nothing can be asked about this state")
    return facts | {"flatness_um": [round(float(v), 4) for v in means], "cost_um": [round(float(v), 4) for v in cost],
                    "error_um": round(error, 4)}


def _drawn_state(bank: Bank, rng: np.random.Generator) -> dict[str, Any]:
    """Any coupon after any round, printed with a film from thin to far too heavy."""
    worked = bank.draw(rng, ROUNDS)
    film = float(np.exp(rng.uniform(math.log(0.8), math.log(9.0))))
    return {"coupon": worked.coupon, "round": worked.round, "film_um": round(film, 2), "luck": int(rng.integers(2**31))}


def _ends(bank: Bank, facts: dict[str, Any], repeats: int) -> np.ndarray:
    """Bearing flatness at the end of each act (rows) with each luck of the hand (columns), um."""
    state = _state(bank, facts)
    return np.array([[_after(state.copy(), facts, act, n) for n in range(repeats if act != STOP else 1)]
                     * (1 if act != STOP else repeats) for act in range(len(ACTS))])  # fmt: skip


def _state(bank: Bank, facts: dict[str, Any]) -> Job:
    """The coupon with a fresh print, as it is shown."""
    job = bank.job_after(facts["coupon"], facts["round"])
    perform(WipeFace(), job)
    _print_again(job, facts["film_um"])
    return job


def _print_again(job: Job, film_um: float) -> None:
    perform(RollFilm(film_um), job)
    at = np.random.default_rng([job.start.seed, job.round, 78]).random(2)
    perform(SpotFace(round(12.0 + 40.0 * at[0], 2), round(10.0 + 40.0 * at[1], 2), 12.0), job)


def _after(job: Job, facts: dict[str, Any], act: int, repeat: int) -> float:
    """Bearing flatness after HORIZON_S that begin with this act; the same luck for every act; changes `job`."""
    begun, film = job.clock_s, facts["film_um"] * AGAIN.get(act, 1.0)
    if act == STOP:
        return bearing_flatness_um(job.face)
    if act in AGAIN:
        if act == STONE:
            perform(StoneFace(), job)
        perform(WipeFace(), job)
        _print_again(job, film)
    while job.clock_s - begun < HORIZON_S:
        _take(job, "split" if act == HIGH else "all", facts["luck"] + repeat, begun + HORIZON_S)
        perform(StoneFace(), job)
        perform(WipeFace(), job)
        if job.clock_s - begun < HORIZON_S:
            _print_again(job, film)
    return bearing_flatness_um(job.face)


def _take(job: Job, how: str, seed: int, until_s: float) -> None:
    """One round of strokes over the chosen marks, cut off when the time is up; changes `job`."""
    pilot, hand = autopilot.Pilot(), HANDS["trained"]
    sight: Sight = look(job)
    marks, bare = autopilot.read_print(sight, pilot)
    edge = autopilot.near_edge(sight.iron, pilot.edge_mm, sight.pitch_mm)
    chosen = autopilot.choose(marks, bare, edge, how, pilot)
    stage = autopilot.STAGES[1] if job.round < 8 else autopilot.STAGES[2]
    along = autopilot.DIRECTIONS[job.round % 2]
    lanes = Lanes(along, stage.spacing_mm, stage.longest_mm, pilot.beyond_mm, stage.push_n, stage.narrow_share)
    meant = autopilot.strokes_over(chosen, sight.pitch_mm, lanes, np.zeros(int(chosen.max()) + 1, bool))
    made = lay(meant, hand, seed, job.round)
    fits = int((until_s - job.clock_s) * hand.pace_per_min / 60.0)
    made = made[: max(min(fits, 2000), 0)]
    if len(made):
        perform(HoneBlade(stage.blade), job)
        perform(Scrape(stage.blade, strokes_as_data(made), hand.care, hand.ramp_mm, hand.pace_per_min), job)
    else:
        perform(LetSoak(max(until_s - job.clock_s, 1.0) / 60.0 + 0.01), job)


class WhatNext(Item):
    """Kind 8: what is to be done next."""

    kind = "next"
    target_s = 20.0

    @property
    def question(self) -> str:
        """What is asked."""
        f = self.facts
        return (
            f"The print of round {f['round']}, with a film of {f['film_um']:.1f} µm. "
            f"Which act leaves the face flattest where it bears, {HORIZON_S / 60:.0f} minutes later?"
        )

    @property
    def forms(self) -> tuple[Form, ...]:
        """How it is answered."""
        return (Choice(ACTS),)

    @property
    def truth(self) -> str:
        """An answer that costs nothing."""
        return ACTS[int(np.argmin(self.facts["flatness_um"]))]

    def parts(self, answer: Any) -> tuple[Part, ...]:
        """What an answer cost, and what a blind one costs."""
        cost = self.facts["cost_um"]
        lost = cost[option_of(answer, ACTS)]
        fault = f"{lost:.2g} µm less flat than the best"
        return (Part("flatness lost", "um", lost, float(np.mean(cost)), fault=fault),)

    def blind(self, rng: np.random.Generator) -> str:
        """An answer that knows nothing of the item."""
        return ACTS[int(rng.integers(len(ACTS)))]

    def why(self, answer: Any) -> str:
        """With the figures: where the best act ends, and the answered one."""
        ends, mine = self.facts["flatness_um"], option_of(answer, ACTS)
        yours = f"yours {ends[mine]:.1f} µm"
        if ACTS[mine] == self.truth:
            yours = "as you said"
        elif self.loss(answer) <= 0.0:
            yours += ", which the runs do not tell from it"
        return (
            f"{self.truth[0].upper()}{self.truth[1:]}: flat to {min(ends):.1f} µm after {HORIZON_S / 60:.0f} minutes, "
            f"{yours} (means of {REPEATS} runs)."
        )

    def draw(self, condition: Condition) -> tuple[Picture, ...]:
        """Its pictures under a condition."""
        job = _state(self.bank, self.facts)
        return (picture(job.face, Patch(3.0, 3.0, 54.0, 34.0), condition, square=False),)
