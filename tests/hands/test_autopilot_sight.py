"""The pilot sees what a person sees: behind a veil that hides every field of truth it makes the same strokes."""

from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
import pytest

from sim.hands.autopilot import follow_the_blue
from sim.hands.skill import HANDS
from sim.model.plate import PlateMake
from sim.model.start import COUPON
from sim.shop.commands import Scrape, SpotFace, perform
from sim.shop.job import Job, JobStart, begin_job
from sim.shop.sight import Sight, look

# What a person can see of a job; every field that is not named here is truth, those that are added later too.
SEEN: dict[str, Any] = {
    "round": None, "clock_s": None, "strokes": None,
    "start": {"seed": None, "material": {"blue": {"seen_um": None}}, "shape": {"tolerances": None, "face": None}},
    "in_hand": None, "cuts": None, "readings": None, "square": None,
    "part": {"numbers": None},
    "face": {"blue_um": None, "iron": None, "pitch_mm": None},
    "plate": {"size_mm": None},
    "edges": {"*": {"metres": None}},
}  # fmt: skip


class TruthSeen(AssertionError):
    """A field of truth was read."""


@dataclass(frozen=True)
class Veil:
    """Something of which only the named fields can be seen; any other raises."""

    behind: Any
    seen: dict[str, Any]

    def __getattr__(self, name: str) -> Any:
        if name not in self.seen:
            raise TruthSeen(f"{type(self.behind).__name__}.{name}")
        return veiled(getattr(self.behind, name), self.seen[name])


def veiled(thing: Any, seen: dict[str, Any] | None) -> Any:
    """A thing behind a veil; a dict with its values veiled; a plain value as it is."""
    if seen is None:
        return thing
    if "*" in seen:
        return {name: veiled(value, seen["*"]) for name, value in thing.items()}
    return Veil(thing, seen)


def coupon(seed: int) -> Job:
    start = replace(COUPON, cutouts=((30.0, 20.0, 8.0, 8.0),))
    return begin_job(JobStart(start, PlateMake(length_mm=120.0, width_mm=100.0), seed=seed))


def worked(seed: int, rounds: int, see) -> list:
    """All commands of a skilled pilot who is shown what `see` makes of the job."""
    job, pilot, done = coupon(seed), follow_the_blue(HANDS["skilled"]), []
    command = next(pilot)
    while job.round < rounds or not isinstance(command, SpotFace):
        perform(command, job)
        done.append(command)
        command = pilot.send(see(job))
    return done


@pytest.mark.parametrize("seed", [1, 2])
def test_the_pilot_makes_the_same_strokes_when_every_field_of_truth_raises(seed):
    rounds = 30
    blind = worked(seed, rounds, lambda job: look(veiled(job, SEEN)))
    assert blind == worked(seed, rounds, look)
    scrapes = [command for command in blind if isinstance(command, Scrape)]
    blades = {command.blade for command in scrapes}
    strokes = sum(len(command.strokes) for command in scrapes)
    print(f"seed {seed}: {strokes} strokes in {rounds} rounds, alike; blades {sorted(blades)}")
    assert {"rough", "semi", "fine"} <= blades


def test_the_veil_hides_all_that_a_person_cannot_see():
    job = coupon(3)
    veil = veiled(job, SEEN)
    hidden = 0
    for thing, behind in ((veil, job), (veil.face, job.face), (veil.plate, job.plate), (veil.start, job.start),
                          (veil.edges["fine"], job.edges["fine"])):
        for name in {field.name for field in fields(behind)} - set(thing.seen):
            with pytest.raises(TruthSeen, match=name):
                getattr(thing, name)
            hidden += 1
    assert hidden > 20
    for name in ("height_um", "burr_um", "scored", "chips", "warm_k"):
        with pytest.raises(TruthSeen):
            getattr(veil.face, name)


def test_what_the_pilot_is_shown_leads_to_nothing_else():
    sight = look(coupon(3))
    for field in fields(Sight):
        value = getattr(sight, field.name)
        if isinstance(value, np.ndarray):
            assert value.dtype == bool
            assert value.base is None
        else:
            parts = value.values() if isinstance(value, dict) else value if isinstance(value, tuple) else (value,)
            assert all(part is None or isinstance(part, (int, float, str)) for part in parts)
